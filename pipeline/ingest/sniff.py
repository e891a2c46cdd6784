"""Bytes to dialect: encoding, delimiter, decimal sign, preamble, header; each with its reason.

What decides is where readable dates and times stand: the delimiter under which most lines have
one in the same column and the same number of cells is the right one, whatever the preamble says.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from dataclasses import dataclass, field
from functools import cached_property

from pipeline.errors import InputError
from pipeline.ingest.timestamps import text_kind

# In this order where two explain a file equally well: a comma may be a decimal sign.
DELIMITERS = ("\t", ";", "|", ",")
DELIMITER_NAMES = {"\t": "tab", ";": "semicolon", "|": "vertical bar", ",": "comma"}
_HEAD_BYTES = 400_000
_SAMPLE_LINES = 400
_MAX_PREAMBLE = 60


@dataclass(frozen=True)
class Text:
    """A file's text as UTF-8 with '\\n' line ends, and how its bytes were read.

    n_lines : physical lines, counted on the undecoded line ends, apart from any reader
    """

    content: bytes
    encoding: str
    n_lines: int
    reason: str

    @cached_property
    def _lines(self) -> list[bytes]:
        return self.content.split(b"\n")

    def line(self, number: int) -> str:
        """One physical line, from 1."""
        return self._lines[number - 1].decode()


@dataclass(frozen=True)
class Dialect:
    """How a file is written.

    header : column names, as many as a data row has cells; repeated names are numbered
    header_line, first_row_line : physical lines, from 1; header_line 0: there is none
    time_columns : numbers of the columns that hold date and time, date first
    time_kinds : what each of them holds: datetime, date, time, epoch_s or epoch_ms
    is_quoted : cells may stand in double quotes
    reasons : why each of these was concluded
    """

    delimiter: str
    decimal_sign: str
    header: tuple[str, ...]
    header_line: int
    n_header: int
    n_preamble: int
    first_row_line: int
    time_columns: tuple[int, ...]
    time_kinds: tuple[str, ...]
    is_quoted: bool
    preamble: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    reasons: dict[str, str] = field(default_factory=dict)

    @property
    def width(self) -> int:
        """How many cells a data row has."""
        return len(self.header)


def decode(content: bytes, shown: str) -> Text:
    """The file's text. Raises InputError if it is not text.

    shown : the path to name in messages
    """
    if content.startswith(codecs.BOM_UTF8):
        encoding, reason = "utf-8-sig", "the file starts with the UTF-8 mark"
    elif content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding, reason = "utf-16", "the file starts with the UTF-16 mark"
    elif (wide := _utf16_without_mark(content)) is not None:
        encoding, reason = wide, "every other byte is zero"
    elif b"\0" in content[:65_536]:
        raise _not_text(shown, "zero bytes between the letters")
    else:
        encoding, reason = "utf-8", "all bytes are valid UTF-8"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8":
            raise _not_text(shown, f"bytes that are not {encoding}") from None
        letter = content[error.start]
        reason = f"byte {letter:#04x} is not UTF-8; read as Windows Western European"
        encoding, text = _western(content)
    start = text[:20_000]
    strange = sum(start.count(chr(c)) for c in range(32) if chr(c) not in "\t\n\r\x0c\x1a")
    if strange > max(2, len(start) // 100):
        raise _not_text(shown, f"{strange} control characters")
    pairs, returns = text.count("\r\n"), text.count("\r")
    ends = text.count("\n") + returns - pairs
    n_lines = ends + (not text.endswith(("\r", "\n")))
    if returns:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    as_it_came = encoding == "utf-8" and not returns
    return Text(
        content if as_it_came else text.encode(), encoding.removesuffix("-sig"), n_lines, reason
    )


def sniff(text: Text, shown: str) -> Dialect:
    """The dialect of a decoded file.

    Raises InputError if no column holds readable dates and times.
    """
    # Lines end outside letters, so only a cut last letter is ignored here, and its line with it.
    head = text.content[:_HEAD_BYTES].decode(errors="ignore").split("\n")
    if len(text.content) > _HEAD_BYTES:
        head = head[:-1]
    lines = head[: _SAMPLE_LINES + _MAX_PREAMBLE]
    if len(head) > len(lines):
        lines += head[-100:]
    is_quoted = b'"' in text.content
    best: _Candidate | None = None
    for delimiter in DELIMITERS:
        candidate = _candidate(lines, delimiter, is_quoted)
        if candidate is not None and (best is None or candidate.n_rows > best.n_rows):
            best = candidate
    if best is None:
        raise _no_rows(lines, shown)
    return _described(best, lines, is_quoted, shown)


def text_of(line: str) -> str | None:
    """The first date with a time of day in a line of prose, as text; None if there is none."""
    found = re.search(
        r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[ T,]+\d{1,2}:\d{2}(:\d{2})?(\s*[AaPp]\.?[Mm]\b)?"
        r"(\s*Z|\s*[+-]\d{2}:?\d{2})?",
        line,
    )
    return found.group() if found else None


@dataclass
class _Candidate:
    delimiter: str
    width: int
    n_rows: int
    time_columns: tuple[int, ...]
    time_kinds: tuple[str, ...]
    cells: list[list[str]]


def cut(line: str, delimiter: str, is_quoted: bool) -> list[str]:
    """The cells of one line, trimmed."""
    if is_quoted and '"' in line:
        row = next(csv.reader([line], delimiter=delimiter), [])
        return [cell.strip() for cell in row]
    return [cell.strip() for cell in line.split(delimiter)]


def _candidate(lines: list[str], delimiter: str, is_quoted: bool) -> _Candidate | None:
    """How well one delimiter explains the lines; None if it does not at all."""
    cells = [cut(line, delimiter, is_quoted) for line in lines]
    kinds = [[text_kind(c) if _may_be_time(c) else None for c in row] for row in cells]
    votes: Counter[tuple[int, tuple[int, ...], tuple[str, ...]]] = Counter()
    for row in kinds:
        if len(row) < 2:
            continue
        place = _time_place(row)
        if place is not None:
            votes[(len(row), *place)] += 1
    if not votes:
        return None
    (width, columns, names), n_rows = votes.most_common(1)[0]
    return _Candidate(delimiter, width, n_rows, columns, names, cells)


def _may_be_time(cell: str) -> bool:
    """A cheap look first: most cells are short numbers and words."""
    if not cell or not cell[0].isdigit():
        return False
    return ":" in cell or len(cell) >= 10 or sum(cell.count(s) for s in "-/. ") >= 2


def _time_place(kinds: list[str | None]) -> tuple[tuple[int, ...], tuple[str, ...]] | None:
    # A serial number may look like seconds since 1970, so those come last.
    if "datetime" in kinds:
        return (kinds.index("datetime"),), ("datetime",)
    if "date" in kinds and "time" in kinds:
        return (kinds.index("date"), kinds.index("time")), ("date", "time")
    for kind in ("epoch_s", "epoch_ms", "date"):
        if kind in kinds:
            return (kinds.index(kind),), (kind,)
    return None


def _described(best: _Candidate, lines: list[str], is_quoted: bool, shown: str) -> Dialect:
    def is_row(cells: list[str]) -> bool:
        return len(cells) == best.width and all(
            text_kind(cells[c]) == k
            for c, k in zip(best.time_columns, best.time_kinds, strict=True)
        )

    first = next(i for i, cells in enumerate(best.cells) if is_row(cells))
    width = best.width
    above = [i for i in range(first) if lines[i].strip()]
    header_at: int | None = None
    if above and abs(len(best.cells[above[-1]]) - width) <= 1 and len(best.cells[above[-1]]) > 1:
        header_at = above[-1]
    units_at: int | None = None
    if header_at is not None and len(above) > 1 and above[-2] == header_at - 1:
        upper = best.cells[above[-2]]
        if len(upper) == width and _is_units_row(best.cells[header_at]) and any(upper):
            header_at, units_at = above[-2], above[-1]
    sample = tuple(tuple(c) for c in best.cells[first:] if is_row(c))
    header = list(best.cells[header_at]) if header_at is not None else []
    reasons = {
        "delimiter": f"{best.n_rows} of the first {len(lines)} lines have {width} cells and a "
        f"date and time when cut at each {DELIMITER_NAMES[best.delimiter]}",
        "header": "no line of column names stands above the first row",
    }
    if header_at is not None:
        reasons["header"] = "the last line above the first row that has a date and time"
        header = _fitted(header, width, sample, shown, header_at + 1, lines[first])
    else:
        header = [f"column {i + 1}" for i in range(width)]
    if units_at is not None:
        units = best.cells[units_at]
        header = [
            f"{h} ({u.strip('()[]')})" if u else h for h, u in zip(header, units, strict=True)
        ]
        reasons["header"] += "; a line of units follows the names"
    decimal_sign, reason = _decimal_sign(sample, best)
    reasons["decimal sign"] = reason
    top = first if header_at is None else header_at
    return Dialect(
        delimiter=best.delimiter,
        decimal_sign=decimal_sign,
        header=_numbered(header),
        header_line=0 if header_at is None else header_at + 1,
        n_header=0 if header_at is None else first - header_at,
        n_preamble=top,
        first_row_line=first + 1,
        time_columns=best.time_columns,
        time_kinds=best.time_kinds,
        is_quoted=is_quoted,
        preamble=tuple(lines[:top]),
        sample=sample,
        reasons=reasons,
    )


def _fitted(
    header: list[str],
    width: int,
    sample: tuple[tuple[str, ...], ...],
    shown: str,
    line: int,
    first_row: str,
) -> list[str]:
    """The header with as many names as rows have cells; columns are never shifted in silence."""
    if len(header) == width:
        return [name or f"column {i + 1}" for i, name in enumerate(header)]
    if len(header) == width + 1 and header[-1] == "":
        return header[:-1]
    if len(header) == width - 1 and all(row[-1] == "" for row in sample):
        return [*header, f"column {width}"]
    raise InputError(
        "the rows have another number of cells than the header",
        file=shown,
        line=line,
        found=f"{len(header)} names above rows of {width} cells, such as {first_row[:120]}",
        expected="one name for each cell",
        hint="mend the header line in a copy of the export; no column is guessed",
    )


def _numbered(header: list[str]) -> tuple[str, ...]:
    counts: Counter[str] = Counter()
    names = []
    for name in header:
        counts[name] += 1
        names.append(name if counts[name] == 1 else f"{name} ({counts[name]})")
    return tuple(names)


def _is_units_row(cells: list[str]) -> bool:
    from pipeline.ingest.columns import unit_of  # columns.py reads headers, which are made here

    filled = [c for c in cells if c]
    return bool(filled) and all(unit_of(c.strip("()[] ")) is not None for c in filled)


def _decimal_sign(sample: tuple[tuple[str, ...], ...], best: _Candidate) -> tuple[str, str]:
    if best.delimiter == ",":
        return ".", "the comma parts the cells"
    points = commas = 0
    for row in sample:
        for i, cell in enumerate(row):
            if i in best.time_columns:
                continue
            points += re.fullmatch(r"[+-]?\d*\.\d+", cell) is not None
            commas += re.fullmatch(r"[+-]?\d*,\d+", cell) is not None
    if commas > points:
        return ",", f"{commas} cells are written like 12,5 and {points} like 12.5"
    return ".", f"{points} cells are written like 12.5 and {commas} like 12,5"


def _western(content: bytes) -> tuple[str, str]:
    try:
        return "cp1252", content.decode("cp1252")
    except UnicodeDecodeError:  # five bytes mean nothing in it
        return "latin-1", content.decode("latin-1")


def _utf16_without_mark(content: bytes) -> str | None:
    start = content[:2_000]
    if len(start) < 20:
        return None
    even, odd = start[::2].count(0), start[1::2].count(0)
    half = len(start) // 2
    if odd > 0.8 * half and even < 0.05 * half:
        return "utf-16-le"
    if even > 0.8 * half and odd < 0.05 * half:
        return "utf-16-be"
    return None


def _not_text(shown: str, found: str) -> InputError:
    return InputError(
        "this is not a text file",
        file=shown,
        found=found,
        expected="comma-, semicolon- or tab-separated text",
        hint="export the readings as CSV, or move the file out of exports/",
    )


def _no_rows(lines: list[str], shown: str) -> InputError:
    filled = [(i, line) for i, line in enumerate(lines, start=1) if line.strip()]
    number, line = filled[min(len(filled) - 1, 1)] if filled else (1, "")
    return InputError(
        "no row with a date and time was found",
        file=shown,
        line=number,
        found=line[:160],
        expected="rows such as 2026-01-14 10:00:00,68.4 below a line of column names",
        hint="see what it holds: zonetrail inspect " + shown,
    )
