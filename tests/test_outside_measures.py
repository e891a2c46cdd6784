"""Measures against other people's code and published values; the source stands beside each check.

- step functions integrated over time: `traces` (exact, time-weighted)
- which times two things share: `portion` (interval algebra, half-open)
- cycles an hour against runtime: the conventional thermostat's curve (Henderson and Rengarajan
  1996, as written in the US DOE's open building simulation engine)
- days of 23, 24 and 25 hours: the zone database through `zoneinfo`, and 15 U.S.C. 260a
- units: `pint`, in test_ingest_laws.py
"""

from __future__ import annotations

import datetime as dt
import random
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import portion
import pytest
import traces

from pipeline.run_tables import local_days

MINUTE = 60
HOUR = 3600
US = 1_000_000

Steps = list[tuple[float, float, bool]]


def steps(until_s: float, on: list[tuple[float, float]]) -> Steps:
    """On at these stretches, off between them, known from 0 to `until_s`."""
    edges = [0.0, *(e for pair in on for e in pair), until_s]
    return [(a, b, n % 2 == 1) for n, (a, b) in enumerate(pairwise(edges)) if b > a]


def random_on(rng: random.Random, until_s: int, shortest_s: int = 16) -> list[tuple[float, float]]:
    """Stretches of whole seconds, on and off each longer than chatter."""
    on = []
    at = rng.randrange(shortest_s, 600)
    while True:
        length = rng.randrange(shortest_s, 900)
        if at + length >= until_s - shortest_s:
            return on
        on.append((float(at), float(at + length)))
        at += length + rng.randrange(shortest_s, 1500)


def series(stretches: list[tuple[float, float]], value: float = 1) -> traces.TimeSeries:
    made = traces.TimeSeries(default=0)
    for a, b in stretches:
        made[a] = value
        made[b] = 0
    return made


def by(rows: list[dict[str, Any]], *names: str) -> dict[Any, dict[str, Any]]:
    keyed = {tuple(r[n] for n in names): r for r in rows}
    return {k[0] if len(names) == 1 else k: r for k, r in keyed.items()}


# ---------------------------------------------------------------------------- traces


def test_runtime_is_the_step_functions_integral(bench: Any, site_log: Any) -> None:
    """Source: traces 0.7; on from minute 5 to 12.5 and 20 to 21 is 8.5 of 60 minutes."""
    on = [(5 * MINUTE, 12.5 * MINUTE), (20 * MINUTE, 21 * MINUTE)]
    share = series(on).distribution(start=0, end=HOUR)[1]
    assert share == pytest.approx(8.5 / 60)
    log = site_log(window=(0, HOUR), states={("output_w1", None): steps(HOUR, on)})
    bench.measure({"elm": log}, "measure.runtime")
    (row,) = bench.rows("measure.runtime")
    assert (row["on_s"], row["n_start"]) == (510, 2)
    assert row["on_s"] == pytest.approx(share * HOUR)


def test_runtime_of_random_logs_by_day_and_in_all(bench: Any, site_log: Any) -> None:
    """Source: traces; three local days of which the middle has 23 hours."""
    start = dt.datetime(2026, 3, 7, 12, tzinfo=ZoneInfo("America/Denver"))
    until_s = 48 * HOUR
    logs, truth = {}, {}
    for seed in range(8):
        rng = random.Random(seed)
        on = random_on(rng, until_s)
        site_id = f"site-{seed}"
        truth[site_id] = series(on)
        logs[site_id] = site_log(
            window=(0, until_s),
            states={("output_w1", None): steps(until_s, on)},
            timezone="America/Denver",
            origin_ts=int(start.timestamp()) * US,
        )
    bench.measure(logs, "measure.runtime_day")
    for row in bench.rows("measure.runtime"):
        share = truth[row["site_id"]].distribution(start=0, end=until_s)[1]
        assert row["on_s"] == pytest.approx(share * until_s)
    for row in bench.rows("measure.runtime_day"):
        midnight = dt.datetime.combine(row["day"], dt.time(), ZoneInfo("America/Denver"))
        following = dt.datetime.combine(
            row["day"] + dt.timedelta(days=1), dt.time(), ZoneInfo("America/Denver")
        )
        a = max(0.0, midnight.timestamp() - start.timestamp())
        b = min(float(until_s), following.timestamp() - start.timestamp())
        share = truth[row["site_id"]].distribution(start=a, end=b)[1]
        assert row["on_s"] == pytest.approx(share * (b - a))
        assert row["day_s"] == pytest.approx(b - a)


