"""Readings as a page draws them; those of a long log thinned between the findings' minutes.

A page holds every reading as long as it stays light. Beyond that each channel keeps, outside the
findings' minutes, the lowest and the highest of every so many seconds, and both ends of every gap:
no peak is lost, and what a finding draws stays whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.result import Span
from pipeline.units import MICROSECONDS

MOST_READINGS = 1_500_000
"""About 2 MB of page: a year at one minute stays under the 5 MB that a phone opens at once."""
LADDER_S = (60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)


@dataclass(frozen=True)
class Readings:
    """Readings of one channel in time order [µs, store units]; gap_after: no line to the next."""

    channel_id: int
    role: str
    zone: int | None
    ts: np.ndarray
    values: np.ndarray
    gap_after: np.ndarray

    def within(self, span: Span) -> Readings:
        """Those of [start, end); nothing is copied."""
        a, b = np.searchsorted(self.ts, (span.start_ts, span.end_ts))
        return replace(
            self, ts=self.ts[a:b], values=self.values[a:b], gap_after=self.gap_after[a:b]
        )


def thinned(
    log: Sequence[Readings], keep: Sequence[Span], most: int = MOST_READINGS
) -> tuple[tuple[Readings, ...], int | None]:
    """The log and the seconds that were thinned to two readings; None where all are there.

    keep : stretches that stay whole
    most : readings that may stay, as far as the coarsest of LADDER_S allows
    """
    total = sum(r.ts.size for r in log)
    if total <= most:
        return tuple(log), None
    whole = [_inside(r.ts, keep) for r in log]
    out: tuple[Readings, ...] = tuple(log)
    for stretch_s in LADDER_S:
        if sum(_firsts(r.ts, stretch_s).size for r in log) > most and stretch_s < LADDER_S[-1]:
            continue  # one reading of each would be too many
        out = tuple(_thinned(r, w, stretch_s) for r, w in zip(log, whole, strict=True))
        if sum(r.ts.size for r in out) <= most:
            break
    return out, stretch_s


def _inside(ts: np.ndarray, spans: Sequence[Span]) -> np.ndarray:
    """Which instants lie in one of the stretches."""
    inside = np.zeros(ts.size, bool)
    for span in spans:
        a, b = np.searchsorted(ts, (span.start_ts, span.end_ts))
        inside[a:b] = True
    return inside


def _thinned(of: Readings, whole: np.ndarray, stretch_s: int) -> Readings:
    kept = whole | of.gap_after
    kept[1:] |= of.gap_after[:-1]
    first = _firsts(of.ts, stretch_s)
    if first.size:
        size = np.diff(first, append=of.ts.size)
        number = np.repeat(np.arange(first.size), size)
        low = np.flatnonzero(of.values == np.minimum.reduceat(of.values, first)[number])
        high = np.flatnonzero(of.values == np.maximum.reduceat(of.values, first)[number])
        kept[low[np.diff(number[low], prepend=-1) > 0]] = True  # the first of equal ones
        kept[high[np.diff(number[high], append=first.size) > 0]] = True  # the last of them
    return replace(of, ts=of.ts[kept], values=of.values[kept], gap_after=of.gap_after[kept])


def _firsts(ts: np.ndarray, stretch_s: int) -> np.ndarray:
    """Where in `ts` a stretch of so many seconds begins."""
    return np.flatnonzero(np.diff(ts // (stretch_s * MICROSECONDS), prepend=-1))
