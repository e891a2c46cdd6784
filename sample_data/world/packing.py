"""How a system's exports lie on disk: plain, packed one by one, in one archive, as workbooks.

Bytes depend on the texts alone: no packer's clock or user gets in.
"""

import gzip
import io
import re
import zipfile
from collections.abc import Sequence
from datetime import datetime

from sample_data.world.dialects import DIALECTS
from sample_data.world.export import Export
from sample_data.world.system import System

ARCHIVE = "loggers.zip"
SHEET = "Readings"
LONG_AGO = (1980, 1, 1, 0, 0, 0)  # a zip file's first instant


def path_below_site(system: System, name: str) -> str:
    """What site.toml calls an export, `name` the one it has when nothing is packed."""
    how = system.logging.packed
    if how == "zip":
        return f"exports/{ARCHIVE}/{name}"
    return f"exports/{name.removesuffix('.csv')}.xlsx" if how == "xlsx" else f"exports/{name}"


def archive(parts: Sequence[tuple[str, bytes]]) -> bytes:
    """A zip file of named contents."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name, content in parts:
            entry = zipfile.ZipInfo(name, LONG_AGO)
            entry.compress_type = zipfile.ZIP_DEFLATED
            packed.writestr(entry, content)
    return out.getvalue()


def workbook(system: System, text: str) -> bytes:
    """A table with dates first as a spreadsheet: dates, numbers and words are cells of their kind.

    Raises ValueError for a dialect that is not a table with year, month, day first.
    """
    import openpyxl

    dialect = DIALECTS[system.logging.dialect]
    if dialect.date != "ymd" or dialect.long or dialect.two_columns or dialect.quoted:
        raise ValueError(f"{dialect.name}: no table that a workbook is made of")
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet(SHEET)
    head, *lines = text.rstrip("\n").split("\n")
    sheet.append(head.split(dialect.delimiter))
    number = re.compile(r"-?\d+(\.\d+)?")
    for line in lines:
        first, *cells = line.split(dialect.delimiter)
        sheet.append(
            [datetime.fromisoformat(first)]
            + [float(cell) if number.fullmatch(cell) else cell or None for cell in cells]
        )
    saved = io.BytesIO()
    book.save(saved)
    parts = []
    with zipfile.ZipFile(saved) as packed:
        for name in packed.namelist():
            content = packed.read(name)
            if name == "docProps/core.xml":  # carries the instant it was saved
                content = re.sub(rb">[-0-9T:]+Z<", b">2026-01-01T00:00:00Z<", content)
            parts.append((name, content))
    return archive(parts)


def on_disk(system: System, files: Sequence[Export]) -> list[tuple[str, bytes]]:
    """Names below exports/ and contents of everything that the loggers' exports are."""
    how = system.logging.packed
    plain = [(file.name, file.text.encode()) for file in files]
    if how == "gz":
        return [(f"{name}.gz", gzip.compress(content, 6, mtime=0)) for name, content in plain]
    if how == "zip":
        return [(ARCHIVE, archive(plain))]
    if how == "xlsx":
        return [(f"{f.name.removesuffix('.csv')}.xlsx", workbook(system, f.text)) for f in files]
    return plain
