"""Which lines above the first row name the columns, and what they call them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.errors import InputError
from pipeline.ingest.columns import unit_of

# Header rows of one table: group, name, unit, serial number, place.
MAX_HEADER_ROWS = 5
# Words of a row of units where a column has none.
_NO_UNIT = frozenset(
    {"-", "--", "none", "n/a", "state", "on/off", "0/1", "text", "date", "time", "datetime"}
    | {"yyyy-mm-dd", "hh:mm:ss", "hh:mm", "mm/dd/yyyy", "dd.mm.yyyy", "dd/mm/yyyy", "timestamp"}
    | {"yyyy-mm-dd hh:mm:ss", "mm/dd/yyyy hh:mm:ss", "open/closed", "bool", "boolean", "local"}
)
_SERIAL_HEAD = re.compile(
    r"(?i)(serial( no\.?| number)?|s/?n|id|probe|sensor id|channel|ch\.?|no\.?|tag|port|input)"
)
_SERIAL = re.compile(r"(?i)(s/?n\.?|no\.?|id|ch\.?|#)?[-:# ]*[a-z]{0,3}[-# ]?\d[\d-]*[a-z]?")


@dataclass(frozen=True)
class Header:
    """Names of the columns as written; `line` (from 1) of the names, 0: there is none.

    top : physical line of the first header row, from 1; without one, of the first data row
    """

    names: list[str]
    line: int
    top: int
    reason: str


def find_header(
    lines: Sequence[str],
    cells: Sequence[list[str]],
    first: int,
    width: int,
    time_columns: tuple[int, ...],
) -> Header:
    """The header of the table whose first row is line number `first` (from 0).

    width : cells of a row. The names may be more or fewer; `fitted` judges that.
    """
    above = [i for i in range(first) if lines[i].strip()]
    if not above or not _may_be_header(cells[above[-1]], width, is_last=True):
        return Header([], 0, first + 1, "no line of column names stands above the first row")
    block = [above[-1]]
    while len(block) < MAX_HEADER_ROWS and len(above) > len(block):
        at = above[-len(block) - 1]
        if at != block[-1] - 1 or not _may_be_header(cells[at], width, is_last=False):
            break
        block.append(at)
    free = [c for c in range(width) if c not in time_columns]
    kinds = [_kind(cells[at], free, time_columns) for at in block]
    named = next((k for k, kind in enumerate(kinds) if kind == "names"), None)
    if named is None:
        named = 0
    names = _cells(cells[block[named]], width)
    reason = "the last line above the first row that has a date and time"
    last = named
    if named:
        reason = "the last line of names above the first row; lines of units or numbers follow"
    # Above the names only what makes them whole belongs to the table: groups, units, numbers.
    while last + 1 < len(block):
        repeated = len({names[c] for c in free if c < len(names) and names[c]}) < len(
            [c for c in free if c < len(names) and names[c]]
        )
        kind = kinds[last + 1]
        if kind == "names" and repeated and width > 2:
            groups = _filled_on(_cells(cells[block[last + 1]], width), time_columns)
            names = [
                f"{g} {n}".strip() if g != n else n for g, n in zip(groups, names, strict=False)
            ]
            reason += "; the line above it names groups of columns"
        elif kind not in ("units", "numbers"):
            break
        last += 1
    for k in range(last + 1):
        if kinds[k] == "units" and k != named:
            units = _cells(cells[block[k]], width)
            names = [_with_unit(n, u) for n, u in zip(names, units, strict=False)]
            reason += "; a line of units goes with them"
    line = block[named] + 1
    return Header(names, line, block[last] + 1, reason)


def fitted(
    header: Header,
    width: int,
    sample: Sequence[Sequence[str]],
    shown: str,
    line: int,
    first_row: str,
) -> list[str]:
    """As many names as rows have cells; columns are never shifted in silence.

    line : physical line of the names

    Raises InputError where names and cells do not go together.
    """
    names = [" ".join(name.split()) for name in header.names]
    if len(names) > width and not any(names[width:]):
        names = names[:width]
    if len(names) == width:
        return [name or f"column {i + 1}" for i, name in enumerate(names)]
    if len(names) < width and all(not any(row[len(names) :]) for row in sample):
        blank = range(len(names), width)
        return [*(n or f"column {i + 1}" for i, n in enumerate(names))] + [
            f"column {i + 1}" for i in blank
        ]
    raise InputError(
        "the rows have another number of cells than the header",
        file=shown,
        line=line,
        found=f"{len(names)} names above rows of {width} cells, such as {first_row[:120]}",
        expected="one name for each cell",
        hint="mend the header line in a copy of the export; no column is guessed",
    )


def numbered(names: Sequence[str]) -> tuple[str, ...]:
    """The names, repeated ones told apart: 'Temp', 'Temp (2)'."""
    counts: Counter[str] = Counter()
    taken = set(names)
    made = []
    for name in names:
        counts[name] += 1
        new = name
        while counts[name] > 1 and (new == name or new in taken):
            new = f"{name} ({counts[name]})"
            counts[name] += new in taken
        taken.add(new)
        made.append(new)
    return tuple(made)


def _may_be_header(row: list[str], width: int, is_last: bool) -> bool:
    if len(row) < 2:
        return False
    filled = sum(1 for cell in row if cell)
    if is_last:
        return abs(len(row) - width) <= 1 or filled > width
    return len(row) in (width, width + 1) and filled >= 1 and (width == 2 or len(row) > 2)


def _kind(row: list[str], free: list[int], time_columns: tuple[int, ...]) -> str:
    """names, units or numbers (serial numbers, ports, dashes); empty for one that says nothing."""
    filled = [row[c] for c in free if c < len(row) and row[c]]
    if not filled:
        return ""
    plain = [c.strip("()[]<> ").lower() for c in filled]
    units = [c for c in plain if unit_of(c) is not None]
    lead = [row[c].strip("()[]<> ").lower() for c in time_columns if c < len(row)]
    speaks_of_units = all(not c or c in _NO_UNIT or c in ("unit", "units") for c in lead)
    if units and speaks_of_units and all(c in _NO_UNIT or unit_of(c) is not None for c in plain):
        return "units"
    if all(re.fullmatch(r"[-=_+*. ]+", c) for c in filled):
        return "numbers"
    head = row[0] if row else ""
    if _SERIAL_HEAD.fullmatch(head) and 0 not in free and len(filled) == len(free):
        return "numbers"
    if all(_SERIAL.fullmatch(c) and sum(x.isdigit() for x in c) >= 3 for c in filled):
        return "numbers"
    return "names" if any(x.isalpha() for c in filled for x in c) else "numbers"


def _cells(row: list[str], width: int) -> list[str]:
    cells = list(row)
    while len(cells) > width and cells[-1] == "":
        cells.pop()
    return cells


def _filled_on(groups: list[str], time_columns: tuple[int, ...]) -> list[str]:
    """A group's name stands over the first of its columns only."""
    made, held = [], ""
    for number, group in enumerate(groups):
        if number in time_columns:
            made.append("")
            continue
        held = group or held
        made.append(held)
    return made


def _with_unit(name: str, unit: str) -> str:
    plain = unit.strip("()[]<> ")
    if not plain or plain.lower() in _NO_UNIT or not name:
        return name
    return f"{name} ({plain})"
