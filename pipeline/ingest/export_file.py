"""One export: opened (dialect known), then read (instants, values, rejects).

Opening needs nothing but the file; reading needs to know which column is which channel.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from zoneinfo import available_timezones

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline import site as site_file
from pipeline.errors import InputError
from pipeline.ingest import timestamps
from pipeline.ingest.columns import split_header
from pipeline.ingest.exports import Export
from pipeline.ingest.rows import OddLine, Rows, read_rows
from pipeline.ingest.sniff import Dialect, Text, cut, decode, sniff, text_of
from pipeline.ingest.timestamps import Flags, Ints
from pipeline.ingest.values import read_values, state_of
from pipeline.site import Channel, Site

MAX_TEXT = 500
# Share of steps near the median step from which a file counts as sampled at an interval.
REGULAR_SHARE = 0.8
BLANK_SHARE = 0.3
MIN_STEPS = 8


@dataclass(frozen=True)
class OpenExport:
    """An export whose dialect is known; `said` is the [[export]] block about it, if any."""

    export: Export
    text: Text
    dialect: Dialect
    said: site_file.Export | None

    @property
    def is_long(self) -> bool:
        """Whether one column names the channel and another holds its value."""
        return self.said is not None and (
            self.said.kind == "long" or self.said.name_column is not None
        )

    def column_number(self, name: str) -> int | None:
        """The number of the column with this header text; blanks and case do not matter."""
        header = self.dialect.header
        if name in header:
            return header.index(name)
        plain = [re.sub(r"\s+", " ", h).strip().casefold() for h in header]
        wanted = re.sub(r"\s+", " ", name).strip().casefold()
        return plain.index(wanted) if plain.count(wanted) == 1 else None


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


@dataclass
class Cells:
    """The values of one channel in one file: numbers of the file's rows and store-unit values.

    broken_ts : instants from which a change-of-state channel is unknown, because its cell (or
        its whole row) could not be read
    """

    row: Ints
    value: np.ndarray
    broken_ts: Ints = field(default_factory=lambda: np.array([], np.int64))


@dataclass
class Rejects:
    """Rejected rows (column None) and bad cells of a file, as parallel lists of arrays."""

    line: list[Ints] = field(default_factory=list)
    column: list[str | None] = field(default_factory=list)
    text: list[list[str]] = field(default_factory=list)
    reason: list[list[str]] = field(default_factory=list)

    def add(self, line: Ints, column: str | None, text: list[str], reason: list[str]) -> None:
        """Note some rows or cells of one column."""
        if len(line):
            self.line.append(np.asarray(line, np.int64))
            self.column.append(column)
            self.text.append([t[:MAX_TEXT] for t in text])
            self.reason.append(reason)


@dataclass
class FileReading:
    """All that was read from one export.

    line, ts : physical line and instant of every row with a readable time
    cells : channel number (its place in site.channels) to its values
    rows_rejected : rows without a readable time or of another width; bad_cells : cells
    kind : sampled or change_of_state; None: too few rows to tell
    stop_ts : footer's stop time, if any
    """

    opened: OpenExport
    clock: Clock
    line: Ints
    ts: Ints
    cells: dict[int, Cells]
    rows_rejected: Rejects
    bad_cells: Rejects
    kind: str | None
    kind_reason: str
    n_read: int
    n_blank: int
    n_footer: int
    n_continued: int
    unused: tuple[str, ...]
    notes: list[str]
    stop_ts: int | None = None

    @property
    def first_ts(self) -> int:
        """The first instant of the file."""
        return int(self.ts.min()) if len(self.ts) else 0

    @property
    def last_ts(self) -> int:
        """The last instant of the file."""
        return int(self.ts.max()) if len(self.ts) else 0


def open_export(export: Export, said: site_file.Export | None) -> OpenExport:
    """The export with its dialect. Raises InputError if it is not a table with times."""
    text = decode(export.text_bytes(), export.shown)
    return OpenExport(export, text, sniff(text, export.shown), said)


def long_columns(opened: OpenExport) -> tuple[int, int] | None:
    """The columns of a long file that name the channel and hold its value; None if not long.

    Raises InputError if site.toml names columns that are not there.
    """
    said = opened.said
    if not opened.is_long or said is None:
        return None
    if said.name_column is not None and said.value_column is not None:
        numbers = []
        for name in (said.name_column, said.value_column):
            number = opened.column_number(name)
            if number is None:
                raise InputError(
                    f"{opened.export.path} has no column {name!r}",
                    file=opened.export.shown,
                    line=opened.dialect.header_line or None,
                    found=", ".join(opened.dialect.header),
                    expected="the name_column and value_column that [[export]] gives",
                )
            numbers.append(number)
        return numbers[0], numbers[1]
    free = [i for i in range(opened.dialect.width) if i not in opened.dialect.time_columns]
    if len(free) != 2:
        raise InputError(
            "it cannot be told which column names the channel",
            file=opened.export.shown,
            line=opened.dialect.header_line or None,
            found=", ".join(opened.dialect.header),
            expected='name_column = "..." and value_column = "..." in its [[export]]',
        )
    return free[0], free[1]


def long_names(opened: OpenExport) -> list[str]:
    """The channel names in a long file, in the order in which they appear."""
    columns = long_columns(opened)
    assert columns is not None
    rows = read_rows(opened.text, opened.dialect, [*opened.dialect.time_columns, columns[0]])
    names = [(t or "").strip() for t in rows.columns[columns[0]].dictionary.to_pylist()]
    return list(dict.fromkeys(n for n in names if n))


def read_clock(opened: OpenExport, rows: Rows, timezone: str) -> Clock:
    """Instants of the rows. Raises InputError if day and month cannot be told apart.

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
    name, source, zone_note = _timezone(opened, timezone)
    stated = readable & (fields.offset_us != timestamps.NO_OFFSET)
    ts = local - np.where(stated, fields.offset_us, 0)
    why = {int(k): "no readable date and time" for k in np.flatnonzero(~readable)}
    notes = [zone_note] if zone_note else []
    good = readable.copy()
    if stated.all() or (stated.any() and stated.sum() == readable.sum()):
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


