"""Where a row's date and time stand: in one column, in two, or spread over their parts."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pipeline.errors import InputError
from pipeline.ingest.written_times import text_kind

# Header texts of columns that hold one part of the time each.
_PARTS = {
    "year": ("year", "yr", "yyyy"),
    "month": ("month", "mon", "mo", "mm"),
    "day": ("day", "dd", "dom", "day of month"),
    "day_of_year": ("doy", "day of year", "julian day", "julian", "jday", "yday", "dayofyear"),
    "hour": ("hour", "hr", "hh", "hours"),
    "minute": ("minute", "min", "minutes"),
    "second": ("second", "sec", "ss", "seconds"),
    "hhmm": ("hhmm", "hour minute", "hourmin", "time", "time hhmm", "clock"),
}
_PART_OF = {word: part for part, words in _PARTS.items() for word in words}
_DOTTED = re.compile(r"\d{1,2}[.h]\d{2}[.m]\d{2}s?")
# Spreadsheets count days from 1899-12-30; these are the years 2000 to 2100.
_SERIAL = re.compile(r"(?:3[6-9]|[45]\d|6\d|7[0-2])\d{3}(?:[.,]\d+)?")
_TIME_WORDS = re.compile(r"(?i)\b(date|time|stamp|when|clock|timestamp|datetime)\b")


@dataclass
class Place:
    """Where time stands in a row of `width` cells, and in how many of the sampled lines.

    columns, kinds : see sniff.Dialect; widths : how many lines have which number of cells
    """

    width: int
    columns: tuple[int, ...]
    kinds: tuple[str, ...]
    n_rows: int
    widths: dict[int, int] = field(default_factory=dict)
    reason: str = ""

    def fits(self, row: Sequence[str]) -> bool:
        """Whether this row has a time where it should."""
        if len(row) <= max(self.columns):
            return False
        return all(_is(row[c], k) for c, k in zip(self.columns, self.kinds, strict=True))


def time_place(kinds: Sequence[str | None]) -> tuple[tuple[int, ...], tuple[str, ...]] | None:
    """The columns that hold date and time in a row, given what each of its cells may be."""
    # A serial number may look like seconds since 1970, so those come last.
    if "datetime" in kinds:
        return (kinds.index("datetime"),), ("datetime",)
    for date in ("date", "short_date"):
        if date in kinds and "time" in kinds:
            return (kinds.index(date), kinds.index("time")), (date, "time")
    for kind in ("epoch_s", "epoch_ms", "epoch_us", "date"):
        if kind in kinds:
            return (kinds.index(kind),), (kind,)
    return None


def named_parts(cells: list[list[str]]) -> Place | None:
    """The columns that a header calls year, month, day, hour and so on; None if there are none."""
    for at, row in enumerate(cells[:60]):
        parts = _parts(row)
        has_day = {"month", "day"} <= parts.keys() or "day_of_year" in parts
        if "day" in parts and "month" not in parts and "day_of_year" not in parts:
            parts["day_of_year"] = parts.pop("day")
            has_day = True
        if "year" not in parts or not has_day or not {"hour", "hhmm"} & parts.keys():
            continue
        kinds = tuple(p for p in _PARTS if p in parts)
        columns = tuple(parts[k] for k in kinds)
        place = Place(len(row), columns, kinds, 0, reason="by the names of the columns")
        rows = [r for r in cells[at + 1 :] if place.fits(r)]
        widths = Counter(len(r) for r in rows)
        if widths:
            place.width, place.n_rows = widths.most_common(1)[0]
            place.widths = dict(widths)
            return place
    return None


def serial_place(cells: list[list[str]]) -> Place | None:
    """A column of spreadsheet dates: rising numbers under a name that speaks of time, else first.

    None if there is none.
    """
    widths = Counter(len(r) for r in cells if len(r) > 1 and any(_SERIAL.fullmatch(c) for c in r))
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    for column in range(min(width, 4)):
        rows = [i for i, r in enumerate(cells) if len(r) == width and _SERIAL.fullmatch(r[column])]
        if len(rows) < 3:
            continue
        values = [float(cells[i][column].replace(",", ".")) for i in rows]
        rising = sum(b >= a for a, b in pairwise(values)) if values[-1] > values[0] else 0
        above = [r[column] for r in cells[: rows[0]] if len(r) > column]
        is_named = any(_TIME_WORDS.search(name) for name in above)
        if rising >= 0.9 * (len(values) - 1) and is_named and any(v % 1 for v in values):
            reason = "its numbers rise like a spreadsheet's days since 1899-12-30"
            counted = {w: n for w, n in widths.items() if w == width}
            return Place(width, (column,), ("serial",), len(rows), counted, reason)
    return None


def with_time_of_day(place: Place, cells: list[list[str]], lines: list[str], shown: str) -> Place:
    """A place that has only a date, with the columns of the time of day beside it.

    Raises InputError where rows share their date and no time of day is found.
    """
    rows = [r for r in cells if len(r) == place.width and place.fits(r)]
    column = place.columns[0]
    dates = [r[column] for r in rows]
    if len(set(dates)) > len(dates) // 2:
        return place
    for other in range(place.width):
        if other != column and all(_DOTTED.fullmatch(r[other]) for r in rows):
            place.columns, place.kinds = (column, other), ("date", "time_dotted")
            return place
    first = next(i for i, r in enumerate(cells) if len(r) == place.width and place.fits(r))
    for row in reversed(cells[:first]):
        parts = _parts(row)
        kinds = tuple(k for k in ("hour", "minute", "second", "hhmm") if k in parts)
        found = Place(place.width, tuple(parts[k] for k in kinds), kinds, 0)
        if {"hour", "hhmm"} & set(kinds) and all(found.fits(r) for r in rows):
            place.columns, place.kinds = (column, *found.columns), ("date", *kinds)
            place.reason = "by the names of the columns"
            return place
    raise InputError(
        "the rows have a date and no time of day",
        file=shown,
        line=first + 1,
        found=lines[first][:160],
        expected="a date and a time, such as 2026-01-14 10:00:00, in one column or two",
        hint="export it again with the time of day",
    )


def _parts(row: Sequence[str]) -> dict[str, int]:
    parts: dict[str, int] = {}
    for column, name in enumerate(row):
        plain = re.sub(r"\(.*?\)|\[.*?\]", " ", name.lower())
        plain = re.sub(r"[\s_\-.]+", " ", plain).strip()
        part = _PART_OF.get(plain)
        if part is not None:
            parts.setdefault(part, column)
    return parts


def _is(cell: str, kind: str) -> bool:
    if kind == "serial":
        return _SERIAL.fullmatch(cell) is not None
    if kind == "time_dotted":
        return _DOTTED.fullmatch(cell) is not None
    if kind in _PARTS:
        return cell.isdigit() and len(cell) <= 4
    return text_kind(cell) == kind
