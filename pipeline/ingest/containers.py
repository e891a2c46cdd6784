"""Files that hold several exports: a .zip of tables, a spreadsheet workbook with its sheets.

Each table inside is an export of its own, with a path below that of its container.
"""

from __future__ import annotations

import csv
import io
import lzma
import re
import struct
import warnings
import zipfile
import zlib
from datetime import date, datetime, time, timedelta
from pathlib import Path, PurePosixPath
from typing import Any
from xml.etree.ElementTree import ParseError

from pipeline.errors import InputError
from pipeline.ingest.columns import unit_of
from pipeline.ingest.encoding import decode
from pipeline.ingest.exports import (
    TABLE_SUFFIXES,
    Export,
    max_unpacked_bytes,
    plain_path,
    read_export,
)
from pipeline.ingest.sniff import sniff

# What the standard library raises for archives whose bytes are not what they say they are.
_DAMAGES = (
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error),
    *(OSError, EOFError, ValueError, NotImplementedError, RuntimeError),
)
# A few cells far to the right and below make a sheet of billions, all of them blank.
_MAX_BLANK_CELLS = 2_000_000
_MAX_BLANK_SHARE = 50
_FREE_SPACE = "split it, or move it out of exports/"


def read_exports(path: Path, folder: Path) -> tuple[list[Export], list[str]]:
    """The exports in one file, and the paths of what lies in it but is no table.

    Raises InputError if it cannot be read, or would unpack to more than the stated size.
    """
    export = read_export(path, folder)
    suffix = path.suffix.lower()
    if not export.content.startswith(b"PK\x03\x04") or suffix not in (".zip", ".xlsx"):
        return [export], []
    try:
        with zipfile.ZipFile(io.BytesIO(export.content)) as archive:
            _refuse_large(export, archive)
            if suffix == ".xlsx":
                return _sheets(export)
            return _members(export, archive)
    except _DAMAGES as error:
        raise InputError(
            "the packed file is damaged or locked",
            file=export.shown,
            found=str(error),
            expected="a whole file without a password",
            hint="copy it again, or unpack it into exports/",
        ) from error


def _refuse_large(export: Export, archive: zipfile.ZipFile) -> None:
    most = max_unpacked_bytes()
    total = sum(info.file_size for info in archive.infolist())
    if total > most:
        raise InputError(
            "the packed file is too large",
            file=export.shown,
            found=f"{total:,} bytes unpacked",
            expected=f"at most {most:,} bytes",
            hint=_FREE_SPACE,
        )


def _members(export: Export, archive: zipfile.ZipFile) -> tuple[list[Export], list[str]]:
    found, left_out = [], []
    room = max_unpacked_bytes()
    for info in sorted(archive.infolist(), key=lambda i: i.filename):
        name = PurePosixPath(info.filename)
        if info.is_dir() or name.name.startswith(".") or name.parts[0] == "__MACOSX":
            continue
        ending = [s.lower() for s in name.suffixes[-2:]]
        is_table = bool(ending) and (
            ending[-1] in TABLE_SUFFIXES or (ending[-1] == ".gz" and ending[0] in TABLE_SUFFIXES)
        )
        if not is_table:
            left_out.append(f"{export.path}/{info.filename}")
            continue
        with archive.open(info) as file:  # a lie about its size must not fill the memory
            content = file.read(room + 1)
        room -= len(content)
        if room < 0:
            raise InputError(
                "the packed file is too large",
                file=export.shown,
                found=f"more than {max_unpacked_bytes():,} bytes unpacked",
                expected="exports of one site",
                hint=_FREE_SPACE,
            )
        found.append(_inside(export, info.filename, content))
    if not found:
        raise InputError(
            "there is no table in this archive",
            file=export.shown,
            found=", ".join(left_out) or "nothing",
            expected="files that end in .csv, .txt, .tsv or the like",
        )
    return found, left_out


def _inside(export: Export, name: str, content: bytes) -> Export:
    return Export(f"{export.path}/{plain_path(name)}", f"{export.shown}/{name}", content)


def _sheets(export: Export) -> tuple[list[Export], list[str]]:
    """The sheets that hold rows with date and time, as tab-separated text."""
    try:
        import openpyxl
    except ImportError as error:
        raise InputError(
            "spreadsheet workbooks need an optional part",
            file=export.shown,
            found="no openpyxl here",
            expected="comma-, semicolon- or tab-separated text, or that part",
            hint="save the sheet as CSV, or: pip install 'zonetrail[xlsx]'",
        ) from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles it does not know are of no interest here
            book = openpyxl.load_workbook(
                io.BytesIO(export.content), read_only=True, data_only=True
            )
        sheets = [(s.title, _as_text(s)) for s in book.worksheets]
    except (KeyError, ValueError, TypeError, AttributeError, IndexError, ParseError) as error:
        raise InputError(
            "the workbook cannot be read",
            file=export.shown,
            found=str(error) or type(error).__name__,
            expected="a workbook as a spreadsheet program writes it",
            hint="save the sheet as CSV",
        ) from error
    found, left_out = [], []
    problem: InputError | None = None
    for title, text in sheets:
        sheet = _inside(export, title, text)
        try:
            sniff(decode(sheet.text_bytes(), sheet.shown), sheet.shown)
        except InputError as error:
            problem = problem or error
            left_out.append(sheet.path)
            continue
        found.append(sheet)
    if not found and problem is not None:
        raise problem
    return found, left_out


def _as_text(sheet: Any) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, delimiter="\t", lineterminator="\n")
    n_cells = n_filled = 0
    for row in sheet.iter_rows():
        n_cells += len(row)
        n_filled += sum(cell.value is not None for cell in row)
        if n_cells > max(_MAX_BLANK_CELLS, _MAX_BLANK_SHARE * n_filled):
            raise ValueError(f"sheet {sheet.title!r}: {n_filled:,} cells filled of {n_cells:,}")
        writer.writerow([_cell(cell.value) + _unit(cell.value, cell.number_format) for cell in row])
    return out.getvalue().encode()


def _unit(value: object, number_format: str) -> str:
    """What a number's format shows behind it, such as ' °F', where that is a unit; else nothing.

    A format in percent shows a hundred times the number, which is another thing; see _cell.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float)) or number_format == "General":
        return ""
    shown = number_format.partition(";")[0]
    literal = re.search(r'[0#?]\s*(?:"([^"]*)"|((?:\\.)+))\s*$', shown)
    if literal is None:
        return ""
    text = literal.group(1) or literal.group(2).replace("\\", "")
    return f" {text.strip()}" if unit_of(text) is not None else ""


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, datetime):
        # A spreadsheet's days are floats: 10:00 may be stored as 9:59:59.999995.
        value = value + timedelta(microseconds=500)
        value = value.replace(microsecond=value.microsecond // 1000 * 1000)
        return value.isoformat(" ")
    if isinstance(value, (date, time)):
        return value.isoformat()
    return str(value)
