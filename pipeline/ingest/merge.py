"""The files of one logger to one series per channel: repeats, conflicts, state segments.

All of it depends on the files' instants and contents only, never on the order of loading.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.ingest.steps import middle_step
from pipeline.ingest.written_times import Flags, Ints
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS

Floats = NDArray[np.float64]

# Where counters start again from zero: 15, 16 and 32 bits, four to eight decimal digits.
COUNTER_ENDS = (2.0**15, 2.0**16, 2.0**32, 1e4, 1e5, 1e6, 1e7, 1e8)
RATE_CHANGE_STEPS = int(THRESHOLDS["rate_change_steps"].value)
NEXT_FILE_MAX_US = round(THRESHOLDS["next_file_max_h"].value * 3_600 * MICROSECONDS)


class Times:
    """Instants of one channel and what follows from them alone; channels of a file share them."""

    def __init__(self, ts: Ints) -> None:
        self.ts = ts

    @cached_property
    def rises(self) -> bool:
        """Whether each instant is later than the one before."""
        return bool((np.diff(self.ts) > 0).all())

    @cached_property
    def stretches(self) -> list[tuple[int, int, float]]:
        """Stretches of constant rate; see constant_rates."""
        return constant_rates(self.ts)

    @property
    def nominal_us(self) -> float | None:
        """The interval of the longest stretch of constant rate [us]; None for fewer than two."""
        if not self.stretches:
            return None
        return max(self.stretches, key=lambda s: (s[1] - s[0], -s[0]))[2]

    @property
    def nominal_by_reading(self) -> Floats:
        """The interval of the stretch that each reading stands in [us]; none for fewer than two."""
        return np.repeat([s[2] for s in self.stretches], [s[1] - s[0] for s in self.stretches])

    def held(self, hold_intervals: float) -> tuple[Flags, Ints]:
        """Whether a gap follows each reading but the last, and until when each one holds."""
        if self._held is None or self._held[0] != hold_intervals:
            nominal = self.nominal_by_reading
            is_gap = np.diff(self.ts) > hold_intervals * nominal[:-1]
            end = self.ts + np.round(nominal).astype(np.int64)
            end[:-1] = np.where(is_gap, end[:-1], self.ts[1:])
            self._held = (hold_intervals, is_gap, end)
        return self._held[1], self._held[2]

    _held: tuple[float, Flags, Ints] | None = None


@dataclass(frozen=True)
class Series:
    """One channel's cells of all its logger's files, file after file in their fixed order.

    times, value : instants and values
    parts : per file its number, and its cells' row numbers among the file's rows with a time
    """

    times: Times
    value: Floats
    parts: tuple[tuple[int, Ints], ...]

    @property
    def ts(self) -> Ints:
        """The instants of the cells."""
        return self.times.ts

    def places(self, cells: Ints) -> tuple[Ints, Ints]:
        """File number and row number of some cells."""
        starts = np.cumsum([0, *(len(rows) for _, rows in self.parts)])
        part = np.searchsorted(starts, cells, side="right") - 1
        file = np.array([f for f, _ in self.parts], np.int64)[part]
        row = [int(self.parts[p][1][c - starts[p]]) for p, c in zip(part, cells, strict=True)]
        return file, np.array(row, np.int64)


@dataclass(frozen=True)
class Settled:
    """Which cells of a series are used, with the kept ones in the order of time.

    kept : numbers of the used cells, in the order of time; None: all, as they stand
    repeated, conflicting : flags by cell; empty where all are kept
    pairs : per instant with two values, the numbers of the first cells that differ
    """

    kept: Ints | None
    repeated: Flags
    conflicting: Flags
    pairs: list[tuple[int, int]]


def settle(series: Series) -> Settled:
    """Repeats and conflicts of one channel: an instant keeps its first cell, or none of two."""
    if series.times.rises:
        return Settled(None, np.array([], bool), np.array([], bool), [])
    n = len(series.ts)
    none = np.zeros(n, bool)
    order = np.argsort(series.ts, kind="stable")
    ts, value = series.ts[order], series.value[order]
    first = np.concatenate([[True], ts[1:] != ts[:-1]])
    starts = np.flatnonzero(first)
    group = np.cumsum(first) - 1
    differs = np.maximum.reduceat(value, starts) != np.minimum.reduceat(value, starts)
    in_conflict = differs[group]
    repeated, conflicting = none, none.copy()
    repeated[order[~first & ~in_conflict]] = True
    conflicting[order[in_conflict]] = True
    pairs = []
    for g in np.flatnonzero(differs):
        cells = order[starts[g] : starts[g + 1] if g + 1 < len(starts) else n]
        other = cells[np.argmax(series.value[cells] != series.value[cells[0]])]
        pairs.append((int(cells[0]), int(other)))
    return Settled(order[first & ~in_conflict], repeated, conflicting, pairs)


def increases(ts: Ints, value: Floats) -> tuple[Ints, Floats, str | None]:
    """A running total as its increases: (instants, increase since the reading before, note).

    A total that falls from near the end of its counter to near zero rolled over, which loses
    nothing. Any other fall is a reset: what was counted since the reading before is not known, so
    there is no increase at that instant, and the note says how often that happened.
    """
    if len(ts) < 2:
        return ts[:0], value[:0], None
    steps = np.diff(value)
    falls = np.flatnonzero(steps < 0)
    resets = []
    for k in falls:
        ends = [e for e in COUNTER_ENDS if 0.9 * e <= value[k] < e and value[k + 1] <= 0.1 * e]
        if ends:
            steps[k] += ends[0]
        else:
            resets.append(int(k))
    known = np.delete(np.arange(len(steps)), resets)
    note = None
    if resets:
        times = "once" if len(resets) == 1 else f"{len(resets)} times"
        note = f"the running total started again {times}; what it counted just before is not known."
    return ts[1:][known], steps[known], note


def constant_rates(ts: Ints) -> list[tuple[int, int, float]]:
    """Stretches of constant rate of sorted instants: (first, last + 1, nominal interval [us]).

    The nominal interval is the median positive step within the stretch; the step from the last
    reading of a stretch belongs to the next stretch. Empty for fewer than two instants.
    """
    steps = np.diff(ts)
    stretches: list[tuple[int, int, float]] = []
    at = 0
    while at < len(steps):
        seed = _nominal(steps[at : at + 101])
        until = _rate_change(steps, at, seed)
        stretches.append((at, until, _nominal(steps[at:until])))
        at = until
    if stretches:
        first, _, nominal = stretches[-1]
        stretches[-1] = (first, len(ts), nominal)
    return stretches


def nominal_interval_us(ts: Ints) -> float | None:
    """The interval of the longest stretch of constant rate [us]; None for fewer than two."""
    return Times(ts).nominal_us


def sampled_segments(
    times: Times, value: Floats, hold_intervals: float, first: int = 0
) -> tuple[Ints, Ints, Flags]:
    """Segments (start, end, is_on) of a state seen at intervals; half-open, in time order.

    first : number of the reading that `value` and the segments begin with

    A reading holds to the next one if that is at most `hold_intervals` nominal intervals away,
    else for one nominal interval. A single reading of unknown interval holds for no time.
    """
    ts = times.ts
    if len(ts) < 2:
        empty = np.array([], np.int64)
        return empty, empty.copy(), np.array([], bool)
    is_gap, end = times.held(hold_intervals)
    ts, is_gap, end = ts[first:], is_gap[first:], end[first:]
    on = value > 0
    starts = np.append(0, np.flatnonzero(is_gap | (on[1:] != on[:-1])) + 1)
    ends = np.append(starts[1:] - 1, len(ts) - 1)
    return ts[starts], end[ends], on[starts]


def change_segments(
    ts: Ints, value: Floats, unknown_ts: Ints, spans: list[tuple[int, int]]
) -> tuple[Ints, Ints, Flags]:
    """Segments (start, end, is_on) of a state logged when it changes; half-open, in time order.

    unknown_ts : instants from which the state is unknown until its next value
    spans : stretches [start, end] during which the log ran, in time order

    A value holds to the next one or to the span's end; the same value again is no edge; before
    the first value of a span nothing is known.
    """
    events = np.concatenate([ts, unknown_ts])
    values = np.concatenate([value, np.full(len(unknown_ts), np.nan)])
    order = np.lexsort((np.isnan(values), events))
    events, values = events[order], values[order]
    starts_of = np.array([s for s, _ in spans], np.int64)
    span = np.searchsorted(starts_of, events, side="right") - 1
    span_end = np.array([e for _, e in spans], np.int64)[span]
    following = np.append(events[1:], np.iinfo(np.int64).max)
    same_span = np.append(span[1:] == span[:-1], False)
    end = np.where(same_span, following, span_end)
    real = ~np.isnan(values) & (end > events)
    start, end, on = events[real], end[real], values[real] > 0
    if len(start) == 0:
        return start, end, on
    opens = np.append(True, (start[1:] != end[:-1]) | (on[1:] != on[:-1]))
    closes = np.append(opens[1:], True)
    return start[opens], end[closes], on[opens]


def file_ends(first_last: list[tuple[int, int]], until: int | None) -> list[int]:
    """How far the states of a change-of-state logger's files are known, per file.

    first_last : (first row, last row or footer's stop time) of the files, by first row
    until : the site file's word for how long the log ran

    A file goes on to the next one's first row where that is at most an hour away.
    """
    ends = []
    for k, (_, last) in enumerate(first_last):
        following = first_last[k + 1][0] if k + 1 < len(first_last) else None
        end = last
        if until is not None and until > end:
            end = until if following is None else min(until, following)
            end = max(end, last)
        if following is not None and 0 <= following - end <= NEXT_FILE_MAX_US:
            end = following
        ends.append(end)
    return ends


def joined_spans(first_last: list[tuple[int, int]], ends: list[int]) -> list[tuple[int, int]]:
    """The stretches during which a logger ran: files that touch or overlap are one."""
    spans: list[tuple[int, int]] = []
    for (first, _), end in sorted(zip(first_last, ends, strict=True)):
        if spans and first <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(spans[-1][1], end))
        else:
            spans.append((first, end))
    return spans


def _nominal(steps: Ints) -> float:
    return middle_step(steps[steps > 0])


def _rate_change(steps: Ints, at: int, nominal: float) -> int:
    """Where the first RATE_CHANGE_STEPS steps in a row that differ begin, else the end."""
    size, start = 512, at
    while start < len(steps):
        part = steps[start : start + size]
        differs = np.abs(part - nominal) > nominal / 2
        if len(part) < RATE_CHANGE_STEPS:
            break
        count = np.append(0, np.cumsum(differs))
        run = count[RATE_CHANGE_STEPS:] - count[:-RATE_CHANGE_STEPS]
        found = np.flatnonzero(run == RATE_CHANGE_STEPS)
        if len(found):
            first = start + int(found[0])
            return first if first > at else at + RATE_CHANGE_STEPS
        if start + size >= len(steps):
            break
        start += size - RATE_CHANGE_STEPS + 1
        size = min(size * 2, 1 << 20)
    return len(steps)
