"""When a static zero moved, where rests lie days apart: by the runs between, or not at all.

Tables are what the trust stages would have made of such a log; the working stands beside each case.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from pipeline.measures import check_static
from tests.channel_cases import HOUR, START, look, made, runs

STATIC = [("static_pressure", None, "Pa")]
TUBE = [look(step_value=0.0004, median_value=0.3, high_value=0.5, low_value=0.0)]


def rests(levels: list[float], later_h: float) -> list[dict[str, Any]]:
    """Steady rests of an hour, one every four hours from hour 0 on; from the sixth on later."""
    out = []
    for k, level in enumerate(levels):
        start = START + round((k * 4 if k < 5 else later_h + (k - 5) * 4) * HOUR)
        row = {"channel_id": 1, "start_ts": start, "end_ts": start + HOUR, "n_minute": 60}
        out.append(row | {"static_inwc": level, "spread_inwc": 0.001})
    return out


@pytest.mark.parametrize("is_shifted_first", [False, True])
def test_a_shift_in_days_without_a_rest_is_dated_by_the_runs(is_shifted_first: bool) -> None:
    """Rests on the first day and from the sixth on; a run an hour, the zero moved at hour 60.

    Static in runs is 0.20 to 0.25 in. w.c. by what calls.
    """
    levels = [0.0] * 5 + [0.1] * 5
    running = 0.1 * (np.arange(168) >= 60)
    if is_shifted_first:
        levels, running = levels[::-1], 0.1 - running
    by_calls = np.random.default_rng(3).uniform(0.2, 0.25, 168)
    hourly = runs(168, static_inwc=(by_calls + running).tolist())
    site = made(STATIC, trust_look=TUBE, trust_rest=rests(levels, 120.0), trust_run=hourly)
    (problem,) = check_static.problems(site)
    moved = problem.end_ts if is_shifted_first else problem.start_ts
    assert abs(moved - START - 60 * HOUR) <= 12 * HOUR
    key = "zero_shift_until" if is_shifted_first else "zero_shift_from"
    told = dict(line.split(" = ") for line in str(problem.correction).splitlines())[key]
    said = datetime.fromisoformat(told.strip('"')).replace(tzinfo=UTC).timestamp() * 1e6
    assert abs(said - START - 60 * HOUR) <= HOUR
    # the doubtful stretch is left out, whichever side of it is the likely one
    assert said <= moved if is_shifted_first else moved <= said


def test_runs_that_differ_by_more_than_the_step_do_not_date_it() -> None:
    """As above, but what calls moves static by 0.5 in. w.c.: left out, and no line is offered."""
    by_calls = np.random.default_rng(3).uniform(0.2, 0.7, 168)
    hourly = runs(168, static_inwc=(by_calls + 0.1 * (np.arange(168) >= 60)).tolist())
    levels = rests([0.0] * 5 + [0.1] * 5, 120.0)
    site = made(STATIC, trust_look=TUBE, trust_rest=levels, trust_run=hourly)
    (problem,) = check_static.problems(site)
    assert problem.is_cut
    assert problem.start_ts < START + 60 * HOUR
    assert problem.correction is None


@pytest.mark.parametrize(("gap_h", "is_offered"), [(11, True), (12, True), (13, False)])
def test_a_shift_that_cannot_be_dated_to_half_a_day_is_offered_no_line(
    gap_h: int, is_offered: bool
) -> None:
    """The last sound rest ends at hour 17; without runs nothing tells when the zero moved."""
    levels = rests([0.0] * 5 + [0.1] * 5, 17.0 + gap_h)
    (problem,) = check_static.problems(made(STATIC, trust_look=TUBE, trust_rest=levels))
    assert problem.is_cut
    assert problem.start_ts == START + 17 * HOUR
    assert (problem.correction is not None) is is_offered
