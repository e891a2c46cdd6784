"""Text to dialect: delimiter, decimal sign, preamble, header, time columns; each with its reason.

What decides is where readable dates and times stand: the delimiter under which most lines have
one in the same column and the same number of cells is the right one, whatever the preamble says.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass, field

from pipeline.errors import InputError
from pipeline.ingest.encoding import Text
from pipeline.ingest.header import Header, find_header, fitted, numbered
from pipeline.ingest.no_table import near_names, no_rows, refuse_across, refuse_few
from pipeline.ingest.time_columns import (
    Place,
    named_parts,
    serial_place,
    time_place,
    with_time_of_day,
)
from pipeline.ingest.written_times import text_kind
from pipeline.thresholds import THRESHOLDS

# In this order where two explain a file equally well: a comma may be a decimal sign, and blanks
# stand in most dates.
DELIMITERS = ("\t", ";", "|", ",")
BLANKS = " "
DELIMITER_NAMES = {
    **{"\t": "tab", ";": "semicolon", "|": "vertical bar", ",": "comma", BLANKS: "run of blanks"}
}
_HEAD_BYTES = 400_000
_SAMPLE_LINES = 400
_MAX_PREAMBLE = 60
_MAX_CELL_LINES = 20
_HALF_DAY = re.compile(r"(\d)[ \t]+([AaPp]\.?[Mm]\.?)(?=[ \t]|$)")


@dataclass(frozen=True)
class Dialect:
    """How a file is written.

    header : column names, as many as a data row has cells; repeated names are numbered
    header_line, first_row_line : physical lines, from 1; header_line 0: there is none
    time_columns : numbers of the columns that hold date and time, date first
    time_kinds : what each of them holds: datetime, date, time, epoch_s, epoch_ms, epoch_us,
        short_date, serial, or a part: year, month, day, day_of_year, hour, minute, second, hhmm
    is_quoted : cells may stand in double quotes
    pads_short : rows leave out blank cells at their end
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
    pads_short: bool = False
    reasons: dict[str, str] = field(default_factory=dict)

    @property
    def width(self) -> int:
        """How many cells a data row has."""
        return len(self.header)


def sniff(text: Text, shown: str, decimal: str | None = None) -> Dialect:
    """The dialect of a decoded file.

    decimal : the decimal sign, where site.toml says it

    Raises InputError if no column holds readable dates and times, or if the decimal sign is
    ambiguous.
    """
    # Lines end outside letters, so only a cut last letter is ignored here, and its line with it.
    head = text.content[:_HEAD_BYTES].decode(errors="ignore").split("\n")
    if len(text.content) > _HEAD_BYTES:
        head = head[:-1]
    lines = head[: _SAMPLE_LINES + _MAX_PREAMBLE]
    if len(head) > len(lines):
        lines += head[-100:]
    is_quoted = b'"' in text.content
    lines, starts = _whole_records(lines) if is_quoted else (lines, list(range(1, len(lines) + 1)))
    best: _Candidate | None = None
    for delimiter in DELIMITERS:
        candidate = _candidate(lines, delimiter, is_quoted)
        if candidate is not None and (best is None or candidate.n_rows > best.n_rows):
            best = candidate
    best = best or _candidate(lines, BLANKS, is_quoted)
    for find in (named_parts, serial_place):
        for delimiter in (*DELIMITERS, BLANKS) if best is None else ():
            cells = [cut(line, delimiter, is_quoted) for line in lines]
            place = find(cells)
            if place is not None and (best is None or place.n_rows > best.n_rows):
                best = _Candidate(delimiter, place, cells)
    if best is None:
        raise no_rows(lines, shown)
    refuse_across(best.place, best.cells, lines, starts, shown)
    refuse_few(best.place, best.cells, lines, starts, shown)
    _prefer_finer(best)
    if best.place.kinds == ("date",):
        best.place = with_time_of_day(best.place, best.cells, lines, shown)
    return _described(best, lines, starts, is_quoted, shown, decimal)


def cut(line: str, delimiter: str, is_quoted: bool) -> list[str]:
    """The cells of one line, trimmed."""
    if delimiter == BLANKS:
        line = _HALF_DAY.sub(r"\1\2", line.strip())
        if not (is_quoted and '"' in line):
            return line.split()
    if is_quoted and '"' in line:
        blanks = delimiter == BLANKS
        try:
            row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=blanks), [])
        except csv.Error:  # a line break outside quotes: this delimiter is not the file's
            row = line.split(delimiter)
        return [cell.strip() for cell in row]
    return [cell.strip() for cell in line.split(delimiter)]


