"""How far two trains of edges lie apart, when a bounded, unknown delay stands between them.

A link says: after every cause (on the reference's clock) the effect follows (on the other clock)
by offset + delay, the delay within bounds and much the same each time. One offset must serve all
links; it is looked for by counting the pairs of edges that it brings together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.measures.edges import Edges, Floats, Series, running_max

BIN_S = 2.0
MOST_CAUSES = 5_000
# Grid of the bend's fit: time constants of what heats or cools (burner, refrigerant), of exchanger
# or coil, and of the probe; whichever is which.
SLOW_S = np.array([40.0, 60.0, 90.0, 140.0, 220.0])
MIDDLE_S = np.array([5.0, 12.0, 22.0, 39.0, 59.0])
FAST_S = np.array([0.5, 4.0, 9.0, 15.0])
STEADY_TILT = 0.3  # change per minute before a turn over the turn's size


@dataclass(frozen=True)
class Link:
    """One kind of edge with the effect that follows it.

    low_s, high_s : bounds of the delay, low_s <= 0 <= high_s; below 0 where it is the reference
        that answers
    jitter_s : how much the delay may differ from one time to the next
    cause_words, effect_words : 'G on', 'static rises'
    seen_from_s, seen_to_s : stretches in which the effect could be seen, in order
    """

    cause_words: str
    effect_words: str
    cause: Edges
    effect: Edges
    low_s: float
    high_s: float
    jitter_s: float
    seen_from_s: Floats
    seen_to_s: Floats

    @property
    def width_s(self) -> float:
        """Width of the window in which pairs count as the same offset and delay."""
        return self.jitter_s + 2 * (self.cause.half_s + self.effect.half_s)


@dataclass(frozen=True)
class Match:
    """What one link says: cause to effect takes `at_s` (offset and delay together) `n` times."""

    link: Link
    n: int
    n_possible: int
    at_s: float
    error_s: float  # half width of what `at_s` may be
    spread_s: float  # nine of ten edges lie within ± this
    cause_s: Floats  # the causes that were answered
    found_s: Floats  # and what each took

    @property
    def share(self) -> float:
        """Answered causes over causes whose answer could have been seen."""
        return self.n / max(self.n_possible, 1)


@dataclass(frozen=True)
class Peak:
    """Where the links agree: the offsets low_s .. high_s are as good as one another."""

    low_s: float
    high_s: float
    n: float
    runner_up: float  # the best elsewhere over the best here


def search(links: list[Link], limit_s: float, guard_s: float) -> Peak | None:
    """The offset within ± limit_s that brings most edges together; None if no edges meet at all.

    guard_s : the runner-up is looked for further away than this
    Each link may have its own delay within its bounds, so each counts, for every offset, the best
    of its delays.
    """
    n_bin = 2 * int(limit_s / BIN_S) + 1
    centre = (n_bin - 1) // 2
    total = np.zeros(n_bin)
    for link in links:
        low, high = (round(d / BIN_S) for d in (link.low_s, link.high_s))
        pad = max(abs(low), abs(high)) + round(link.width_s / BIN_S) + 1
        reach_s = (centre + pad) * BIN_S
        apart = _pairs(_sample(link), link.effect.at_s, -reach_s, reach_s)[1]
        index = np.rint(apart / BIN_S).astype(np.int64) + centre + pad
        count = np.bincount(index, minlength=n_bin + 2 * pad)[: n_bin + 2 * pad]
        box = max(1, round(link.width_s / BIN_S) | 1)  # odd, so that it is centred
        near = np.convolve(count, np.ones(box), mode="same")
        total += running_max(near, -low, high)[pad : pad + n_bin]
    top = float(total.max())
    if top <= 0:
        return None
    at = int(total.argmax())
    first = last = at
    while first > 0 and total[first - 1] >= 0.95 * top:
        first -= 1
    while last < n_bin - 1 and total[last + 1] >= 0.95 * top:
        last += 1
    guard = round(guard_s / BIN_S)
    elsewhere = np.concatenate([total[: max(0, first - guard)], total[last + guard + 1 :]])
    runner_up = float(elsewhere.max()) / top if len(elsewhere) else 1.0
    return Peak((first - centre) * BIN_S, (last - centre) * BIN_S, top, runner_up)


def moved(link: Link, rate: float, middle_s: float) -> Link:
    """The link with its causes where a clock that gains `rate` (s per s) would have logged them.

    middle_s : the instant at which that clock agrees with the reference's
    """
    at = link.cause.at_s
    return replace(link, cause=Edges(at + rate * (at - middle_s), link.cause.half_s))


def rate_left(matches: Sequence[Match]) -> float:
    """How much the answers' times grow, s per s: the slope of a line through them all."""
    at = np.concatenate([m.cause_s for m in matches])
    late = np.concatenate([m.found_s - m.at_s for m in matches])
    at = at - at.mean()
    return float((at * late).sum() / max(float((at * at).sum()), 1.0))


