"""A long log on a page: what stays whole, and that no peak is lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.result import Span
from reports.block import Model
from reports.blocks.timeline import whole_log
from reports.readings import Readings, thinned
from tests import report_sample as sample

MINUTE = 60_000_000


def readings(n: int, seed: int = 1) -> Readings:
    """n readings a minute apart, a gap after the 100th."""
    values = np.random.default_rng(seed).normal(100, 5, n)
    ts = np.arange(n) * MINUTE
    gap = np.zeros(n, bool)
    if n > 100:
        gap[99] = True
        ts[100:] += 7 * MINUTE
    return Readings(1, "supply_temp", None, ts, values, gap)


def test_a_log_that_is_light_enough_stays_whole() -> None:
    log = (readings(1000),)
    assert thinned(log, [], most=1000) == (log, None)


def test_lowest_and_highest_of_every_stretch_stay_and_findings_stay_whole() -> None:
    whole = readings(10_000)
    shown = Span(2_000 * MINUTE, 2_060 * MINUTE)
    (few,), stretch_s = thinned([whole], [shown], most=5_000)
    # two of every 5 min are 4,000, and the hour that is shown 60; of every 2 min they are 10,000
    assert stretch_s == 300
    assert few.ts.size <= 5_000
    for at in range(0, 10_000, 5):
        here = (whole.ts // (300_000_000)) == at // 5
        there = (few.ts // (300_000_000)) == at // 5
        if here.any():
            assert few.values[there].max() == whole.values[here].max()
            assert few.values[there].min() == whole.values[here].min()
    assert few.within(shown).ts.tolist() == whole.within(shown).ts.tolist()


def test_both_ends_of_a_gap_stay() -> None:
    whole = readings(10_000)
    (few,), _ = thinned([whole], [], most=3_000)
    at = int(np.flatnonzero(few.gap_after)[0])
    assert few.gap_after.sum() == 1
    assert few.ts[at] == whole.ts[99] and few.ts[at + 1] == whole.ts[100]


def test_readings_stay_in_order_and_are_some_of_those_there_were() -> None:
    whole = readings(10_000)
    (few,), _ = thinned([whole], [], most=2_000)
    assert (np.diff(few.ts) > 0).all()
    assert set(few.ts.tolist()) <= set(whole.ts.tolist())


def test_the_page_says_what_it_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    result = sample.sample_result()
    assert not any("more than a page" in note for note in whole_log(Model(result)).notes)
    monkeypatch.setattr("reports.readings.thinned.__defaults__", (100,))
    model = Model(replace(result, findings=()))
    (note,) = (n for n in whole_log(model).notes if "more than a page" in n)
    assert f"{model.n_logged:,} readings" in note and "lowest and the highest of every" in note
