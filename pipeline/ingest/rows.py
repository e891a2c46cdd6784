"""Text to cells: every physical line of the data part ends up in exactly one place.

The ordinary file goes through Arrow's reader with every cell kept as text, each distinct text of
a column once; lines with another number of cells are handed over apart, with their numbers.
Files whose quoted cells hold line breaks take the slower exact path through the csv module.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv
from numpy.typing import NDArray

from pipeline.ingest.encoding import Text
from pipeline.ingest.sniff import BLANKS, Dialect, single_blanks

_BLOCK_BYTES = 1 << 25
_PART_BYTES = 1 << 22
_LINE_BYTES = 1 << 16
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
    columns : the wanted columns by number: time columns as text, others dictionary-encoded, or
        numbers where that was asked for
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


def read_rows(
    text: Text,
    dialect: Dialect,
    wanted: list[int],
    numbers: Sequence[int] = (),
    nulls: Sequence[str] = (),
) -> Rows:
    """The records below the header; `wanted` are the numbers of the columns to keep.

    numbers : columns to cut as numbers, null where a cell is one of `nulls`; if any other text
        stands in them, all columns come as texts
    """
    region: bytes | memoryview = _below_header(text, dialect.first_row_line)
    if len(region) and bytes(region[-1:]) != b"\n":
        # Arrow's reader drops a last line that is one delimiter and that no line end follows
        region = bytes(region) + b"\n"
    if not dialect.is_quoted or _ends_quotes_in_lines(region):
        try:
            if numbers:
                try:
                    as_numbers = _Numbers(frozenset(numbers), tuple(nulls))
                    return _read_plain(text, dialect, wanted, region, dialect.is_quoted, as_numbers)
                except pa.ArrowInvalid:
                    pass  # a word that is none of the usual ones
            return _read_plain(text, dialect, wanted, region, quotes=dialect.is_quoted)
        except _SwallowedError:
            pass
    rows = _read_quoted(text, dialect, wanted)
    if rows is not None:
        return rows
    return _read_plain(text, dialect, wanted, region, quotes=False)


class _SwallowedError(Exception):
    """A stray quote within a cell made the next one begin a cell that took whole lines in."""


@dataclass(frozen=True)
class _Numbers:
    """Columns to cut as numbers, and the texts that are null in them."""

    columns: frozenset[int] = frozenset()
    nulls: tuple[str, ...] = ()


_TEXTS = _Numbers()


def _read_plain(
    text: Text,
    dialect: Dialect,
    wanted: list[int],
    region: bytes | memoryview,
    quotes: bool,
    numbers: _Numbers = _TEXTS,
) -> Rows:
    if dialect.delimiter == BLANKS:
        region = single_blanks(bytes(region))
    table, odd = _arrow_table(region, dialect, wanted, quotes, numbers)
    mended = {o.line: whole for o in odd if (whole := _mended(o, dialect)) is not None}
    if mended:
        lines = bytes(region).split(b"\n")
        for line, whole in mended.items():
            lines[line - dialect.first_row_line] = whole
        table, odd = _arrow_table(b"\n".join(lines), dialect, wanted, quotes, numbers)
    first = dialect.first_row_line
    if quotes and table.num_rows + len(odd) != text.n_lines - first + 1:
        raise _SwallowedError
    of_rows = np.arange(first, first + table.num_rows + len(odd), dtype=np.int64)
    if odd:
        of_rows = np.delete(of_rows, [o.line - first for o in odd])
    filled = [o for o in odd if o.text.strip(_BLANKS)]
    columns = {i: _one_chunk(table.column(str(i))) for i in wanted}
    if dialect.delimiter == BLANKS:
        filled = [OddLine(o.line, o.n_cells, text.line(o.line)) for o in filled]
    return _marked(of_rows, columns, dialect, filled, len(odd) - len(filled), 0, text)


def _arrow_table(
    region: bytes | memoryview,
    dialect: Dialect,
    wanted: list[int],
    quotes: bool,
    numbers: _Numbers,
) -> tuple[pa.Table, list[OddLine]]:
    """The cells by Arrow's reader, large files in two parts at once."""
    buffer = pa.py_buffer(region)
    cut = 0
    if len(region) > _PART_BYTES:
        cut = _line_end_after(region, len(region) // 2)
    if not cut:
        table, odd = _arrow_part(buffer, dialect, wanted, quotes, numbers, dialect.first_row_line)
        return table.unify_dictionaries(), odd
    # Line numbers of odd rows are told only to a reader of one thread, so each part has its own.
    with ThreadPoolExecutor(1) as pool:
        later = pool.submit(_arrow_part, buffer[cut:], dialect, wanted, quotes, numbers, 0)
        upper, odd = _arrow_part(
            buffer[:cut], dialect, wanted, quotes, numbers, dialect.first_row_line
        )
        lower, more = later.result()
    # Every line of the upper part is a row or odd.
    middle = dialect.first_row_line + upper.num_rows + len(odd)
    odd += [replace(o, line=o.line + middle) for o in more]
    return pa.concat_tables([upper, lower]).unify_dictionaries(), odd


def _line_end_after(region: bytes | memoryview, at: int) -> int:
    """Where the first line begins that starts after a place; 0: none does."""
    near = bytes(region[at : at + _LINE_BYTES]).find(b"\n")
    return 0 if near < 0 or at + near + 1 >= len(region) else at + near + 1


def _arrow_part(
    region: pa.Buffer,
    dialect: Dialect,
    wanted: list[int],
    quotes: bool,
    numbers: _Numbers,
    first: int,
) -> tuple[pa.Table, list[OddLine]]:
    odd: list[OddLine] = []

    def keep(row: pa_csv.InvalidRow) -> str:
        odd.append(OddLine(row.number + first - 1, row.actual_columns, row.text))
        return "skip"

    kinds = {str(i): pa.float64() for i in numbers.columns}
    kinds |= {str(i): pa.string() for i in dialect.time_columns}
    as_dictionary = pa.dictionary(pa.int32(), pa.string())
    table = pa_csv.read_csv(
        region,
        read_options=pa_csv.ReadOptions(
            use_threads=False,
            column_names=[str(i) for i in range(dialect.width)],
            block_size=min(_BLOCK_BYTES, len(region) + 1),
        ),
        parse_options=pa_csv.ParseOptions(
            delimiter=dialect.delimiter,
            quote_char='"' if quotes else False,
            ignore_empty_lines=False,
            invalid_row_handler=keep,
        ),
        convert_options=pa_csv.ConvertOptions(
            column_types={str(i): kinds.get(str(i), as_dictionary) for i in wanted},
            null_values=list(numbers.nulls),
            include_columns=[str(i) for i in wanted],
            strings_can_be_null=False,
        ),
    )
    return table, odd


def _mended(odd: OddLine, dialect: Dialect) -> bytes | None:
    """A line with blank cells too many, or left out as is this logger's habit, made whole."""
    width, delimiter = dialect.width, dialect.delimiter
    if odd.n_cells > width:
        extra = odd.n_cells - width
        line = odd.text.rstrip(" ")
        return line[:-extra].encode() if line.endswith(delimiter * extra) else None
    if dialect.pads_short and odd.text.strip(_BLANKS + delimiter) and odd.n_cells > 1:
        return (odd.text + delimiter * (width - odd.n_cells)).encode()
    return None


def _ends_quotes_in_lines(region: bytes | memoryview) -> bool:
    """Whether every quoted cell ends on the line on which it began."""
    letters = np.frombuffer(region, np.uint8)
    quotes = np.flatnonzero(letters == 34)
    if len(quotes) == 0:
        return True
    ends = np.append(np.flatnonzero(letters == 10), len(letters))
    return not (np.searchsorted(quotes, ends) % 2).any()


def _read_quoted(text: Text, dialect: Dialect, wanted: list[int]) -> Rows | None:
    """The same through the csv module; None if a stray quote would swallow whole rows."""
    region = bytes(_below_header(text, dialect.first_row_line)).decode()
    raw = region.split("\n")
    reader = csv.reader(
        io.StringIO(region, newline="\n"),
        delimiter=dialect.delimiter,
        skipinitialspace=dialect.delimiter == BLANKS,
    )
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
            extra = record[dialect.width :]
            if extra and not any(cell.strip(_BLANKS) for cell in extra):
                del record[dialect.width :]
            if dialect.pads_short and len(record) > 1:
                record += [""] * (dialect.width - len(record))
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
    return memoryview(text.content)[text.start_of(first_line) :]


def _one_chunk(column: pa.ChunkedArray) -> pa.Array:
    if column.num_chunks == 1:
        return column.chunk(0)
    if column.num_chunks == 0:
        empty = pa.array([], pa.string())
        return empty.dictionary_encode() if pa.types.is_dictionary(column.type) else empty
    return column.combine_chunks()