def _static_pieces(at: list[tuple[float, float]], until_s: float) -> list[dict[str, Any]]:
    """A step-shaped static as pieces.

    The tool's static is linear between two readings; a step function is the special case in which
    each piece begins and ends with the same value, so it is given as pieces, not as readings.
    """
    ends = [t for t, _ in at[1:]] + [until_s]
    return [
        {
            "role": "static_pressure",
            "start_ts": round(a * US),
            "end_ts": round(b * US),
            "start_value": v,
            "end_value": v,
        }
        for (a, v), b in zip(at, ends, strict=True)
    ]


def _above_s(
    bench: Any, pieces: list[dict[str, Any]], fan: Steps, target_inwc: float
) -> tuple[float, float]:
    """Fan-on seconds, and of them those above the target, by interval.static_piece."""
    site = {"site_id": "elm"}
    bench.fill("signal.piece", [site | p for p in pieces])
    bench.fill(
        "interval.condition",
        [
            site
            | {
                "start_ts": round(a * US),
                "end_ts": round(b * US),
                "fan_on": is_on,
                "class": "heating" if is_on else "off",
                "stage": 1,
                "in_visit": False,
                "settled_ts": 0,
            }
            for a, b, is_on in fan
        ],
    )
    setting = {"name": "static_target_inwc", "value": target_inwc}
    bench.fill("run.setting", [site | setting | {"start_ts": -1, "end_ts": 10**18}])
    bench.fill_thresholds({"elm": {}})
    bench.run("interval.static_piece")
    on = [r for r in bench.rows("interval.static_piece") if r["fan_on"]]
    fan_s = sum(r["end_ts"] - r["start_ts"] for r in on) / US
    return fan_s, sum(r["above_s"] for r in on)


def test_time_above_target_is_strictly_above(bench: Any) -> None:
    """Source: traces; 0.4, 0.9 from minute 10, 0.8 from 25, 0.5 from 26: 900 s over 0.8, 960 s with
    the minute at it.
    """
    at = [(0, 0.4), (10 * MINUTE, 0.9), (25 * MINUTE, 0.8), (26 * MINUTE, 0.5)]
    static = traces.TimeSeries(dict(at))
    shares = static.distribution(start=0, end=HOUR)
    over = sum(share for value, share in shares.items() if value > 0.8) * HOUR
    at_or_over = sum(share for value, share in shares.items() if value >= 0.8) * HOUR
    assert (over, at_or_over) == (pytest.approx(900), pytest.approx(960))

    pieces = _static_pieces(at, HOUR)
    fan = steps(HOUR, [(0, HOUR)])
    assert _above_s(bench, pieces, fan, 0.8) == (HOUR, pytest.approx(over))
    # a target a hair lower takes in the minute that stood at 0.8
    assert _above_s(bench, pieces, fan, 0.8 - 1e-9)[1] == pytest.approx(at_or_over)


