"""A site's store: what it knows of the exports, how it is made anew, how new exports are added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from pipeline import __version__
from pipeline.errors import InputError, StoreError
from pipeline.ingest import kept_dialect
from pipeline.ingest.append import NotSimplyLaterError, added_rows, read_end
from pipeline.ingest.encoding import Text
from pipeline.ingest.export_file import OpenExport, open_export
from pipeline.ingest.exports import Export
from pipeline.ingest.file_reading import cut_file, read_file
from pipeline.ingest.logger_clock import on_one_clock
from pipeline.ingest.lost_clock import is_far_apart, refuse_far_apart
from pipeline.ingest.match import export_block, logger_names, match_channels
from pipeline.ingest.store_tables import store_tables
from pipeline.site import Site
from pipeline.store import mounted, store_columns, store_meta
from pipeline.store_writing import Additions, ChangedMeanwhileError, add_to_store, write_store

_UNREAD = Text(b"", "", 0, "")


@dataclass(frozen=True)
class Known:
    """What a store of this layout knows of the exports.

    fingerprint : of the rules that they were read by; files : rows of its table file, in order
    dialects : by the hash of an export's bytes, how it is written
    """

    fingerprint: str
    files: Sequence[dict[str, Any]]
    dialects: Mapping[str, bytes]
    n_conflicts: int


def read_known(con: duckdb.DuckDBPyConnection, path: Path) -> Known | None:
    """What the store at `path` knows; None where there is none of this layout."""
    if not path.is_file():
        return None
    columns = [c.name for c in store_columns()["file"]]
    try:
        with mounted(con, path):
            files = con.execute(f"select {', '.join(columns)} from file order by file_id")
            rows = [dict(zip(columns, row, strict=True)) for row in files.fetchall()]
            dialects = con.execute("select sha256, dialect from original").fetchall()
            conflicts = con.execute("select count(*) from conflict").fetchall()
            fingerprint = store_meta(con).get("fingerprint", "")
    except (StoreError, duckdb.Error):
        return None
    kept = {sha: dialect for sha, dialect in dialects if dialect is not None}
    return Known(fingerprint, rows, kept, int(conflicts[0][0]))


def make_anew(
    con: duckdb.DuckDBPyConnection,
    site: Site,
    exports: Sequence[Export],
    vanished: Sequence[Export],
    fingerprint: str,
    kept: Mapping[str, bytes],
    tell: Callable[[str], None],
) -> dict[str, pa.Table]:
    """The store written anew from all exports; returns its tables.

    kept : dialects by hash, as the store had them
    """
    # Their order must not depend on which of two files of one path came first.
    paths = Counter(e.path for e in (*exports, *vanished))
    everything = sorted(
        [*exports, *vanished], key=lambda e: (e.path, e.sha256 if paths[e.path] > 1 else "")
    )
    if not everything:
        raise InputError(
            "there are no exports to load",
            file=site.folder / "exports",
            expected="the loggers' CSV files",
            hint="copy them into exports/, in any folder and under any name",
        )
    tell("looking at them")
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
        refuse_far_apart(readings)
        tell("writing the store")
        tables = store_tables(site, readings, {e.sha256 for e in vanished})
        meta = {"fingerprint": fingerprint, "site_id": site.id, "tool": __version__}
        write_store(
            site.store_path,
            tables,
            lambda: _originals(opened, [p.result() for p in packed], kept),
            meta,
            con,
        )
    return tables


def add(
    con: duckdb.DuckDBPyConnection,
    site: Site,
    exports: Sequence[Export],
    known: Known,
    tell: Callable[[str], None],
) -> tuple[list[dict[str, Any]], int]:
    """The exports that the store does not know, added to it.

    exports : all that are there, with every file that the store knows to be there
    known : read by the rules that hold now

    Returns the rows of the store's table file and the number of its conflicts. Raises
    NotSimplyLaterError where the store has to be made anew instead, and then leaves it alone.
    """
    shas = {f["sha256"] for f in known.files}
    fresh = sorted((e for e in exports if e.sha256 not in shas), key=lambda e: e.path)
    tell("looking at them")
    new = [open_export(e, export_block(site, e.path)) for e in fresh]
    there = {e.sha256: e for e in exports}
    old = [_opened_before(site, f, there.get(f["sha256"]), known.dialects) for f in known.files]
    used = match_channels(site, [*new, *old])
    paths = [o.export.path for o in (*new, *old)]
    names = logger_names(paths, [set(u) for u in used], site)
    if names[len(new) :] != [f["logger"] for f in known.files]:
        raise NotSimplyLaterError("files there belong to other loggers now")
    readings = []
    for open_, channels in zip(new, used, strict=False):
        tell(f"reading {open_.export.path}")
        readings.append(read_file(open_, channels, site))
    first_ts = min(f["first_ts"] for f in known.files)
    if any(is_far_apart(first_ts, r.last_ts) for r in readings):
        raise NotSimplyLaterError("a file lies years from the others")  # and is refused
    tell("writing the store")
    with mounted(con, site.store_path):
        end = read_end(con, known.files)
    added = added_rows(site, end, readings, names[: len(new)])
    rows = added.tables()
    additions = Additions(
        [f["sha256"] for f in known.files],
        known.fingerprint,
        rows,
        added.anew,
        added.file_ends,
        added.states_again,
        lambda: _originals(new, [_packed(o.export) for o in new], known.dialects),
    )
    try:
        add_to_store(con, site.store_path, additions)
    except ChangedMeanwhileError as error:
        raise NotSimplyLaterError("another load has written the store meanwhile") from error
    files = [*known.files, *rows["file"].to_pylist()]
    return files, known.n_conflicts + rows["conflict"].num_rows


def _opened_before(
    site: Site, file: Mapping[str, Any], export: Export | None, dialects: Mapping[str, bytes]
) -> OpenExport:
    """A file that the store knows, as far as is needed to tell which channels are in it."""
    said = export_block(site, file["path"])
    kept = dialects.get(file["sha256"])
    if kept is None or not kept_dialect.holds(kept, said.decimal if said else None):
        raise NotSimplyLaterError("it is not known how a file is written")
    dialect = kept_dialect.unpacked(kept)
    shown = str(site.folder / file["path"])
    opened = OpenExport(export or Export(file["path"], shown, b""), _UNREAD, dialect, said)
    if not opened.is_long:
        return opened
    if export is None:
        raise NotSimplyLaterError("the names in a long file that has vanished have to be read")
    return open_export(export, said, kept)


def _packed(export: Export) -> bytes:
    """The export's bytes, packed; its hash is made here too, beside the rest of the load."""
    _ = export.sha256
    return bytes(pa.Codec("zstd").compress(export.content, asbytes=True))


def _originals(
    opened: Sequence[OpenExport], packed: Sequence[bytes], kept: Mapping[str, bytes]
) -> pa.Table:
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
