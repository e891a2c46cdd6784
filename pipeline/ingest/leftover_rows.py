"""Rows without an instant: footers, headers again, notes of the logger, and what was damaged."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest.export_file import OpenExport
from pipeline.ingest.file_clock import stop_time
from pipeline.ingest.reading import FileReading
from pipeline.ingest.rows import Rows
from pipeline.ingest.sniff import Dialect, cut
from pipeline.ingest.written_times import Ints, text_kind

# What loggers write between their rows. Common practice, no source.
_EVENT = re.compile(
    r"(?i)\b(button|pressed|connected|disconnected|host|end of file|eof|stopped|started|"
    r"launched|marker|event|note|comment|battery|power (on|off|up|down)|clock set|read ?out|"
    r"paused|resumed)\b"
)


def sort_out_rows(reading: FileReading, rows: Rows) -> Ints:
    """Put rows without an instant where they belong: footer, repeated header, note, reject.

    Returns the instants from which states are unknown because a row was lost there. Raises
    InputError where another header than the first stands among the rows.
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
    header = None
    if dialect.header_line:
        shown_header = opened.text.line(dialect.header_line)
        header = cut(shown_header, dialect.delimiter, dialect.is_quoted)
    lost: list[int] = []
    kept: list[tuple[int, str, str]] = []
    for line, shown, reason, is_odd in bad:
        cells = cut(shown, dialect.delimiter, dialect.is_quoted) if "\n" not in shown else [shown]
        starts_like_row = _starts_like_row(cells, dialect)
        if line > last_line and not starts_like_row:
            reading.n_footer += 1
            stop = stop_time(shown, clock)
            reading.stop_ts = stop if stop is not None else reading.stop_ts
            continue
        if header is not None and cells == header:
            reason = "the header line again"
        elif not starts_like_row:
            refuse_other_header(opened, line, shown)
            reason = "not a data row" if is_odd or not any(cells[1:]) else reason
            if reason != "not a data row":
                lost.append(line)
        elif starts_like_row and is_odd and _is_event(cells, dialect):
            reason = "a note of the logger, not a reading"
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
    # the states are unknown from the row before (below it where the newest row comes first).
    steps = np.diff(reading.ts)
    is_newest_first = (steps < 0).sum() > (steps > 0).sum()
    before = np.searchsorted(reading.line, np.array(lost, np.int64)) - (not is_newest_first)
    return reading.ts[before[(before >= 0) & (before < len(reading.ts))]]


def refuse_other_header(opened: OpenExport, line: int, shown: str) -> None:
    """Raise InputError if a line without a time is a header of other columns than the first."""
    dialect = opened.dialect
    if not dialect.header_line or "\n" in shown:
        return
    header = opened.text.line(dialect.header_line)
    cells = cut(shown, dialect.delimiter, dialect.is_quoted)
    first = cut(header, dialect.delimiter, dialect.is_quoted)
    if cells == first or not _is_other_header(cells, first, dialect):
        return
    raise InputError(
        "another header stands among the rows: two exports with other columns in one file",
        file=opened.export.shown,
        line=line,
        found=shown[:160],
        expected=f"rows below {header[:160]}",
        hint=f"put line {line} and what follows into a file of its own",
    )


def is_note(text: str) -> bool:
    """Whether a cell holds what a logger notes about itself rather than a reading."""
    return _EVENT.search(text) is not None


def _starts_like_row(cells: Sequence[str], dialect: Dialect) -> bool:
    at = dialect.time_columns[0]
    cell = cells[at] if len(cells) > at else next(iter(cells), "")
    return cell[:1].isdigit() or text_kind(cell) is not None


def _is_event(cells: Sequence[str], dialect: Dialect) -> bool:
    """A whole time and beside it only words of the logger about itself."""
    if len(cells) <= max(dialect.time_columns):
        return False
    others = [c for i, c in enumerate(cells) if i not in dialect.time_columns and c]
    return bool(others) and all(_EVENT.search(c) for c in others)


def _is_other_header(cells: Sequence[str], first: Sequence[str], dialect: Dialect) -> bool:
    if len(cells) < 2:
        return False
    at = dialect.time_columns
    if max(at) >= len(cells) or max(at) >= len(first):
        return False
    same_time = [cells[i] for i in at] == [first[i] for i in at] and any(first[i] for i in at)
    names = [c for i, c in enumerate(cells) if i not in at and c]
    return same_time and bool(names) and any(x.isalpha() for c in names for x in c)