def is_regular(ts: Ints) -> bool:
    """Whether most steps between rows are near the median step."""
    steps = np.diff(ts)
    steps = steps[steps > 0]
    if len(steps) < MIN_STEPS:
        return False
    usual = np.median(steps)
    return bool((np.abs(steps - usual) <= usual / 2).mean() >= REGULAR_SHARE)


def read_export(opened: OpenExport, used: dict[int, Channel], site: Site) -> FileReading:
    """The file's readings.

    used : channel number (its place in site.channels) to the channels found in this file

    Raises InputError where the file as a whole cannot be read as it is.
    """
    dialect = opened.dialect
    long = long_columns(opened)
    places = {} if long else {n: opened.column_number(c.column) for n, c in used.items()}
    wanted = list(dict.fromkeys([*dialect.time_columns, *(long or ()), *places.values()]))
    rows = read_rows(opened.text, dialect, [i for i in wanted if i is not None])
    clock = read_clock(opened, rows, site.timezone)
    if not clock.good.any():
        raise InputError(
            "no row has a readable date and time",
            file=opened.export.shown,
            line=dialect.first_row_line,
            found=next(iter(clock.why.values()), "no rows"),
            expected="dates and times of the site's clock, or its timezone in [[export]]",
        )
    kept = np.flatnonzero(clock.good)
    reading = FileReading(
        opened=opened,
        clock=clock,
        line=rows.line[kept],
        ts=clock.ts[kept],
        cells={},
        rows_rejected=Rejects(),
        bad_cells=Rejects(),
        kind=None,
        kind_reason="",
        n_read=0,
        n_blank=rows.n_blank,
        n_footer=0,
        n_continued=rows.n_continued,
        unused=_unused(opened, used, long),
        notes=clock.notes,
    )
    broken = _sort_out_rows(reading, rows, site)
    missing = opened.said.missing if opened.said is not None else ()
    blank_cells = 0
    for number, channel in used.items():
        unit = _unit(opened, channel, site)
        if long:
            blank_cells += _read_long(reading, rows, kept, long, number, channel, unit, site)
            continue
        place = places[number]
        assert place is not None
        column = rows.columns[place].take(pa.array(kept))
        blank_cells += _read_column(reading, column, number, channel, unit, missing, site)
    reading.kind, reading.kind_reason = _kind(reading, list(used.values()), blank_cells, long)
    for cells in reading.cells.values():
        cells.broken_ts = np.sort(np.concatenate([cells.broken_ts, broken]))
    reading.n_read = len(reading.line) + sum(len(x) for x in reading.rows_rejected.line)
    _check_lines(reading)
    return reading