def match(link: Link, peak: Peak, reach_s: float = 0.0) -> Match | None:
    """The link's edges paired near the peak; None if fewer than three agree.

    reach_s : how much further than its bounds allow an answer may lie
    Of the pairs that the peak and the delay's bounds allow, those in the fullest window of the
    link's width are kept, one for each cause.
    """
    low = peak.low_s + link.low_s - link.width_s - reach_s
    high = peak.high_s + link.high_s + link.width_s + reach_s
    of, apart = _pairs(link.cause.at_s, link.effect.at_s, low, high)
    cause = link.cause.at_s
    if len(apart) < 3:
        return None
    order = np.argsort(apart, kind="stable")
    apart, of = apart[order], of[order]
    full = np.searchsorted(apart, apart + link.width_s, side="right") - np.arange(len(apart))
    start = int(full.argmax())
    middle = float(np.median(apart[start : start + full[start]]))
    near = np.abs(apart - middle) <= link.width_s
    apart, of = apart[near], of[near]
    order = np.lexsort((np.abs(apart - middle), of))  # of several effects of one cause the nearest
    of, keep = np.unique(of[order], return_index=True)
    apart = apart[order][keep]
    if len(apart) < 3:
        return None
    middle = float(np.median(apart))
    spread = float(np.quantile(np.abs(apart - middle), 0.9))
    n_possible = int(_seen(link, cause + middle).sum())
    error = 1.25 * spread / np.sqrt(len(apart)) + 2 * link.cause.half_s / np.sqrt(len(apart))
    return Match(
        link, len(of), max(n_possible, len(of)), middle, float(error), spread, cause[of], apart
    )