@pytest.mark.parametrize("seed", range(6))
def test_time_above_target_while_the_fan_runs(bench: Any, seed: int) -> None:
    """Source: traces; random steps of static and of the fan, whose changes cut each other."""
    rng = random.Random(seed)
    until_s = 4 * HOUR
    edges = sorted(rng.sample(range(1, until_s), 60))
    at = [(t, rng.randrange(0, 20) / 20) for t in [0, *edges]]
    fan_on = random_on(rng, until_s)
    static, fan = traces.TimeSeries(dict(at)), series(fan_on)
    both = static.operation(fan, lambda s, f: s if f else -1.0)
    shares = both.distribution(start=0, end=until_s)
    for target in (0.25, 0.5, 0.9):
        fan_s, above_s = _above_s(
            bench, _static_pieces(at, until_s), steps(until_s, fan_on), target
        )
        expected = sum(share for value, share in shares.items() if value > target) * until_s
        assert above_s == pytest.approx(expected, abs=1e-3)
        assert fan_s == pytest.approx(sum(b - a for a, b in fan_on))


# ---------------------------------------------------------------------------- portion


def _as_set(stretches: list[tuple[float, float]]) -> portion.Interval:
    return portion.Interval(*(portion.closedopen(a, b) for a, b in stretches))


def _length_s(intervals: portion.Interval) -> float:
    return sum(i.upper - i.lower for i in intervals if not i.empty)


def _overlaps(
    bench: Any, site_log: Any, until_s: float, equipment: Any, calls: dict[int, Any]
) -> dict[str, float]:
    """Seconds with heat and a call, a call alone, heat alone, and by number of zones calling."""
    states = {("output_w1", None): steps(until_s, equipment)}
    states |= {("zone_call_w1", zone): steps(until_s, on) for zone, on in calls.items()}
    bench.measure({"elm": site_log(window=(0, until_s), states=states)}, "interval.condition")
    found = {"both": 0.0, "call only": 0.0, "equipment only": 0.0}
    for row in bench.rows("interval.condition"):
        length_s = (row["end_ts"] - row["start_ts"]) / US
        heats, n = row["class"] == "heating", row["n_heat"]
        if heats or n:
            key = "both" if heats and n else "call only" if n else "equipment only"
            found[key] += length_s
        found[f"{n} zones"] = found.get(f"{n} zones", 0.0) + length_s
    return found


def test_call_and_output_overlaps(bench: Any, site_log: Any) -> None:
    """Source: portion 2.6; equipment on minutes [5, 12.5) and [20, 21), call [0, 6) and [20, 40):
    both 120 s, call alone 1440 s, equipment alone 390 s.
    """
    equipment = [(5 * MINUTE, 12.5 * MINUTE), (20 * MINUTE, 21 * MINUTE)]
    call = [(0, 6 * MINUTE), (20 * MINUTE, 40 * MINUTE)]
    e, c = _as_set(equipment), _as_set(call)
    assert [_length_s(x) for x in (e & c, c - e, e - c)] == [120, 1440, 390]
    found = _overlaps(bench, site_log, HOUR, equipment, {1: call})
    assert (found["both"], found["call only"], found["equipment only"]) == (120, 1440, 390)


@pytest.mark.parametrize("seed", range(4))
def test_random_overlaps_of_an_output_and_three_zones(bench: Any, site_log: Any, seed: int) -> None:
    """Source: portion; unions and intersections of random half-open intervals."""
    rng = random.Random(seed)
    until_s = 8 * HOUR
    equipment = random_on(rng, until_s)
    calls = {zone: random_on(rng, until_s) for zone in (1, 2, 3)}
    found = _overlaps(bench, site_log, until_s, equipment, calls)
    e = _as_set(equipment)
    a, b, c = (_as_set(on) for on in calls.values())
    union = a | b | c
    assert found["both"] == pytest.approx(_length_s(e & union))
    assert found["call only"] == pytest.approx(_length_s(union - e))
    assert found["equipment only"] == pytest.approx(_length_s(e - union))
    two_or_more = (a & b) | (a & c) | (b & c)
    assert found.get("3 zones", 0) == pytest.approx(_length_s(a & b & c))
    assert found.get("2 zones", 0) == pytest.approx(_length_s(two_or_more - (a & b & c)))
    assert found["1 zones"] == pytest.approx(_length_s(union - two_or_more))