def _read_column(
    reading: FileReading,
    column: pa.DictionaryArray,
    number: int,
    channel: Channel,
    unit: str,
    missing: Sequence[str],
    site: Site,
) -> int:
    """Add one wide column's values and bad cells; returns how many of its cells are blank."""
    decimal_sign = reading.opened.dialect.decimal_sign
    values = read_values(column.dictionary, channel, unit, decimal_sign, tuple(missing), site)
    codes = column.indices.to_numpy(zero_copy_only=False)
    value = values.value[codes] if len(values.value) else np.full(len(codes), np.nan)
    row = np.flatnonzero(~np.isnan(value))
    is_bad = np.array([r is not None for r in values.reason], bool)
    bad = np.flatnonzero(is_bad[codes]) if is_bad.any() else np.array([], np.int64)
    texts = column.take(pa.array(bad)).to_pylist() if len(bad) else []
    reasons = [str(values.reason[int(codes[k])]) for k in bad]
    name = reading.opened.dialect.header[reading.opened.column_number(channel.column) or 0]
    reading.bad_cells.add(reading.line[bad], name, texts, reasons)
    reading.cells[number] = Cells(row, value[row], reading.ts[bad])
    return len(codes) - len(row) - len(bad)


def _read_long(
    reading: FileReading,
    rows: Rows,
    kept: Ints,
    long: tuple[int, int],
    number: int,
    channel: Channel,
    unit: str,
    site: Site,
) -> int:
    """The same for one channel of a long file."""
    names = rows.columns[long[0]].take(pa.array(kept))
    texts = [(t or "").strip() for t in names.dictionary.to_pylist()]
    wanted = np.array([t == channel.column for t in texts], bool)
    codes = names.indices.to_numpy(zero_copy_only=False)
    mine = np.flatnonzero(wanted[codes]) if wanted.any() else np.array([], np.int64)
    column = rows.columns[long[1]].take(pa.array(kept[mine]))
    missing = reading.opened.said.missing if reading.opened.said is not None else ()
    decimal_sign = reading.opened.dialect.decimal_sign
    values = read_values(column.dictionary, channel, unit, decimal_sign, tuple(missing), site)
    value_codes = column.indices.to_numpy(zero_copy_only=False)
    value = values.value[value_codes] if len(mine) else np.array([], float)
    good = ~np.isnan(value)
    bad = np.array([values.reason[int(c)] is not None for c in value_codes], bool)
    at = np.flatnonzero(bad)
    reading.bad_cells.add(
        reading.line[mine[at]],
        channel.column,
        column.take(pa.array(at)).to_pylist(),
        [str(values.reason[int(value_codes[k])]) for k in at],
    )
    reading.cells[number] = Cells(mine[good], value[good], reading.ts[mine[at]])
    return 0


def _sort_out_rows(reading: FileReading, rows: Rows, site: Site) -> Ints:
    """Put rows without an instant where they belong: footer, repeated header, reject.

    Returns the instants from which states are unknown because a row was lost there.
    """
    opened, clock = reading.opened, reading.clock
    dialect = opened.dialect
    last_line = int(reading.line[-1]) if len(reading.line) else 0
    content = opened.text.content.split(b"\n") if clock.why or rows.odd else []
    bad: list[tuple[int, str, str, int | None]] = []  # line, text, reason, cells if odd
    for k, reason in clock.why.items():
        line = int(rows.line[k])
        bad.append((line, content[line - 1].decode(), reason, None))
    for odd in rows.odd:
        word = "cut short" if odd.n_cells < dialect.width else "too long"
        reason = f"row {word}: {odd.n_cells} cells, the header has {dialect.width}"
        bad.append((odd.line, odd.text, reason, odd.n_cells))
    bad.sort()
    header = tuple(dialect.header)
    lost: list[OddLine] = []
    kept: list[tuple[int, str, str]] = []
    for line, shown, reason, n_cells in bad:
        cells = cut(shown, dialect.delimiter, dialect.is_quoted) if "\n" not in shown else [shown]
        starts_like_row = re.match(r'\s*"?\d', shown) is not None
        if line > last_line and not starts_like_row and n_cells is not None:
            reading.n_footer += 1
            stop = _stop_time(shown, clock, site)
            reading.stop_ts = stop if stop is not None else reading.stop_ts
            continue
        if tuple(cells[: len(header)]) == header:
            reason = "the header line again"
        elif not starts_like_row and n_cells is not None:
            reason = "not a data row"
        else:
            lost.append(OddLine(line, n_cells or dialect.width, shown))
        kept.append((line, shown, reason))
    reading.rows_rejected.add(
        np.array([line for line, _, _ in kept], np.int64),
        None,
        [shown for _, shown, _ in kept],
        [reason for _, _, reason in kept],
    )
    # Between the last row before a lost one and the lost one nothing had changed, but its own
    # time may be the damaged part, so the state is unknown from the row before it.
    before = [int(np.searchsorted(reading.line, odd.line)) - 1 for odd in lost]
    return np.array([reading.ts[k] for k in before if k >= 0], np.int64) + 1


