"""Instants of one file's rows: its zone, its day and month order, and what has no instant."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import available_timezones

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import InputError
from pipeline.ingest import timestamps, written_times
from pipeline.ingest.export_file import OpenExport
from pipeline.ingest.lost_clock import lost_dates, set_back
from pipeline.ingest.rows import Rows
from pipeline.ingest.sniff import Dialect
from pipeline.ingest.steps import middle_step
from pipeline.ingest.written_times import NO_OFFSET, ZONE_LETTERS, Fields, Flags, Ints, text_of
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS

# Spreadsheets count days from here; 25569 of them to 1970-01-01.
_SERIAL_ZERO_DAYS = 25_569


@dataclass
class Clock:
    """Instants of a file's rows: ts as UTC microseconds where good; else a reason per row.

    why : per bad row number, why it has no instant
    fixed_zone : the offset that the rows prove the clock to have kept through a change of the
        site's zone; None: nothing proves that
    """

    ts: Ints
    good: Flags
    why: dict[int, str]
    timezone: str
    timezone_source: str
    time_format: str
    order: written_times.DateOrder
    notes: list[str] = field(default_factory=list)
    year: int | None = None
    fixed_zone: str | None = None


def read_clock(opened: OpenExport, rows: Rows, timezone: str) -> Clock:
    """Instants of the rows. Raises InputError if no row has a time, or day and month are unclear.

    timezone : the site's own, used where neither the file nor site.toml names another
    """
    dialect, said = opened.dialect, opened.said
    if dialect.time_kinds == ("serial",):
        fields = _serial(rows.columns[dialect.time_columns[0]])
    else:
        needs_time = dialect.time_kinds not in (("date",), ("short_date",))
        fields = written_times.split_texts(clock_texts(rows, dialect), needs_time)
    order = written_times.date_order(fields, said.date_order if said is not None else None)
    if order.order is None:
        hinted = _order_in_header(opened)
        if hinted is None:
            raise _ambiguous(opened, rows, order)
        order = hinted
    notes: list[str] = []
    year = _year(opened, rows, fields, notes) if fields.lacks_year else None
    local, readable = written_times.local_us(fields, order.order or "ymd", year)
    if not readable.any():
        raise no_times(opened, "no readable date and time")
    unreadable = np.setdiff1d(np.flatnonzero(~readable), rows.blank)
    why = dict.fromkeys(unreadable.tolist(), "no readable date and time")
    good = readable.copy()
    lost = lost_dates(local, readable)
    if lost.any():
        good &= ~lost
        shown = datetime.fromtimestamp(int(local[lost][0]) / MICROSECONDS, UTC).year
        why |= dict.fromkeys(
            np.flatnonzero(lost).tolist(), f"the logger had lost its date: year {shown}"
        )
        if not good.any():
            raise no_times(
                opened, f"the logger had lost its date: all its rows are of the year {shown}"
            )
        notes.append(
            f"{int(lost.sum()):,} rows, from line {int(rows.line[int(np.argmax(lost))]):,} on, are "
            f"of the year {shown}: the logger had lost its date, as after a flat battery."
        )
    clock = Clock(
        local, good, why, *_timezone(opened, timezone, notes),
        _format_name(dialect, fields, order, order.order or "ymd"), order, notes, year,
    )  # fmt: skip
    _to_instants(clock, local, fields, rows)
    if not opened.is_long:
        set_back(clock.ts, clock.good, clock.why, rows.line, opened.text, dialect, clock.notes)
        _tell_lost_seconds(clock, fields)
    return clock


def _tell_lost_seconds(clock: Clock, fields: Fields) -> None:
    """Note where most rows share their minute with another, so that their seconds were lost."""
    ts = clock.ts[clock.good]
    if fields.has_seconds or len(ts) < 2 * THRESHOLDS["regular_min_steps"].value:
        return
    n_instants = len(np.unique(ts))
    if n_instants > len(ts) / 2 or (ts % (60 * MICROSECONDS)).any():
        return
    clock.notes.append(
        f"{len(ts):,} rows stand on {n_instants:,} minutes: their seconds were lost, as when a "
        "spreadsheet saves what it shows. Rows of one minute with different values contradict one "
        "another and are not used. Export again and leave the file as it comes."
    )


def _to_instants(clock: Clock, local: Ints, fields: Fields, rows: Rows) -> None:
    """Turn the clock's readings into UTC, by their own offsets or by the zone."""
    stated = clock.good & (fields.offset_us != NO_OFFSET)
    clock.ts = local - np.where(stated, fields.offset_us, 0)
    if stated.any() and stated.sum() == clock.good.sum():
        offset = int(fields.offset_us[int(np.argmax(stated))])
        clock.timezone = "UTC" if offset == 0 else timestamps.offset_name(offset)
        clock.timezone_source = "file"
        clock.notes[:] = [n for n in clock.notes if not n.startswith("The file names the zone")]
        return
    plain = clock.good & ~stated
    zone = timestamps.zone_of(clock.timezone)
    # Some loggers write the newest row first.
    steps = np.diff(local[plain])
    way = -1 if (steps < 0).sum() > (steps > 0).sum() else 1
    found = timestamps.to_utc(local[::way], plain[::way], zone, is_regular(local[plain][::way]))
    skipped, undecided = found.skipped[::way], found.undecided[::way]
    clock.ts = np.where(plain, found.utc[::way], clock.ts)
    if found.fixed_us is not None and found.change_us is not None:
        clock.fixed_zone = timestamps.offset_name(found.fixed_us)
        night = datetime.fromtimestamp(found.change_us / MICROSECONDS, UTC).date()
        clock.notes.append(
            f"The clock ran on through the change of the clocks in the night of {night}, so it "
            f"does not follow {clock.timezone}; it was read as {clock.fixed_zone} throughout, "
            "which the site's clocks showed at its first row. If it was set otherwise (to UTC, or "
            "to standard time in summer), give its own timezone in [[export]]."
        )
        clock.timezone, clock.timezone_source = clock.fixed_zone, "rows"
    name = clock.timezone
    for k in np.flatnonzero(skipped):
        clock.why[int(k)] = f"this time did not exist in {name}: clocks went forward"
    for k in np.flatnonzero(undecided):
        clock.why[int(k)] = f"this time came twice in {name} and the rows do not tell which it is"
    clock.good &= ~skipped & ~undecided


