"""Numbers, units and instants as a reader sees them; the only place that rounds or localises.

Store units come in (°F, in. w.c., s, UTC microseconds); display units and the site's local time
go out. Conversions are pipeline.units' own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from pipeline import units, words
from pipeline.result import Span
from pipeline.units import MICROSECONDS, Unit

NONE = "–"
_DECIMALS = {"degF": 1, "degC": 1, "inwc": 2, "Pa": 0, "percent": 0, "V": 1, "A": 2}
# What a packed line may be rounded to (1/scale of the display unit): finer than what is written.
_WIRE_SCALE = {"degF": 20, "degC": 20, "inwc": 500, "Pa": 2}


def number(value: Any) -> float | None:
    """The value as a float, or None where a frame holds nothing there."""
    if value is None:
        return None
    try:
        result = float(value)
    except (TypeError, ValueError):  # pandas' missing value refuses to become a float
        return None
    return result if math.isfinite(result) else None


def text(value: Any) -> str:
    """The value as text, '' where a frame holds nothing there."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    result = str(value)
    return "" if result in ("<NA>", "NaT", "nan", "None") else result


def plural(count: float, one: str, many: str | None = None) -> str:
    """'1 trip', '3 trips', with thousands parted."""
    n = round(count)
    return f"{n:,} {one if n == 1 else many or one + 's'}"


@dataclass(frozen=True)
class Display:
    """How numbers of one page are written: `system` is us or si."""

    system: str = "us"

    def unit(self, dimension: str) -> Unit:
        """The display unit of a dimension."""
        name = units.DISPLAY[self.system].get(dimension, units.STORE_UNIT[dimension])
        return units.UNITS[name]

    def decimals(self, dimension: str) -> int:
        """Decimals a value of this dimension is written with."""
        return _DECIMALS.get(self.unit(dimension).name, 1)

    def wire_scale(self, dimension: str) -> int:
        """Steps per display unit that a drawn line keeps."""
        return _WIRE_SCALE.get(self.unit(dimension).name, 1000)

    def shown(self, dimension: str, values: np.ndarray) -> np.ndarray:
        """Store-unit values as display-unit values (float64, NaN stays)."""
        name = self.unit(dimension).name
        zero = units.from_store(0.0, name)
        return np.asarray(values, dtype="f8") * (units.from_store(1.0, name) - zero) + zero

    def value(self, dimension: str, value: Any, decimals: int | None = None) -> str:
        """'151.2 °F', '0.47 in. w.c.', '117 Pa'; a dash where there is none."""
        v = number(value)
        if v is None:
            return NONE
        unit = self.unit(dimension)
        places = self.decimals(dimension) if decimals is None else decimals
        shown = units.from_store(v, unit.name)
        return f"{_fixed(shown, places)} {unit.label}".strip()

    def bare(self, dimension: str, value: Any, decimals: int | None = None) -> str:
        """As `value`, without the unit: for columns whose head names it."""
        return self.value(dimension, value, decimals).split(" ")[0]

    def duration(self, seconds: Any) -> str:
        """'45 s', '12 min 30 s', '3 h 20 min', '61 h'; a dash where there is none.

        From 10 h on whole hours, as the findings' sentences round them.
        """
        v = number(seconds)
        if v is None:
            return NONE
        sign, v = ("−" if v < 0 else ""), abs(v)
        if v < 90:
            return f"{sign}{_trim(v)} s"
        if v < 5370:  # what would be 90 min is 1 h 30 min
            minutes, rest = divmod(round(v), 60)
            tail = f" {rest} s" if rest and v < 1800 else ""
            return f"{sign}{minutes if tail or v < 1800 else round(v / 60)} min{tail}"
        if v < 36000:
            hours, minutes = divmod(round(v / 60), 60)
            return f"{sign}{hours} h {minutes:02d} min" if minutes else f"{sign}{hours} h"
        return f"{sign}{round(v / 3600):,} h"

    def hours(self, seconds: Any) -> str:
        """'9.6 h', '16 h', 'under 0.1 h' for some, '–' for none: for columns to compare."""
        v = number(seconds)
        if not v:
            return NONE
        if v < 180:
            return "under 0.1 h"
        return f"{v / 3600:,.1f} h" if v < 35820 else f"{round(v / 3600):,} h"

    def share(self, fraction: Any, decimals: int = 0) -> str:
        """'93 %'; a dash where there is none; never 100 % for less than all, nor 0 % for some."""
        v = number(fraction)
        if v is None:
            return NONE
        shown = f"{100 * v:.{decimals}f}"
        if v < 1 and shown == f"{100:.{decimals}f}":
            return f">{100 - 10.0**-decimals:.{decimals}f} %"
        if v > 0 and float(shown) == 0:
            return f"<{10.0**-decimals:.{decimals}f} %"
        return f"{shown} %"

    def count(self, value: Any) -> str:
        """'1,240'; a dash where there is none."""
        v = number(value)
        return NONE if v is None else f"{round(v):,}"

    def basis(self, coverage: Any, resolution_s: Any) -> str:
        """How much data is behind a figure and how fine it is, in words; '' if not known."""
        c, r = number(coverage), number(resolution_s)
        parts = []
        if c is not None:
            parts.append(f"logged {self.share(c)} of the time")
        if r is not None:
            parts.append(f"to the nearest {self.duration(r)}")
        return ", ".join(parts)


