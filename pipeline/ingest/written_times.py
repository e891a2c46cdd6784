"""Texts to clock readings: date and time formats, day and month order, years left out.

A text is matched by one grammar (`_GRAMMAR`), and all texts written in the same layout (digits in
the same places) are then read at once, digit by digit, as numpy columns; so a new format is a new
line of the grammar and bulk rows never meet a Python loop.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.units import MICROSECONDS

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

DAY_US = 86_400 * MICROSECONDS
NO_OFFSET = np.iinfo(np.int64).min
# A file whose rows are written in more ways than this is not a table.
_MAX_LAYOUTS = 2_000
_MAX_LENGTH = 48
# The clocks of the world stand from UTC-12:00 to UTC+14:00 (IANA time zone database).
MAX_OFFSET_MIN = 14 * 60
# A spreadsheet's apostrophe before a text is no part of it.
_AROUND = " \t\"'"
_ORDER_NAMES = {"mdy": "month/day", "dmy": "day/month", "ymd": "year-month-day"}

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
# Hours from UTC that the letters behind a time say in the United States.
ZONE_LETTERS = {
    **{"AST": -4, "EST": -5, "CST": -6, "MST": -7, "PST": -8, "AKST": -9, "HST": -10},
    **{"ADT": -3, "EDT": -4, "CDT": -5, "MDT": -6, "PDT": -7, "AKDT": -8},
}
_WEEKDAY = r"(?:(?i:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+)?"
_NAMED = r"(?P<nm>[A-Za-z]{3})[a-z]*\.?"
_DATES = (
    r"(?P<y>\d{4})(?P<s1>[-/.])(?P<m>\d{1,2})(?P=s1)(?P<d>\d{1,2})",
    r"(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<c>\d{4}|\d{2})",
    rf"(?P<nd>\d{{1,2}})[-/. ]?{_NAMED}[-/. ]?(?P<ny>\d{{4}}|\d{{2}})",
    rf"{_NAMED}[-/ ]+(?P<nd>\d{{1,2}})(?:,\s*|[-/ ]+)(?P<ny>\d{{4}}|\d{{2}})",
    r"(?P<y>(?:19|20)\d{2})(?P<m>0[1-9]|1[0-2])(?P<d>0[1-9]|[12]\d|3[01])",
    r"(?P<oy>(?:19|20)\d{2})-(?P<od>\d{3})",
)
# Readable only beside a time of day, as plain numbers look the same.
_SHORT_DATES = (
    r"(?P<a>\d{1,2})[-/](?P<b>\d{1,2})",
    r"(?P<a>\d{1,2})\.(?P<b>\d{1,2})\.",
    rf"(?P<nd>\d{{1,2}})[-/. ]?{_NAMED}",
    rf"{_NAMED}[-/ ]+(?P<nd>\d{{1,2}})",
)
_TIME = (
    r"(?P<h>\d{1,2}):(?P<mi>\d{2})(?::(?P<se>\d{2})(?:[.,:](?P<f>\d{1,9}))?)?"
    r"(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]?\.?)?"
)
_OFFSET = (
    r"(?:\s*(?:(?P<z>Z|UTC|GMT)|(?:UTC|GMT)?(?P<os>[+-])(?P<oh>\d{2}):?(?P<om>\d{2})?"
    rf"|(?P<zn>{'|'.join(sorted(ZONE_LETTERS, key=len, reverse=True))})))?"
)
_DOTTED = r"(?P<h>\d{1,2})[.h](?P<mi>\d{2})[.m](?P<se>\d{2})s?"
_COMPACT = r"(?P<h>\d{2})(?P<mi>\d{2})(?P<se>\d{2})?"
_GAP = r"(?:\s*[Tt,]\s*|\s+|_)"
_WHOLE = [
    *(rf"{_WEEKDAY}{d}{_GAP}{_TIME}{_OFFSET}" for d in _DATES),
    *(rf"{d}\s+{_DOTTED}" for d in _DATES[:2]),
    rf"{_DATES[4]}[T _-]?{_COMPACT}{_OFFSET}",
    *(rf"{_WEEKDAY}{d}{_GAP}{_TIME}{_OFFSET}" for d in _SHORT_DATES),
]
_GRAMMAR = {
    "datetime": [re.compile(pattern) for pattern in _WHOLE],
    "date": [re.compile(_WEEKDAY + pattern) for pattern in _DATES],
    "time": [re.compile(_TIME + _OFFSET)],
    "epoch_s": [re.compile(r"(?P<es>[12]\d{9})(?:[.,](?P<f>\d{1,9}))?")],
    "epoch_ms": [re.compile(r"(?P<es>[12]\d{9})(?P<f>\d{3})")],
    "epoch_us": [re.compile(r"(?P<es>[12]\d{9})(?P<f>\d{6})")],
    "short_date": [re.compile(_WEEKDAY + pattern) for pattern in _SHORT_DATES],
}
_IN_PROSE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[ T,;\t]+\d{1,2}:\d{2}(:\d{2})?(\s*[AaPp]\.?[Mm]\b)?"
    r"(\s*Z|\s*[+-]\d{2}:?\d{2})?"
)


@dataclass
class Fields:
    """The parts of each text as written, one entry per text; -1 where a part is absent.

    style : 0 unreadable, 1 year-month-day, 2 numbers whose order is open, 3 month by name,
        4 seconds since 1970, 5 year and day of the year
    p1, p2, p3 : the date's parts as written, p3 the year or -1 where it is left out (style 1: year,
        month, day; 3: day, month, year; 4: p1 the seconds; 5: p1 the year, p2 the day of it)
    time_us : time of day after midnight [us]; offset_us : stated offset from UTC, or NO_OFFSET
    """

    style: NDArray[np.int8]
    p1: Ints
    p2: Ints
    p3: Ints
    time_us: Ints
    offset_us: Ints
    has_seconds: bool = False
    twelve_hours: bool = False
    short_year: bool = False

    @property
    def lacks_year(self) -> bool:
        """Whether some dates are written without a year."""
        return bool((((self.style == 2) | (self.style == 3)) & (self.p3 < 0)).any())


@dataclass(frozen=True)
class DateOrder:
    """How the three numbers of a date are ordered and why; order None: nothing decides it."""

    order: str | None
    reason: str


def text_kind(text: str) -> str | None:
    """What a cell may be: datetime, date, time, epoch_s, epoch_ms, epoch_us, short_date, or None.

    A short_date is one without a year; by itself it may as well be a fraction.
    """
    text = _plain(text)
    return None if len(text) > _MAX_LENGTH else _kind(text)


@lru_cache(maxsize=1 << 14)  # a cell is asked about for every delimiter, and again in its row
def _kind(text: str) -> str | None:
    for kind, patterns in _GRAMMAR.items():
        if any(_means_date(pattern.fullmatch(text)) for pattern in patterns):
            return kind
    return None


def text_of(line: str) -> str | None:
    """The first date with a time of day in a line of prose, as text; None if there is none."""
    found = _IN_PROSE.search(line)
    return re.sub(r"[;\t]+", " ", found.group()) if found else None


def split_texts(texts: pa.Array, needs_time: bool) -> Fields:
    """The date and time parts of each text; see Fields. Nulls and other texts get style 0.

    needs_time : a date without a time of day is not readable either
    """
    n = len(texts)
    fields = Fields(
        style=np.zeros(n, np.int8),
        p1=np.full(n, -1, np.int64),
        p2=np.full(n, -1, np.int64),
        p3=np.full(n, -1, np.int64),
        time_us=np.zeros(n, np.int64),
        offset_us=np.full(n, NO_OFFSET, np.int64),
    )
    texts = _tidied(texts)
    lengths = pc.fill_null(pc.binary_length(texts), 0).to_numpy(zero_copy_only=False)
    layouts = 0
    for length in np.flatnonzero(np.bincount(lengths)):
        if not 4 <= length <= _MAX_LENGTH:
            continue
        rows = np.flatnonzero(lengths == length)
        chosen = texts if len(rows) == n else texts.take(pa.array(rows))
        letters = np.frombuffer(b"".join(_buffer(chosen)), np.uint8).reshape(len(rows), length)
        places = np.ascontiguousarray(letters.T)  # one place of all texts after the other
        left = np.arange(len(rows))
        while len(left) and layouts < _MAX_LAYOUTS:
            part = places if len(left) == len(rows) else places[:, left]
            alike = np.ones(len(left), bool)
            for column in part:
                first = column[0]
                alike &= (column - 48 < 10) if 48 <= first < 58 else (column == first)
            layouts += 1
            if alike.all():
                _read_layout(fields, part, rows[left], needs_time)
                break
            _read_layout(fields, part[:, alike], rows[left[alike]], needs_time)
            left = left[~alike]
    return fields


def date_order(fields: Fields, given: str | None) -> DateOrder:
    """The order of day, month and year, decided by the site file, else by evidence in the file.

    Evidence: a number over 12 decides; so do dates that follow one another day by day in one
    reading and month by month in the other. Raises nothing: an undecided order is None.
    """
    open_rows = np.flatnonzero(fields.style == 2)
    if len(open_rows) == 0:
        counts = bool((fields.style == 4).any())
        reason = "it counts from a fixed day" if counts else "the year comes first"
        if not counts and (fields.style == 3).any():
            reason = "the month is named"
        return DateOrder("ymd", reason)
    p1, p2, p3 = (p[open_rows] for p in (fields.p1, fields.p2, fields.p3))
    if given is not None:
        return DateOrder(given, "site.toml says so")
    if fields.short_year and p1.min() > 12 and p1.min() == p1.max() and p3.min() != p3.max():
        return DateOrder("ymd", f"the last number counts while the first stays {p1[0]}")
    day_first, month_first = bool((p1 > 12).any()), bool((p2 > 12).any())
    if day_first and month_first:
        return DateOrder(None, "some dates have a first number over 12, others a second")
    for is_so, order, numbers in ((day_first, "dmy", p1), (month_first, "mdy", p2)):
        if is_so:
            row = int(np.argmax(numbers > 12))
            shown = f"{p1[row]:02d}/{p2[row]:02d}"
            return DateOrder(order, f"{shown} can only be {_ORDER_NAMES[order]}")
    changed = np.flatnonzero((np.diff(p1) != 0) | (np.diff(p2) != 0) | (np.diff(p3) != 0))
    if len(changed):
        days = {order: np.diff(_days(p1, p2, p3, order))[changed] for order in ("mdy", "dmy")}
        for order, other in (("mdy", "dmy"), ("dmy", "mdy")):
            near = np.abs(days[order])
            steady = ((near <= 2).all()) and ((days[order] >= 0).all() or (days[order] <= 0).all())
            if steady and (np.abs(days[other]) >= 20).all():
                return DateOrder(
                    order,
                    f"read as {_ORDER_NAMES[order]} the dates follow one another day by day",
                )
    return DateOrder(None, f"{p1[0]:02d}/{p2[0]:02d} can be month/day or day/month")


def local_us(fields: Fields, order: str, year: int | None = None) -> tuple[Ints, Flags]:
    """Clock readings as microseconds since 1970 on the logger's own clock, and which are good.

    year : of the first date that is written without one; the rows then follow the calendar, so
        that a December before a January is a year earlier

    24:00:00 is the next day's midnight.
    """
    n = len(fields.style)
    years, months, days = (np.full(n, 1970, np.int64), np.ones(n, np.int64), np.ones(n, np.int64))
    for style, written in ((1, "ymd"), (2, order), (3, "dmy")):
        rows = fields.style == style
        if not rows.any():
            continue
        if rows.all():
            rows = slice(None)
        parts = dict(zip(written, (fields.p1[rows], fields.p2[rows], fields.p3[rows]), strict=True))
        if style == 2 and fields.lacks_year:
            shown = "md" if order.index("m") < order.index("d") else "dm"
            parts = dict(zip(shown, (fields.p1[rows], fields.p2[rows]), strict=True))
            parts["y"] = fields.p3[rows]
        years[rows], months[rows], days[rows] = parts["y"], parts["m"], parts["d"]
    lacking = ((fields.style == 2) | (fields.style == 3)) & (fields.p3 < 0)
    if year is not None and lacking.any():
        steps = np.diff(months[lacking])
        turns = np.cumsum((steps < -6).astype(np.int64) - (steps > 6).astype(np.int64))
        years[lacking] = year + np.append(0, turns)
    if fields.short_year or (years < 100).any():
        # A two-digit year up to 68 is of this century, as in POSIX.
        years = np.where((years >= 0) & (years < 69), years + 2000, years)
        years = np.where((years >= 69) & (years < 100), years + 1900, years)
    good = (fields.style > 0) & (months >= 1) & (months <= 12) & (days >= 1)
    good &= (years >= 0) & (years <= 2262)
    start = _month_start(years, np.clip(months, 1, 12))
    length = np.full(n, 28)
    long = np.flatnonzero(days > 28)
    following = _month_start(years[long], np.clip(months[long], 1, 12) + 1)
    length[long] = following - start[long]
    ordinal = fields.style == 5
    if ordinal.any():
        whole = np.where(ordinal, fields.p1, 1970)
        start = np.where(ordinal, _month_start(whole, np.ones(n, np.int64)), start)
        following = _month_start(whole + 1, np.ones(n, np.int64))
        length = np.where(ordinal, following - start, length)
        days = np.where(ordinal, fields.p2, days)
    good &= (days >= 1) & (days <= length)
    good &= (fields.time_us >= 0) & (fields.time_us <= DAY_US)
    local = (start + days - 1) * DAY_US + fields.time_us
    seconds = fields.style == 4
    local[seconds] = fields.p1[seconds] * MICROSECONDS + fields.time_us[seconds]
    return np.where(good, local, 0), good


def _month_start(years: Ints, months: Ints) -> Ints:
    since_1970 = (years - 1970) * 12 + months - 1
    return since_1970.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def _days(p1: Ints, p2: Ints, p3: Ints, order: str) -> Ints:
    parts = dict(zip(order, (p1, p2, p3), strict=True))
    years = np.where(parts["y"] < 0, 2000, parts["y"] + 2000 * (parts["y"] < 100))
    return _month_start(years, parts["m"]) + parts["d"] - 1


def _means_date(found: re.Match[str] | None) -> re.Match[str] | None:
    """The match, unless the three letters in it are no month."""
    if found is None:
        return None
    name = found.groupdict().get("nm")
    return found if name is None or name.lower() in _MONTHS else None


def _read_layout(fields: Fields, places: NDArray[np.uint8], rows: Ints, needs_time: bool) -> None:
    """Read all texts of one layout: the first tells where the parts stand.

    places : per place in the text the letters of all of them
    """
    text = places[:, 0].tobytes().decode("utf-8", errors="replace")
    found = None
    if text.isascii():
        for kind in ("datetime", "date", "time", "epoch_s", "epoch_ms", "epoch_us"):
            for pattern in _GRAMMAR[kind]:
                found = found or _means_date(pattern.fullmatch(text))
    if found is None:
        return
    parts = found.groupdict()
    if needs_time and not parts.get("h") and not parts.get("es"):
        return

    def number(name: str) -> Ints:
        start, end = found.span(name)
        value = np.zeros(len(rows), np.int64)
        for at in range(start, end):
            value *= 10
            value += places[at] - 48
        return value

    if parts.get("y"):
        style, names = 1, ("y", "m", "d")
    elif parts.get("a"):
        style, names = 2, ("a", "b", "c" if parts.get("c") else "")
        fields.short_year |= len(parts.get("c") or "") == 2
    elif parts.get("nm"):
        style, names = 3, ("nd", "", "ny" if parts.get("ny") else "")
        fields.p2[rows] = _MONTHS.index(parts["nm"].lower()) + 1
    elif parts.get("es"):
        style, names = 4, ("es", "", "")
    elif parts.get("oy"):
        style, names = 5, ("oy", "od", "")
    else:
        return  # a time without a date
    fields.style[rows] = style
    for target, name in zip((fields.p1, fields.p2, fields.p3), names, strict=True):
        if name:
            target[rows] = number(name)
    time = np.zeros(len(rows), np.int64)
    if parts.get("h"):
        hours, minutes = number("h"), number("mi")
        wrong = (minutes > 59) | (hours > 24)
        if parts.get("ap"):
            fields.twelve_hours = True
            # 13:05 PM says the same thing twice, and 0:05 AM too; 13:05 AM contradicts itself.
            is_pm = parts["ap"] in "Pp"
            wrong |= (hours > 23) if is_pm else (hours > 12)
            hours = hours % 12 + (12 if is_pm else 0)
        time = (hours * 60 + minutes) * 60
        if parts.get("se"):
            fields.has_seconds = True
            seconds = number("se")
            wrong |= seconds > 59
            time += seconds
        time *= MICROSECONDS
        time[wrong] = -DAY_US
    if parts.get("f"):
        time += number("f") * 10**6 // 10 ** len(parts["f"])
    fields.time_us[rows] = time
    if style == 4 or parts.get("z"):
        fields.offset_us[rows] = 0
    elif parts.get("zn"):
        fields.offset_us[rows] = ZONE_LETTERS[parts["zn"]] * 3_600 * MICROSECONDS
    elif parts.get("os"):
        minutes = number("oh") * 60 + (number("om") if parts.get("om") else 0)
        sign = -1 if parts["os"] == "-" else 1
        fields.offset_us[rows] = sign * minutes * 60 * MICROSECONDS
        fields.time_us[rows[minutes > MAX_OFFSET_MIN]] = -DAY_US


def _plain(text: str) -> str:
    return text.replace("\u202f", " ").replace("\xa0", " ").strip(_AROUND)


def _tidied(texts: pa.Array) -> pa.Array:
    """Blanks of every kind made plain, and trimmed."""
    if pc.all(pc.string_is_ascii(texts)).as_py():
        return pc.ascii_trim(texts, _AROUND)
    for blank in ("\u202f", "\xa0"):
        texts = pc.replace_substring(texts, blank, " ")
    return pc.utf8_trim(texts, _AROUND)


def _buffer(texts: pa.Array) -> list[memoryview]:
    """The letters of a string array, one after the other, without copying."""
    texts = texts.cast(pa.large_string()) if texts.type != pa.large_string() else texts
    offsets = np.frombuffer(texts.buffers()[1], np.int64)[texts.offset :][: len(texts) + 1]
    content = texts.buffers()[2]
    if content is None or len(texts) == 0:
        return []
    return [memoryview(content)[int(offsets[0]) : int(offsets[-1])]]