def single_blanks(region: bytes) -> bytes:
    """The text with each run of blanks as one, none at the ends of lines, and 10:00AM as a word."""
    region = re.sub(rb"(\d)[ \t]+([AaPp]\.?[Mm]\.?)(?=[ \t\n]|$)", rb"\1\2", region)
    region = re.sub(rb"[ \t]+", b" ", region)
    return re.sub(rb"(?m)^ | $", b"", region)


def _whole_records(lines: list[str]) -> tuple[list[str], list[int]]:
    """The lines with those joined that a quoted cell spans, and where each starts, from 1."""
    joined: list[str] = []
    starts: list[int] = []
    at = 0
    while at < len(lines):
        end = at + 1
        if lines[at].count('"') % 2:
            within = range(at + 2, min(at + 2 + _MAX_CELL_LINES, len(lines) + 1))
            closed = (e for e in within if "\n".join(lines[at:e]).count('"') % 2 == 0)
            # A quote that is never closed is a stray letter.
            end = next(closed, at + 1)
            if any(any(text_kind(c) for c in re.split(r"[,;\t|]", x)) for x in lines[at + 1 : end]):
                end = at + 1
        joined.append("\n".join(lines[at:end]))
        starts.append(at + 1)
        at = end
    return joined, starts


@dataclass
class _Candidate:
    delimiter: str
    place: Place
    cells: list[list[str]]

    @property
    def n_rows(self) -> int:
        return self.place.n_rows


def _candidate(lines: list[str], delimiter: str, is_quoted: bool) -> _Candidate | None:
    """How well one delimiter explains the lines; None if it does not at all."""
    cells = [cut(line, delimiter, is_quoted) for line in lines]
    votes: Counter[tuple[int, tuple[int, ...], tuple[str, ...]]] = Counter()
    for row in cells:
        if len(row) < 2:
            continue
        place = time_place([text_kind(c) if may_be_time(c) else None for c in row])
        if place is not None:
            votes[(len(row), *place)] += 1
    if not votes:
        return None
    (width, columns, names), n_rows = votes.most_common(1)[0]
    widths = {w: n for (w, c, k), n in votes.items() if (c, k) == (columns, names)}
    return _Candidate(delimiter, Place(width, columns, names, n_rows, widths), cells)


def may_be_time(cell: str) -> bool:
    """A cheap look first: most cells are short numbers and words."""
    cell = cell.lstrip("'")
    if len(cell) < 8 and not ("/" in cell or ":" in cell or "-" in cell or cell.count(".") > 1):
        return False
    if cell[0].isdigit():
        marks = sum(cell.count(s) for s in "-/. ")
        return ":" in cell or len(cell) >= 8 or marks >= 2 or "/" in cell or "-" in cell
    return cell[0].isalpha() and len(cell) >= 8 and any(c.isdigit() for c in cell)


def _described(
    best: _Candidate,
    lines: list[str],
    starts: list[int],
    is_quoted: bool,
    shown: str,
    decimal: str | None,
) -> Dialect:
    place, cells = best.place, best.cells
    first = next(i for i, row in enumerate(cells) if len(row) == place.width and place.fits(row))
    width, pads_short = place.width, False
    header = find_header(lines, cells, first, width, place.columns)
    if best.delimiter == BLANKS and header.line and len(header.names) != width:
        header = _by_wide_blanks(header.line, lines, width) or header
    short, width = _short_rows(place, len([n for n in header.names if n]), width)
    if short:
        pads_short = True
        fits = [i for i, row in enumerate(cells) if len(row) <= width and place.fits(row)]
        first = min(fits)
        header = find_header(lines, cells, first, width, place.columns)
    rows = [
        row for row in cells[first:]
        if (len(row) == width or (pads_short and len(row) < width)) and place.fits(row)
    ]  # fmt: skip
    sample = tuple(tuple(row + [""] * (width - len(row))) for row in rows)
    reasons = {
        "delimiter": f"{place.n_rows} of the first {len(lines)} lines have {place.width} cells and "
        f"a date and time when cut at each {DELIMITER_NAMES[best.delimiter]}",
        "header": header.reason,
    }
    if place.reason:
        reasons["time"] = place.reason
    if not header.line:
        reasons["header"] += near_names(cells[:first], starts, width)
    names = (
        fitted(header, width, sample, shown, starts[header.line - 1], lines[first])
        if header.line
        else [f"column {i + 1}" for i in range(width)]
    )
    row_line, top = starts[first], starts[header.top - 1]
    sign, reasons["decimal sign"] = _decimal_sign(sample, best, shown, row_line, is_quoted, decimal)
    return Dialect(
        delimiter=best.delimiter,
        decimal_sign=sign,
        header=numbered(names),
        header_line=starts[header.line - 1] if header.line else 0,
        n_header=row_line - top if header.line else 0,
        n_preamble=top - 1,
        first_row_line=row_line,
        time_columns=place.columns,
        time_kinds=place.kinds,
        is_quoted=is_quoted,
        preamble=tuple(lines[: header.top - 1]),
        sample=sample,
        pads_short=pads_short,
        reasons=reasons,
    )


