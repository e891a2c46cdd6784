"""What was read from one export, as plain records."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from pipeline.ingest.export_file import OpenExport
from pipeline.ingest.file_clock import Clock
from pipeline.ingest.written_times import Ints

MAX_TEXT = 500


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

    @cached_property
    def every_row(self) -> Ints:
        """The numbers of all rows with a time."""
        return np.arange(len(self.ts))

    @property
    def first_ts(self) -> int:
        """The first instant of the file."""
        return int(self.ts.min()) if len(self.ts) else 0

    @property
    def last_ts(self) -> int:
        """The last instant of the file."""
        return int(self.ts.max()) if len(self.ts) else 0
