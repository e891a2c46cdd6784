"""Exports to the site's store: idempotent, keyed by content, every row accounted for.

The store is rebuilt whole when a file came, went, or site.toml says something else about reading
them; it is then the same function of the same bytes whatever was loaded before, in whichever
order. Files that have vanished from exports/ are read again from the copy the store keeps.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import pyarrow as pa

from pipeline import __version__
from pipeline.errors import InputError, StoreError
from pipeline.ingest import kept_dialect
from pipeline.ingest.containers import read_exports
from pipeline.ingest.export_file import OpenExport, open_export
from pipeline.ingest.exports import Export, list_exports
from pipeline.ingest.file_reading import cut_file, read_file
from pipeline.ingest.logger_clock import on_one_clock
from pipeline.ingest.match import export_block, match_channels, matches
from pipeline.ingest.store_tables import hold_intervals, store_tables
from pipeline.site import Site, parse_fingerprint
from pipeline.site_reader import read_site
from pipeline.store import (
    open_store,
    read_dialects,
    read_originals,
    store_meta,
    write_store,
)


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

    is_rebuilt : False where the store was up to date
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

    def total(self, name: str) -> int:
        """The sum of one count over the files: 'n_read', 'n_loaded', ..."""
        return sum(int(getattr(f, name)) for f in self.files)


def load_site(site_dir: Path | str, progress: Callable[[str], None] | None = None) -> LoadReport:
    """Bring the store of the site in `site_dir` up to date with its exports/ and site.toml.

    progress : called with one short line per step

    Raises InputError or SiteFileError where something cannot be used as it is; the store on disk
    is then the old one.
    """
    began = time.perf_counter()
    site = read_site(site_dir)
    tell = progress or (lambda line: None)
    exports, copies, not_read = _exports(site)
    # The hold rule shapes state segments, so a site's own value for it is part of the reading.
    fingerprint = f"{parse_fingerprint(site)}-{hold_intervals(site):g}"
    known, vanished = None, []
    is_stale = True
    if site.store_path.is_file():
        known = _known_files(site, fingerprint)
        present = {e.sha256: e.path for e in exports}
        # the exports' bytes are read again only if one of them is needed
        if known is None or not set(known) <= set(present):
            vanished = _vanished(site, present)
        is_stale = known is None or known != _after(present, vanished)
    made = _rebuild(site, exports, vanished, fingerprint, tell) if is_stale else None
    report = _report(site, set(known or {}), made)
    return replace(
        report,
        is_rebuilt=is_stale,
        copies=copies,
        not_read=not_read,
        seconds=time.perf_counter() - began,
    )


def _rebuild(
    site: Site,
    exports: list[Export],
    vanished: list[Export],
    fingerprint: str,
    tell: Callable[[str], None],
) -> dict[str, pa.Table]:
    """The store written anew; returns its tables."""
    # Their order must not depend on which of two files of one path came first.
    paths = Counter(e.path for e in (*exports, *vanished))
    everything = sorted(
        exports + vanished, key=lambda e: (e.path, e.sha256 if paths[e.path] > 1 else "")
    )
    if not everything:
        raise InputError(
            "there are no exports to load",
            file=site.folder / "exports",
            expected="the loggers' CSV files",
            hint="copy them into exports/, in any folder and under any name",
        )
    tell("looking at them")
    kept = read_dialects(site.store_path)
    opened = [
        open_export(e, export_block(site, e.path), kept.get(e.sha256) if kept else None)
        for e in everything
    ]
    used = match_channels(site, opened)
    # Packing needs no Python, so it goes on beside all that follows on cutting a file into cells.
    with ThreadPoolExecutor(1) as pool:
        packed, readings = [], []
        for open_, channels in zip(opened, used, strict=True):
            tell(f"reading {open_.export.path}")
            rows = cut_file(open_, channels)
            packed.append(pool.submit(_packed, open_.export))
            readings.append(read_file(open_, channels, site, rows))
        readings = on_one_clock(site, readings, used)
        tell("writing the store")
        tables = store_tables(site, readings, {e.sha256 for e in vanished})
        meta = {"fingerprint": fingerprint, "site_id": site.id, "tool": __version__}
        write_store(
            site.store_path,
            tables,
            lambda: _originals(opened, [p.result() for p in packed], kept),
            meta,
        )
    return tables


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


def _known_files(site: Site, fingerprint: str) -> dict[str, tuple[str, bool]] | None:
    """hash -> (path, is_present) of the files in a store that was read by the same rules."""
    try:
        connection = open_store(site.store_path)
    except StoreError:
        return None
    with connection:
        if store_meta(connection).get("fingerprint") != fingerprint:
            return None
        rows = connection.execute("select sha256, path, is_present from file").fetchall()
    return {sha: (path, is_present) for sha, path, is_present in rows}


def _vanished(site: Site, present: dict[str, str]) -> list[Export]:
    """Files that the store was made from and that are no longer in exports/."""
    codec = pa.Codec("zstd")
    gone = []
    for sha, path, n_bytes, packed in read_originals(site.store_path):
        if sha not in present:
            content = bytes(codec.decompress(packed, n_bytes, asbytes=True))
            shown = f"{site.folder / path} (no longer there; delete site.duckdb to forget it)"
            gone.append(Export(path, shown, content))
    return gone


def _after(present: dict[str, str], vanished: list[Export]) -> dict[str, tuple[str, bool]]:
    """What a store of these files would know of them."""
    return {sha: (path, True) for sha, path in present.items()} | {
        e.sha256: (e.path, False) for e in vanished
    }


def _packed(export: Export) -> bytes:
    """The export's bytes, packed; its hash is made here too, beside the rest of the load."""
    _ = export.sha256
    return bytes(pa.Codec("zstd").compress(export.content, asbytes=True))


