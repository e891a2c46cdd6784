"""Texts to instants: date and time formats, day and month order, zones, folds and gaps.

A text is matched by one grammar (`_GRAMMAR`), and all texts written in the same layout (digits in
the same places) are then read at once, digit by digit, as numpy columns; so a new format is a new
line of the grammar and bulk rows never meet a Python loop.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.units import MICROSECONDS

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

DAY_US = 86_400 * MICROSECONDS
NO_OFFSET = np.iinfo(np.int64).min
_MAX_LAYOUTS = 500
_ORDER_NAMES = {"mdy": "month/day", "dmy": "day/month", "ymd": "year-month-day"}

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DATES = (
    r"(?P<y>\d{4})(?P<s1>[-/.])(?P<m>\d{1,2})(?P=s1)(?P<d>\d{1,2})",
    r"(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<c>\d{4}|\d{2})",
    r"(?P<nd>\d{1,2})[-/. ](?P<nm>[A-Za-z]{3})[a-z]*\.?[-/. ](?P<ny>\d{4}|\d{2})",
)
_TIME = (
    r"(?P<h>\d{1,2}):(?P<mi>\d{2})(?::(?P<se>\d{2})(?:[.,](?P<f>\d{1,9}))?)?"
    r"(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]\.?)?"
)
_OFFSET = r"(?:\s*(?:(?P<z>Z|UTC|GMT)|(?P<os>[+-])(?P<oh>\d{2}):?(?P<om>\d{2})?))?"
_GRAMMAR = {
    "datetime": [re.compile(rf"{d}(?:\s*[Tt,]\s*|\s+){_TIME}{_OFFSET}") for d in _DATES],
    "date": [re.compile(d) for d in _DATES],
    "time": [re.compile(_TIME + _OFFSET)],
    "epoch_s": [re.compile(r"(?P<es>[12]\d{9})(?:\.(?P<f>\d{1,9}))?")],
    "epoch_ms": [re.compile(r"(?P<es>[12]\d{9})(?P<f>\d{3})")],
}


@dataclass
class Fields:
    """The parts of each text as written, one entry per text; -1 where a part is absent.

    style : 0 unreadable, 1 year-month-day, 2 three numbers whose order is open, 3 month by name,
        4 seconds since 1970
    p1, p2, p3 : the date's parts as written (style 4: p1 holds the seconds)
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


@dataclass(frozen=True)
class DateOrder:
    """How the three numbers of a date are ordered and why; order None: nothing decides it."""

    order: str | None
    reason: str


def text_kind(text: str) -> str | None:
    """What a cell may be: datetime, date, time, epoch_s, epoch_ms, or None."""
    text = _plain(text)
    for kind, patterns in _GRAMMAR.items():
        if any(pattern.fullmatch(text) for pattern in patterns):
            return kind
    return None


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
        if not 4 <= length <= 64:
            continue
        rows = np.flatnonzero(lengths == length)
        chosen = texts if len(rows) == n else texts.take(pa.array(rows))
        letters = np.frombuffer(b"".join(_buffer(chosen)), np.uint8).reshape(len(rows), length)
        shape = np.where((letters >= 48) & (letters <= 57), 48, letters)
        left = np.ones(len(rows), bool)
        while left.any() and layouts < _MAX_LAYOUTS:
            first = int(np.argmax(left))
            alike = left & (shape == shape[first]).all(axis=1)
            left &= ~alike
            layouts += 1
            _read_layout(fields, letters[alike], rows[alike], needs_time)
    return fields


def date_order(fields: Fields, given: str | None) -> DateOrder:
    """The order of day, month and year, decided by the site file, else by evidence in the file.

    Evidence: a number over 12 decides; so do dates that follow one another day by day in one
    reading and month by month in the other. Raises nothing: an undecided order is None.
    """
    open_rows = np.flatnonzero(fields.style == 2)
    if len(open_rows) == 0:
        return DateOrder("ymd", "the year comes first, or the month is named")
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
            steady = ((days[order] >= 0) & (days[order] <= 2)).all()
            if steady and (np.abs(days[other]) >= 20).all():
                return DateOrder(
                    order,
                    f"read as {_ORDER_NAMES[order]} the dates follow one another day by day",
                )
    return DateOrder(None, f"{p1[0]:02d}/{p2[0]:02d} can be month/day or day/month")