@dataclass(frozen=True)
class Clock:
    """The site's local time; `hours` is 12 or 24."""

    zone: str
    hours: int = 12

    def local(self, ts: int) -> datetime:
        """The instant (UTC µs) as an aware local time, exact to the microsecond."""
        return words.local(ts, self.zone)

    def offset_us(self, ts: int) -> int:
        """Local minus UTC at the instant [µs]."""
        offset = self.local(ts).utcoffset() or timedelta(0)
        return round(offset.total_seconds()) * MICROSECONDS

    def name(self, ts: int) -> str:
        """The zone's letters at the instant: MST, MDT, +04."""
        return self.local(ts).tzname() or self.zone

    def changes_within(self, span: Span) -> bool:
        """Whether clocks are put forward or back between the two ends."""
        return self.offset_us(span.start_ts) != self.offset_us(span.end_ts)

    def time(self, ts: int, seconds: bool = False) -> str:
        """'6:42 am' or '06:42', with seconds where they matter."""
        at = self.local(ts)
        tail = f":{at.second:02d}" if seconds else ""
        if self.hours == 24:
            return f"{at.hour:02d}:{at.minute:02d}{tail}"
        return f"{at.hour % 12 or 12}:{at.minute:02d}{tail} {'am' if at.hour < 12 else 'pm'}"

    def day(self, ts: int, year: bool = False) -> str:
        """'Tue Jan 13'."""
        return day_text(self.local(ts), year)

    def month(self, ts: int) -> str:
        """'Jan 2026'."""
        local = self.local(ts)
        return f"{words.MONTHS[local.month - 1]} {local.year}"

    def moment(self, ts: Any, seconds: bool = False) -> str:
        """'Tue Jan 13, 6:42 am'; a dash where there is none."""
        v = number(ts)
        return NONE if v is None else f"{self.day(int(v))}, {self.time(int(v), seconds)}"

    def span(self, start_ts: int, end_ts: int, seconds: bool = False) -> str:
        """'Tue Jan 13, 6:42 am – 7:10 am', with the second day only where it differs."""
        first = self.moment(start_ts, seconds)
        begin, end = self.local(start_ts), self.local(end_ts)
        if begin.year != end.year and (end - begin).days > 31:
            days = (self.day(ts, year=True) for ts in (start_ts, end_ts))
            times = (self.time(ts, seconds) for ts in (start_ts, end_ts))
            return " – ".join(f"{day}, {time}" for day, time in zip(days, times, strict=True))
        if begin.date() == end.date():
            return f"{first} – {self.time(end_ts, seconds)}"
        return f"{first} – {self.moment(end_ts, seconds)}"


def day_text(day: Any, year: bool = False) -> str:
    """'Tue Jan 13' for a date, also as a frame holds it; other text as it stands."""
    if not isinstance(day, date):
        return text(day)
    return words.day(day) + (f" {day.year}" if year else "")


def _fixed(value: float, decimals: int) -> str:
    out = f"{value:,.{decimals}f}"
    if float(out.replace(",", "")) == 0:
        out = out.lstrip("-")
    return out.replace("-", "−")


def _trim(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")
