"""One export whose dialect is known, before anything is said about its columns."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline import site as site_file
from pipeline.errors import InputError
from pipeline.ingest.exports import Export
from pipeline.ingest.rows import read_rows
from pipeline.ingest.sniff import Dialect, Text, decode, sniff


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
