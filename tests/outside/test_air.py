"""Airflow, its altitude factor and the air index against air libraries and worked examples.

air/altitude.csv and air/coil.csv are written by air/make_air.py: psychrolib 2.5.0 (the formulas of
ASHRAE Fundamentals 2017, chapter 1) and CoolProp 8.0.0 (an equation of state for real air). The
tool computes no psychrometric state of its own; they check what it assumes: 1.08, density with
altitude, and the range of the sensible share.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from sample_data.world.parts import density_ratio
from tests.outside.stretches import HOUR, US

AIR = Path(__file__).parent / "air"


def table(name: str) -> list[dict[str, float]]:
    with (AIR / name).open(encoding="utf-8", newline="") as file:
        return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(file)]


ALTITUDES = table("altitude.csv")


def airflow(
    bench: Any,
    output_btuh: float,
    rise_f: float,
    altitude_ft: float = 0.0,
    mode: str = "heating",
    accuracy_f: float = 0.5,
) -> dict[str, Any]:
    """The row of measure.airflow for an hour of steady rise (split) and this output."""
    site = {"site_id": "elm"}
    source = "burner" if mode == "heating" else "compressor"
    bench.fill("run.site", [site | {"kind": "furnace_ac", "altitude_ft": altitude_ft}])
    plate = {"source": source, "mode": mode, "stage": 1, "output_btuh": output_btuh}
    bench.fill("run.plate", [site | plate])
    probes = [(1, "supply_temp"), (2, "return_temp")]
    bench.fill(
        "channel.channel",
        [site | {"channel_id": n, "role": role, "is_primary": True} for n, role in probes],
    )
    bench.fill(
        "store.channel",
        [site | {"channel_id": n, "role": r, "accuracy": accuracy_f} for n, r in probes],
    )
    bench.fill("interval.steady_air")
    rise = {"mode": mode, "source": source, "stage": 1, "is_total": True, "rise_f": rise_f}
    bench.fill("measure.rise", [site | rise | {"steady_s": float(HOUR)}])
    bench.fill_thresholds({"elm": {}})
    bench.run("measure.airflow")
    (row,) = bench.rows("measure.airflow")
    return dict(row)


# ---------------------------------------------------------------------------- altitude


@pytest.mark.parametrize("air", ALTITUDES, ids=lambda a: f"{a['altitude_ft']:.0f}_ft")
def test_air_factor_is_the_standard_atmospheres_pressure(bench: Any, air: dict[str, float]) -> None:
    """Source: psychrolib, pressure over that at sea level; to 1e-4. The world's own ratio too."""
    ratio = air["psia"] / ALTITUDES[0]["psia"]
    row = airflow(bench, 60_000, 45, air["altitude_ft"])
    assert row["air_factor"] == pytest.approx(ratio, rel=1e-4)
    assert density_ratio(air["altitude_ft"]) == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize("air", ALTITUDES, ids=lambda a: f"{a['altitude_ft']:.0f}_ft")
def test_heat_carried_by_a_cfm_is_that_of_dry_air_at_70_f(
    bench: Any, air: dict[str, float]
) -> None:
    """1.08 x air factor against 60 x density x specific heat of dry air at 70 °F: psychrolib's
    ideal gas with 0.24 Btu/lb°F to 0.2 % (1.0784 at sea level: 0.075 lb/ft3 is a round number),
    CoolProp's real air with its own specific heat to 0.1 %.
    """
    output, rise = 60_000, 45
    row = airflow(bench, output, rise, air["altitude_ft"])
    per_cfm_f = output / (row["cfm"] * rise)
    ideal = 60 * air["ideal_dry_70f_lb_ft3"] * 0.24
    real = 60 * air["real_dry_70f_lb_ft3"] * air["real_dry_70f_btu_lb_f"]
    assert per_cfm_f == pytest.approx(ideal, rel=2e-3)
    assert per_cfm_f == pytest.approx(real, rel=1e-3)


def test_a_mile_up(bench: Any) -> None:
    """At 5,280 ft: 12.100 psia, and 0.888 Btu/h per CFM and °F (psychrolib); the handbook's 1.08
    times the factor is within 0.2 % of it.
    """
    (mile,) = [a for a in ALTITUDES if a["altitude_ft"] == 5280]
    assert mile["psia"] == pytest.approx(12.100, abs=5e-4)
    assert 60 * mile["ideal_dry_70f_lb_ft3"] * 0.24 == pytest.approx(0.888, abs=5e-4)
    row = airflow(bench, 88_800, 100, 5280)
    assert row["cfm"] == pytest.approx(1000, rel=2e-3)