def clock_texts(rows: Rows, dialect: Dialect) -> pa.Array:
    """Date and time of each row in one text."""
    parts = [rows.columns[i] for i in dialect.time_columns]
    kinds = dialect.time_kinds
    if len(parts) == 1:
        texts = parts[0]
    elif set(kinds) <= {"date", "short_date", "time", "time_dotted"}:
        texts = pc.binary_join_element_wise(*parts, " ")
    else:
        by = {k: pc.utf8_trim_whitespace(p) for k, p in zip(kinds, parts, strict=True)}
        if "date" in by:
            day = by["date"]
        elif "day_of_year" in by:
            number = pc.utf8_lpad(by["day_of_year"], 3, "0")
            day = pc.binary_join_element_wise(by["year"], number, "-")
        else:
            day = pc.binary_join_element_wise(by["year"], by["month"], by["day"], "-")
        if "hour" in by:
            zero = pa.scalar("00")
            minute = pc.utf8_lpad(by["minute"], 2, "0") if "minute" in by else zero
            second = pc.utf8_lpad(by["second"], 2, "0") if "second" in by else zero
            time = pc.binary_join_element_wise(by["hour"], minute, second, ":")
        else:
            four = pc.utf8_lpad(by["hhmm"], 4, "0")
            hours = pc.utf8_slice_codeunits(four, 0, 2)
            time = pc.binary_join_element_wise(hours, pc.utf8_slice_codeunits(four, 2, 4), ":")
        texts = pc.binary_join_element_wise(day, time, " ")
    return texts.combine_chunks() if isinstance(texts, pa.ChunkedArray) else texts


def _serial(texts: pa.Array) -> Fields:
    """Days since 1899-12-30 as seconds since 1970 on the logger's own clock."""
    plain = pc.replace_substring(pc.utf8_trim_whitespace(texts), ",", ".")
    good = pc.match_substring_regex(plain, r"^\d{5}(\.\d+)?$")
    kept = pc.if_else(good, plain, pa.scalar(None, pa.string()))
    days = pc.cast(kept, pa.float64()).to_numpy(zero_copy_only=False)
    is_day = ~np.isnan(days)
    # A double holds such a day to about a microsecond, but files round to 4 to 10 decimals; five
    # are 0.9 s.
    seconds = np.round((np.where(is_day, days, _SERIAL_ZERO_DAYS) - _SERIAL_ZERO_DAYS) * 86_400)
    n = len(days)
    none = np.full(n, -1, np.int64)
    return Fields(
        np.where(is_day, 4, 0).astype(np.int8), seconds.astype(np.int64), none, none.copy(),
        np.zeros(n, np.int64), np.full(n, NO_OFFSET, np.int64),
    )  # fmt: skip


def _year(opened: OpenExport, rows: Rows, fields: Fields, notes: list[str]) -> int:
    """The year of the first date that has none. Raises InputError where nobody names it."""
    if opened.said is not None and opened.said.year is not None:
        return opened.said.year
    for line in opened.dialect.preamble:
        found = re.search(r"(?<!\d)(20\d{2})[-/.]\d{1,2}[-/.]\d{1,2}|[-/. ](20\d{2})(?!\d)", line)
        if found:
            year = int(found.group(1) or found.group(2))
            notes.append(f"The dates have no year; {year} stands above the rows: {line[:60]!r}.")
            return year
    column = opened.dialect.time_columns[0]
    raise InputError(
        "the dates have no year",
        file=opened.export.shown,
        line=int(rows.line[0]),
        found=str(rows.columns[column][0].as_py()).strip(),
        expected="year = 2026 (that of the first row) in the [[export]] of site.toml",
        hint=f'add to site.toml: [[export]] files = "{opened.export.path}"  year = 2026',
    )


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
    if len(steps) < THRESHOLDS["regular_min_steps"].value:
        return False
    usual = middle_step(steps)
    share = (np.abs(steps - usual) <= usual / 2).mean()
    return bool(share >= THRESHOLDS["regular_steps_share"].value)


