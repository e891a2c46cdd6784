"""Each check of static on cases made by hand: just under, at and just over its judgement number.

Tables are what the trust stages would have made of such a log; the working stands beside each.
"""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.measures import check_static
from pipeline.measures.trouble import Problem
from tests.channel_cases import HOUR, MINUTE, START, codes, look, made, runs

STATIC = [("static_pressure", None, "Pa")]
TUBE = [look(step_value=0.0004, median_value=0.3, high_value=0.5, low_value=0.0)]


def answers(values: list[float]) -> list[dict[str, Any]]:
    return runs(len(values), static_before_inwc=0.0, static_inwc=values)


@pytest.mark.parametrize(
    ("values", "is_found"),
    [
        ([0.0] * 4 + [0.3] * 9, False), ([0.0] * 5 + [0.3] * 9, True),
        ([0.0] * 6 + [0.3] * 9, True),
        ([0.3] * 9 + [0.0099] * 5, True), ([0.3] * 9 + [0.01] * 5, False),
        # not in a row
        ([0.0, 0.3, 0.0, 0.3, 0.0, 0.3, 0.0, 0.3, 0.0, 0.3, 0.3, 0.3], False),
    ],
)  # fmt: skip
def test_flat_static(values: list[float], is_found: bool) -> None:
    site = made(STATIC, trust_look=TUBE, trust_run=answers(values))
    assert ("static-flat" in codes(check_static.problems(site))) is is_found


@pytest.mark.parametrize(
    ("answer", "line"),
    [
        # 0.3 with the other sign; under 0.04 the unit is in question first
        (-0.3, "inverted = true"), (-0.04, "inverted = true"), (0.04, None), (3.0, None),
        # told Pa, was in. w.c.: 0.3 in. w.c. is told as 0.3 Pa = 0.0012 in. w.c.
        (0.3 / 249.089, 'unit = "inwc"'),
        # told Pa, was kPa: 0.1 kPa = 0.4 in. w.c. is told as 0.1 Pa
        (0.1 / 249.089, 'unit = "kPa"'),
        # 0.2 in. w.c. is half of usual, 0.2 kPa = 0.8 in. w.c. twice: either may be
        (0.2 / 249.089, ""),
    ],
)  # fmt: skip
def test_static_in_another_unit_or_with_another_sign(answer: float, line: str | None) -> None:
    site = made(STATIC, trust_look=[look(step_value=0.0)], trust_run=answers([answer] * 6))
    lines = [p.correction or "" for p in check_static.problems(site) if p.code == "unit-mismatch"]
    assert lines == ([] if line is None else [line])


def rests(levels: list[float], **more: Any) -> list[dict[str, Any]]:
    """A rest every ten hours, two hours long."""
    out = []
    for k, level in enumerate(levels):
        start = START + k * 10 * HOUR
        row = {"channel_id": 1, "start_ts": start, "end_ts": start + 2 * HOUR, "n_minute": 100}
        out.append(row | {"static_inwc": level, "spread_inwc": 0.001} | more)
    return out


@pytest.mark.parametrize(
    ("levels", "more", "is_found"),
    [
        ([0.08] * 4, {}, False), ([0.08] * 5, {}, True), ([0.08] * 6, {}, True),
        ([0.03] * 6, {}, False), ([0.031] * 6, {}, True), ([-0.031] * 6, {}, True),
        ([0.08] * 6, {"spread_inwc": 0.01}, True), ([0.08] * 6, {"spread_inwc": 0.0101}, False),
        ([0.08] * 6, {"n_minute": 4}, False), ([0.08] * 6, {"n_minute": 5}, True),
    ],
)  # fmt: skip
def test_shifted_zero(levels: list[float], more: dict[str, Any], is_found: bool) -> None:
    site = made(STATIC, trust_look=TUBE, trust_rest=rests(levels, **more))
    assert ("static-zero-shifted" in codes(check_static.problems(site))) is is_found


@pytest.mark.parametrize(
    ("levels", "is_found"),
    [
        # half of the rests within 0.01 in. w.c.: a zero, and a fan-only speed now and then
        ([0.16, 0.10, 0.19, 0.10, 0.13, 0.10], True),
        ([0.16, 0.10, 0.19, 0.105, 0.13, 0.1101], False),
        ([0.16, 0.10, 0.19, 0.105, 0.13, 0.1099], True),
    ],
)
def test_static_that_rests_elsewhere_each_time_is_a_fan_that_runs(
    levels: list[float], is_found: bool
) -> None:
    site = made(STATIC, trust_look=TUBE, trust_rest=rests(levels))
    assert ("static-zero-shifted" in codes(check_static.problems(site))) is is_found


def test_a_shift_is_dated_and_offered_in_the_channels_unit() -> None:
    """Sound until the fifth rest ends, Tuesday 16:00 + 2 h = 18:00; 0.1 in. w.c. = 24.9 Pa."""
    # rests begin at 0, 10, 20, 30, 40 h after Monday 0:00: the fifth ends at 42 h, Tuesday 18:00
    site = made(STATIC, trust_look=TUBE, trust_rest=rests([0.0] * 5 + [0.1] * 5))
    (problem,) = check_static.problems(site)
    assert problem.start_ts == START + 42 * HOUR
    assert problem.correction == 'zero_shift = 24.91\nzero_shift_from = "2026-01-13T18:00:00"'


def test_what_the_outputs_clock_dates_is_told_by_the_channels_own() -> None:
    """As above, static's clock half an hour ahead: Tuesday 18:00 is stamped 18:30.

    Flat: the run before the silent ones ends at 8:20 (runs are hourly, 20 min long): 8:50.
    """
    ahead = [{"channel_id": 1, "left_us": HOUR // 2, "gains": 0.0, "middle_ts": START}]
    site = made(
        STATIC,
        trust_look=TUBE,
        trust_rest=rests([0.0] * 5 + [0.1] * 5),
        trust_clock_left=ahead,
    )
    (problem,) = check_static.problems(site)
    assert problem.start_ts == START + 42 * HOUR + HOUR // 2
    assert str(problem.correction).endswith('zero_shift_from = "2026-01-13T18:30:00"')
    silent = answers([0.3] * 9 + [0.0] * 5)
    site = made(STATIC, trust_look=TUBE, trust_run=silent, trust_clock_left=ahead)
    (problem,) = check_static.problems(site)
    assert problem.start_ts == START + 8 * HOUR + 50 * MINUTE
    assert problem.end_ts == site.end_ts


def test_two_shifts_fit_into_no_block_and_neither_does_one_beside_one_that_is_told() -> None:
    site = made(STATIC, trust_look=TUBE, trust_rest=rests([0.05] * 5 + [0.15] * 5))
    assert [p.correction for p in check_static.problems(site)] == [None, None]
    told = [{"channel_id": 1, "shift": 0.05, "start_ts": START, "end_ts": START + HOUR}]
    site = made(
        STATIC, trust_look=TUBE, trust_rest=rests([0.0] * 5 + [0.1] * 5), run_zero_shift=told
    )
    assert [p.correction for p in check_static.problems(site)] == [None]


def test_a_problem_is_a_stretch_of_the_window() -> None:
    """Every problem lies in the window and has a reason; the record is what the stage writes."""
    site = made(STATIC, trust_look=TUBE, trust_rest=rests([0.0] * 5 + [0.1] * 5))
    problems = list(check_static.problems(site))
    assert problems
    for problem in problems:
        assert isinstance(problem, Problem)
        assert site.start_ts <= problem.start_ts < problem.end_ts <= site.end_ts
        assert problem.reason
