"""Which times two things share, against `portion` 2.6: interval algebra, half-open."""

from __future__ import annotations

import random
from typing import Any

import portion
import pytest

from tests.outside.stretches import HOUR, MINUTE, US, random_on, steps


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
