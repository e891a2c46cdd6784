"""Text to cells: every physical line of the data part ends up in exactly one place.

The ordinary file goes through Arrow's reader with every cell kept as text, each distinct text of
a column once; lines with another number of cells are handed over apart, with their numbers.
Files with quoted cells take the slower exact path through the csv module.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv
from numpy.typing import NDArray

from pipeline.ingest.sniff import Dialect, Text

_BLOCK_BYTES = 1 << 25
_BLANKS = " \t\x1a\x0c\0"


@dataclass(frozen=True)
class OddLine:
    """A record with another number of cells than the header; `line` is its first physical line."""

    line: int
    n_cells: int
    text: str


@dataclass
class Rows:
    """The records of a file that have as many cells as the header, and those that have not.

    line : physical line of each record, from 1 (of its first line, where quoted cells hold breaks)
    columns : the wanted columns by number: time columns as text, others dictionary-encoded
    odd : records with another number of cells, blank lines left out, in the order of their lines
    blank : numbers of those records of which no cell at all is filled
    n_blank, n_continued : blank lines, with these; lines that belong to the record above them
    """

    line: NDArray[np.int64]
    columns: dict[int, pa.Array]
    odd: list[OddLine]
    blank: NDArray[np.int64]
    n_blank: int
    n_continued: int

    def texts(self, column: int, which: NDArray[np.int64]) -> list[str]:
        """The cell texts of one column at the given record numbers."""
        found = self.columns[column].take(pa.array(which))
        return [text or "" for text in found.to_pylist()]


def read_rows(text: Text, dialect: Dialect, wanted: list[int]) -> Rows:
    """The records below the header; `wanted` are the numbers of the columns to keep."""
    if dialect.is_quoted:
        rows = _read_quoted(text, dialect, wanted)
        if rows is not None:
            return rows
    return _read_plain(text, dialect, wanted)


def _read_plain(text: Text, dialect: Dialect, wanted: list[int]) -> Rows:
    odd: list[OddLine] = []
    first = dialect.first_row_line

    def keep(row: pa_csv.InvalidRow) -> str:
        odd.append(OddLine(row.number + first - 1, row.actual_columns, row.text))
        return "skip"

    names = [str(i) for i in range(dialect.width)]
    as_text = {str(i): pa.string() for i in dialect.time_columns}
    as_dictionary = pa.dictionary(pa.int32(), pa.string())
    region = _below_header(text, first)
    table = pa_csv.read_csv(
        pa.py_buffer(region),
        # One thread: only then are rejected rows numbered.
        read_options=pa_csv.ReadOptions(
            use_threads=False,
            column_names=names,
            block_size=min(_BLOCK_BYTES, len(region) + 1),
        ),
        parse_options=pa_csv.ParseOptions(
            delimiter=dialect.delimiter,
            quote_char=False,
            ignore_empty_lines=False,
            invalid_row_handler=keep,
        ),
        convert_options=pa_csv.ConvertOptions(
            column_types={str(i): as_text.get(str(i), as_dictionary) for i in wanted},
            include_columns=[str(i) for i in wanted],
            strings_can_be_null=False,
        ),
    ).unify_dictionaries()
    lines = np.arange(first, first + table.num_rows + len(odd), dtype=np.int64)
    if odd:
        lines = np.delete(lines, [o.line - first for o in odd])
    filled = [o for o in odd if o.text.strip(_BLANKS)]
    columns = {i: _one_chunk(table.column(str(i))) for i in wanted}
    return _marked(lines, columns, dialect, filled, len(odd) - len(filled), 0, text)


def _read_quoted(text: Text, dialect: Dialect, wanted: list[int]) -> Rows | None:
    """The same through the csv module; None if a stray quote would swallow whole rows."""
    region = bytes(_below_header(text, dialect.first_row_line)).decode()
    raw = region.split("\n")
    reader = csv.reader(io.StringIO(region, newline="\n"), delimiter=dialect.delimiter)
    csv.field_size_limit(1 << 24)
    lines: list[int] = []
    records: list[list[str]] = []
    odd: list[OddLine] = []
    n_blank = n_continued = 0
    above = 0
    try:
        for record in reader:
            start, above = above, reader.line_num
            more = raw[start + 1 : above]
            n_continued += len(more)
            if any(m.count(dialect.delimiter) >= dialect.width - 1 for m in more):
                return None
            line = dialect.first_row_line + start
            if len(record) == dialect.width:
                records.append(record)
                lines.append(line)
            elif not any(cell.strip(_BLANKS) for cell in record):
                n_blank += 1
            else:
                odd.append(OddLine(line, len(record), "\n".join(raw[start:above])))
    except csv.Error:
        return None
    columns: dict[int, pa.Array] = {}
    for i in wanted:
        column = pa.array([record[i] for record in records], pa.string())
        columns[i] = column if i in dialect.time_columns else column.dictionary_encode()
    numbers = np.array(lines, np.int64)
    return _marked(numbers, columns, dialect, odd, n_blank, n_continued, text)


def _marked(
    lines: NDArray[np.int64],
    columns: dict[int, pa.Array],
    dialect: Dialect,
    odd: list[OddLine],
    n_blank: int,
    n_continued: int,
    text: Text,
) -> Rows:
    """The rows, with those marked of which no cell at all is filled."""
    empty = np.ones(len(lines), bool)
    for i in dialect.time_columns:
        # A time has more than three letters; only what is shorter or all blanks need be looked at.
        short = pc.less(pc.binary_length(columns[i]), 4)
        empty &= pc.or_(short, pc.utf8_is_space(columns[i])).to_numpy(zero_copy_only=False)
    unfilled = _BLANKS + dialect.delimiter + '"'
    found = [k for k in np.flatnonzero(empty) if not text.line(int(lines[k])).strip(unfilled)]
    blank = np.array(found, np.int64)
    return Rows(lines, columns, odd, blank, n_blank + len(blank), n_continued)


def _below_header(text: Text, first_line: int) -> memoryview:
    at = 0
    for _ in range(first_line - 1):
        at = text.content.index(b"\n", at) + 1
    return memoryview(text.content)[at:]


def _one_chunk(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    if column.num_chunks == 0:
        empty = pa.array([], pa.string())
        return empty if column.type == pa.string() else empty.dictionary_encode()
    return column.combine_chunks()
