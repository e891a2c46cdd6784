"""Rates over like hours and their interval: by hand, against scipy, against a published example."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.like_hours import Cells, difference, split_chance, widened_tail


def cells(happened, exposure):
    return Cells(np.array(happened, dtype=float), np.array(exposure, dtype=float))


def test_weather_falls_out_of_the_difference() -> None:
    # Two strata: cold with 2 trips an hour, mild with none, the same on both sides; before had
    # 8 cold and 2 mild hours, after 2 cold and 8 mild. Bare rates are 1.6 and 0.4 an hour; weighed
    # alike (2 h cold, 2 h mild) both are (2 x 2 + 0 x 2) / 4 = 1.
    before = cells([[8, 0], [8, 0]], [[4, 1], [4, 1]])
    after = cells([[2, 0], [2, 0]], [[1, 4], [1, 4]])
    d = difference(before, after, is_count=True)
    assert (d.before, d.after) == (1.0, 1.0)
    # the shares of exposure after: cold 2 / 10, 20 events there: 4 of 20 are just what is due
    assert d.chance == 1.0


def test_hours_that_only_one_side_has_are_left_out() -> None:
    d = difference(cells([[1, 9]], [[2, 3]]), cells([[1, 0]], [[4, 0]]), is_count=False)
    # only the first stratum is on both sides: 1 / 2 and 1 / 4
    assert (d.before, d.after) == (0.5, 0.25)
    assert (d.before_exposure, d.after_exposure) == (2.0, 4.0)
    nothing = difference(cells([[1, 0]], [[2, 0]]), cells([[0, 1]], [[0, 2]]), is_count=False)
    assert nothing.before is None and nothing.low is None


def test_one_day_carries_no_interval() -> None:
    d = difference(cells([[1]], [[2]]), cells([[1], [1]], [[2], [2]]), is_count=False)
    assert d.low is None and d.before == 0.5


# Survival of mice in days, treated and not: Efron and Tibshirani, An Introduction to the Bootstrap
# (1993), table 2.1, from memory. The book gives means 86.86 and 56.22, difference 30.63.
TREATED = [94, 197, 16, 38, 99, 141, 23]
CONTROL = [52, 104, 146, 10, 51, 30, 27, 40, 46]


def mice() -> tuple[Cells, Cells]:
    """Each mouse as a day with one hour of exposure."""
    return tuple(cells([[v] for v in group], [[1]] * len(group)) for group in (CONTROL, TREATED))  # type: ignore[return-value]


def test_published_difference_of_means_and_its_spread() -> None:
    d = difference(*mice(), is_count=False)
    assert d.before == pytest.approx(56.22, abs=0.005)
    assert d.after == pytest.approx(86.86, abs=0.005)
    assert d.low is not None and d.high is not None
    # Their bootstrap standard error of the difference tends to 26.85 (sum of the plug-in variances:
    # mean square deviations 3818.7 / 7 and 1600.2 / 9 are 545.5 + 177.8 = 723.3, root 26.9). A
    # nearly normal interval at the widened level reaches about as many of those each way.
    reach = -stats.norm.ppf(widened_tail(0.025, 7))
    assert (d.high - d.low) / 2 == pytest.approx(26.9 * reach, rel=0.12)
    assert d.low < 0 < d.high  # the book's conclusion: no evidence either way


def test_interval_agrees_with_scipys_bootstrap() -> None:
    control, treated = (np.array(g, dtype=float) for g in (CONTROL, TREATED))
    level = 1 - 2 * widened_tail(0.025, len(TREATED))
    other = stats.bootstrap(
        (control, treated),
        lambda b, a, axis: a.mean(axis=axis) - b.mean(axis=axis),
        vectorized=True, method="percentile", confidence_level=level, n_resamples=20_000,
        rng=np.random.default_rng(7),
    ).confidence_interval  # fmt: skip
    d = difference(*mice(), is_count=False)
    # both are drawn: the ends of a 98 % interval from 4,000 draws wander by some 2 days
    assert d.low == pytest.approx(other.low, abs=5)
    assert d.high == pytest.approx(other.high, abs=5)


def test_ratio_of_sums_agrees_with_scipys_bootstrap() -> None:
    rng = np.random.default_rng(3)
    hours = [rng.uniform(1, 5, 12), rng.uniform(1, 5, 10)]
    events = [rng.poisson(2 * hours[0]).astype(float), rng.poisson(1 * hours[1]).astype(float)]
    own = difference(
        *(Cells(e[:, None], h[:, None]) for e, h in zip(events, hours, strict=True)), is_count=True
    )
    drawn = []
    for e, h in zip(events, hours, strict=True):
        found = stats.bootstrap(
            (e, h), lambda x, y, axis: x.sum(axis=axis) / y.sum(axis=axis), paired=True,
            vectorized=True, method="percentile", n_resamples=20_000,
            rng=np.random.default_rng(5),
        )  # fmt: skip
        drawn.append(found.bootstrap_distribution)
    tail = widened_tail(0.025, 10)
    low, high = np.quantile(drawn[1] - drawn[0], [tail, 1 - tail])
    assert own.low == pytest.approx(low, abs=0.1)
    assert own.high == pytest.approx(high, abs=0.1)


def test_same_log_same_interval() -> None:
    assert difference(*mice(), is_count=False) == difference(*mice(), is_count=False)


def test_interval_holds_the_truth_as_often_as_it_says() -> None:
    # 300 pairs of seven days that differ in nothing: 19 of 20 intervals should hold zero; the
    # standard error of that share is 1.3 %, skew of counts costs a little more
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(300):
        sides = []
        for _ in range(2):
            hours = rng.uniform(2, 6, (7, 1))
            sides.append(Cells(rng.poisson(hours * 1.5).astype(float), hours))
        d = difference(*sides, is_count=False, draws=800)
        assert d.low is not None and d.high is not None
        held += d.low <= 0 <= d.high
    assert 0.90 <= held / 300 <= 0.99


@pytest.mark.parametrize("k, n, p", [(0, 3, 0.1), (2, 20, 0.5), (9, 23, 0.4), (0, 14, 0.5)])
def test_chance_of_a_split_is_twice_the_smaller_tail(k: int, n: int, p: float) -> None:
    tails = stats.binom.cdf(k, n, p), stats.binom.sf(k - 1, n, p)
    assert split_chance(k, n, p) == pytest.approx(min(1.0, 2 * min(tails)))


def test_no_event_after_few_hours_proves_nothing() -> None:
    # 3 trips in 50 h before, none in 6 h after: every drawn difference is below zero, yet 0.36
    # trips were due. Chance of none of 3: (50/56)^3 = 0.712, twice that is over 1.
    before = cells([[1], [1], [1], [0], [0]], [[10]] * 5)
    after = cells([[0]] * 4, [[1.5]] * 4)
    d = difference(before, after, is_count=True)
    assert d.chance == 1.0
    # 14 before and none after in equal hours: 2 x 0.5^14
    even = difference(cells([[7], [7]], [[5]] * 2), cells([[0]] * 2, [[5]] * 2), is_count=True)
    assert even.chance == pytest.approx(2 * 0.5**14)


def test_widened_tail() -> None:
    # n = 4: t(0.025, 3) = -3.182 (table); times sqrt(4 / 3) = 1.1547 is -3.675; Phi is 0.00012
    assert widened_tail(0.025, 4) == pytest.approx(0.00012, abs=0.00001)
    assert widened_tail(0.025, 10_000) == pytest.approx(0.025, rel=0.01)
    expected = stats.norm.cdf(math.sqrt(7 / 6) * -2.446912)  # t(0.025, 6), from the table
    assert widened_tail(0.025, 7) == pytest.approx(expected, rel=1e-5)
