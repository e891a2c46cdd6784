"""Rates before and after over like hours, with an interval from days drawn again.

A stratum is a set of like hours: the same outdoor band and the same zones calling. Both sides are
weighed alike, each stratum by the lesser of its two exposures, so that weather and occupancy fall
out of the difference. Days are drawn again with replacement, each side by itself, because the hours
of a day belong together; the interval is the percentile interval, widened for few days as in
Hesterberg, "What teachers should know about the bootstrap", The American Statistician 69 (2015),
section 3.2 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

DRAWS = 4000
SEED = 20260112
"""Any fixed number: the same log gives the same interval."""


@dataclass(frozen=True)
class Cells:
    """One side: what happened and in how much, by local day (rows) and stratum (columns).

    happened : events, seconds or degrees times seconds; exposure : hours, runs or seconds
    """

    happened: np.ndarray
    exposure: np.ndarray

    @property
    def days(self) -> int:
        """Days with any exposure."""
        return int((self.exposure.sum(axis=1) > 0).sum())


@dataclass(frozen=True)
class Difference:
    """Like rates and what lies between them.

    before, after : happened per exposure, weighed alike; None where no hours are alike
    low, high : interval of after less before, 95 %; None where no day could be drawn
    before_exposure, after_exposure : exposure in the strata that both sides have
    before_days, after_days : days with such exposure
    chance : for counts, how likely so uneven a split is at equal rates (two-sided); else None
    """

    before: float | None
    after: float | None
    low: float | None
    high: float | None
    before_exposure: float
    after_exposure: float
    before_days: int
    after_days: int
    chance: float | None = None


def difference(
    before: Cells, after: Cells, *, is_count: bool, level: float = 0.95, draws: int = DRAWS
) -> Difference:
    """After less before over the strata that both have. Arrays of one width; days may differ."""
    both = (before.exposure.sum(axis=0) > 0) & (after.exposure.sum(axis=0) > 0)
    b = Cells(before.happened[:, both], before.exposure[:, both])
    a = Cells(after.happened[:, both], after.exposure[:, both])
    exposures = float(b.exposure.sum()), float(a.exposure.sum())
    if not both.any():
        return Difference(None, None, None, None, 0.0, 0.0, 0, 0)
    weights = np.minimum(b.exposure.sum(axis=0), a.exposure.sum(axis=0))
    rate_b, rate_a = (
        float(_weighed(s.happened.sum(axis=0), s.exposure.sum(axis=0), weights)) for s in (b, a)
    )
    low, high = _interval(b, a, weights, level, draws)
    chance = _chance(b, a) if is_count else None
    return Difference(rate_b, rate_a, low, high, *exposures, b.days, a.days, chance)


def _weighed(happened: np.ndarray, exposure: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Rates of strata (last axis) in one, by fixed weights; one without exposure drops out."""
    known = exposure > 0
    w = np.where(known, weights, 0.0)
    rate = np.divide(happened, exposure, out=np.zeros_like(happened, dtype=float), where=known)
    total = w.sum(axis=-1)
    return np.divide(
        (rate * w).sum(axis=-1), total, out=np.full(np.shape(total), np.nan), where=total > 0
    )


def _interval(
    b: Cells, a: Cells, weights: np.ndarray, level: float, draws: int
) -> tuple[float | None, float | None]:
    rng = np.random.default_rng(SEED)
    sides = []
    for side in (b, a):
        used = side.exposure.sum(axis=1) > 0
        n = int(used.sum())
        if n < 2:
            return None, None
        times = rng.multinomial(n, np.full(n, 1 / n), size=draws)
        sides.append(_weighed(times @ side.happened[used], times @ side.exposure[used], weights))
    drawn = sides[1] - sides[0]
    drawn = drawn[np.isfinite(drawn)]
    if not drawn.size:
        return None, None
    tail = widened_tail((1 - level) / 2, min(b.days, a.days))
    low, high = np.quantile(drawn, [tail, 1 - tail])
    return float(low), float(high)


def widened_tail(tail: float, n: int) -> float:
    """The tail to cut for a nominal one with n days: Phi(sqrt(n / (n - 1)) * t(tail, n - 1))."""
    from scipy.special import stdtrit

    t = float(stdtrit(n - 1, tail))
    return NormalDist().cdf(math.sqrt(n / (n - 1)) * t)


def _chance(b: Cells, a: Cells) -> float:
    """Two-sided chance of so uneven a split of all events, each falling by exposure alone."""
    n_b, n_a = round(float(b.happened.sum())), round(float(a.happened.sum()))
    n = n_b + n_a
    if not n:
        return 1.0
    exposure_b, exposure_a = b.exposure.sum(axis=0), a.exposure.sum(axis=0)
    share = exposure_a / (exposure_a + exposure_b)
    events = b.happened.sum(axis=0) + a.happened.sum(axis=0)
    return split_chance(n_a, n, float((events * share).sum() / events.sum()))


def split_chance(k: int, n: int, p: float) -> float:
    """Twice the smaller tail of the binomial at k of n with chance p, 1 at the most."""
    if p <= 0 or p >= 1:
        return 1.0
    logs = [
        math.lgamma(n + 1) - math.lgamma(i + 1) - math.lgamma(n - i + 1)
        + i * math.log(p) + (n - i) * math.log1p(-p)
        for i in range(n + 1)
    ]  # fmt: skip
    chances = [math.exp(v) for v in logs]
    return min(1.0, 2 * min(sum(chances[: k + 1]), sum(chances[k:])))
