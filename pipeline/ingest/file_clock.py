"""Instants of one file's rows: its zone, its day and month order, and what has no instant."""

from __future__ import annotations

import re
from dataclasses import dataclass
from zoneinfo import available_timezones

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import InputError
from pipeline.ingest import timestamps
from pipeline.ingest.export_file import OpenExport
from pipeline.ingest.rows import Rows
from pipeline.ingest.sniff import Dialect, text_of
from pipeline.ingest.timestamps import Flags, Ints

# Share of steps near the median step from which rows count as following one another at an
# interval, and the fewest steps to judge by. Ours: two exports in ten thousand rows lack one.
REGULAR_SHARE = 0.8
MIN_STEPS = 8


@dataclass
class Clock:
    """Instants of a file's rows: ts as UTC microseconds where good; else a reason per row.

    why : per bad row number, why it has no instant
    """

    ts: Ints
    good: Flags
    why: dict[int, str]
    timezone: str
    timezone_source: str
    time_format: str
    order: timestamps.DateOrder
    notes: list[str]


def read_clock(opened: OpenExport, rows: Rows, timezone: str) -> Clock:
    """Instants of the rows. Raises InputError if no row has a time, or day and month are unclear.

    timezone : the site's own, used where neither the file nor site.toml names another
    """
    dialect, said = opened.dialect, opened.said
    parts = [rows.columns[i] for i in dialect.time_columns]
    texts = parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, " ")
    texts = texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts
    needs_time = dialect.time_kinds != ("date",)
    fields = timestamps.split_texts(texts, needs_time)
    given = said.date_order if said is not None else None
    order = timestamps.date_order(fields, given)
    if order.order is None:
        hinted = _order_in_header(opened)
        if hinted is None:
            raise _ambiguous(opened, rows, order)
        order = hinted
    local, readable = timestamps.local_us(fields, order.order or "ymd")
    if not readable.any():
        raise no_times(opened, "no readable date and time")
    name, source, zone_note = _timezone(opened, timezone)
    stated = readable & (fields.offset_us != timestamps.NO_OFFSET)
    ts = local - np.where(stated, fields.offset_us, 0)
    unreadable = np.setdiff1d(np.flatnonzero(~readable), rows.blank)
    why = dict.fromkeys(unreadable.tolist(), "no readable date and time")
    notes = [zone_note] if zone_note else []
    good = readable.copy()
    if stated.any() and stated.sum() == readable.sum():
        offset = int(fields.offset_us[int(np.argmax(stated))])
        name, source = ("UTC", "file") if offset == 0 else (_offset_name(offset), "file")
        notes = []
    else:
        plain = readable & ~stated
        utc, skipped, undecided, more = timestamps.to_utc(
            local, plain, timestamps.zone_of(name), is_regular(local[plain])
        )
        ts = np.where(plain, utc, ts)
        notes += more
        for k in np.flatnonzero(skipped):
            why[int(k)] = f"this time did not exist in {name}: clocks went forward"
        for k in np.flatnonzero(undecided):
            why[int(k)] = f"this time came twice in {name} and the rows do not tell which it is"
        good &= ~skipped & ~undecided
    return Clock(ts, good, why, name, source, _format_name(dialect, fields, order), order, notes)


def no_times(opened: OpenExport, reason: str) -> InputError:
    """The error of a file without a single row that has an instant."""
    return InputError(
        "no row has a readable date and time",
        file=opened.export.shown,
        line=opened.dialect.first_row_line,
        found=reason,
        expected="dates and times of the site's clock, or its timezone in [[export]]",
    )


def is_regular(ts: Ints) -> bool:
    """Whether most steps between rows are near the median step."""
    steps = np.diff(ts)
    steps = steps[steps > 0]
    if len(steps) < MIN_STEPS:
        return False
    usual = np.median(steps)
    return bool((np.abs(steps - usual) <= usual / 2).mean() >= REGULAR_SHARE)