def local_us(fields: Fields, order: str) -> tuple[Ints, Flags]:
    """Clock readings as microseconds since 1970 on the logger's own clock, and which are good.

    24:00:00 is the next day's midnight.
    """
    n = len(fields.style)
    years, months, days = (np.full(n, 1970, np.int64), np.ones(n, np.int64), np.ones(n, np.int64))
    for style, written in ((1, "ymd"), (2, order), (3, "dmy")):
        rows = fields.style == style
        if not rows.any():
            continue
        parts = dict(zip(written, (fields.p1[rows], fields.p2[rows], fields.p3[rows]), strict=True))
        years[rows], months[rows], days[rows] = parts["y"], parts["m"], parts["d"]
    years = np.where((years >= 0) & (years < 100), years + 2000, years)
    good = (fields.style > 0) & (months >= 1) & (months <= 12) & (days >= 1) & (years <= 2262)
    start = _month_start(years, np.clip(months, 1, 12))
    length = _month_start(years, np.clip(months, 1, 12) + 1) - start
    good &= days <= length
    good &= (fields.time_us >= 0) & (fields.time_us <= DAY_US)
    local = (start + days - 1) * DAY_US + fields.time_us
    seconds = fields.style == 4
    local[seconds] = fields.p1[seconds] * MICROSECONDS + fields.time_us[seconds]
    return np.where(good, local, 0), good


def zone_of(name: str) -> tzinfo:
    """The zone of an IANA name or a fixed offset such as UTC-07:00."""
    match = re.fullmatch(r"(?:UTC|GMT)?(?:([+-])(\d{1,2})(?::?(\d{2}))?)?", name)
    if match is None:
        return ZoneInfo(name)
    if match.group(1) is None:
        return UTC
    minutes = int(match.group(2)) * 60 + int(match.group(3) or 0)
    return timezone(timedelta(minutes=-minutes if match.group(1) == "-" else minutes))


def to_utc(
    local: Ints, good: Flags, zone: tzinfo, is_regular: bool
) -> tuple[Ints, Flags, Flags, list[str]]:
    """Clock readings of one file, in the order of its rows, as UTC microseconds.

    is_regular : whether rows follow one another at a constant interval, so that the step to a
        neighbour tells which of two equal hours a row is in

    Returns (utc, skipped, undecided, notes): `skipped` marks clock readings that did not exist
    (clocks went forward), `undecided` those that came twice and that no row order places. A step
    back in the file ends the first of two equal hours.
    """
    skipped = np.zeros(len(local), bool)
    undecided = np.zeros(len(local), bool)
    notes: list[str] = []
    rows = np.flatnonzero(good)
    if len(rows) == 0:
        return local.copy(), skipped, undecided, notes
    clock = local[rows]
    changes = _changes(zone, int(clock.min()), int(clock.max()))
    first_offset = _offset(zone, int(clock.min()) - 3 * DAY_US)
    bounds = np.array([utc + max(before, after) for utc, before, after in changes], np.int64)
    offsets = np.array([first_offset] + [after for _, _, after in changes], np.int64)
    utc = clock - offsets[np.searchsorted(bounds, clock, side="right")]
    lost = np.zeros(len(rows), bool)
    open_ = np.zeros(len(rows), bool)
    steps = np.diff(clock)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    for instant, before, after in changes:
        low, high = sorted((instant + before, instant + after))
        inside = np.flatnonzero((clock >= low) & (clock < high))
        if len(inside) == 0:
            continue
        if after > before:
            lost[inside] = True
            continue
        second = _second_pass(clock, inside, usual, is_regular)
        if second is None:
            open_[inside] = True
            continue
        utc[inside] = clock[inside] - np.where(second, after, before)
        if is_regular and not second.any() and inside[-1] + 1 < len(clock):
            night = datetime.fromtimestamp(instant / MICROSECONDS, UTC).date()
            notes.append(
                f"The clock did not step back in the night of {night}: if it does not follow "
                "daylight saving, give its own timezone in [[export]]."
            )
    skipped[rows], undecided[rows] = lost, open_
    whole = local.copy()
    whole[rows] = utc
    return whole, skipped, undecided, notes


def _second_pass(clock: Ints, inside: Ints, usual: float, is_regular: bool) -> Flags | None:
    """Which rows of an hour that came twice are in its second pass; None if nothing tells."""
    back = np.flatnonzero(np.diff(clock[inside]) < 0)
    if len(back):
        return np.arange(len(inside)) > back[0]
    first, last = int(inside[0]), int(inside[-1])
    near = 2.5 * usual
    if is_regular and first > 0 and 0 < clock[first] - clock[first - 1] <= near:
        return np.zeros(len(inside), bool)
    if is_regular and last + 1 < len(clock) and 0 < clock[last + 1] - clock[last] <= near:
        return np.ones(len(inside), bool)
    if first > 0 and clock[first - 1] >= clock[first]:
        return np.ones(len(inside), bool)
    return None