def onset(
    match: Match, series: Series, downwards: bool, others_s: Floats, least_f: float
) -> Match | None:
    """The match with its turns replaced by the moment the temperature began to bend.

    series : the temperature whose turns were matched; downwards : which way they went
    others_s : instants (reference's clock) at which something else may bend it; sorted
    least_f : the change that counts as a turn

    All turns are laid over one another. Since readings fall at other moments after each cause,
    together they draw the bend finer than the interval. Onset, the two time constants (source and
    probe) and the size are fitted to it by least squares. None where the interval is too coarse for
    a level before each turn, or too few turns start from a steady level, or the fit is poor.
    """
    step_s = series.interval_s
    if step_s > 60:
        return None
    around = match.at_s
    # before the turn a level, as long as it takes to see one; after it until the fall is well on
    back_s, ahead_s = 30 + max(45.0, 2.2 * step_s), 45 + max(30.0, step_s)
    t = series.at_s
    v = -series.value if downwards else series.value
    at: list[Floats] = []
    moved: list[Floats] = []
    tilt: list[float] = []
    nearest = np.searchsorted(others_s, match.cause_s + 3.0)
    following = np.append(others_s, np.inf)[nearest] - match.cause_s
    for cause, until in zip(match.cause_s, following, strict=True):
        until = min(ahead_s, until)
        first, last = np.searchsorted(t, [cause + around - back_s, cause + around + until])
        x, y = t[first:last] - cause - around, v[first:last]
        before, after = x < -30, x > 45
        if before.sum() < 2 or not after.any() or np.diff(x).max() > 2.5 * step_s:
            continue
        centred = x[before] - x[before].mean()
        slope = float((centred * y[before]).sum() / (centred**2).sum())
        y = y - y[before].mean() - slope * (x - x[before].mean())
        size = float(y[after].mean())
        if size < least_f / 2:
            continue
        at.append(x)
        moved.append(y / size)
        tilt.append(abs(slope) * 60 / size)
    # a level that was itself on the move is a poor ruler: the steadier half, if steady enough
    steady = [i for i in np.argsort(tilt)[: max(8, len(tilt) // 2)] if tilt[i] < STEADY_TILT]
    if len(steady) < 5:
        return None
    x = np.concatenate([at[i] for i in steady])
    y = np.concatenate([moved[i] for i in steady])
    found = _fit_bend(x, y)
    if found is None:
        return None
    shift, error = found
    return Match(
        match.link, match.n, match.n_possible, around + shift, error, match.spread_s,
        match.cause_s, match.found_s,
    )  # fmt: skip


def _fit_bend(x: Floats, y: Floats) -> tuple[float, float] | None:
    """Onset (s, on the axis of x) of a two-lag response in the points, and its half width."""
    bins = np.rint(x / BIN_S).astype(np.int64)
    order = np.lexsort((y, bins))
    values, first, n = np.unique(bins[order], return_index=True, return_counts=True)
    sorted_y = y[order]  # in each bin: its middle one, or the mean of its middle two
    level = (sorted_y[first + (n - 1) // 2] + sorted_y[first + n // 2]) / 2
    weight = n.astype(float)
    centre = values * BIN_S
    onsets = np.arange(-60.0, 16.0)
    lags = np.array([(a, b, c) for a in SLOW_S for b in MIDDLE_S for c in FAST_S if a > b > c])
    shape = _three_lags(np.clip(centre - onsets[:, None], 0.0, None), lags)
    gain = (weight * shape * level).sum(-1) / np.maximum((weight * shape**2).sum(-1), 1e-9)
    miss = (weight * (level - gain[..., None] * shape) ** 2).sum(-1).min(axis=1)
    best = int(miss.argmin())
    total = float((weight * (level - np.average(level, weights=weight)) ** 2).sum())
    if miss[best] > 0.05 * total or best in (0, len(onsets) - 1):
        return None
    # F(1, n) at 95 % is about 4; misfit of the model counts as noise, and is the larger part
    as_good = onsets[miss <= miss[best] * (1 + 4 / max(len(centre) - 4, 1))]
    at = float(onsets[best])
    return at, max(float(as_good.max()) - at, at - float(as_good.min()), 1.0)


def _three_lags(after_s: Floats, lags_s: Floats) -> Floats:
    """Step response of three lags in a row, over (instants' shape[0], lags, instants' shape[1]).

    after_s : seconds since the step, (n, m); lags_s : (k, 3), unequal in each row. By partial
    fractions of 1 / ((a s + 1)(b s + 1)(c s + 1) s).
    """
    response = np.ones((after_s.shape[0], len(lags_s), after_s.shape[1]))
    for own in range(3):
        lag = lags_s[:, own]
        others = [lags_s[:, k] for k in range(3) if k != own]
        share = lag**2 / ((lag - others[0]) * (lag - others[1]))
        distinct, place = np.unique(lag, return_inverse=True)
        fading = np.exp(-after_s[:, None, :] / distinct[:, None])
        response -= share[:, None] * fading[:, place, :]
    return response


def _sample(link: Link) -> Floats:
    """The link's causes; of very many an even sample, to bound memory on long logs."""
    return link.cause.at_s[:: 1 + len(link.cause) // MOST_CAUSES]


def _seen(link: Link, at: Floats) -> NDArray[np.bool_]:
    """Which instants lie in a stretch in which the link's effect could be seen."""
    stretch = np.searchsorted(link.seen_from_s, at, side="right") - 1
    return (stretch >= 0) & (at <= link.seen_to_s[stretch])


def _pairs(
    cause: Floats, effect: Floats, low_s: float, high_s: float
) -> tuple[NDArray[np.intp], Floats]:
    """Index of the cause, and effect minus cause, of all pairs with that difference in bounds."""
    first = np.searchsorted(effect, cause + low_s)
    number = np.searchsorted(effect, cause + high_s) - first
    of = np.repeat(np.arange(len(cause)), number)
    at = np.arange(len(of)) - np.repeat(np.cumsum(number) - number, number) + first[of]
    return of, effect[at] - cause[of]
