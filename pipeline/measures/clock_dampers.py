"""When static answers the dampers: an edge without a timer, whatever the fan's board does.

A damper begins to travel as it is told, and static follows from that moment while the fan runs. A
board may hold the fan back by the same time at its start and its stop; the dampers then tell that
wait from a clock. Many moves are laid over one another, since each is soft and small.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pipeline.measures.clock_links import OUTPUTS
from pipeline.measures.clock_logger import Logger
from pipeline.measures.edge_match import BIN_S, Link, Match
from pipeline.measures.edges import Edges, Floats, Series

QUIET_S = 60.0  # level before a move, at least this long
AFTER_S = 130.0  # a move is over, and its level seen
TRAVEL_S = np.array([15.0, 22.0, 30.0, 45.0, 60.0, 75.0, 90.0])
# shapes of static over travel: a closing damper does most at its end, an opening one at its start
POWERS = np.array([0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0])
MOST_MISFIT = 0.15


def damper_answers(
    reference: Logger, other: Logger, low_s: float, high_s: float, limits: Mapping[str, float]
) -> list[Match]:
    """Static's answer to dampers told to close, and to open, that begins within [low_s, high_s].

    low_s, high_s : where the answer may begin, from coarser edges
    limits : thresholds, and `damper_travel_s` of the panel where it is given
    Empty where dampers and outputs move together, or too few moves are seen.
    """
    series = other.series("static_pressure")
    moves = reference.moves("zone_damper")
    if series is None or moves is None or series.interval_s > 30:
        return []
    closing, opening, half_s = moves
    outputs = [reference.switching([role], 0.0) for role in OUTPUTS]
    busy = [e.at_s for s in outputs if s is not None for e in (s.on, s.off)]
    found = []
    for at, others, sign, word, does in (
        (closing, opening, 1.0, "a damper is told to close", "static rises"),
        (opening, closing, -1.0, "a damper is told to open", "static falls"),
    ):
        at = np.unique(at)
        disturbed = np.sort(np.concatenate([*busy, others, at]))
        # what stirs the static before its level is seen, or within the travel, spoils the picture
        spare = high_s - low_s
        first = np.searchsorted(disturbed, at - spare - QUIET_S - AFTER_S / 2)
        last = np.searchsorted(disturbed, at + spare + AFTER_S, side="right")
        alone = at[last - first == 1]
        match = _stacked(series, alone, sign, low_s, high_s, half_s, limits, (word, does))
        if match is not None:
            found.append(match)
    return found


def _stacked(
    series: Series,
    at: Floats,
    sign: float,
    low_s: float,
    high_s: float,
    half_s: float,
    limits: Mapping[str, float],
    words: tuple[str, str],
) -> Match | None:
    """The beginning of the moves laid over one another, as a match; None if it is not seen."""
    t, v = series.at_s, series.value
    over = limits["fan_static_over_off_inwc"]
    running = float(np.quantile(v, 0.05)) + over
    xs: list[Floats] = []
    ys: list[Floats] = []
    used: list[float] = []
    for moment in at:
        a, b = np.searchsorted(t, [moment + low_s - QUIET_S, moment + high_s + AFTER_S])
        x, y = t[a:b] - moment, sign * v[a:b]
        before, after = x < low_s, x > high_s + AFTER_S - 40
        if before.sum() < 3 or after.sum() < 2 or np.diff(x).max() > 2.5 * series.interval_s:
            continue
        if float(v[a:b].min()) < running:
            continue
        level = float(np.median(y[before]))
        size = float(np.median(y[after])) - level
        if size < over / 2:
            continue
        xs.append(x)
        ys.append((y - level) / size)
        used.append(float(moment))
    if len(used) < limits["clock_min_edges"]:
        return None
    travel_s = limits.get("damper_travel_s")
    travels = TRAVEL_S if travel_s is None else np.array([travel_s])
    found = _fit_travel(np.concatenate(xs), np.concatenate(ys), low_s, high_s, travels)
    if found is None:
        return None
    start, error = found
    edges = Edges(np.array(used), half_s)
    link = Link(
        words[0], words[1], edges, Edges(edges.at_s + start, series.interval_s / 2), 0.0, 0.0,
        limits["clock_jitter_switch_s"], t[:1], t[-1:],
    )  # fmt: skip
    took = np.full(len(used), start)
    return Match(link, len(used), len(used), start, error, error, edges.at_s, took)


def _fit_travel(
    x: Floats, y: Floats, low_s: float, high_s: float, travels_s: Floats
) -> tuple[float, float] | None:
    """Start (s) of a move whose response is (share of travel) ** power, and its half width."""
    bins = np.rint(x / BIN_S).astype(np.int64)
    values = np.unique(bins)
    level = np.array([np.median(y[bins == b]) for b in values])
    weight = np.array([(bins == b).sum() for b in values], dtype=float)
    centre = values * BIN_S
    starts = np.arange(np.floor(low_s), np.ceil(high_s) + 1)
    miss = np.full(len(starts), np.inf)
    for travel in travels_s:
        share = np.clip((centre - starts[:, None]) / travel, 0.0, 1.0)
        for power in POWERS:
            shape = share**power
            gain = (weight * shape * level).sum(-1) / np.maximum((weight * shape**2).sum(-1), 1e-9)
            missed = (weight * (level - gain[:, None] * shape) ** 2).sum(-1)
            miss = np.minimum(miss, missed)
    best = int(miss.argmin())
    total = float((weight * (level - np.average(level, weights=weight)) ** 2).sum())
    if miss[best] > MOST_MISFIT * total or best in (0, len(starts) - 1):
        return None
    as_good = starts[miss <= miss[best] * (1 + 4 / max(len(centre) - 4, 1))]
    at = float(starts[best])
    return at, max(float(as_good.max()) - at, at - float(as_good.min()), 1.0)
