"""All that one export says: values of its channels, rejects, and where its other lines went."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from pipeline.errors import InputError
from pipeline.ingest.columns import split_header
from pipeline.ingest.export_file import OpenExport, long_columns, long_names
from pipeline.ingest.file_clock import (
    MIN_STEPS,
    REGULAR_SHARE,
    Clock,
    is_regular,
    no_times,
    read_clock,
    stop_time,
)
from pipeline.ingest.rows import Rows, read_rows
from pipeline.ingest.sniff import cut
from pipeline.ingest.timestamps import Ints
from pipeline.ingest.values import read_values
from pipeline.site import Channel, Site
from pipeline.units import UNITS

MAX_TEXT = 500
# Share of blank cells from which rows at odd times are taken for a log of changes. Ours.
BLANK_SHARE = 0.3


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


def read_file(opened: OpenExport, used: dict[int, Channel], site: Site) -> FileReading:
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
        raise no_times(opened, next(iter(clock.why.values()), "no rows"))
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
        unused=_unused(opened, used, long, site),
        notes=clock.notes,
    )
    broken = _sort_out_rows(reading, rows)
    missing = opened.said.missing if opened.said is not None else ()
    blank_cells = 0
    for number, channel in used.items():
        unit = _unit(opened, channel, site)
        if long:
            blank_cells += _read_long(reading, rows, kept, long, number, channel, unit, site)
            continue
        place = places[number]
        assert place is not None
        column = rows.columns[place]
        if len(kept) < len(column):
            column = column.take(pa.array(kept))
        blank_cells += _read_column(reading, column, number, channel, unit, missing, site)
    reading.kind, reading.kind_reason = _kind(reading, list(used.values()), blank_cells, long)
    for cells in reading.cells.values():
        cells.broken_ts = np.sort(np.concatenate([cells.broken_ts, broken]))
    reading.n_read = len(reading.line) + sum(len(x) for x in reading.rows_rejected.line)
    _check_lines(reading)
    return reading


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


def _sort_out_rows(reading: FileReading, rows: Rows) -> Ints:
    """Put rows without an instant where they belong: footer, repeated header, reject.

    Returns the instants from which states are unknown because a row was lost there.
    """
    opened, clock = reading.opened, reading.clock
    dialect = opened.dialect
    last_line = int(reading.line[-1]) if len(reading.line) else 0
    bad: list[tuple[int, str, str, bool]] = []  # line, text, reason, has another width
    for k, reason in clock.why.items():
        line = int(rows.line[k])
        bad.append((line, opened.text.line(line), reason, False))
    for odd in rows.odd:
        word = "cut short" if odd.n_cells < dialect.width else "too long"
        count = "1 cell" if odd.n_cells == 1 else f"{odd.n_cells} cells"
        reason = f"row {word}: {count}, the header has {dialect.width}"
        bad.append((odd.line, odd.text, reason, True))
    bad.sort()
    header = opened.text.line(dialect.header_line) if dialect.header_line else None
    lost: list[int] = []
    kept: list[tuple[int, str, str]] = []
    for line, shown, reason, is_odd in bad:
        cells = cut(shown, dialect.delimiter, dialect.is_quoted) if "\n" not in shown else [shown]
        at = dialect.time_columns[0]
        starts_like_row = (cells[at] if len(cells) > at else cells[0])[:1].isdigit()
        if line > last_line and not starts_like_row:
            reading.n_footer += 1
            stop = stop_time(shown, clock)
            reading.stop_ts = stop if stop is not None else reading.stop_ts
            continue
        if shown == header:
            reason = "the header line again"
        elif not starts_like_row and (is_odd or not any(cells[1:])):
            reason = "not a data row"
        else:
            lost.append(line)
        kept.append((line, shown, reason))
    reading.rows_rejected.add(
        np.array([line for line, _, _ in kept], np.int64),
        None,
        [shown for _, shown, _ in kept],
        [reason for _, _, reason in kept],
    )
    # Up to the lost row nothing had changed, but its own time may be the damaged part of it, so
    # the states are unknown from the row before.
    before = np.searchsorted(reading.line, np.array(lost, np.int64)) - 1
    return reading.ts[before[before >= 0]]


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


def _unused(
    opened: OpenExport, used: dict[int, Channel], long: tuple[int, int] | None, site: Site
) -> tuple[str, ...]:
    """Names in the file that no channel carries and that site.toml does not set aside."""
    ignored = {c.column for c in site.channels if c.role == "ignore"}
    if long:
        named = {c.column for c in used.values()} | ignored
        return tuple(n for n in long_names(opened) if n not in named)
    taken = {opened.column_number(c.column) for c in used.values()} | set(
        opened.dialect.time_columns
    )
    return tuple(
        name
        for i, name in enumerate(opened.dialect.header)
        if i not in taken and name not in ignored and not re.fullmatch(r"column \d+", name)
    )


def _unit(opened: OpenExport, channel: Channel, site: Site) -> str:
    """The unit a channel is written in. Raises InputError where nobody names it."""
    if channel.unit is not None:
        return channel.unit
    if channel.meaning.kind != "analog":
        return "state"
    _, unit = split_header(channel.column)
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