def stop_time(shown: str, clock: Clock) -> int | None:
    """The instant a footer line such as 'Stopped: ...' names; None if it names none."""
    found = text_of(shown)
    if found is None:
        return None
    fields = written_times.split_texts(pa.array([found]), True)
    local, good = written_times.local_us(fields, clock.order.order or "ymd")
    if not good[0]:
        return None
    if fields.offset_us[0] != NO_OFFSET:
        return int(local[0] - fields.offset_us[0])
    zone = timestamps.zone_of(clock.timezone)
    instants = timestamps.to_utc(local, good, zone, False)
    return None if instants.skipped[0] or instants.undecided[0] else int(instants.utc[0])


def _timezone(opened: OpenExport, site_zone: str, notes: list[str]) -> tuple[str, str]:
    """The logger's zone and who says so; a note where two say different things."""
    named = _zone_in_header(opened)
    said = opened.said.timezone if opened.said is not None else None
    if said is not None:
        if named is not None and named != said:
            notes.append(f"The file names the zone {named}; site.toml says {said}, which was used.")
        return said, "site_file"
    if named is not None:
        return named, "file"
    if opened.zone_shown is not None:
        notes.append(
            f"Another file of this logger shows that its clock stays at {opened.zone_shown}; so it "
            "was read here."
        )
        return opened.zone_shown, "rows"
    return site_zone, "assumed"


def _zone_in_header(opened: OpenExport) -> str | None:
    dialect = opened.dialect
    headers = [dialect.header[i] for i in dialect.time_columns]
    letters = "|".join(sorted(ZONE_LETTERS, key=len, reverse=True))
    spoken = [
        p
        for p in dialect.preamble
        if re.search(r"(?i)\b(time ?zone|utc|gmt)\b", p) and text_of(p) is None
    ]
    for text in [*headers, *spoken]:
        for word in re.findall(r"\b[A-Z][A-Za-z]+/[A-Za-z_]+(?:/[A-Za-z_]+)?\b", text):
            if word in available_timezones():
                return str(word)
        found = re.search(r"\b(?:UTC|GMT)\s*(?:([+-])\s*(\d{1,2})(?::?(\d{2}))?)?", text)
        if found:
            if found.group(1) is None:
                return "UTC"
            minutes = int(found.group(2)) * 60 + int(found.group(3) or 0)
            if minutes > written_times.MAX_OFFSET_MIN:
                continue
            sign = -1 if found.group(1) == "-" else 1
            return timestamps.offset_name(sign * minutes * 60_000_000)
        short = re.search(rf"(?<![A-Za-z])({letters})(?![A-Za-z])", text)
        if short:
            return timestamps.offset_name(ZONE_LETTERS[short.group(1)] * 3_600_000_000)
    return None


def _order_in_header(opened: OpenExport) -> written_times.DateOrder | None:
    dialect = opened.dialect
    for text in [dialect.header[i] for i in dialect.time_columns] + list(dialect.preamble):
        for order, pattern in (("mdy", r"(?i)\bmm?[-/. ]dd?\b"), ("dmy", r"(?i)\bdd?[-/. ]mm?\b")):
            if re.search(pattern, text):
                return written_times.DateOrder(order, f"the file says so: {text.strip()[:60]}")
    return None


def _ambiguous(opened: OpenExport, rows: Rows, order: written_times.DateOrder) -> InputError:
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


def _format_name(
    dialect: Dialect, fields: Fields, order: written_times.DateOrder, written: str
) -> str:
    style = int(fields.style[int(np.argmax(fields.style > 0))])
    year = "" if fields.lacks_year else "YY" if fields.short_year else "YYYY"
    if style == 4:
        kinds = {"epoch_ms": "ms since 1970", "epoch_us": "us since 1970"}
        kinds |= {"epoch_s": "seconds since 1970", "serial": "days since 1899-12-30"}
        return kinds.get(dialect.time_kinds[0], "seconds since 1970")
    dates = {"ymd": f"{year}-MM-DD", "mdy": f"MM/DD/{year}", "dmy": f"DD/MM/{year}"}
    named = {3: f"DD-Mon-{year}", 5: "YYYY-day of year"}
    text = named.get(style, dates[written]).strip("/-")
    if dialect.time_kinds not in (("date",), ("short_date",)):
        text += " hh:mm" + (":ss" if fields.has_seconds else "")
        text += " AM/PM" if fields.twelve_hours else ""
    if (fields.offset_us != NO_OFFSET).any():
        text += " with offset"
    n = len(dialect.time_columns)
    return text + ("" if n == 1 else " in two columns" if n == 2 else f" in {n} columns")