def _changes(zone: tzinfo, low: int, high: int) -> list[tuple[int, int, int]]:
    """The zone's offset changes in [low, high] us, with room: (utc, offset before, after) [us]."""
    changes = []
    step = 7 * DAY_US
    at = low - 3 * DAY_US
    before = _offset(zone, at)
    while at < high + 3 * DAY_US:
        after = _offset(zone, at + step)
        if after != before:
            left, right = at, at + step
            while right - left > MICROSECONDS:
                middle = (left + right) // 2
                if _offset(zone, middle) == before:
                    left = middle
                else:
                    right = middle
            instant = -(-right // MICROSECONDS) * MICROSECONDS
            instant -= MICROSECONDS if _offset(zone, instant - MICROSECONDS) == after else 0
            changes.append((instant, before, after))
        at, before = at + step, after
    return changes


def _offset(zone: tzinfo, utc: int) -> int:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=utc)
    offset = moment.astimezone(zone).utcoffset()
    assert offset is not None
    return round(offset.total_seconds()) * MICROSECONDS


def _month_start(years: Ints, months: Ints) -> Ints:
    since_1970 = (years - 1970) * 12 + months - 1
    return since_1970.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def _days(p1: Ints, p2: Ints, p3: Ints, order: str) -> Ints:
    parts = dict(zip(order, (p1, p2, p3), strict=True))
    return _month_start(parts["y"] + 2000 * (parts["y"] < 100), parts["m"]) + parts["d"] - 1


def _read_layout(fields: Fields, letters: NDArray[np.uint8], rows: Ints, needs_time: bool) -> None:
    """Read all texts of one layout: the first tells where the parts stand."""
    text = letters[0].tobytes().decode("utf-8", errors="replace")
    found = None
    if text.isascii():
        for kind in ("datetime", "date", "time", "epoch_s", "epoch_ms"):
            for pattern in _GRAMMAR[kind]:
                found = found or pattern.fullmatch(text)
    if found is None:
        return
    parts = found.groupdict()
    if needs_time and not parts.get("h") and not parts.get("es"):
        return

    def number(name: str) -> Ints:
        start, end = found.span(name)
        value = np.zeros(len(rows), np.int64)
        for at in range(start, end):
            value = value * 10 + (letters[:, at] - 48)
        return value

    if parts.get("y"):
        style, names = 1, ("y", "m", "d")
    elif parts.get("a"):
        style, names = 2, ("a", "b", "c")
        fields.short_year |= len(parts["c"]) == 2
    elif parts.get("nm"):
        if parts["nm"].lower() not in _MONTHS:
            return
        style, names = 3, ("nd", "", "ny")
        fields.p2[rows] = _MONTHS.index(parts["nm"].lower()) + 1
    elif parts.get("es"):
        style, names = 4, ("es", "", "")
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
            wrong |= (hours < 1) | (hours > 12)
            hours = hours % 12 + (12 if parts["ap"] in "Pp" else 0)
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
    elif parts.get("os"):
        minutes = number("oh") * 60 + (number("om") if parts.get("om") else 0)
        sign = -1 if parts["os"] == "-" else 1
        fields.offset_us[rows] = sign * minutes * 60 * MICROSECONDS


def _plain(text: str) -> str:
    return text.replace("\u202f", " ").replace("\xa0", " ").strip().strip('"').strip()


def _tidied(texts: pa.Array) -> pa.Array:
    """Blanks of every kind made plain and trimmed; a copy only where there are any."""
    joined = b"".join(_buffer(texts))
    for blank in ("\u202f", "\xa0"):
        if blank.encode() in joined:
            texts = pc.replace_substring(texts, blank, " ")
    return pc.utf8_trim(texts, ' \t"')


def _buffer(texts: pa.Array) -> list[memoryview]:
    """The letters of a string array, one after the other, without copying."""
    texts = texts.cast(pa.large_string()) if texts.type != pa.large_string() else texts
    offsets = np.frombuffer(texts.buffers()[1], np.int64)[texts.offset :][: len(texts) + 1]
    content = texts.buffers()[2]
    if content is None or len(texts) == 0:
        return []
    return [memoryview(content)[int(offsets[0]) : int(offsets[-1])]]
