"""Exports to the site's store: idempotent, keyed by content, every row accounted for.

The store is the same function of the same bytes whatever was loaded before, in whichever order.
Files whose rows come after all others of their loggers are added to it; when a file came that is
anything else, one went, or site.toml says something else about reading them, it is made anew. Files
that have vanished from exports/ are read again from the copy the store keeps.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from pipeline.ingest.append import NotSimplyLaterError
from pipeline.ingest.containers import read_exports
from pipeline.ingest.exports import Export, list_exports
from pipeline.ingest.match import matches
from pipeline.ingest.site_store import Known, add, make_anew, read_known
from pipeline.ingest.store_tables import hold_intervals
from pipeline.site import Site, parse_fingerprint
from pipeline.site_reader import read_site
from pipeline.store import connect_working, read_originals


@dataclass(frozen=True)
class FileAccount:
    """What became of one file's rows: n_read = n_loaded + n_rejected + n_repeated.

    n_lines : physical lines, counted apart from the reader; they are those before and in the
        header, the rows, blank ones, those after the rows, and those a row goes on in
    is_present : the file is still in exports/; was_loaded : this load found it in the store
    unused_columns : header texts that no [[channel]] names
    """

    path: str
    sha256: str
    logger: str
    kind: str
    timezone: str
    n_read: int
    n_loaded: int
    n_rejected: int
    n_repeated: int
    n_bad_cells: int
    is_present: bool
    n_lines: int = 0
    n_preamble: int = 0
    n_header: int = 0
    n_blank: int = 0
    n_footer: int = 0
    n_continued: int = 0
    was_loaded: bool = False
    unused_columns: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class LoadReport:
    """What a load found and did.

    is_rebuilt : False where the store was up to date; is_added_to : new files were added to it,
        the others were not read again
    was_unusable : there was a store, of another version of zonetrail or damaged, and it was made
        anew from the exports
    copies : (path, path of the file it is the same as); a copy is not loaded twice
    not_read : files that are no tables by their names
    seconds : how long the load took
    """

    store: Path
    is_rebuilt: bool
    files: tuple[FileAccount, ...]
    n_conflicts: int
    copies: tuple[tuple[str, str], ...] = ()
    not_read: tuple[str, ...] = ()
    seconds: float = 0.0
    is_added_to: bool = False
    was_unusable: bool = False

    def total(self, name: str) -> int:
        """The sum of one count over the files: 'n_read', 'n_loaded', ..."""
        return sum(int(getattr(f, name)) for f in self.files)


def load_site(
    site_dir: Path | str,
    progress: Callable[[str], None] | None = None,
    connection: duckdb.DuckDBPyConnection | None = None,
) -> LoadReport:
    """Bring the store of the site in `site_dir` up to date with its exports/ and site.toml.

    progress : called with one short line per step
    connection : from `connect_working`, for who loads many sites; a new one if None

    Raises InputError or SiteFileError where something cannot be used as it is; the store on disk
    is then the old one.
    """
    if connection is None:
        with connect_working(reach=read_site(site_dir).folder) as made:
            return load_site(site_dir, progress, made)
    began = time.perf_counter()
    site = read_site(site_dir)
    tell = progress or (lambda line: None)
    exports, copies, not_read = _exports(site)
    # The hold rule shapes state segments, so a site's own value for it is part of the reading.
    fingerprint = f"{parse_fingerprint(site)}-{hold_intervals(site):g}"
    known = read_known(connection, site.store_path)
    report = _brought_up_to_date(connection, site, exports, known, fingerprint, tell)
    return replace(
        report,
        copies=copies,
        not_read=not_read,
        seconds=time.perf_counter() - began,
    )


def _brought_up_to_date(
    connection: duckdb.DuckDBPyConnection,
    site: Site,
    exports: list[Export],
    known: Known | None,
    fingerprint: str,
    tell: Callable[[str], None],
) -> LoadReport:
    present = {e.sha256: e.path for e in exports}
    before: dict[str, tuple[str, bool]] = {}
    if known is not None and known.fingerprint == fingerprint:
        before = {f["sha256"]: (f["path"], f["is_present"]) for f in known.files}
        after = {sha: (path, True) for sha, path in present.items()}
        after |= {sha: (path, False) for sha, (path, _) in before.items() if sha not in present}
        if before == after:
            return _report(site, before, known.files, known.n_conflicts)
        if all(after[sha] == file for sha, file in before.items()):
            try:
                rows, n_conflicts = add(connection, site, exports, known, tell)
                report = _report(site, before, rows, n_conflicts)
                return replace(report, is_rebuilt=True, is_added_to=True)
            except NotSimplyLaterError:
                pass  # everything is read again
    # of any store, whoever wrote it; the bytes are read only if one of them is needed
    vanished = []
    if known is None or any(f["sha256"] not in present for f in known.files):
        vanished = _vanished(connection, site, present)
    dialects = known.dialects if known is not None else {}
    was_there = site.store_path.is_file()
    made = make_anew(connection, site, exports, vanished, fingerprint, dialects, tell)
    report = _report(site, before, made["file"].to_pylist(), made["conflict"].num_rows)
    was_unusable = known is None and was_there
    return replace(report, is_rebuilt=True, was_unusable=was_unusable)


def _exports(site: Site) -> tuple[list[Export], tuple[tuple[str, str], ...], tuple[str, ...]]:
    """The exports to load, the copies among them, and the files that are no tables."""
    folder = site.folder / "exports"
    tables, others = list_exports(folder) if folder.is_dir() else ([], [])
    patterns = [e.files for e in site.exports] + [c.file for c in site.channels if c.file]
    not_read = []
    for path in others:
        inside = path.relative_to(site.folder).as_posix()
        if any(matches(inside, p) for p in patterns):
            tables.append(path)
        else:
            not_read.append(inside)
    exports: dict[int, list[Export]] = {}  # by size: only then can one be another's copy
    copies = []
    for path in sorted(tables):
        packed, left_out = read_exports(path, site.folder)
        not_read += left_out
        for export in packed:
            alike = exports.setdefault(len(export.content), [])
            same = next((e.path for e in alike if e.sha256 == export.sha256), None)
            if same is None:
                alike.append(export)
            else:
                copies.append((export.path, same))
    found = [e for alike in exports.values() for e in alike]
    return found, tuple(copies), tuple(not_read)


def _vanished(
    connection: duckdb.DuckDBPyConnection, site: Site, present: dict[str, str]
) -> list[Export]:
    """Files that the store was made from and that are no longer in exports/."""
    codec = pa.Codec("zstd")
    gone = []
    for sha, path, n_bytes, packed in read_originals(connection, site.store_path):
        if sha not in present:
            content = bytes(codec.decompress(packed, n_bytes, asbytes=True))
            shown = f"{site.folder / path} (no longer there; delete site.duckdb to forget it)"
            gone.append(Export(path, shown, content))
    return gone


_ACCOUNT = (
    *("path", "sha256", "logger", "kind", "timezone", "n_read", "n_loaded", "n_rejected"),
    *("n_repeated", "n_bad_cells", "is_present", "unused_columns", "notes"),
    *("n_lines", "n_preamble", "n_header", "n_blank", "n_footer", "n_continued"),
)


def _report(
    site: Site,
    before: dict[str, tuple[str, bool]],
    rows: Sequence[dict[str, Any]],
    n_conflicts: int,
) -> LoadReport:
    """The account of a store with these rows in its table of files.

    before : by hash, the files that it had already
    """
    files = []
    for row in rows:
        account = {name: row[name] for name in _ACCOUNT}
        for name in ("unused_columns", "notes"):
            account[name] = tuple(account[name].split("\n")) if account[name] else ()
        files.append(FileAccount(was_loaded=account["sha256"] in before, **account))
    return LoadReport(site.store_path, False, tuple(files), n_conflicts)