def _short_rows(place: Place, n_names: int, width: int) -> tuple[bool, int]:
    """Whether rows leave out blank cells at their end, and how wide a whole row is then.

    A lone short row was cut; that many are the logger's habit.
    """
    total = sum(place.widths.values())
    # Some row must be whole, else the header may as well have a name too many.
    whole = n_names if n_names == max(place.widths, default=0) else width
    short = sum(n for w, n in place.widths.items() if w < whole)
    longer = sum(n for w, n in place.widths.items() if w > whole)
    is_habit = short >= 3 and short >= THRESHOLDS["short_rows_habit_share"].value * total
    return (is_habit and n_names == whole and not longer), whole if is_habit else width


def _by_wide_blanks(line: int, lines: list[str], width: int) -> Header | None:
    """The header cut at runs of two blanks or more, where that gives as many names as cells."""
    names = re.split(r"\s{2,}|\t", lines[line - 1].strip())
    if len(names) != width:
        return None
    return Header(names, line, line, "the last line above the first row, cut at wide blanks")


def _decimal_sign(
    sample: tuple[tuple[str, ...], ...],
    best: _Candidate,
    shown: str,
    first_line: int,
    is_quoted: bool,
    given: str | None,
) -> tuple[str, str]:
    """The decimal sign and why. Raises InputError where nothing decides it."""
    if given is not None:
        return given, "site.toml says so"
    if best.delimiter == "," and not is_quoted:
        return ".", "the comma parts the cells"
    is_clear: Counter[str] = Counter()
    is_open: Counter[str] = Counter()
    example = ""
    columns: dict[int, list[str]] = {}
    for row in sample:
        for i, cell in enumerate(row):
            if i not in best.place.columns and cell:
                columns.setdefault(i, []).append(cell)
    for cells in columns.values():
        mixed = any(re.fullmatch(r"[+-]?\d{1,3}", c) for c in cells)
        for cell in cells:
            found = re.fullmatch(r"[+-]?(\d*)([.,])(\d+)", cell)
            if found is None:
                grouped = re.fullmatch(r"[+-]?\d{1,3}(?:([.,])\d{3})+([.,])\d+", cell)
                if grouped is not None and grouped.group(1) != grouped.group(2):
                    is_clear[grouped.group(2)] += 1
                elif re.fullmatch(r"[+-]?\d{1,3}(?:([.,])\d{3}){2,}", cell):
                    is_clear["." if "," in cell else ","] += 1
                continue
            whole, sign, decimals = found.groups()
            thousands = len(decimals) == 3 and re.fullmatch(r"[1-9]\d{0,2}", whole)
            if not thousands:
                is_clear[sign] += 1
            elif sign == "," and mixed:
                # 998, 999, 1,001: the comma parts the thousands.
                is_clear["."] += 1
            else:
                is_open[sign] += 1
                example = example or cell if sign == "," else example
    points, commas = is_clear["."], is_clear[","]
    if best.delimiter == "," and not commas and not is_open[","]:
        return ".", "the comma parts the cells"
    if points or commas:
        return (
            (",", f"{commas} cells are written like 12,5 and {points} like 12.5")
            if commas > points
            else (".", f"{points} cells are written like 12.5 and {commas} like 12,5")
        )
    if is_open[","] and not is_open["."]:
        number = example.replace(",", "")
        raise InputError(
            "the decimal sign is ambiguous",
            file=shown,
            line=first_line,
            found=f"{example}, which may be {example.replace(',', '.')} or {number}",
            expected='decimal = "," or decimal = "." in the [[export]] of site.toml',
            hint='decimal = "," where the comma parts whole and fraction',
        )
    return ".", "no number has a decimal comma"


def _prefer_finer(best: _Candidate) -> None:
    """Of several columns with date and time, take the one that tells most rows apart; in place.

    A file that was sent in batches has the time of sending beside that of the reading.
    """
    place = best.place
    if place.kinds != ("datetime",):
        return
    rows = [r for r in best.cells if len(r) == place.width and place.fits(r)]
    distinct = {place.columns[0]: len({r[place.columns[0]] for r in rows})}
    for column in range(place.width):
        if column not in distinct and all(
            may_be_time(r[column]) and text_kind(r[column]) == "datetime" for r in rows
        ):
            distinct[column] = len({r[column] for r in rows})
    finest = max(distinct, key=lambda c: distinct[c])
    if distinct[finest] > distinct[place.columns[0]]:
        place.reason = (
            f"{distinct[finest]} of {len(rows)} rows have a time of their own in column "
            f"{finest + 1}, {distinct[place.columns[0]]} in column {place.columns[0] + 1}"
        )
        place.columns = (finest,)
