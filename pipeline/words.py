"""How numbers, times and zones are said in a sentence: one phrasing for findings and verdicts.

A technician's words: clock times with the day ("Tue 6:42 am"), rounded lengths ("4 min",
"61 hours"), zone names instead of numbers, "in. w.c." always written out. Instants are UTC epoch
microseconds, values store units; `units` is 'us' or 'si' and only changes what is printed: with
'si' times of day are on the 24 h clock too ("Tue 06:42").
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from pipeline import units as unit_table

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SMALL_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
ORDINALS = {0: "idle", 1: "first stage", 2: "second stage"}


def local(ts: int, timezone: str) -> datetime:
    """The instant (UTC microseconds) as a local time of the IANA zone."""
    seconds, microseconds = divmod(int(ts), unit_table.MICROSECONDS)
    instant = datetime.fromtimestamp(seconds, UTC).replace(microsecond=microseconds)
    return instant.astimezone(ZoneInfo(timezone))


def clock(
    ts: int,
    timezone: str,
    *,
    with_date: bool = False,
    with_year: bool = False,
    with_seconds: bool = False,
    units: str = "us",
) -> str:
    """A clock time with its day: 'Tue 6:42 am', 'Tue Jan 13 6:42 am', 'Tue 6:42:10 am'.

    with_year : and its date, 'Tue Jan 13 2026 6:42 am'
    """
    t = local(ts, timezone)
    return f"{_day_part(t, with_date, with_year)}{_time_part(t, with_seconds, units)}"


def of_day(minute: int, units: str = "us") -> str:
    """A time of day, in minutes after midnight: '8:05 pm' or '20:05'."""
    at = datetime(2000, 1, 1, minute // 60 % 24, minute % 60)
    return _time_part(at, False, units)


def clock_span(
    start_ts: int,
    end_ts: int,
    timezone: str,
    *,
    with_date: bool = False,
    with_year: bool = False,
    units: str = "us",
) -> str:
    """From-to with the day said once where it is the same: 'Tue 6:42 am to 7:05 am'."""
    start, end = local(start_ts, timezone), local(end_ts, timezone)
    first = f"{_day_part(start, with_date, with_year)}{_time_part(start, False, units)}"
    day = "" if start.date() == end.date() else _day_part(end, with_date, with_year)
    return f"{first} to {day}{_time_part(end, False, units)}"


def day(value: date, *, with_year: bool = False) -> str:
    """A local date: 'Tue Jan 13', with_year 'Tue Jan 13 2026'."""
    year = f" {value.year}" if with_year else ""
    return f"{WEEKDAYS[value.weekday()]} {MONTHS[value.month - 1]} {value.day}{year}"


def duration(seconds: float) -> str:
    """A length as it is said: '45 s', '4 min', '2 h 10 min', '3 days'; rounded to what matters."""
    if seconds < 0:
        raise ValueError(f"a length cannot be negative: {seconds}")
    if seconds < 90:
        return f"{_whole(seconds)} s"
    if seconds < 600:
        return f"{_whole(seconds / 30) / 2:g} min"
    minutes = _whole(seconds / 60)
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"
    return f"{seconds / 86400:.1f}".removesuffix(".0") + " days"


def durations(values: Sequence[float]) -> str:
    """Shortest to longest, the unit said once where it is the same: '2 to 23 min'."""
    low, high = duration(min(values)), duration(max(values))
    if low == high:
        return low
    number_low, unit_low = low.split(" ", 1)
    return f"{number_low if unit_low == high.split(' ', 1)[1] else low} to {high}"


def hours(seconds: float) -> str:
    """Time in a state, in hours: '61 hours', '4.2 hours', '1 hour', '12 min'."""
    if seconds < 3540:
        return duration(seconds)
    value = seconds / 3600
    if value < 9.95:
        text = f"{value:.1f}".removesuffix(".0")
    else:
        text = f"{_whole(value)}"
    return f"{text} hour" if text == "1" else f"{text} hours"


def only(seconds: float, what: str) -> str:
    """Too little of a state to judge: 'only 12 min of heat outside visits', 'no heat ...'."""
    if seconds < 1:
        return f"no {what} outside visits"
    return f"only {hours(seconds)} of {what} outside visits"


def count(n: int, noun: str, plural: str | None = None) -> str:
    """A number with its noun: 'no trips', '1 trip', '23 trips'."""
    word = noun if n == 1 else (plural or f"{noun}s")
    return f"no {word}" if n == 0 else f"{n} {word}"


def number(n: int) -> str:
    """Small whole numbers as words, the rest as digits: 'one', 'nine', '12'."""
    return SMALL_NUMBERS[n] if 0 <= n < len(SMALL_NUMBERS) else str(n)


def times(n: int) -> str:
    """How often: 'once', 'twice', '23 times'."""
    return {0: "never", 1: "once", 2: "twice"}.get(n, f"{n} times")


def of_all(n: int, total: int, noun: str = "", plural: str | None = None) -> str:
    """A part of a whole: 'all 23', 'none of 23', '20 of 23', 'both', 'the only one', '0 of 1'.

    With a noun it says what is counted: 'all 23 trips', 'both trips', 'the only trip'.
    """
    if total == 0:
        return f"no {plural or noun + 's'}" if noun else "none"
    if total == 1:
        return f"the only {noun or 'one'}" if n else f"0 of 1 {noun}".rstrip()
    many = f" {plural or noun + 's'}" if noun else ""
    if n == total:
        return f"both{many}" if total == 2 else f"all {total}{many}"
    return f"none of {total}{many}" if n == 0 else f"{n} of {total}{many}"


def hours_of(part_s: float, whole_s: float) -> str:
    """A part of some hours: '1.8 of 61 hours', 'all 61 hours', '40 min of 2 hours'."""
    part, whole = hours(part_s), hours(whole_s)
    if part_s >= whole_s:
        return f"all {whole}"
    value, unit = part.split(" ", 1)
    alike = unit.rstrip("s") == whole.split(" ", 1)[1].rstrip("s")
    return f"{value if alike else part} of {whole}"


def share(fraction: float) -> str:
    """A share as per cent: '31 %', 'under 1 %', '99 %'; 100 % only when nothing is missing."""
    percent = fraction * 100
    if 0 < percent < 1:
        return "under 1 %"
    if 99 < percent < 100:
        return "over 99 %"
    return f"{_whole(percent)} %"


def temperature(value_f: float, units: str = "us") -> str:
    """A temperature: '148 °F' or '64.4 °C'."""
    unit = unit_table.DISPLAY[units]["temperature"]
    digits = 0 if unit == "degF" else 1
    return _with_unit(unit_table.from_store(value_f, unit), digits, unit)


def temperature_difference(value_f: float, units: str = "us") -> str:
    """A difference of temperatures: '8 °F' or '4.4 °C'."""
    unit = unit_table.DISPLAY[units]["temperature"]
    digits = 0 if unit == "degF" else 1
    return _with_unit(unit_table.difference_from_store(value_f, unit), digits, unit)


def static(value_inwc: float, units: str = "us") -> str:
    """A duct static pressure, unit always written: '0.62 in. w.c.' or '154 Pa'."""
    unit = unit_table.DISPLAY[units]["pressure"]
    return _with_unit(unit_table.from_store(value_inwc, unit), 2 if unit == "inwc" else 0, unit)


def in_units(text: str, units: str = "us") -> str:
    """A fixed text whose temperatures, differences, statics and times of day are said in `units`.

    In such a text '60 °F' is a temperature and '2 degrees F' or '16 to 22 degrees F' a difference.
    """
    if units == "us":
        return text
    text = re.sub(
        r"\b(\d{1,2})(?::(\d\d))? ([ap])m\b",
        lambda m: of_day((int(m[1]) % 12 + 12 * (m[3] == "p")) * 60 + int(m[2] or 0), units),
        text,
    )
    text = re.sub(
        r"(?:(\d+(?:\.\d+)?) to )?(\d+(?:\.\d+)?) degrees F",
        lambda m: " to ".join(temperature_difference(float(v), units) for v in m.groups() if v),
        text,
    )
    text = re.sub(r"(\d+(?:\.\d+)?) in\. w\.c\.", lambda m: static(float(m[1]), units), text)
    return re.sub(r"(\d+(?:\.\d+)?) °F", lambda m: temperature(float(m[1]), units), text)


def span_of(
    values: Sequence[float], dimension: str, units: str = "us", *, low_high: str = "to"
) -> str:
    """Lowest to highest of the values with one unit: '0.71 to 0.83 in. w.c.', '148 °F'."""
    say = {"temperature": temperature, "pressure": static}[dimension]
    low, high = say(min(values), units), say(max(values), units)
    if low == high:
        return low
    return f"{low.split(' ', 1)[0]} {low_high} {high}"


def stage(n: int) -> str:
    """'first stage' or 'second stage'."""
    return ORDINALS[n]


def source(name: str | None) -> str:
    """What makes the heat or cooling, as a technician says it."""
    return {
        "burner": "the furnace",
        "strip": "the strip heat",
        "compressor": "the compressor",
        "both": "furnace and compressor together",
        "heat": "the heat (source not told apart)",
    }.get(name or "", "the equipment")


def joined(words: Iterable[str], last: str = "and") -> str:
    """A list as it is said: 'A', 'A and B', 'A, B and C'."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def zone_numbers(text: str | None) -> tuple[int, ...]:
    """Zone numbers of a stored list such as '1+3'; empty for '' and for nothing."""
    if not isinstance(text, str) or not text.strip():
        return ()
    return tuple(sorted(int(part) for part in text.split("+")))