@pytest.mark.parametrize(("altitude_ft", "ratio"), [(6000, 0.801), (7000, 0.772), (8000, 0.743)])
def test_published_ratios(bench: Any, altitude_ft: float, ratio: float) -> None:
    """Source: a public design guide for HVAC systems (2000), table of density by altitude."""
    assert round(airflow(bench, 60_000, 45, altitude_ft)["air_factor"], 3) == ratio


def test_psychrolib_still_says_so() -> None:
    """Where it is installed: air/altitude.csv is what it gives now, to the digits written."""
    psychrolib = pytest.importorskip("psychrolib")
    psychrolib.SetUnitSystem(psychrolib.IP)
    for air in ALTITUDES:
        psia = psychrolib.GetStandardAtmPressure(air["altitude_ft"])
        assert psia == pytest.approx(air["psia"], abs=1e-5)
        density = psychrolib.GetDryAirDensity(70.0, psia)
        assert density == pytest.approx(air["ideal_dry_70f_lb_ft3"], abs=1e-7)


def test_coolprop_still_says_so() -> None:
    """Where it is installed (zonetrail[public]), at the pressures of the file and 70 °F."""
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    for air in ALTITUDES:
        at = ("T", 529.67 / 1.8, "P", air["psia"] * 6894.757293168361, "Air")
        density = coolprop.PropsSI("D", *at) / 16.018463373960142
        assert density == pytest.approx(air["real_dry_70f_lb_ft3"], rel=1e-5)
        heat = coolprop.PropsSI("C", *at) / 4186.8
        assert heat == pytest.approx(air["real_dry_70f_btu_lb_f"], rel=1e-5)


# ---------------------------------------------------------------------------- worked examples


@pytest.mark.parametrize(
    ("output_btuh", "rise_f", "cfm"),
    [
        (80_000 * 0.80, 40, 1481),  # a supplier's training note
        (100_000 * 0.80, 60, 1235),  # 80,000 / 64.8, by hand
        (60_000, 45, 1235),  # 60,000 / 48.6, by hand
        (60_000, 46.3, 1200),  # one small zone open: 1,200 CFM rise 46.3 °F,
        (60_000, 92.6, 600),  # 600 CFM 92.6 °F, by hand
    ],
)
def test_airflow_of_a_furnace(bench: Any, output_btuh: float, rise_f: float, cfm: float) -> None:
    row = airflow(bench, output_btuh, rise_f)
    assert row["cfm"] == pytest.approx(cfm, rel=1e-3)
    assert row["cfm_low"] < cfm < row["cfm_high"]


def test_airflow_at_altitude(bench: Any) -> None:
    """Source: trade press on the altitude factors of ACCA Manual S: what 1,200 CFM does at sea
    level (36,000 Btu/h) takes about 1,430 at 5,000 ft; to 1 %. By hand: 54,000 Btu/h at 50 °F take
    1,000 and, at 5,000 ft, 1,000 / 0.8321 = 1,202.
    """
    rise = 36_000 / (1.08 * 1200)
    assert airflow(bench, 36_000, rise)["cfm"] == pytest.approx(1200, rel=1e-6)
    assert airflow(bench, 36_000, rise, 5000)["cfm"] == pytest.approx(1430, rel=0.01)
    assert airflow(bench, 54_000, 50)["cfm"] == pytest.approx(1000, rel=1e-6)
    assert airflow(bench, 54_000, 50, 5000)["cfm"] == pytest.approx(1202, abs=0.5)


def test_airflows_interval_takes_in_both_probes(bench: Any) -> None:
    """Root sum of squares, by hand: two probes of 0.5 °F are 0.7071 °F, 1.77 % of 40 and 3.93 % of
    18; with 10 % of the output 10.16 % and 10.74 %.
    """
    for rise, share in ((40, 0.1016), (18, 0.1074)):
        row = airflow(bench, 60_000, rise, accuracy_f=0.5)
        assert row["cfm_high"] / row["cfm"] - 1 == pytest.approx(share, abs=5e-5)
        assert 1 - row["cfm_low"] / row["cfm"] == pytest.approx(share, abs=5e-5)


