"""Where a channel changes sharply: the edges by which clocks are compared.

Each channel is read by itself, without a look at any other, so that agreement between two loggers
is evidence. Times are seconds from a zero of the caller's choice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

# A fan's start or stop, as shares of its step in *speed* (the root of static, by the fan laws).
QUIET = 0.15  # below this it may be noise or a damper's slow work
ARRIVED = 0.9  # as good as over


@dataclass(frozen=True)
class Series:
    """One sampled analog channel: readings in time order, and their nominal interval [s]."""

    at_s: Floats
    value: Floats
    interval_s: float


@dataclass(frozen=True)
class Edges:
    """Instants of one kind of change, sorted; each is known to ± `half_s`."""

    at_s: Floats
    half_s: float

    def __len__(self) -> int:
        return len(self.at_s)


def n_instants(edges: Sequence[Edges]) -> int:
    """How many different instants there are in several trains of edges."""
    return len(np.unique(np.concatenate([e.at_s for e in edges]))) if edges else 0


def stretches(series: Series, hold_intervals: float) -> tuple[Floats, Floats]:
    """Start and end of each stretch of readings that no gap (over `hold_intervals`) parts."""
    t = series.at_s
    gap = np.flatnonzero(np.diff(t) > hold_intervals * series.interval_s)
    return t[np.concatenate([[0], gap + 1])], t[np.concatenate([gap, [len(t) - 1]])]


def state_edges(
    start_s: Floats, end_s: Floats, channel: NDArray[np.int64], bridge_s: float, half_s: float
) -> tuple[Edges, Edges]:
    """On-edges and off-edges of "any of these channels is on".

    start_s, end_s, channel : the stretches of known state, any order, on where `channel` >= 0 and
        off where it is -1 - channel; an edge is only where on and off of one channel touch
    bridge_s : shorter rests are chatter, not edges
    half_s : how well a change is known in time
    """
    is_on = channel >= 0
    number = np.where(is_on, channel, -1 - channel)
    off_end = set(zip(number[~is_on].tolist(), end_s[~is_on].tolist(), strict=True))
    off_start = set(zip(number[~is_on].tolist(), start_s[~is_on].tolist(), strict=True))
    on = sorted(
        (s, e, (c, s) in off_end, (c, e) in off_start)
        for s, e, c in zip(
            start_s[is_on].tolist(), end_s[is_on].tolist(), number[is_on].tolist(), strict=True
        )
    )
    joined: list[tuple[float, float, bool, bool]] = []
    for start, end, has_start, has_end in on:
        if joined and start <= joined[-1][1] + bridge_s:
            first, last, seen_start, seen_end = joined[-1]
            if end > last:
                last, seen_end = end, has_end
            joined[-1] = (first, last, seen_start, seen_end)
        else:
            joined.append((start, end, has_start, has_end))
    on_at = np.array([s for s, _, seen, _ in joined if seen], dtype=float)
    off_at = np.array([e for _, e, _, seen in joined if seen], dtype=float)
    return Edges(on_at, half_s), Edges(off_at, half_s)


def fan_edges(series: Series, over_off_inwc: float) -> tuple[Edges, Edges]:
    """When static begins to rise as the fan starts, and begins to fall as it stops.

    over_off_inwc : static this far above its own fan-off level means the fan runs
    The fan-off level is the 5th percentile; a channel that shows no second level has no edges.
    Static goes with the square of fan speed (fan laws). Where the speed is seen to move in a
    straight line, the line's start is taken; where the step is over within an interval or slows
    down as it goes, the middle of the interval in which it began.
    """
    t, v, step_s = series.at_s, series.value, series.interval_s
    none = Edges(np.empty(0), step_s / 2)
    if len(v) < 20:
        return none, none
    low, high = np.quantile(v, [0.05, 0.95])
    if high - low < 2 * over_off_inwc:
        return none, none
    above = v > low + over_off_inwc
    steady = above.copy()  # one reading alone is noise: two of three decide
    steady[1:-1] = above[:-2].astype(int) + above[1:-1] + above[2:] >= 2
    noise = float(np.median(np.abs(np.diff(v))))  # most of the time nothing happens
    near, settle = max(1, round(30 / step_s)), max(1, round(15 / step_s))
    change = np.flatnonzero(steady[1:] != steady[:-1]) + 1
    rises: list[float] = []
    falls: list[float] = []
    change = change[(change >= near + settle) & (change + near + settle < len(v))]
    whole_s = (2 * (near + settle) + 1.5) * step_s  # longer: a gap, and the edge was not seen
    change = change[t[change + near + settle] - t[change - near - settle] <= whole_s]
    beside = change[:, None] + np.arange(near)
    befores = np.median(v[beside - near - settle], axis=1)
    afters = np.median(v[beside + settle + 1], axis=1)
    for i, before, after in zip(change, befores, afters, strict=True):
        first, last = i - near - settle, i + near + settle
        size = abs(after - before)
        if size < over_off_inwc:
            continue
        share = (v[first : last + 1] - min(before, after)) / size
        speed = np.sqrt(np.clip(share, 0.0, 1.0))
        moved = speed if steady[i] else 1.0 - speed
        quiet = min(max(QUIET, (3 * noise / size) ** 0.5), 0.5)
        at = _start(t[first : last + 1], moved, near, quiet)
        if at is not None:
            (rises if steady[i] else falls).append(at)
    return Edges(np.array(rises), step_s / 2), Edges(np.array(falls), step_s / 2)


def _start(t: Floats, moved: Floats, from_index: int, quiet: float) -> float | None:
    """When `moved` (0 before, 1 after the step) left 0; looked for from `from_index` on."""
    beyond = np.flatnonzero(moved[from_index:] > quiet + 0.1)
    if len(beyond) == 0 or from_index + int(beyond[0]) + 1 >= len(t):
        return None
    j = from_index + int(beyond[0])
    k = j - 1
    while k > 0 and moved[k] > quiet:
        k -= 1
    early, late = float(t[k]), float(t[j])
    if moved[j] < min(ARRIVED, moved[j + 1]):
        line = float(t[j] - moved[j] * (t[j + 1] - t[j]) / (moved[j + 1] - moved[j]))
        if line >= early and moved[j + 1] < ARRIVED:
            return line
        early = max(early, line)  # the next reading has arrived: the line is a lower bound
    return 0.5 * (early + late)


def turns(series: Series, least_f: float) -> tuple[Edges, Edges]:
    """When a temperature turns downwards, and when it turns upwards.

    least_f : the change within 3 min after the turn that makes it one
    The turn is where the steepest half minute after it, drawn backwards, meets the level before.
    It lags the cause by about the smaller of the time constants between them: `onset` does better.
    """
    return _turns_down(series, least_f), _turns_down(
        Series(series.at_s, -series.value, series.interval_s), least_f
    )


def _turns_down(series: Series, least_f: float) -> Edges:
    t, v, step_s = series.at_s, series.value, series.interval_s
    half, back, ahead = (max(1, round(s / step_s)) for s in (30, 90, 180))
    none = Edges(np.empty(0), step_s / 2)
    if len(v) <= back + ahead + half:
        return none
    span = t[half:] - t[:-half]
    slope = (v[half:] - v[:-half]) / span
    slope[span > (half + 1.5) * step_s] = 0.0
    steepest = -running_max(-slope, back, back)
    at = np.flatnonzero((slope == steepest) & (slope < -least_f / 180))
    at = at[(at >= back) & (at + ahead < len(v))]
    top = running_max(v, back, 0)[at]
    bottom = -running_max(-v, 0, ahead)[at]
    turn = t[at] - (top - v[at]) / -slope[at]
    whole = t[at + ahead] - t[at - back] <= (ahead + back + 2.5) * step_s
    # a turn further back than most of the look-back was under way before it: not seen
    seen = (top - bottom >= least_f) & whole & (turn > t[at - back] + back * step_s / 3)
    turn = turn[seen]
    return Edges(turn[np.diff(turn, prepend=-np.inf) > 30], step_s / 2)


def running_max(v: Floats, back: int, ahead: int) -> Floats:
    """Largest of v[i - back] .. v[i + ahead], ends repeated; log2(width) passes."""
    width = back + ahead + 1
    out = np.concatenate([np.full(back, v[0]), v, np.full(ahead, v[-1])])
    done = 1
    while done < width:
        shift = min(done, width - done)
        out = np.maximum(out[:-shift], out[shift:])
        done += shift
    return out