def _originals(opened: list[OpenExport], packed: list[bytes], kept: dict[str, bytes]) -> pa.Table:
    """kept : dialects by hash, as the store had them"""
    exports = [o.export for o in opened]
    dialects = []
    for o in opened:
        decimal = o.said.decimal if o.said is not None else None
        before = kept.get(o.export.sha256)
        is_kept = before is not None and kept_dialect.holds(before, decimal)
        dialects.append(before if is_kept else kept_dialect.packed(o.dialect, decimal))
    return pa.table(
        {
            "sha256": pa.array([e.sha256 for e in exports], pa.string()),
            "path": pa.array([e.path for e in exports], pa.string()),
            "n_bytes": pa.array([len(e.content) for e in exports], pa.int64()),
            "bytes": pa.array(packed, pa.binary()),
            "dialect": pa.array(dialects, pa.binary()),
        }
    )


_ACCOUNT = (
    *("path", "sha256", "logger", "kind", "timezone", "n_read", "n_loaded", "n_rejected"),
    *("n_repeated", "n_bad_cells", "is_present", "unused_columns", "notes"),
    *("n_lines", "n_preamble", "n_header", "n_blank", "n_footer", "n_continued"),
)


def _report(site: Site, before: set[str], made: dict[str, pa.Table] | None) -> LoadReport:
    """The account of the store: of the tables just `made`, else of those on disk."""
    if made is not None:
        rows = [tuple(row.values()) for row in made["file"].select(list(_ACCOUNT)).to_pylist()]
        n_conflicts = made["conflict"].num_rows
    else:
        columns = ", ".join(_ACCOUNT)
        with open_store(site.store_path) as connection:
            rows = connection.execute(f"select {columns} from file order by file_id").fetchall()
            counted = connection.execute("select count(*) from conflict").fetchall()
        n_conflicts = int(counted[0][0])
    files = []
    for row in rows:
        account = dict(zip(_ACCOUNT, row, strict=True))
        for name in ("unused_columns", "notes"):
            account[name] = tuple(account[name].split("\n")) if account[name] else ()
        files.append(FileAccount(was_loaded=account["sha256"] in before, **account))
    return LoadReport(site.store_path, False, tuple(files), n_conflicts)