@pytest.mark.parametrize("coil", table("coil.csv"), ids=lambda c: f"{c['altitude_ft']:.0f}_ft")
def test_cooling_airflow_lies_in_its_range(bench: Any, coil: dict[str, float]) -> None:
    """1,200 CFM of air at 80 °F and 67 °F wet bulb, cooled to 57 °F at 95 % humidity: psychrolib
    gives the output and its sensible share (0.743 at sea level, 0.645 at 5,280 ft), which the tool
    is not told. Its range for that output and split has the airflow in it.
    """
    total_btuh = 60 * 1200 / coil["entering_ft3_lb"] * coil["total_btu_lb"]
    split = coil["entering_f"] - coil["leaving_f"]
    row = airflow(bench, total_btuh, split, coil["altitude_ft"], mode="cooling")
    assert row["cfm"] is None
    assert row["cfm_low"] < 1200 < row["cfm_high"]
    share = {0: 0.743, 5280: 0.645}[int(coil["altitude_ft"])]
    assert coil["sensible_btu_lb"] / coil["total_btu_lb"] == pytest.approx(share, abs=1e-3)


# ---------------------------------------------------------------------------- fan and duct laws


def air_index(bench: Any, days: list[list[float]], static: list[float]) -> list[dict[str, Any]]:
    """Rows of measure.airflow_index; the first day is the one compared with.

    days : per local day the rises of its stretches (10 min each, burner, zone 1, outdoors 30 °F)
    static : supply static of each day
    """
    site = {"site_id": "elm"}
    stretches: list[dict[str, Any]] = []
    for n, rises in enumerate(days):
        for k, rise in enumerate(rises):
            at = (n * 24 + k) * HOUR * US
            stretches.append(
                site
                | {"steady_ts": at, "end_ts": at + 600 * US, "s": 600.0, "mode": "heating"}
                | {"source": "burner", "stage": 1, "n_zones": 1, "zones": "1", "rise_f": rise}
                | {"static_inwc": static[n], "outdoor_f": 30.0, "day": f"2026-01-{12 + n}"}
                | {"is_first": n == 0, "in_visit": False}
            )
    bench.fill("interval.steady_air", stretches)
    bench.fill("measure.coverage", [site | {"figure": "rise", "coverage": 1.0}])
    bench.fill_thresholds({"elm": {}})
    bench.run("measure.airflow_index")
    return list(bench.rows("measure.airflow_index"))


def test_air_index_follows_the_fan_laws(bench: Any) -> None:
    """Source: published example of the fan laws: from 1,500 to 1,200 rpm 12,500 CFM become 10,000
    and 3.125 in. w.c. 2.0. At constant output the rise goes as one over the airflow, so 48 °F
    become 60 and the index is 10,000 / 12,500 = 0.8; static goes with its square.
    """
    static = [0.5, 0.5 * 2.0 / 3.125]
    first, second = air_index(bench, [[48.0] * 3, [60.0] * 3], static)
    assert first["airflow_index"] == pytest.approx(1)
    assert second["airflow_index"] == pytest.approx(10_000 / 12_500)
    left = (static[0] + second["static_change_inwc"]) / static[0]
    assert second["airflow_index"] ** 2 == pytest.approx(left)


def test_half_the_air_on_the_duct_curve(bench: Any) -> None:
    """By hand: 1,200 CFM at 0.50 in. w.c. are 600 at 0.125 on unchanged ducts, and 60,000 Btu/h
    rise 46.3 and 92.6 °F on them.
    """
    _, second = air_index(bench, [[46.3] * 3, [92.6] * 3], [0.5, 0.125])
    assert second["airflow_index"] == pytest.approx(600 / 1200)
    assert second["static_change_inwc"] == pytest.approx(-0.375)


def test_the_sign_table_reads_a_slowed_blower_as_the_return_side(bench: Any) -> None:
    """The published example of the fan laws again, as two sets of days: rise up by 12,500 / 10,000
    and static down by 1.125 in. w.c. read as the return side, where a weak blower stands.
    """
    for table in bench.stages["measure.sign"].reads:
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
                "steady_ts": (n + 24 * is_last) * HOUR * US,
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
    bench.run("measure.sign")
    [sign] = bench.rows("measure.sign")
    assert sign["reads"] == "return side"


# ---------------------------------------------------------------------------- rooms


def test_degree_hours(bench: Any) -> None:
    """By hand: 74 °F for three hours, set to 70 with a band of 2: 6 degree-hours."""
    for table in bench.stages["measure.zone_comfort"].reads:
        bench.fill(table)
    bench.fill("run.site", [{"site_id": "elm", "has_heat_pump": False}])
    bench.fill_thresholds({"elm": {}})
    zone = {"site_id": "elm", "zone": 1}
    bench.fill("interval.call", [zone | {"mode": "cooling", "start_ts": 0, "end_ts": HOUR * US}])
    bench.fill(
        "interval.zone_minute",
        [
            zone
            | {"ts": n * 60 * US, "temp_f": 74.0, "cool_setpoint_f": 70.0}
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
