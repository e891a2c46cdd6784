"""Airflow, air density and rise against other people's code and published values.

- pressure and density of air by altitude: `psychrolib` (ASHRAE's formulae) and `CoolProp` (a
  real-gas equation of state); published ratios: a public design guide's table 6a (6,000, 7,000
  and 8,000 ft), the trade press on airflow at 5,000 ft
- airflow from the rise of a furnace: a supplier's training note (80,000 Btu/h in, 80 %, 40 °F)
- fan laws: a published worked example (1,200 to 1,500 rpm)
"""

from __future__ import annotations

from typing import Any

import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI

T0 = 1_768_200_000_000_000
HOUR = 3_600_000_000


def airflow(bench: Any, altitude_ft: float, output_btuh: float, rise_f: float) -> dict[str, Any]:
    """The row of measure.airflow for an hour of steady first-stage gas heat."""
    for table in bench.stages["measure.airflow"].reads:
        bench.fill(table)
    bench.fill("run.site", [{"site_id": "elm", "altitude_ft": altitude_ft}])
    bench.fill_thresholds({"elm": {}})
    state = {"site_id": "elm", "source": "burner", "mode": "heating", "stage": 1}
    bench.fill("run.plate", [state | {"output_btuh": output_btuh}])
    bench.fill(
        "channel.channel",
        [
            {"site_id": "elm", "channel_id": n, "role": role, "is_primary": True}
            for n, role in enumerate(("supply_temp", "return_temp"))
        ],
    )
    bench.fill("store.channel", [{"site_id": "elm", "channel_id": n} for n in (0, 1)])
    bench.fill("measure.rise", [state | {"is_total": True, "steady_s": 3600.0, "rise_f": rise_f}])
    bench.run("measure.airflow")
    [row] = bench.rows("measure.airflow")
    assert row["why_none"] is None
    found: dict[str, Any] = row
    return found


@pytest.mark.parametrize("altitude_ft", [0, 1000, 2500, 5280, 7000, 10000])
def test_air_factor_is_the_pressure_ratio_of_the_standard_atmosphere(
    bench: Any, altitude_ft: float
) -> None:
    psychrolib.SetUnitSystem(psychrolib.IP)
    ratio = psychrolib.GetStandardAtmPressure(altitude_ft) / psychrolib.GetStandardAtmPressure(0)
    assert airflow(bench, altitude_ft, 60000, 50)["air_factor"] == pytest.approx(ratio, rel=1e-4)


def test_a_mile_high(bench: Any) -> None:
    """12.100 psia at 5,280 ft; a CFM there carries 0.888 Btu/h for a degree instead of 1.078."""
    factor = airflow(bench, 5280, 60000, 50)["air_factor"]
    assert 14.696 * factor == pytest.approx(12.100, abs=0.001)
    # dry air at 70 °F (294.261 K), 0.24 Btu/lb °F, 60 min/h; 1 lb/ft3 is 16.018463 kg/m3
    density = PropsSI("D", "T", 294.261, "P", 14.696 * factor * 6894.757, "Air") / 16.018463
    assert 60 * density * 0.24 == pytest.approx(0.888, abs=0.001)
    # the handbook's 1.08 is 0.15 % over that of dry air at 70 °F
    assert 1.08 * factor == pytest.approx(60 * density * 0.24, rel=0.003)


@pytest.mark.parametrize(("altitude_ft", "ratio"), [(6000, 0.801), (7000, 0.772), (8000, 0.743)])
def test_published_ratios(bench: Any, altitude_ft: float, ratio: float) -> None:
    assert airflow(bench, altitude_ft, 60000, 50)["air_factor"] == pytest.approx(ratio, abs=0.0005)


def test_airflow_at_5000_ft_as_the_trade_press_has_it(bench: Any) -> None:
    """36,000 Btu/h that need 1,200 CFM at sea level need about 1,430 at 5,000 ft (1 %)."""
    rise_f = 36000 / (1.08 * 1200)
    assert airflow(bench, 0, 36000, rise_f)["cfm"] == pytest.approx(1200)
    assert airflow(bench, 5000, 36000, rise_f)["cfm"] == pytest.approx(1430, rel=0.01)


