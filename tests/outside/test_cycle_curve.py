"""Cycles an hour against runtime: the conventional thermostat's curve.

Source: Henderson and Rengarajan 1996, as written in the US DOE's open building simulation engine;
N = 4 Nmax X (1 - X), on for 3600 / (4 Nmax (1 - X)) s and off for 3600 / (4 Nmax X) s.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.outside.stretches import HOUR, Steps, by, steps


def _fit(bench: Any, points: list[tuple[float, float]]) -> float:
    """What measure.cycle_fit makes of (X, N); N need not be whole for the formula."""
    bench.con.execute("create schema if not exists measure")
    bench.con.execute(
        "create or replace table measure.cycle_hour as select 'elm' as site_id, 'burner' as what,"
        " 'heating' as mode, n as hour_ts, 0.0::double as runtime_frac, 0.0::double as n_start"
        " from range(0) t(n)"
    )
    for hour, (x, n) in enumerate(points):
        bench.con.execute(
            "insert into measure.cycle_hour values ('elm', 'burner', 'heating', ?, ?, ?)",
            [hour, x, n],
        )
    bench.fill("run.zone")
    bench.fill_thresholds({"elm": {"cycle_fit_min_hours": 1}})
    bench.run("measure.cycle_fit")
    (row,) = bench.rows("measure.cycle_fit")
    return float(row["nmax_per_h"])


def test_noise_free_points_of_the_curve_give_nmax_back(bench: Any) -> None:
    """Source: the curve N = 4 Nmax X (1 - X) (Henderson and Rengarajan 1996; DOE's engine gives its
    on and off times): on 3600 / (4 Nmax (1 - X)) s, off 3600 / (4 Nmax X) s.
    """
    nmax, x = 3, 0.25
    on_s, off_s = HOUR / (4 * nmax * (1 - x)), HOUR / (4 * nmax * x)
    assert (on_s, off_s) == (400, 1200)
    assert HOUR / (on_s + off_s) == 2.25
    assert _fit(bench, [(x, 2.25)]) == pytest.approx(3)
    # N at X 0.25, 0.3, 0.5, 0.7, 0.75: the curve's own values
    curve = [(x, 4 * nmax * x * (1 - x)) for x in (0.25, 0.3, 0.5, 0.7, 0.75)]
    assert [n for _, n in curve] == pytest.approx([2.25, 2.52, 3, 2.52, 2.25])
    assert _fit(bench, curve) == pytest.approx(3.000)


@pytest.mark.parametrize(
    ("on_min", "off_min", "nmax"),
    [
        # rating procedure's cyclic test of a compressor, single speed and low stage (AHRI 210/240
        # and 10 CFR 430 appendix M; the minutes are from memory): Nmax = 15 (1/on + 1/off)
        (6, 24, 3.125),
        (12, 48, 1.5625),
        # furnace and boiler efficiency test cycles (ASHRAE 103; the minutes are from memory, but
        # both give X 0.2254 and a round Nmax)
        (3.87, 13.3, 5.0),
        (9.68, 33.26, 2.0),
    ],
)
def test_standard_test_cycles_lie_on_the_curve(
    bench: Any, on_min: float, off_min: float, nmax: float
) -> None:
    x, n = on_min / (on_min + off_min), 60 / (on_min + off_min)
    assert 15 * (1 / on_min + 1 / off_min) == pytest.approx(nmax, rel=2e-3)
    assert _fit(bench, [(x, n)]) == pytest.approx(nmax, rel=2e-3)


def _cycling(on_s: float, off_s: float, hours: int) -> Steps:
    period = on_s + off_s
    on = [(k * period, k * period + on_s) for k in range(int(hours * HOUR / period))]
    return steps(hours * HOUR, [(a + 1, b + 1) for a, b in on if b + 1 < hours * HOUR])


@pytest.mark.parametrize(
    ("on_s", "off_s", "nmax"),
    [
        (600, 600, 3.0),  # X 0.5: N is Nmax
        (360, 1440, 3.125),  # compressor's rating cycle, from memory: 6 min on, 24 min off
        (720, 2880, 1.5625),  # its low stage, from memory: 12 min on, 48 min off
    ],
)
def test_a_thermostat_that_cycles_by_the_curve_is_fitted(
    bench: Any, site_log: Any, on_s: float, off_s: float, nmax: float
) -> None:
    """From states to the fit, whole hours and whole starts."""
    log = site_log(
        window=(0, 24 * HOUR),
        states={
            ("output_w1", None): _cycling(on_s, off_s, 24),
            ("zone_call_w1", 1): _cycling(on_s, off_s, 24),
        },
    )
    bench.measure({"elm": log}, "measure.cycle_fit")
    fits = by(bench.rows("measure.cycle_fit"), "what")
    for what in ("burner", "any call", "zone 1"):
        assert fits[what]["nmax_per_h"] == pytest.approx(nmax, rel=0.01)
        assert fits[what]["n_hour"] == 24


@pytest.mark.parametrize(
    ("on_s", "off_s", "nmax", "hours"),
    [
        # nine cycles in four hours: 3 starts and 1200 s on in the first, 2 and 800 s in the others
        (400, 1200, 3.0, [(1 / 3, 3), (2 / 9, 2), (2 / 9, 2), (2 / 9, 2)]),
        # five cycles in two hours: 3 starts and 2160 s on, then 2 starts and 1440 s on
        (720, 720, 2.5, [(0.6, 3), (0.4, 2)]),
    ],
)
def test_hours_that_cut_cycles_move_the_fit_a_little(
    bench: Any, site_log: Any, on_s: float, off_s: float, nmax: float, hours: list[Any]
) -> None:
    """Where no whole number of cycles fills an hour, hours scatter about the curve and the fit
    comes out a few percent high: 3.06 for 3, 2.60 for 2.5, by sum(N z) / sum(z^2), z = 4 X (1 - X).
    """
    log = site_log(window=(0, 24 * HOUR), states={("output_w1", None): _cycling(on_s, off_s, 24)})
    bench.measure({"elm": log}, "measure.cycle_fit")
    (row,) = [r for r in bench.rows("measure.cycle_fit") if r["what"] == "burner"]
    points = [(n, 4 * x * (1 - x)) for x, n in hours]
    by_hand = sum(n * z for n, z in points) / sum(z * z for _, z in points)
    # the log's last cycle is cut: half a percent
    assert row["nmax_per_h"] == pytest.approx(by_hand, rel=5e-3)
    assert nmax < by_hand < 1.05 * nmax


def test_the_furnace_test_cycle_from_states_to_the_fit(bench: Any, site_log: Any) -> None:
    """ASHRAE 103, minutes from memory: 3.87 on and 13.3 off are Nmax 5.00. No whole number of such
    cycles fills an hour, so the fit over hours is held to 5 %, and X of all hours to 0.2254.
    """
    log = site_log(window=(0, 240 * HOUR), states={("output_w1", None): _cycling(232.2, 798, 240)})
    bench.measure({"elm": log}, "measure.cycle_fit")
    hours = [r for r in bench.rows("measure.cycle_hour") if r["what"] == "burner"]
    assert sum(r["runtime_frac"] for r in hours) / 240 == pytest.approx(0.2254, rel=2e-3)
    assert sum(r["n_start"] for r in hours) / 240 == pytest.approx(3.494, rel=5e-3)
    (row,) = [r for r in bench.rows("measure.cycle_fit") if r["what"] == "burner"]
    assert row["nmax_per_h"] == pytest.approx(5.0, rel=0.05)


def test_hours_not_days_are_fitted(bench: Any, site_log: Any) -> None:
    """Derived from the curve's bend: 12 h at rest and 12 h at X 0.5 of Nmax 3 are 36 starts, where
    the day's mean X of 0.25 would stand for 54 (24 x 2.25). By hours the fit is 3, by that day 2.
    """
    half = [s for s in _cycling(600, 600, 24) if s[0] < 12 * HOUR]
    half[-1] = (half[-1][0], 24 * HOUR, False)
    bench.measure(
        {"elm": site_log(window=(0, 24 * HOUR), states={("output_w1", None): half})},
        "measure.cycle_fit",
    )
    (row,) = [r for r in bench.rows("measure.cycle_fit") if r["what"] == "burner"]
    assert (row["nmax_per_h"], row["n_hour"]) == (pytest.approx(3.0, rel=0.01), 12)
    (day,) = bench.rows("measure.runtime")
    x = day["on_s"] / (24 * HOUR)
    assert (day["n_start"], x) == (36, pytest.approx(0.25, rel=1e-3))
    assert day["n_start"] / 24 / (4 * x * (1 - x)) == pytest.approx(2.0, rel=2e-3)


def test_equipment_sees_the_or_of_its_zones(bench: Any, site_log: Any) -> None:
    """Derived: two calls that overlap are one demand, two with a rest between are two."""
    calls = {
        ("zone_call_w1", 1): steps(2 * HOUR, [(60, 660), (3660, 4260)]),
        ("zone_call_w1", 2): steps(2 * HOUR, [(360, 960), (4380, 4860)]),
    }
    bench.measure({"elm": site_log(window=(0, 2 * HOUR), states=calls)}, "measure.cycle_hour")
    rows = [r for r in bench.rows("measure.cycle_hour") if r["what"] == "any call"]
    # minutes 1 to 11 and 6 to 16: one call of 15; minutes 61 to 71 and 73 to 81: two of 18 together
    assert [(r["n_start"], round(r["runtime_frac"] * 60, 6)) for r in rows] == [(1, 15), (2, 18)]
