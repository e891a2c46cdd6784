"""All that one export says: values of its channels, rejects, and where its other lines went."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.errors import InputError
from pipeline.ingest.cell_values import column_values, is_plain_numbers, words_for_null
from pipeline.ingest.columns import split_header
from pipeline.ingest.export_file import OpenExport, long_columns, long_names, long_units
from pipeline.ingest.file_clock import is_regular, no_times, read_clock
from pipeline.ingest.leftover_rows import is_note, sort_out_rows
from pipeline.ingest.reading import Cells, FileReading, Rejects
from pipeline.ingest.rows import Rows, read_rows
from pipeline.ingest.steps import middle_step
from pipeline.ingest.values import read_values
from pipeline.ingest.written_times import Ints
from pipeline.site import Channel, Site
from pipeline.thresholds import THRESHOLDS
from pipeline.units import UNITS

# Up to so many rows without an instant, the rows between them are copied as whole stretches.
_MAX_SLICES = 1_000


def cut_file(opened: OpenExport, used: dict[int, Channel]) -> Rows:
    """The cells of the columns that are needed; `used` as in read_file."""
    places = _places(opened, used)
    wanted = [*opened.dialect.time_columns, *(long_columns(opened) or ()), *places.values()]
    numbers = [
        place
        for number, place in places.items()
        if used[number].meaning.kind == "analog" and is_plain_numbers(opened.dialect, place)
    ]
    nulls = words_for_null(opened.dialect, numbers)
    return read_rows(opened.text, opened.dialect, list(dict.fromkeys(wanted)), numbers, nulls)


def read_file(
    opened: OpenExport, used: dict[int, Channel], site: Site, rows: Rows | None = None
) -> FileReading:
    """The file's readings.

    used : channel number (its place in site.channels) to the channels found in this file
    rows : its cells by `cut_file`, if they are there already

    Raises InputError where the file as a whole cannot be read as it is.
    """
    dialect = opened.dialect
    long = long_columns(opened)
    places = _places(opened, used)
    rows = rows or cut_file(opened, used)
    written = long_units(opened) if long else {}
    clock = read_clock(opened, rows, site.timezone)
    if not clock.good.any():
        raise no_times(opened, next(iter(clock.why.values()), "no rows"))
    kept, dropped = np.flatnonzero(clock.good), np.flatnonzero(~clock.good)
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
        notes=[n for n in (opened.text.note, *clock.notes) if n],
    )
    broken = sort_out_rows(reading, rows)
    if dialect.pads_short:
        reading.notes.append(
            "Rows leave out blank cells at their end; what is missing there was taken for blank."
        )
    missing = opened.said.missing if opened.said is not None else ()
    blank_cells = 0
    for number, channel in used.items():
        unit = _unit(opened, channel, site, written.get(channel.column, set()))
        if long:
            blank_cells += _read_long(reading, rows, kept, long, number, channel, unit, site)
            continue
        place = places[number]
        column = rows.columns[place]
        if len(dropped):
            column = _taken(column, kept, dropped)
        blank_cells += _read_column(reading, column, place, number, channel, unit, missing, site)
    reading.kind, reading.kind_reason = _kind(reading, list(used.values()), blank_cells, long)
    for cells in reading.cells.values():
        if len(broken):
            cells.broken_ts = np.sort(np.concatenate([cells.broken_ts, broken]))
    reading.n_read = len(reading.line) + sum(len(x) for x in reading.rows_rejected.line)
    _check_lines(reading)
    return reading


def _taken(column: pa.Array, kept: Ints, dropped: Ints) -> pa.Array:
    """The cells of the rows that are kept; `dropped` are all the others."""
    if isinstance(column, pa.DictionaryArray):
        codes = _taken(column.indices, kept, dropped)
        return pa.DictionaryArray.from_arrays(codes, column.dictionary, safe=False)
    if len(dropped) > _MAX_SLICES:
        return pc.take(column, pa.array(kept), boundscheck=False)
    # Whole stretches are copied ten times as fast as cell after cell.
    edges = [-1, *dropped.tolist(), len(column)]
    return pa.concat_arrays([column[a + 1 : b] for a, b in pairwise(edges)])


def _places(opened: OpenExport, used: dict[int, Channel]) -> dict[int, int]:
    """Column number of each channel; none in a long file."""
    if opened.is_long:
        return {}
    found = {number: opened.column_number(c.column) for number, c in used.items()}
    return {number: place for number, place in found.items() if place is not None}


def guess_kind(ts: Ints, only_states: bool, blank_share: float) -> tuple[str | None, str]:
    """sampled, change_of_state or None (too few rows to tell), and why."""
    steps = np.diff(np.sort(ts))
    steps = steps[steps > 0]
    if blank_share >= THRESHOLDS["change_log_blank_share"].value and not is_regular(ts):
        return "change_of_state", f"{blank_share:.0%} of its cells are blank, rows at odd times"
    if len(steps) < THRESHOLDS["regular_min_steps"].value:
        return None, f"only {len(ts)} rows"
    usual = middle_step(np.asarray(steps, np.int64))
    share = float((np.abs(np.asarray(steps, np.int64) - usual) <= usual / 2).mean())
    why = f"{share:.0%} of the steps between rows are about {usual / 1e6:g} s"
    if share < THRESHOLDS["regular_steps_share"].value and only_states:
        return "change_of_state", "only states, and only " + why
    return "sampled", why


def _read_column(
    reading: FileReading,
    column: pa.Array,
    place: int,
    number: int,
    channel: Channel,
    unit: str,
    missing: tuple[str, ...],
    site: Site,
) -> int:
    """Add one wide column's values and bad cells; returns how many of its cells are blank."""
    opened = reading.opened
    found = column_values(opened, column, reading.line, place, channel, unit, missing, site)
    if found is None:
        rows = read_rows(opened.text, opened.dialect, [*opened.dialect.time_columns, place])
        texts = rows.columns[place].take(pa.array(np.searchsorted(rows.line, reading.line)))
        found = column_values(opened, texts, reading.line, place, channel, unit, missing, site)
        assert found is not None
    name = opened.dialect.header[place]
    reading.bad_cells.add(reading.line[found.bad], name, found.texts, found.reasons)
    row, value = reading.every_row, found.value
    if not found.every:
        row = np.flatnonzero(~np.isnan(value))
        value = value[row]
    # What the logger notes about itself says nothing about a state.
    broken = [k for k, text in zip(found.bad, found.texts, strict=True) if not is_note(text)]
    reading.cells[number] = Cells(row, value, reading.ts[broken])
    return len(found.value) - len(row) - len(found.bad)


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


def _unit(opened: OpenExport, channel: Channel, site: Site, written: set[str]) -> str:
    """The unit a channel is written in. Raises InputError where nobody names it.

    written : units that a long file names for it
    """
    if channel.unit is not None:
        return channel.unit
    if channel.meaning.kind != "analog":
        return "state"
    dimension = channel.meaning.dimension
    named = [u for u in sorted(written) if UNITS[u].dimension == dimension]
    if len(named) == 1:
        return named[0]
    _, unit = split_header(channel.column)
    if unit is not None and UNITS[unit].dimension == dimension and not named:
        return unit
    fitting = [u.name for u in UNITS.values() if u.dimension == dimension]
    found = f"no unit in the header of {opened.export.path}, none in site.toml"
    if named:
        found = f"{' and '.join(named)} in {opened.export.path}"
    raise InputError(
        f"the unit of column {channel.column!r} is not known",
        file=site.path,
        line=channel.line,
        found=found,
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