def zones(text: str | None, names: Mapping[int, str]) -> str:
    """Names of a stored zone list: 'Main floor and Den'; 'no zone' if it is empty."""
    numbers = zone_numbers(text)
    if not numbers:
        return "no zone"
    return joined(names.get(n, f"zone {n}") for n in numbers)


def calling(text: str | None, names: Mapping[int, str]) -> str:
    """Who was calling: 'Den alone', 'Den and Office', 'no zone'."""
    said = zones(text, names)
    return f"{said} alone" if len(zone_numbers(text)) == 1 else said


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop."""
    text = text.strip()
    if not text:
        return text
    return stopped(text[0].upper() + text[1:])


def lowered(text: str, names: Iterable[str] = ()) -> str:
    """The text with a small first letter, unless it opens with a terminal or one of the names."""
    if text[:2].isupper() or text[1:2].isdigit():
        return text
    for name in names:
        head, after = text[: len(name)], text[len(name) : len(name) + 1]
        if name and head.lower() == name.lower() and not after.isalnum():
            return text
    return text[:1].lower() + text[1:]


def stopped(text: str) -> str:
    """The text with a full stop, unless it ends in one ('in. w.c.') or asks."""
    return text if text[-1] in ".!?" else f"{text}."


def sentences(*parts: str) -> str:
    """The parts as sentences one after the other; empty parts are left out."""
    return " ".join(sentence(part) for part in parts if part)


def _with_unit(value: float, digits: int, unit: str) -> str:
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return f"{text} {unit_table.UNITS[unit].label}"


def _whole(value: float) -> int:
    """Rounded half up, as people round; Python's round() goes to even."""
    return math.floor(value + 0.5)


def _day_part(t: datetime, with_date: bool, with_year: bool) -> str:
    if with_date or with_year:
        return f"{day(t.date(), with_year=with_year)} "
    return f"{WEEKDAYS[t.weekday()]} "


def _time_part(t: datetime, with_seconds: bool, units: str) -> str:
    half = "am" if t.hour < 12 else "pm"
    seconds = f":{t.second:02d}" if with_seconds else ""
    if units == "si":
        return f"{t.hour:02d}:{t.minute:02d}{seconds}"
    return f"{t.hour % 12 or 12}:{t.minute:02d}{seconds} {half}"
