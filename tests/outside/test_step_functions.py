"""Time integrals against `traces` 0.7 (MIT): exact, time-weighted step functions."""

from __future__ import annotations

import datetime as dt
import random
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import traces

from tests.outside.stretches import HOUR, MINUTE, US, Steps, random_on, steps


def series(stretches: list[tuple[float, float]], value: float = 1) -> traces.TimeSeries:
    made = traces.TimeSeries(default=0)
    for a, b in stretches:
        made[a] = value
        made[b] = 0
    return made


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
    """Source: traces; random steps of static and of the fan, whose changes cut each other: time
    above the target, above it by 0.1 and by 0.2 in. w.c., and the area over it.
    """
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
        on = [r for r in bench.rows("interval.static_piece") if r["fan_on"]]
        for column, over in (("above_more_s", 0.1), ("above_far_s", 0.2)):
            far = sum(share for value, share in shares.items() if value > target + over) * until_s
            assert sum(r[column] for r in on) == pytest.approx(far, abs=1e-3)
        area = sum(max(0.0, value - target) * share for value, share in shares.items()) * until_s
        assert sum(r["area_inwc_s"] for r in on) == pytest.approx(area, abs=1e-3)
        assert fan_s == pytest.approx(sum(b - a for a, b in fan_on))