def stop_time(shown: str, clock: Clock) -> int | None:
    """The instant a footer line such as 'Stopped: ...' names; None if it names none."""
    found = text_of(shown)
    if found is None:
        return None
    fields = timestamps.split_texts(pa.array([found]), True)
    local, good = timestamps.local_us(fields, clock.order.order or "ymd")
    if not good[0]:
        return None
    if fields.offset_us[0] != timestamps.NO_OFFSET:
        return int(local[0] - fields.offset_us[0])
    zone = timestamps.zone_of(clock.timezone)
    utc, skipped, undecided, _ = timestamps.to_utc(local, good, zone, False)
    return None if skipped[0] or undecided[0] else int(utc[0])


def _timezone(opened: OpenExport, site_zone: str) -> tuple[str, str, str | None]:
    """The logger's zone, who says so, and a note where two say different things."""
    named = _zone_in_header(opened)
    said = opened.said.timezone if opened.said is not None else None
    if said is not None:
        note = None
        if named is not None and named != said:
            note = f"The file names the zone {named}; site.toml says {said}, which was used."
        return said, "site_file", note
    if named is not None:
        return named, "file", None
    return site_zone, "assumed", None


def _zone_in_header(opened: OpenExport) -> str | None:
    dialect = opened.dialect
    headers = [dialect.header[i] for i in dialect.time_columns]
    spoken = [p for p in dialect.preamble if re.search(r"(?i)\b(time ?zone|utc|gmt)\b", p)]
    for text in [*headers, *spoken]:
        for word in re.findall(r"\b[A-Z][A-Za-z]+/[A-Za-z_]+(?:/[A-Za-z_]+)?\b", text):
            if word in available_timezones():
                return str(word)
        found = re.search(r"\b(?:UTC|GMT)\s*(?:([+-])\s*(\d{1,2})(?::?(\d{2}))?)?", text)
        if found:
            if found.group(1) is None:
                return "UTC"
            minutes = int(found.group(2)) * 60 + int(found.group(3) or 0)
            sign = -1 if found.group(1) == "-" else 1
            return _offset_name(sign * minutes * 60_000_000)
    return None


def _order_in_header(opened: OpenExport) -> timestamps.DateOrder | None:
    for text in [opened.dialect.header[i] for i in opened.dialect.time_columns] + list(
        opened.dialect.preamble
    ):
        if re.search(r"(?i)\bmm[-/. ]dd\b", text):
            return timestamps.DateOrder("mdy", f"the file says so: {text.strip()[:60]}")
        if re.search(r"(?i)\bdd[-/. ]mm\b", text):
            return timestamps.DateOrder("dmy", f"the file says so: {text.strip()[:60]}")
    return None


def _ambiguous(opened: OpenExport, rows: Rows, order: timestamps.DateOrder) -> InputError:
    column = opened.dialect.time_columns[0]
    shown = str(rows.columns[column][0].as_py()).strip()
    return InputError(
        "the order of day and month is ambiguous: " + order.reason,
        file=opened.export.shown,
        line=int(rows.line[0]),
        found=shown,
        expected='date_order = "mdy" or "dmy" in site.toml',
        hint=f'add to site.toml: [[export]] files = "{opened.export.path}"  date_order = "mdy"',
    )


def _offset_name(offset_us: int) -> str:
    minutes = abs(offset_us) // 60_000_000
    if minutes == 0:
        return "UTC"
    return f"UTC{'-' if offset_us < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _format_name(dialect: Dialect, fields: timestamps.Fields, order: timestamps.DateOrder) -> str:
    style = int(fields.style[int(np.argmax(fields.style > 0))])
    year = "YY" if fields.short_year else "YYYY"
    if style == 4:
        return "seconds since 1970" if dialect.time_kinds == ("epoch_s",) else "ms since 1970"
    dates = {
        "ymd": f"{year}-MM-DD" if style != 3 else "DD-Mon-YYYY",
        "mdy": f"MM/DD/{year}",
        "dmy": f"DD/MM/{year}",
    }
    text = dates[order.order or "ymd"]
    if dialect.time_kinds != ("date",):
        text += " hh:mm" + (":ss" if fields.has_seconds else "")
        text += " AM/PM" if fields.twelve_hours else ""
    if (fields.offset_us != timestamps.NO_OFFSET).any():
        text += " with offset"
    return text + (" in two columns" if len(dialect.time_columns) == 2 else "")