def _stop_time(shown: str, clock: Clock, site: Site) -> int | None:
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


def _kind(
    reading: FileReading, used: list[Channel], blank_cells: int, long: tuple[int, int] | None
) -> tuple[str | None, str]:
    said = reading.opened.said
    if long:
        return "long", "site.toml says so"
    if said is not None and said.kind is not None:
        return said.kind, "site.toml says so"
    return guess_kind(
        reading.ts,
        all(c.meaning.kind == "state" for c in used),
        blank_cells / max(1, len(reading.ts) * len(used)),
    )


def guess_kind(ts: Ints, only_states: bool, blank_share: float) -> tuple[str | None, str]:
    """sampled, change_of_state or None (too few rows to tell), and why."""
    steps = np.diff(np.sort(ts))
    steps = steps[steps > 0]
    if blank_share >= BLANK_SHARE and not is_regular(ts):
        return "change_of_state", f"{blank_share:.0%} of its cells are blank, rows at odd times"
    if len(steps) < MIN_STEPS:
        return None, f"only {len(ts)} rows"
    usual = np.median(steps)
    share = float((np.abs(steps - usual) <= usual / 2).mean())
    why = f"{share:.0%} of the steps between rows are about {usual / 1e6:g} s"
    if share < REGULAR_SHARE and only_states:
        return "change_of_state", "only states, and only " + why
    return "sampled", why


def _unused(
    opened: OpenExport, used: dict[int, Channel], long: tuple[int, int] | None
) -> tuple[str, ...]:
    if long:
        named = {c.column for c in used.values()}
        return tuple(n for n in long_names(opened) if n not in named)
    taken = {opened.column_number(c.column) for c in used.values()} | set(
        opened.dialect.time_columns
    )
    return tuple(
        name
        for i, name in enumerate(opened.dialect.header)
        if i not in taken and not re.fullmatch(r"column \d+", name)
    )


def _unit(opened: OpenExport, channel: Channel, site: Site) -> str:
    """The unit a channel is written in. Raises InputError where nobody names it."""
    if channel.unit is not None:
        return channel.unit
    if channel.meaning.kind != "analog":
        return "state"
    _, unit = split_header(channel.column)
    from pipeline.units import UNITS

    if unit is not None and UNITS[unit].dimension == channel.meaning.dimension:
        return unit
    fitting = [u.name for u in UNITS.values() if u.dimension == channel.meaning.dimension]
    raise InputError(
        f"the unit of column {channel.column!r} is not known",
        file=site.path,
        line=channel.line,
        found=f"no unit in the header of {opened.export.path}, none in site.toml",
        expected=f'unit = "{fitting[0]}"' + "".join(f' or "{u}"' for u in fitting[1:]),
    )


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


def _check_lines(reading: FileReading) -> None:
    """Hold the reader's rows against the count of physical lines made apart from it."""
    dialect = reading.opened.dialect
    told = (
        dialect.first_row_line
        - 1
        + reading.n_read
        + reading.n_blank
        + reading.n_footer
        + reading.n_continued
    )
    if told != reading.opened.text.n_lines:
        raise AssertionError(
            f"{reading.opened.export.path}: {reading.opened.text.n_lines} physical lines, "
            f"{told} accounted for"
        )


def state_share(texts: Sequence[str]) -> float:
    """Share of the filled cells that are known state words."""
    filled = [t for t in texts if t.strip()]
    return sum(state_of(t) is not None for t in filled) / len(filled) if filled else 0.0
