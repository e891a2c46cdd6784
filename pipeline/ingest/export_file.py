"""One export whose dialect is known, before anything is said about its columns."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from pipeline import site as site_file
from pipeline.channels import OFF_WORDS, ON_WORDS
from pipeline.errors import InputError
from pipeline.ingest import kept_dialect
from pipeline.ingest.columns import unit_of
from pipeline.ingest.encoding import Text, decode
from pipeline.ingest.exports import Export
from pipeline.ingest.rows import read_rows
from pipeline.ingest.sniff import Dialect, sniff

NAME_WORDS = re.compile(
    r"(?i)\b(point|channel|name|tag|sensor|parameter|variable|signal|measurement|source|series)\b"
)
_VALUE_WORDS = re.compile(r"(?i)\b(value|reading|data|result|state|val)\b")
_NO_UNIT = frozenset({"-", "--", "none", "n/a", "state", "on/off", "0/1", "bool", "text"})


@dataclass(frozen=True)
class OpenExport:
    """An export whose dialect is known; `said` is the [[export]] block about it, if any.

    zone_shown : the fixed offset that the rows of another file of its logger prove, if any
    """

    export: Export
    text: Text
    dialect: Dialect
    said: site_file.Export | None
    zone_shown: str | None = None

    @property
    def is_long(self) -> bool:
        """Whether one column names the channel and another holds its value."""
        return self.said is not None and (
            self.said.kind == "long" or self.said.name_column is not None
        )

    @property
    def value_columns(self) -> tuple[str, ...]:
        """The header texts of the columns that do not hold date or time."""
        times = self.dialect.time_columns
        return tuple(h for i, h in enumerate(self.dialect.header) if i not in times)

    def value_column(self, name: str) -> int | None:
        """The number of the column with this header text, unless it holds date or time."""
        number = self.column_number(name)
        return None if number in self.dialect.time_columns else number

    def column_number(self, name: str) -> int | None:
        """The number of the column with this header text; blanks and case do not matter."""
        header = self.dialect.header
        if name in header:
            return header.index(name)
        plain = [re.sub(r"\s+", " ", h).strip().casefold() for h in header]
        wanted = re.sub(r"\s+", " ", name).strip().casefold()
        return plain.index(wanted) if plain.count(wanted) == 1 else None


def open_export(
    export: Export, said: site_file.Export | None, kept: bytes | None = None
) -> OpenExport:
    """The export with its dialect. Raises InputError if it is not a table with times.

    kept : the dialect of the same bytes as an earlier load kept it
    """
    text = decode(export.text_bytes(), export.shown)
    decimal = said.decimal if said is not None else None
    if kept is not None and kept_dialect.holds(kept, decimal):
        return OpenExport(export, text, kept_dialect.unpacked(kept), said)
    return OpenExport(export, text, sniff(text, export.shown, decimal), said)


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
            number = opened.value_column(name)
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
    guessed = guess_long(opened.dialect)
    if guessed is None:
        raise InputError(
            "it cannot be told which column names the channel",
            file=opened.export.shown,
            line=opened.dialect.header_line or None,
            found=", ".join(opened.dialect.header),
            expected='name_column = "..." and value_column = "..." in its [[export]]',
        )
    return guessed


def guess_long(dialect: Dialect) -> tuple[int, int] | None:
    """The columns that name the channel and hold its value, if two columns can only be these."""
    units = unit_column(dialect)
    free = [i for i in range(dialect.width) if i not in dialect.time_columns and i != units]
    if len(free) > 2:  # a row number, a quality flag: go by what the columns are called
        free = [i for i in free if _VALUE_WORDS.search(dialect.header[i])] + [
            i for i in free if NAME_WORDS.search(dialect.header[i])
        ]
    if len(free) != 2:
        return None
    first, second = free
    as_names = [_speaks_of_names(dialect, i) for i in free]
    if as_names[0] != as_names[1]:
        return (first, second) if as_names[0] else (second, first)
    return (second, first) if _VALUE_WORDS.search(dialect.header[first]) else (first, second)


def unit_column(dialect: Dialect) -> int | None:
    """The column of a long file in which every filled cell is a unit."""
    for i in range(dialect.width):
        cells = {row[i] for row in dialect.sample if row[i]}
        plain = {c for c in cells if c.lower() not in _NO_UNIT}
        if i not in dialect.time_columns and plain and all(unit_of(c) for c in plain):
            return i
    return None


def long_units(opened: OpenExport) -> dict[str, set[str]]:
    """The units that a long file names, by channel."""
    columns, unit = long_columns(opened), unit_column(opened.dialect)
    if columns is None or unit is None or unit in columns:
        return {}
    wanted = [*opened.dialect.time_columns, columns[0], unit]
    rows = read_rows(opened.text, opened.dialect, wanted)
    names, units = rows.columns[columns[0]], rows.columns[unit]
    size = len(units.dictionary) + 1
    codes = names.indices.to_numpy(zero_copy_only=False).astype(np.int64) * size
    found: dict[str, set[str]] = {}
    for pair in np.unique(codes + units.indices.to_numpy(zero_copy_only=False)).tolist():
        name = (names.dictionary[pair // size].as_py() or "").strip()
        written = unit_of(units.dictionary[pair % size].as_py() or "")
        if written is not None:
            found.setdefault(name, set()).add(written)
    return found


def _speaks_of_names(dialect: Dialect, column: int) -> bool:
    """Whether a column's cells are words that are neither numbers nor states."""
    cells = {row[column] for row in dialect.sample if row[column]}
    words = {c for c in cells if not re.match(r"[-+.,\d]", c)}
    states = ON_WORDS | OFF_WORDS
    return bool(words) and any(c.lower() not in states for c in words) and words == cells


def long_names(opened: OpenExport) -> list[str]:
    """The channel names in a long file, in the order in which they appear."""
    columns = long_columns(opened)
    assert columns is not None
    rows = read_rows(opened.text, opened.dialect, [*opened.dialect.time_columns, columns[0]])
    names = [(t or "").strip() for t in rows.columns[columns[0]].dictionary.to_pylist()]
    return list(dict.fromkeys(n for n in names if n))
