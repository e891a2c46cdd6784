"""Clocks that lost their date, and clocks that were set back while the logger ran."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.encoding import Text
from pipeline.ingest.sniff import Dialect, cut
from pipeline.ingest.written_times import DAY_US, Flags, Ints
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS

if TYPE_CHECKING:
    from pipeline.ingest.reading import FileReading

# More steps back than this are rows in no order, not a clock that somebody set.
_MAX_STEPS_BACK = 20
_EARLIEST = int(datetime(2000, 1, 1, tzinfo=UTC).timestamp()) * MICROSECONDS


def lost_dates(local: Ints, readable: Flags) -> Flags:
    """Which readable clock readings are of a date at which the logger cannot have run.

    Such are those before 2000, to which a clock falls back, and those `lost_clock_min_years` from
    most of the file's rows, which a flat battery or a damaged digit leaves.
    """
    lost = readable & (local < _EARLIEST)
    rest = local[readable & ~lost]
    if len(rest):
        years = THRESHOLDS["lost_clock_min_years"].value
        span = years * 365.25 * DAY_US
        if rest.max() - rest.min() > span:
            lost |= readable & (np.abs(local - np.median(rest)) > span)
    return lost


def refuse_far_apart(readings: Sequence[FileReading]) -> None:
    """Raise InputError where files of one site are further apart than any log is long.

    One of their clocks was never set; all that is reckoned by the day would else go through the
    decades between them.
    """
    if not readings:
        return
    ends = {id(r): max(r.last_ts, _until_ts(r)) for r in readings}
    if not is_far_apart(min(r.first_ts for r in readings), max(ends.values())):
        return
    middle = int(np.median(np.concatenate([r.ts for r in readings])))
    far = max(
        sorted(readings, key=lambda r: r.opened.export.path),
        key=lambda r: max(abs(r.first_ts - middle), abs(ends[id(r)] - middle)),
    )
    shown = " to ".join(
        str(datetime.fromtimestamp(ts // MICROSECONDS, UTC).date())
        for ts in (far.first_ts, ends[id(far)])
    )
    usual = datetime.fromtimestamp(middle // MICROSECONDS, UTC).date()
    raise InputError(
        "this file lies years from the site's other rows",
        file=far.opened.export.shown,
        line=far.opened.dialect.first_row_line,
        found=f"{shown}; most rows lie about {usual}",
        expected=f"logs of one site within {THRESHOLDS['lost_clock_min_years'].value:g} years",
        hint="if its clock was not set, give clock_offset_s or year in its [[export]], or move it "
        "out of exports/",
    )


def is_far_apart(first_ts: int, last_ts: int) -> bool:
    """Whether two instants are further apart than any log is long."""
    years = THRESHOLDS["lost_clock_min_years"].value
    return last_ts - first_ts > years * 365.25 * DAY_US


def _until_ts(reading: FileReading) -> int:
    """How far the site file says that the log ran; 0 where it does not."""
    said = reading.opened.said
    return (said.until_ts or 0) if said is not None else 0


def set_back(
    ts: Ints,
    good: Flags,
    why: dict[int, str],
    line: Ints,
    text: Text,
    dialect: Dialect,
    notes: list[str],
) -> None:
    """Take away the instants that come twice because the clock was set back mid-file.

    Nobody can tell which of the two readings of such an instant belongs there, so neither is
    used: `good` is cleared and `why` says so. An export that holds the same rows twice, or the
    columns of one logger one after the other, is no clock that was set back.
    """
    rows = np.flatnonzero(good)
    steps = np.diff(ts[rows])
    if (steps < 0).sum() > (steps > 0).sum():  # the newest row first
        rows = rows[::-1]
        steps = np.diff(ts[rows])
    back = np.flatnonzero(steps < 0)
    if not 0 < len(back) <= _MAX_STEPS_BACK:
        return
    least = int(THRESHOLDS["set_back_min_rows"].value)
    edges = [0, *(int(b) + 1 for b in back), len(rows)]
    for k in range(len(back)):
        before, after = rows[edges[k] : edges[k + 1]], rows[edges[k + 1] : edges[k + 2]]
        start, end = int(ts[after[0]]), int(ts[before[-1]])
        twice_before = before[ts[before] >= start]
        twice_after = after[ts[after] <= end]
        if min(len(twice_before), len(twice_after)) < least:
            continue
        if _is_same_data(twice_before, twice_after, line, text, dialect):
            continue
        at = int(line[after[0]])
        reason = f"the clock was set back at line {at}: this time came twice"
        both = np.concatenate([twice_before, twice_after])
        good[both] = False
        why |= dict.fromkeys(both.tolist(), reason)
        minutes = (end - start) / 60 / MICROSECONDS
        notes.append(
            f"The clock was set back by about {minutes:.1f} min at line {at:,}; the {len(both):,} "
            "rows of the time that came twice are not used. Either the rows before or those after "
            "may be on a wrong clock: compare them with another logger."
        )


def _is_same_data(before: Ints, after: Ints, line: Ints, text: Text, dialect: Dialect) -> bool:
    """Whether two stretches of one time are the same rows, or rows of other columns."""
    first = {text.line(int(line[k])) for k in before}
    again = [text.line(int(line[k])) for k in after]
    if sum(shown in first for shown in again) >= len(again) / 2:
        return True

    def filled(shown: list[str]) -> set[int]:
        cells = [cut(s, dialect.delimiter, dialect.is_quoted) for s in shown]
        return {
            i
            for row in cells
            for i, cell in enumerate(row)
            if cell and i not in dialect.time_columns
        }

    return not filled(sorted(first)[:50]) & filled(again[:50])
