"""The measures against the world's truth, short form: four systems, two days, every minute.

The long form is `make accuracy`; its goals are those of the reporting part. Here, on other systems,
the same must hold, so that a change that spoils a measure is seen the same day.
"""

from __future__ import annotations

import pytest

from tests.accuracy.__main__ import FINEST, gather, plan, tables
from tests.accuracy.made import Variant

NAMES = ("second-stage-for-one-zone", "no-relief", "own-limit-opens", "target-below")


@pytest.fixture(scope="module")
def results() -> tuple[object, object]:
    jobs = [
        (part, system, (Variant(60),))
        for part, system, variants in plan("tuning", 24, 2.0)
        if variants != (FINEST,) and any(name in system.name for name in NAMES)
    ][:4]
    return gather(jobs, 1)[:2]


def test_runtime_and_stages_hold_within_a_hundredth_or_their_bound(results) -> None:  # type: ignore[no-untyped-def]
    figures, _ = results
    for what in ("runtime", "stage time"):
        mine = figures[figures["what"] == what]
        assert len(mine) >= 4
        assert mine["holds"].mean() >= 0.95, mine[~mine["holds"]]


def test_starts_are_exact_where_runs_and_rests_last_two_intervals(results) -> None:  # type: ignore[no-untyped-def]
    _, events = tables(*results)
    row = events.loc[("starts", 60, "sampled")]
    assert row.n_must >= 20
    assert row.recall == 1.0
    assert row.precision == 1.0


def test_nothing_is_told_as_certain_that_is_not(results) -> None:  # type: ignore[no-untyped-def]
    _, events = results
    sure = events[~events["what"].isin(["second stage out of order"])]
    assert sure["n_sure_wrong"].sum() == 0


def test_seconds_above_target_hold_and_lie_within_their_bounds(results) -> None:  # type: ignore[no-untyped-def]
    figures, _ = results
    mine = figures[figures["what"] == "seconds above target"]
    assert len(mine) >= 3
    assert mine["in_bound"].all(), mine[~mine["in_bound"]]


def test_zone_calls_hold(results) -> None:  # type: ignore[no-untyped-def]
    figures, _ = results
    mine = figures[figures["what"] == "zone calling"]
    assert len(mine) >= 10
    assert mine["holds"].mean() >= 0.9, mine[~mine["holds"]]