# ---------------------------------------------------------------------------- the cycle curve


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
        (360, 1440, 3.125),  # 6 min on, 24 min off
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


# ---------------------------------------------------------------------------- days by the law

# 15 U.S.C. 260a: clocks change at 02:00, second Sunday of March and first Sunday of November; the
# instants are the zone database's.
CHANGES = {
    "America/New_York": ("2026-03-08T07:00+00:00", "2026-11-01T06:00+00:00"),
    "America/Chicago": ("2026-03-08T08:00+00:00", "2026-11-01T07:00+00:00"),
    "America/Denver": ("2026-03-08T09:00+00:00", "2026-11-01T08:00+00:00"),
    "America/Los_Angeles": ("2026-03-08T10:00+00:00", "2026-11-01T09:00+00:00"),
    "America/Anchorage": ("2026-03-08T11:00+00:00", "2026-11-01T10:00+00:00"),
    "America/Phoenix": None,
    "Pacific/Honolulu": None,
}


@pytest.mark.parametrize("timezone", CHANGES)
def test_days_have_the_hours_the_law_gives_them(bench: Any, site_log: Any, timezone: str) -> None:
    zone = ZoneInfo(timezone)
    expected = [(dt.date(2026, 3, 8), 24), (dt.date(2026, 11, 1), 24)]
    if instants := CHANGES[timezone]:
        expected = [(dt.date(2026, 3, 8), 23), (dt.date(2026, 11, 1), 25)]
        for iso in instants:
            change = dt.datetime.fromisoformat(iso)
            before, after = (
                (change + dt.timedelta(seconds=s)).astimezone(zone).utcoffset() for s in (-1, 0)
            )
            assert before != after, iso
    for date, hours in expected:
        noon = int(dt.datetime.combine(date, dt.time(12), zone).timestamp()) * US
        ((day, start_ts, end_ts),) = local_days(timezone, noon, noon + 1)
        assert (day, (end_ts - start_ts) // US) == (date, hours * HOUR)
        # an output that is always on is on for just that long, and read every 5 min gives so many
        # readings: 276, 288 or 300
        log = site_log(
            window=(0, 72 * HOUR),
            states={("output_g", None): [(0, 72 * HOUR, True)]},
            timezone=timezone,
            origin_ts=start_ts - 24 * HOUR * US,
        )
        bench.measure({"elm": log}, "measure.runtime_day")
        found = by(bench.rows("measure.runtime_day"), "day")[date]
        assert (found["on_s"], found["valid_s"], found["day_s"]) == (hours * HOUR,) * 3
        assert found["on_s"] / 300 == {23: 276, 24: 288, 25: 300}[hours]


def test_a_run_through_the_hour_that_comes_twice(bench: Any, site_log: Any) -> None:
    """From 00:50 EDT to 01:10 EST on 2026-11-01 in New York is 80 minutes, not 20 (zoneinfo)."""
    zone = ZoneInfo("America/New_York")
    start = dt.datetime(2026, 11, 1, 0, 50, tzinfo=zone)
    end = dt.datetime(2026, 11, 1, 1, 10, fold=1, tzinfo=zone)
    length_s = end.timestamp() - start.timestamp()
    assert length_s == 80 * MINUTE
    log = site_log(
        window=(-HOUR, 3 * HOUR),
        states={
            ("output_w1", None): [
                (-HOUR, 0, False),
                (0, length_s, True),
                (length_s, 3 * HOUR, False),
            ]
        },
        timezone="America/New_York",
        origin_ts=int(start.timestamp()) * US,
    )
    bench.measure({"elm": log}, "measure.runtime_day")
    assert [r["on_s"] for r in bench.rows("interval.output_run")] == [length_s]
    assert by(bench.rows("measure.runtime_day"), "day")[dt.date(2026, 11, 1)]["on_s"] == length_s
