"""What became of every row: loaded, rejected or repeated; the tables file, reject and repeat."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.ingest.merge import Series, Settled
from pipeline.ingest.reading import FileReading, Rejects
from pipeline.ingest.sniff import cut
from pipeline.ingest.written_times import Flags, Ints
from pipeline.store import store_table

EMPTY_REASON = "no cell holds a reading"
UNUSED_REASON = "holds values only in columns that are not used"
CONFLICT_REASON = "every reading contradicts another row of the same instant"


class Fates:
    """Per file, which of its timed rows gave a used reading, a repeated or a contradicted one."""

    def __init__(self, readings: list[FileReading]) -> None:
        self.used = [np.zeros(len(r.ts), bool) for r in readings]
        self.repeated = [np.zeros(len(r.ts), bool) for r in readings]
        self.contradicted = [np.zeros(len(r.ts), bool) for r in readings]

    def mark(self, series: Series, settled: Settled) -> None:
        """Note what became of one channel's cells."""
        if settled.kept is None:
            for file_id, row in series.parts:
                used = self.used[file_id - 1]
                if len(row) == len(used):
                    used.fill(True)
                else:
                    used[row] = True
            return
        kept = np.zeros(len(series.ts), bool)
        kept[settled.kept] = True
        first = 0
        for file_id, row in series.parts:
            here = slice(first, first + len(row))
            first += len(row)
            for flags, marks in (
                (self.used, kept),
                (self.repeated, settled.repeated),
                (self.contradicted, settled.conflicting),
            ):
                flags[file_id - 1][row[marks[here]]] = True


@dataclass(frozen=True)
class Place:
    """Where a file belongs: its logger, that logger's kind, and how far its states are known."""

    logger: str
    kind: str
    end_ts: int


def account_tables(
    readings: list[FileReading],
    fates: Fates,
    places: list[Place],
    vanished: Collection[str],
) -> dict[str, pa.Table]:
    """The store's tables file, reject and repeat; readings in the order of their file_id.

    Raises AssertionError where a file's rows do not add up: a fault of ours.
    """
    files = []
    rejects: list[pa.Table] = [store_table("reject", {})]
    repeats: list[pa.Table] = [store_table("repeat", {})]
    for file_id, (reading, place) in enumerate(zip(readings, places, strict=True), start=1):
        k = file_id - 1
        loaded = fates.used[k]
        repeated = ~loaded & fates.repeated[k]
        contradicted = ~loaded & ~repeated & fates.contradicted[k]
        _reject_rows(reading, ~(loaded | repeated | contradicted), contradicted)
        whole = _reject_table(file_id, reading.rows_rejected, None)
        cells = _reject_table(file_id, reading.bad_cells, reading.line[loaded])
        rejects.append(
            pa.concat_tables([whole, cells]).sort_by(
                [("line", "ascending"), ("column_name", "ascending")]
            )
        )
        lines = reading.line[repeated]
        repeats.append(store_table("repeat", {"file_id": _same(file_id, lines), "line": lines}))
        counts = (int(loaded.sum()), len(whole), int(repeated.sum()), len(cells))
        if reading.n_read != sum(counts[:3]):
            raise AssertionError(
                f"{reading.opened.export.path}: {reading.n_read} rows read, {counts} accounted for"
            )
        files.append(_file_row(file_id, reading, place, counts, vanished))
    names = list(files[0]) if files else []
    columns = {name: [row[name] for row in files] for name in names}
    return {
        "file": store_table("file", columns),
        "reject": pa.concat_tables(rejects),
        "repeat": pa.concat_tables(repeats),
    }


def _reject_rows(reading: FileReading, empty: Flags, contradicted: Flags) -> None:
    """Add the rows with a time but without a used reading to the file's rejected rows."""
    if not (empty | contradicted).any():
        return
    dialect = reading.opened.dialect
    for flags in (empty, contradicted):
        lines = reading.line[flags]
        texts = reading.opened.text.lines(lines.tolist())
        reasons = [CONFLICT_REASON] * len(texts)
        if flags is empty:
            bad = set(np.concatenate([np.array([], np.int64), *reading.bad_cells.line]).tolist())
            for n, (line, text) in enumerate(zip(lines.tolist(), texts, strict=True)):
                cells = cut(text, dialect.delimiter, dialect.is_quoted)
                filled = [c for i, c in enumerate(cells) if c and i not in dialect.time_columns]
                is_unused = filled and line not in bad
                reasons[n] = UNUSED_REASON if is_unused else EMPTY_REASON
        reading.rows_rejected.add(lines, None, texts, reasons)


def _reject_table(file_id: int, rejects: Rejects, only: Ints | None) -> pa.Table:
    """The rejects as rows of the store; `only`: just those on these lines."""
    parts = [store_table("reject", {})]
    for lines, column, texts, reasons in zip(
        rejects.line, rejects.column, rejects.text, rejects.reason, strict=True
    ):
        part = store_table(
            "reject",
            {
                "file_id": _same(file_id, lines),
                "line": lines,
                "column_name": [column] * len(lines),
                "text": texts,
                "reason": reasons,
            },
        )
        parts.append(part if only is None else part.filter(pa.array(np.isin(lines, only))))
    return pa.concat_tables(parts)


def _same(file_id: int, lines: Ints) -> Ints:
    return np.full(len(lines), file_id)


def _file_row(
    file_id: int,
    reading: FileReading,
    place: Place,
    counts: tuple[int, int, int, int],
    vanished: Collection[str],
) -> dict[str, object]:
    export, text = reading.opened.export, reading.opened.text
    dialect, clock = reading.opened.dialect, reading.clock
    return {
        "file_id": file_id,
        "path": export.path,
        "sha256": export.sha256,
        "logger": place.logger,
        "n_bytes": len(export.content),
        "encoding": text.encoding,
        "delimiter": dialect.delimiter,
        "decimal_sign": dialect.decimal_sign,
        "kind": place.kind,
        "timezone": clock.timezone,
        "timezone_source": clock.timezone_source,
        "time_format": clock.time_format,
        "n_lines": text.n_lines,
        "n_preamble": dialect.n_preamble,
        "n_header": dialect.n_header,
        "n_blank": reading.n_blank,
        "n_footer": reading.n_footer,
        "n_continued": reading.n_continued,
        "n_read": reading.n_read,
        "n_loaded": counts[0],
        "n_rejected": counts[1],
        "n_repeated": counts[2],
        "n_bad_cells": counts[3],
        "first_ts": reading.first_ts,
        "last_ts": reading.last_ts,
        "end_ts": place.end_ts,
        "is_present": export.sha256 not in vanished,
        "unused_columns": "\n".join(reading.unused) or None,
        "notes": "\n".join(reading.notes) or None,
    }
