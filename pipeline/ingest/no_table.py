"""Texts that are no table with a time in each row: what is wrong with them, line and all."""

from __future__ import annotations

from collections import Counter

from pipeline.errors import InputError
from pipeline.ingest.time_columns import Place
from pipeline.ingest.written_times import text_kind
from pipeline.thresholds import THRESHOLDS

# More times than this in one line, and the table lies on its side.
_MAX_TIMES_IN_ROW = 4
# Of fewer lines nothing can be said about how many of them have a time.
_MIN_LINES = 20


def refuse_across(
    place: Place, cells: list[list[str]], lines: list[str], starts: list[int], shown: str
) -> None:
    """Raise InputError where the times stand beside one another instead of below."""
    at = next(i for i, row in enumerate(cells) if place.fits(row))
    times = sum(text_kind(c) == "datetime" for c in cells[at])
    if place.n_rows > 2 or times <= _MAX_TIMES_IN_ROW:
        return
    raise InputError(
        "the times stand beside one another in one line",
        file=shown,
        line=starts[at],
        found=f"{times} times in this line: {lines[at][:100]}",
        expected="one line for each time, with the readings of that time beside it",
        hint="export it again with one row for each time, or turn rows into columns in a "
        "spreadsheet and save that as CSV",
    )


def refuse_few(
    place: Place, cells: list[list[str]], lines: list[str], starts: list[int], shown: str
) -> None:
    """Raise InputError where hardly a line has a date and time, so that nearly all would be lost.

    Lines from the first with a time on count, and blank ones do not.
    """
    first = next(i for i, row in enumerate(cells) if place.fits(row))
    filled = [i for i in range(first, len(lines)) if lines[i].strip(" \t,;|\0\x1a\x0c")]
    without = [i for i in filled if not place.fits(cells[i])]
    few = THRESHOLDS["rows_with_time_share"].value * len(filled)
    if len(filled) < _MIN_LINES or len(filled) - len(without) >= few:
        return
    # What most of the lines look like, rather than a note that comes first.
    usual = Counter(len(cells[i]) for i in without).most_common(1)[0][0]
    at = next(i for i in without if len(cells[i]) == usual)
    raise InputError(
        "hardly any row has a date and a time",
        file=shown,
        line=starts[at],
        found=f"{len(filled) - len(without)} of {len(filled)} lines have both; this one has not: "
        f"{lines[at][:100]}",
        expected="a date and a time in every row, such as 2026-01-14 10:00:00,68.4",
        hint="export it again with the full date and time in each row; seconds since the start, "
        "or a date that stands only where it changes, do not do",
    )


def near_names(above: list[list[str]], starts: list[int], width: int) -> str:
    """What keeps a line above the rows from naming their columns; empty if there is none."""
    at = next((i for i in reversed(range(len(above))) if any(above[i])), None)
    if at is None or len(above[at]) < 2 or len(above[at]) == width:
        return ""
    found = f"; line {starts[at]} has {len(above[at])} cells, the rows have {width}"
    if len(above[at]) < width:
        found += ": a decimal comma among commas?"
    return found


def no_rows(lines: list[str], shown: str) -> InputError:
    """The error of a text in which no row has a date and a time."""
    filled = [(i, line) for i, line in enumerate(lines, start=1) if line.strip()]
    number, line = filled[min(len(filled) - 1, 1)] if filled else (1, "")
    return InputError(
        "no row with a date and time was found",
        file=shown,
        line=number,
        found=line[:160],
        expected="rows such as 2026-01-14 10:00:00,68.4 below a line of column names",
        hint="see what it holds: zonetrail inspect " + shown,
    )
