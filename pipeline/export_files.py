"""The files of an export: Parquet with units and types, or CSV that no spreadsheet runs.

One file per table, all sites in it, written batch by batch into a folder beside the one that was
asked for, which is renamed when all is written: whoever looks finds the old export or the new one.
"""

from __future__ import annotations

import csv
import os
import re
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from pipeline import __version__
from pipeline.errors import InputError
from pipeline.export import EXPORTED, Exported, Rows, canonical, dictionary, schema

if TYPE_CHECKING:
    import pyarrow as pa

FORMATS = ("csv", "parquet")
DICTIONARY = "dictionary.csv"
# What a spreadsheet would run as a formula: these signs (also in full width), a tab or a line's end
# in front. A plain number stays one. The report's tables are taken away by the same rule.
RUNS = re.compile(r"[=+\-@\uFF1D\uFF0B\uFF0D\uFF20\t\r\n]")
PLAIN_NUMBER = re.compile(r"[+-]?[\d.,]+")


def inert(text: str) -> str:
    """The text with an apostrophe in front where a spreadsheet would run it as a formula."""
    return f"'{text}" if RUNS.match(text) and not PLAIN_NUMBER.fullmatch(text) else text


class ExportFolder:
    """A folder in which an export is being written; as a context, it takes its place at the end.

    n_rows : rows written so far, by table

    Raises InputError where the folder holds anything but a former export, or cannot be written.
    """

    def __init__(self, folder: Path, form: str, tables: Sequence[Exported]) -> None:
        _refuse_other_files(folder)
        self.folder = folder
        self.form = form
        self.tables = tables
        self.n_rows = {e.name: 0 for e in tables}
        self._beside = folder.with_name(f".{folder.name}.{os.getpid()}")
        self._open: dict[str, _ParquetFile | _CsvFile] = {}

    def __enter__(self) -> Self:
        """The folder, with a file for every table and the dictionary."""
        try:
            shutil.rmtree(self._beside, ignore_errors=True)
            self._beside.mkdir(parents=True)
            kind = _ParquetFile if self.form == "parquet" else _CsvFile
            for e in self.tables:
                self._open[e.name] = kind(self._beside / f"{e.name}.{self.form}", e)
            rows = dictionary(self.tables, f".{self.form}")
            with (self._beside / DICTIONARY).open("w", encoding="utf-8-sig", newline="") as file:
                writer = csv.DictWriter(file, list(rows[0]))
                writer.writeheader()
                writer.writerows({k: inert(v) for k, v in row.items()} for row in rows)
        except OSError as error:
            raise _cannot_write(self.folder, error) from error
        return self

    def take(self, exported: Exported, rows: Rows) -> None:
        """Write a table's rows of one site below those of the sites before it."""
        file = self._open[exported.name]
        for batch in rows:
            try:
                file.write(batch)
            except OSError as error:
                raise _cannot_write(self.folder, error) from error
            self.n_rows[exported.name] += batch.num_rows

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Put the folder in its place, or take it away if something went wrong."""
        try:
            for file in self._open.values():
                file.close()
            if kind is None:
                if self.folder.exists():
                    shutil.rmtree(self.folder)
                self._beside.rename(self.folder)
        except OSError as problem:
            raise _cannot_write(self.folder, problem) from problem
        finally:
            shutil.rmtree(self._beside, ignore_errors=True)


class _ParquetFile:
    """One table as Parquet: units and meanings in the fields, the tool's version in the file."""

    def __init__(self, path: Path, exported: Exported) -> None:
        import pyarrow.parquet as pq

        layout = schema(exported)
        said = dict(layout.metadata or {}) | {b"zonetrail": __version__.encode()}
        self._writer = pq.ParquetWriter(path, layout.with_metadata(said), compression="zstd")

    def write(self, batch: pa.RecordBatch) -> None:
        if batch.num_rows:
            self._writer.write_batch(batch)

    def close(self) -> None:
        self._writer.close()


class _CsvFile:
    """One table as CSV: instants in ISO 8601 with Z, floats by repr, true and false."""

    def __init__(self, path: Path, exported: Exported) -> None:
        self._file = path.open("w", encoding="utf-8-sig", newline="")
        self._writer = csv.writer(self._file)
        self._writer.writerow(schema(exported).names)

    def write(self, batch: pa.RecordBatch) -> None:
        columns = [_cells(column) for column in batch.columns]
        self._writer.writerows(zip(*columns, strict=True))

    def close(self) -> None:
        self._file.close()


def _cells(column: pa.Array) -> Iterable[Any]:
    """A column as the csv module writes it; a missing value is an empty cell."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if pa.types.is_timestamp(column.type):
        return pc.strftime(column, "%Y-%m-%dT%H:%M:%SZ").to_pylist()
    if pa.types.is_boolean(column.type):
        words = pa.array(["false", "true"])
        return words.take(column.cast(pa.int8())).to_pylist()
    if pa.types.is_string(column.type):
        # the same few texts come again and again
        coded = column.dictionary_encode()
        words = [None if w is None else inert(w) for w in coded.dictionary.to_pylist()]
        return pa.array(words, pa.string()).take(coded.indices).to_pylist()
    return column.to_pylist()


def _refuse_other_files(folder: Path) -> None:
    if not folder.exists():
        return
    ours = {f"{e.name}.{form}" for e in (*EXPORTED, *canonical()) for form in FORMATS}
    try:
        there = sorted(p.name for p in folder.iterdir())
    except OSError as error:
        raise _cannot_write(folder, error) from error
    other = [name for name in there if name not in ours | {DICTIONARY}]
    if other or (there and DICTIONARY not in there):
        raise InputError(
            "the folder holds other files than an export's",
            file=folder,
            found=(other or there)[0],
            expected="a new folder, an empty one, or one that an export was written to",
        )


def _cannot_write(folder: Path, error: OSError) -> InputError:
    return InputError(
        "the export cannot be written",
        file=folder,
        found=error.strerror or str(error),
        expected="a folder that can be written to, on a disk with room",
    )