@pytest.mark.parametrize(
    ("output_btuh", "rise_f", "cfm"), [(80000 * 0.80, 40, 1481), (100000 * 0.80, 60, 1235)]
)
def test_worked_examples_of_airflow(
    bench: Any, output_btuh: float, rise_f: float, cfm: float
) -> None:
    row = airflow(bench, 0, output_btuh, rise_f)
    assert row["cfm"] == pytest.approx(cfm, abs=0.5)
    assert row["cfm_low"] < cfm < row["cfm_high"]


def test_half_the_air_is_twice_the_rise(bench: Any) -> None:
    """60,000 Btu/h: 46.3 °F at 1,200 CFM, 92.6 at 600."""
    assert airflow(bench, 0, 60000, 46.3)["cfm"] == pytest.approx(1200, abs=0.5)
    assert airflow(bench, 0, 60000, 92.6)["cfm"] == pytest.approx(600, abs=0.5)


def test_fan_laws(bench: Any) -> None:
    """A published example: at 1,200 rpm 10,000 CFM and 2.0 in. w.c., at 1,500 rpm 12,500 and 3.125.

    Slowed from 1,500 to 1,200 rpm the same heat rises by 12,500/10,000 as much: an airflow index
    of 0.8, static lower by 1.125 in. w.c., and the sign table reads the return side, where a weak
    blower stands.
    """
    for measure in ("measure.airflow_index", "measure.sign"):
        for table in bench.stages[measure].reads:
            bench.fill(table)
    bench.fill("run.site", [{"site_id": "elm"}])
    bench.fill_thresholds({"elm": {}})
    bench.fill(
        "measure.coverage",
        [
            {"site_id": "elm", "figure": f, "coverage": 1.0, "resolution_s": 10.0}
            for f in ("rise", "static")
        ],
    )
    bench.fill(
        "interval.steady_air",
        [
            {
                "site_id": "elm",
                "steady_ts": T0 + n * HOUR + (24 * HOUR if is_last else 0),
                "s": 600.0,
                "mode": "heating",
                "source": "burner",
                "stage": 1,
                "n_zones": 2,
                "zones": "1+2",
                "rise_f": 40 * 12500 / cfm,
                "static_inwc": static_inwc,
                "outdoor_f": 22.0,
                "day": "2026-01-13" if is_last else "2026-01-12",
                "is_first": not is_last,
                "is_last": is_last,
                "in_visit": False,
            }
            for is_last, cfm, static_inwc in ((False, 12500, 3.125), (True, 10000, 2.0))
            for n in range(5)
        ],
    )
    bench.run("measure.airflow_index", "measure.sign")
    first, last = bench.rows("measure.airflow_index")
    assert (first["airflow_index"], last["airflow_index"]) == pytest.approx((1.0, 0.8))
    assert last["static_change_inwc"] == pytest.approx(-1.125)
    [sign] = bench.rows("measure.sign")
    assert sign["reads"] == "return side"


def test_degree_hours(bench: Any) -> None:
    """74 °F against a setpoint of 70 with a band of 2 for three hours is 6 degree-hours."""
    for table in bench.stages["measure.zone_comfort"].reads:
        bench.fill(table)
    bench.fill("run.site", [{"site_id": "elm", "has_heat_pump": False}])
    bench.fill_thresholds({"elm": {}})
    zone = {"site_id": "elm", "zone": 1}
    bench.fill("interval.call", [zone | {"mode": "cooling", "start_ts": T0, "end_ts": T0 + HOUR}])
    bench.fill(
        "interval.zone_minute",
        [
            zone
            | {"ts": T0 + n * 60_000_000, "temp_f": 74.0, "cool_setpoint_f": 70.0}
            | {"in_visit": False}
            for n in range(180)
        ],
    )
    bench.fill(
        "signal.coverage",
        [
            zone | {"role": r, "coverage": 1.0, "interval_s": 60.0}
            for r in ("zone_temp", "zone_cool_setpoint")
        ],
    )
    bench.run("measure.zone_comfort")
    [row] = bench.rows("measure.zone_comfort")
    assert row["short_degree_h"] == pytest.approx(6.0)
