"""The files of a site's exports/ folder and their bytes."""

from __future__ import annotations

import hashlib
import zlib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from pipeline.errors import InputError
from pipeline.terminal import visible
from pipeline.thresholds import THRESHOLDS

# Files with other endings are listed as not read, unless site.toml names them: a photograph of
# the panel may well lie beside the exports.
TABLE_SUFFIXES = frozenset({".csv", ".txt", ".tsv", ".tab", ".dat", ".log", ".prn", ".asc"})
# Files that hold several tables; see containers.py.
CONTAINER_SUFFIXES = frozenset({".zip", ".xlsx"})

_BINARY_KINDS = (
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or document file"),
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"SQLite format 3", "a database file"),
    (b"PAR1", "a Parquet file"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a rar archive"),
    (b"{\\rtf", "a rich-text document"),
)


def max_unpacked_bytes() -> int:
    """How many bytes a packed export may unpack to."""
    return int(THRESHOLDS["unpacked_max_bytes"].value)


@dataclass(frozen=True)
class Export:
    """One export as it lies on disk.

    path : below the site folder, with forward slashes
    shown : the path to show in messages
    content : its bytes, as they came (a .gz still packed)
    """

    path: str
    shown: str
    content: bytes

    @cached_property
    def sha256(self) -> str:
        """The hash of its bytes; made when it is first asked for, as it takes its time."""
        return hashlib.sha256(self.content).hexdigest()

    def text_bytes(self) -> bytes:
        """The bytes of the text: unpacked if the file is a .gz.

        Raises InputError for an empty, binary or damaged file, and for one that would unpack to
        more than max_unpacked_bytes().
        """
        content = self.content
        if content[:2] == b"\x1f\x8b":
            content = self._unpacked()
        blanks = b"\0\t\r\n \xff\xfe\xef\xbb\xbf"
        if not content[:4_096].strip(blanks) and not content.strip(blanks):
            raise InputError(
                "the file is empty",
                file=self.shown,
                found=f"{len(self.content)} bytes, none of them text",
                expected="a header line and rows with date, time and readings",
                hint="export it again from the logger, or move it out of exports/",
            )
        for start, kind in _BINARY_KINDS:
            if content.startswith(start):
                raise InputError(
                    "this is not a table in text form",
                    file=self.shown,
                    line=1,
                    found=kind,
                    expected="comma-, semicolon- or tab-separated text",
                    hint="export the readings as CSV, or move the file out of exports/",
                )
        return content

    def _unpacked(self) -> bytes:
        most = max_unpacked_bytes()
        members: list[bytes] = []
        rest, room = self.content, most
        try:
            while rest and room:
                unpacker = zlib.decompressobj(wbits=31)
                # Asked for all at once, gzip would take hold of as much memory as it may fill.
                members.append(unpacker.decompress(rest, room))
                room -= len(members[-1])
                if not unpacker.eof and room:
                    raise EOFError("it ends before its end mark")
                rest = unpacker.unused_data.lstrip(b"\0") if unpacker.eof else rest
            if not rest:
                return b"".join(members)
        except (zlib.error, EOFError) as error:
            raise InputError(
                "the packed file is damaged",
                file=self.shown,
                found=str(error),
                expected="a whole .gz file",
                hint="copy it again",
            ) from error
        raise InputError(
            "the packed file is too large",
            file=self.shown,
            found=f"more than {most:,} bytes unpacked",
            expected="one logger's export",
            hint="split it, or move it out of exports/",
        )


def read_export(path: Path, folder: Path) -> Export:
    """The export at `path`; its own path is told below `folder`.

    Raises InputError if it cannot be read.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(
            "the file cannot be read",
            file=path,
            found=error.strerror or str(error),
            expected="a readable file",
        ) from error
    inside = path.relative_to(folder).as_posix() if path.is_relative_to(folder) else path.name
    return Export(plain_path(inside), str(path), content)


def plain_path(path: str) -> str:
    """A path as it is kept and told: one line, every letter in it one that can be written."""
    return visible(path.replace("\n", "\\n"))


def list_exports(folder: Path) -> tuple[list[Path], list[Path]]:
    """The files below `folder` in the order of their paths: (tables by their names, others).

    Hidden files and folders are left out, and so are folders that are links.

    Raises InputError for a link that leads out of the site's folder (of `folder` itself, where it
    is no site's): a folder from a stranger could else have any file read into a report.
    """
    root = (folder.parent if folder.name == "exports" else folder).resolve()
    _refuse_leading_out(folder, root)
    tables: list[Path] = []
    others: list[Path] = []
    for path in sorted(folder.rglob("*")):
        inside = path.relative_to(folder)
        if not path.is_file() or any(part.startswith(".") for part in inside.parts):
            continue
        if path.is_symlink():
            _refuse_leading_out(path, root)
        suffixes = [s.lower() for s in path.suffixes[-2:]]
        ending = suffixes[-1] if suffixes else ""
        if ending == ".gz" and len(suffixes) == 2:
            ending = suffixes[0]
        (tables if ending in TABLE_SUFFIXES | CONTAINER_SUFFIXES else others).append(path)
    return tables, others


def _refuse_leading_out(path: Path, root: Path) -> None:
    place = path.resolve()
    if not place.is_relative_to(root):
        raise InputError(
            "this leads out of the site's folder",
            file=path,
            found=f"a link to {place}",
            expected=f"a file below {root}",
            hint="copy what it leads to into exports/, or take the link away",
        )
