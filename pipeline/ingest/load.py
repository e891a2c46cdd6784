"""Exports to the site's store: idempotent, keyed by content, every row accounted for.

The store is rebuilt whole when a file came, went, or site.toml says something else about reading
them; it is then the same function of the same bytes whatever was loaded before, in whichever
order. Files that have vanished from exports/ are read again from the copy the store keeps.
"""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import numpy as np
import pyarrow as pa

from pipeline import __version__
from pipeline import site as site_file
from pipeline.errors import InputError, SiteFileError, StoreError, UserError
from pipeline.ingest import merge
from pipeline.ingest.export_file import (
    Cells,
    FileReading,
    OpenExport,
    Rejects,
    long_names,
    open_export,
    read_export,
)
from pipeline.ingest.exports import Export, list_exports
from pipeline.ingest.exports import read_export as read_bytes
from pipeline.ingest.merge import Series
from pipeline.site import Channel, Site, parse_fingerprint, read_site
from pipeline.store import open_store, read_meta, read_originals, store_columns, write_store
from pipeline.thresholds import THRESHOLDS
from pipeline.units import UNITS

Progress = Callable[[str], None]
CONFLICT_REASON = "every reading contradicts another row of the same instant"
EMPTY_REASON = "no cell holds a reading"


@dataclass(frozen=True)
class FileAccount:
    """What became of one file's rows: n_read = n_loaded + n_rejected + n_repeated."""

    path: str
    logger: str
    kind: str
    timezone: str
    n_read: int
    n_loaded: int
    n_rejected: int
    n_repeated: int
    n_bad_cells: int
    is_present: bool
    was_loaded: bool
    unused_columns: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class LoadReport:
    """What a load found and did.

    is_rebuilt : False where the store was up to date
    copies : (path, path of the file it is the same as), not loaded twice
    not_read : files that are no tables by their names
    """

    store: Path
    is_rebuilt: bool
    files: tuple[FileAccount, ...]
    n_conflicts: int
    copies: tuple[tuple[str, str], ...] = ()
    not_read: tuple[str, ...] = ()

    def total(self, name: str) -> int:
        """The sum of one count over the files: 'n_read', 'n_loaded', ..."""
        return sum(int(getattr(f, name)) for f in self.files)


@dataclass
class _Logger:
    """The files of one logger, in the order of (first instant, hash)."""

    name: str
    files: list[FileReading] = field(default_factory=list)
    number: list[int] = field(default_factory=list)  # file_id of each
    kind: str = "sampled"
    ends: list[int] = field(default_factory=list)
    spans: list[tuple[int, int]] = field(default_factory=list)
    until: int | None = None


def load_site(site_dir: Path | str, progress: Progress | None = None) -> LoadReport:
    """Bring the store of the site in `site_dir` up to date with its exports/ and site.toml.

    progress : called with one short line per step

    Raises InputError or SiteFileError where something cannot be used as it is; the store on disk
    is then the old one.
    """
    site = read_site(site_dir)
    tell = progress or (lambda line: None)
    exports, copies, not_read = _exports(site)
    fingerprint = _fingerprint(site)
    known = _known_files(site, fingerprint)
    present = {e.sha256: e.path for e in exports}
    if known is not None and known == {sha: (path, True) for sha, path in present.items()}:
        return _report(site, set(present), False, copies, not_read)
    vanished = _vanished(site, set(present))
    before = set() if known is None else set(known)
    everything = sorted(exports + vanished, key=lambda e: (e.path, e.sha256))
    if not everything:
        raise InputError(
            "there are no exports to load",
            file=site.folder / "exports",
            expected="the loggers' CSV files",
            hint="copy them into exports/, in any folder and under any name",
        )
    opened = []
    for export in everything:
        tell(f"looking at {export.path}")
        opened.append(open_export(export, _said(site, export.path)))
    used = _match_channels(site, opened)
    readings = []
    for open_, channels in zip(opened, used, strict=True):
        tell(f"reading {open_.export.path}")
        readings.append(read_export(open_, channels, site))
    tell("writing the store")
    tables = _tables(site, readings, {e.sha256 for e in vanished})
    meta = {"fingerprint": fingerprint, "site_id": site.id, "tool": __version__}
    write_store(site.store_path, tables, _originals(everything), meta)
    return _report(site, before, True, copies, not_read)


# -------------------------------------------------------------------- which files, which channels


def _exports(site: Site) -> tuple[list[Export], tuple[tuple[str, str], ...], tuple[str, ...]]:
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
    exports: dict[str, Export] = {}
    copies = []
    for path in sorted(tables):
        export = read_bytes(path, site.folder)
        if export.sha256 in exports:
            copies.append((export.path, exports[export.sha256].path))
        else:
            exports[export.sha256] = export
    return list(exports.values()), tuple(copies), tuple(not_read)


def matches(path: str, pattern: str) -> bool:
    """Whether a path below the site folder is meant by a pattern of site.toml.

    A packed export answers to its name with and without the .gz.
    """
    pattern = pattern.replace("\\", "/").removeprefix("./")
    names = (path, path.removesuffix(".gz"))
    return any(fnmatch.fnmatchcase(name, pattern) for name in names)


def logger_name(path: str, site: Site) -> str:
    """The logger a file belongs to; see store.file.logger in columns.toml."""
    for export in site.exports:
        if matches(path, export.files):
            return export.files
    for channel in site.channels:
        if channel.file and re.search(r"[*?\[]", channel.file) and matches(path, channel.file):
            return channel.file
    pure = PurePosixPath(path)
    stem = pure.name.split(".")[0]
    plain = re.sub(r"[\d_\-. ()]+$|^[\d_\-. ()]+", "", re.sub(r"\d+", "", stem))
    plain = re.sub(r"[_\-. ]{2,}", "_", plain) or "logger"
    folder = pure.parent.as_posix().removeprefix("exports").strip("/")
    return f"{folder}/{plain}" if folder else plain


def _said(site: Site, path: str) -> site_file.Export | None:
    return next((e for e in site.exports if matches(path, e.files)), None)


def _match_channels(site: Site, opened: list[OpenExport]) -> list[dict[int, Channel]]:
    """Per file, the channels found in it by their number in site.channels.

    Raises SiteFileError with every [[channel]] and [[export]] that names what is not there.
    """
    problems: list[UserError] = []
    used: list[dict[int, Channel]] = [{} for _ in opened]
    names = [long_names(o) if o.is_long else [] for o in opened]
    loggers = [logger_name(o.export.path, site) for o in opened]
    paths = [o.export.path for o in opened]
    for said in site.exports:
        if not any(matches(p, said.files) for p in paths):
            problems.append(_no_such_file(site, said.files, said.line, paths))
    for number, channel in enumerate(site.channels):
        files = [k for k, p in enumerate(paths) if channel.file is None or matches(p, channel.file)]
        if not files:
            problems.append(_no_such_file(site, str(channel.file), channel.line, paths))
            continue
        found = [
            k
            for k in files
            if channel.column in names[k] or opened[k].column_number(channel.column) is not None
        ]
        if not found:
            where = paths[files[0]] if len(files) == 1 else f"any of {len(files)} exports"
            there = [
                f"{paths[k]}: {', '.join(names[k] or opened[k].dialect.header)}" for k in files
            ]
            problems.append(
                UserError(
                    f"there is no column {channel.column!r} in {where}",
                    file=site.path,
                    line=channel.line,
                    found="the columns are " + "; ".join(there),
                    expected="one of these, written as in the file",
                )
            )
            continue
        of = sorted({loggers[k] for k in found})
        if len(of) > 1:
            problems.append(
                UserError(
                    f"the column {channel.column!r} is in the files of several loggers",
                    file=site.path,
                    line=channel.line,
                    found=", ".join(paths[k] for k in found),
                    expected=f'file = "{paths[found[0]]}", or [[export]] blocks that say which '
                    "files belong together",
                )
            )
            continue
        if channel.role != "ignore":
            for k in found:
                used[k][number] = channel
    if problems:
        raise SiteFileError(problems)
    return used


def _no_such_file(site: Site, pattern: str, line: int | None, paths: list[str]) -> UserError:
    return UserError(
        f"no export is called {pattern}",
        file=site.path,
        line=line,
        found=", ".join(paths) or "no exports at all",
        expected="a pattern that one of these fits, such as exports/plenum*.csv",
    )


def _fingerprint(site: Site) -> str:
    # The hold rule shapes state segments, so a site's own value for it is part of the reading.
    return f"{parse_fingerprint(site)}-{_hold_intervals(site):g}"


def _hold_intervals(site: Site) -> float:
    return site.thresholds.get("hold_max_intervals", THRESHOLDS["hold_max_intervals"].value)


# ------------------------------------------------------------------------ what the store knows


def _known_files(site: Site, fingerprint: str) -> dict[str, tuple[str, bool]] | None:
    """hash -> (path, is_present) of the files in a store that was read by the same rules."""
    meta = read_meta(site.store_path)
    if meta is None or meta.get("fingerprint") != fingerprint:
        return None
    try:
        connection = open_store(site.store_path)
    except StoreError:
        return None
    with connection:
        rows = connection.execute("select sha256, path, is_present from file").fetchall()
    return {sha: (path, present) for sha, path, present in rows}


def _vanished(site: Site, present: set[str]) -> list[Export]:
    """Files that the store was made from and that are no longer in exports/."""
    return [
        Export(path, f"{site.folder / path} (no longer there)", _unpack(packed, n_bytes), sha)
        for sha, path, n_bytes, packed in read_originals(site.store_path)
        if sha not in present
    ]


def _originals(exports: list[Export]) -> pa.Table:
    codec = pa.Codec("zstd")
    return pa.table(
        {
            "sha256": [e.sha256 for e in exports],
            "path": [e.path for e in exports],
            "n_bytes": pa.array([len(e.content) for e in exports], pa.int64()),
            "bytes": pa.array([codec.compress(e.content, asbytes=True) for e in exports]),
        }
    )


def _unpack(packed: bytes, n_bytes: int) -> bytes:
    return bytes(pa.Codec("zstd").decompress(packed, n_bytes, asbytes=True))


_ACCOUNT = (
    *("path", "logger", "kind", "timezone", "n_read", "n_loaded", "n_rejected", "n_repeated"),
    *("n_bad_cells", "is_present", "sha256", "unused_columns", "notes"),
)


def _report(
    site: Site,
    before: set[str],
    is_rebuilt: bool,
    copies: tuple[tuple[str, str], ...],
    not_read: tuple[str, ...],
) -> LoadReport:
    columns = ", ".join(_ACCOUNT)
    with open_store(site.store_path) as connection:
        rows = connection.execute(f"select {columns} from file order by file_id").fetchall()
        conflicts = connection.execute("select count(*) from conflict").fetchone()
    files = []
    for row in rows:
        counted = dict(zip(_ACCOUNT, row, strict=True))
        sha, unused, notes = (counted.pop(k) for k in ("sha256", "unused_columns", "notes"))
        counted["was_loaded"] = sha in before
        counted["unused_columns"] = tuple(unused.split("\n")) if unused else ()
        counted["notes"] = tuple(notes.split("\n")) if notes else ()
        files.append(FileAccount(**counted))
    return LoadReport(
        site.store_path,
        is_rebuilt,
        tuple(files),
        int(conflicts[0]) if conflicts else 0,
        copies,
        not_read,
    )


# ---------------------------------------------------------------------------- readings to tables


def _tables(site: Site, readings: list[FileReading], vanished: set[str]) -> dict[str, pa.Table]:
    readings = sorted(readings, key=lambda r: (r.first_ts, r.opened.export.sha256))
    loggers = _loggers(site, readings)
    parts: dict[str, list[pa.Table]] = {"reading": [], "state": [], "conflict": []}
    channel_rows: list[tuple[object, ...]] = []
    new = [np.zeros(len(r.ts), bool) for r in readings]
    repeated = [np.zeros(len(r.ts), bool) for r in readings]
    conflicting = [np.zeros(len(r.ts), bool) for r in readings]
    for number, channel in enumerate(site.channels):
        logger = next((g for g in loggers if any(number in r.cells for r in g.files)), None)
        if logger is None:
            continue
        series = _series(logger, number)
        settled = merge.settle(series)
        kept = np.zeros(len(series.ts), bool)
        kept[settled.kept] = True
        for file_id in np.unique(series.file):
            here = series.file == file_id
            for flags, marks in (
                (new, kept),
                (repeated, settled.repeated),
                (conflicting, settled.conflicting),
            ):
                flags[file_id - 1][series.row[here & marks]] = True
        channel_id = number + 1
        channel_rows.append(_store_channel(site, logger, number, channel, series, settled, parts))
        _add_conflicts(parts["conflict"], channel_id, series, settled, readings)
    return _finished(
        site, readings, loggers, vanished, parts, channel_rows, new, repeated, conflicting
    )


def _loggers(site: Site, readings: list[FileReading]) -> list[_Logger]:
    by_name: dict[str, _Logger] = {}
    for file_id, reading in enumerate(readings, start=1):
        name = logger_name(reading.opened.export.path, site)
        logger = by_name.setdefault(name, _Logger(name))
        logger.files.append(reading)
        logger.number.append(file_id)
        said = reading.opened.said
        if said is not None and said.until_ts is not None:
            logger.until = said.until_ts
    for logger in by_name.values():
        # A piece too short to tell follows the logger's other files, by most rows.
        votes: dict[str, int] = {}
        for reading in logger.files:
            if reading.kind is not None:
                votes[reading.kind] = votes.get(reading.kind, 0) + len(reading.ts)
        if votes:
            logger.kind = max(sorted(votes), key=lambda k: votes[k])
        else:
            numbers = {n for r in logger.files for n in r.cells}
            only_states = all(site.channels[n].meaning.kind == "state" for n in numbers)
            logger.kind = "change_of_state" if only_states and numbers else "sampled"
        first_last = [(r.first_ts, max(r.last_ts, r.stop_ts or r.last_ts)) for r in logger.files]
        if logger.kind == "sampled":
            logger.ends = [r.last_ts for r in logger.files]
        else:
            logger.ends = merge.file_ends(first_last, logger.until)
        logger.spans = merge.joined_spans(first_last, logger.ends)
    return list(by_name.values())


def _series(logger: _Logger, number: int) -> Series:
    ts, value, file, row = [], [], [], []
    for reading, file_id in zip(logger.files, logger.number, strict=True):
        cells = reading.cells.get(number)
        if cells is None:
            continue
        ts.append(reading.ts[cells.row])
        value.append(cells.value)
        file.append(np.full(len(cells.row), file_id))
        row.append(cells.row)
    return Series(
        np.concatenate(ts), np.concatenate(value), np.concatenate(file), np.concatenate(row)
    )


def _store_channel(
    site: Site,
    logger: _Logger,
    number: int,
    channel: Channel,
    series: Series,
    settled: merge.Settled,
    parts: dict[str, list[pa.Table]],
) -> tuple[object, ...]:
    """Add one channel's readings or segments; returns its row of store.channel."""
    from pipeline.ingest.export_file import is_regular

    channel_id = number + 1
    ts, value = series.ts[settled.kept], series.value[settled.kept]
    is_state = channel.meaning.kind == "state" and channel.form == "level"
    is_sampled = logger.kind == "sampled" or (
        logger.kind == "long" and (not is_state or is_regular(ts))
    )
    if is_state and is_sampled:
        start, end, on = merge.sampled_segments(ts, value, _hold_intervals(site))
    elif is_state:
        broken = [r.cells[number].broken_ts for r in logger.files if number in r.cells]
        conflicts = np.array([series.ts[a] for a, _ in settled.pairs], np.int64)
        unknown = np.unique(np.concatenate([*broken, conflicts]))
        start, end, on = merge.change_segments(ts, value, unknown, logger.spans)
    if is_state:
        parts["state"].append(
            pa.table(
                {
                    "channel_id": np.full(len(start), channel_id, np.int32),
                    "start_ts": start,
                    "end_ts": end,
                    "is_on": on,
                }
            )
        )
    else:
        parts["reading"].append(
            pa.table(
                {"channel_id": np.full(len(ts), channel_id, np.int32), "ts": ts, "value": value}
            )
        )
    if is_sampled:
        interval = merge.nominal_interval_us(ts)
    else:
        steps = np.diff(np.unique(np.concatenate([r.ts for r in logger.files])))
        interval = float(steps.min()) if len(steps) else 1e6
    unit = _written_unit(channel)
    return (
        channel_id,
        logger.name,
        channel.column,
        channel.role,
        channel.zone,
        channel.damper,
        "state" if is_state else "analog",
        channel.form,
        unit,
        None if channel.accuracy is None else channel.accuracy * _scale(unit),
        is_sampled,
        None if interval is None else interval / 1e6,
        len(ts),
        int(ts[0]) if len(ts) else None,
        int(ts[-1]) if len(ts) else None,
    )


def _written_unit(channel: Channel) -> str:
    from pipeline.ingest.columns import split_header

    if channel.unit is not None:
        return channel.unit
    unit = split_header(channel.column)[1]
    return unit if unit is not None and channel.meaning.kind == "analog" else "state"


def _scale(unit: str) -> float:
    return UNITS[unit].scale


def _add_conflicts(
    parts: list[pa.Table],
    channel_id: int,
    series: Series,
    settled: merge.Settled,
    readings: list[FileReading],
) -> None:
    def line(cell: int) -> int:
        return int(readings[int(series.file[cell]) - 1].line[int(series.row[cell])])

    if not settled.pairs:
        return
    a, b = (np.array(side, np.int64) for side in zip(*settled.pairs, strict=True))
    parts.append(
        pa.table(
            {
                "channel_id": np.full(len(a), channel_id, np.int32),
                "ts": series.ts[a],
                "value_a": series.value[a],
                "file_a": series.file[a].astype(np.int32),
                "line_a": np.array([line(k) for k in a], np.int64),
                "value_b": series.value[b],
                "file_b": series.file[b].astype(np.int32),
                "line_b": np.array([line(k) for k in b], np.int64),
            }
        )
    )


def _finished(
    site: Site,
    readings: list[FileReading],
    loggers: list[_Logger],
    vanished: set[str],
    parts: dict[str, list[pa.Table]],
    channel_rows: list[tuple[object, ...]],
    new: list[np.ndarray],
    repeated: list[np.ndarray],
    conflicting: list[np.ndarray],
) -> dict[str, pa.Table]:
    file_rows: list[tuple[object, ...]] = []
    reject_rows: list[tuple[object, ...]] = []
    repeat_rows: list[tuple[object, ...]] = []
    place = {id(r): (g, k) for g in loggers for k, r in enumerate(g.files)}
    for file_id, reading in enumerate(readings, start=1):
        loaded = new[file_id - 1]
        again = ~loaded & repeated[file_id - 1]
        contradicted = ~loaded & ~again & conflicting[file_id - 1]
        empty = ~loaded & ~again & ~contradicted
        rejects = reading.rows_rejected
        raw = reading.opened.text.content.split(b"\n") if (empty | contradicted).any() else []
        for flags, reason in ((empty, EMPTY_REASON), (contradicted, CONFLICT_REASON)):
            lines = reading.line[flags]
            rejects.add(lines, None, [raw[x - 1].decode() for x in lines], [reason] * len(lines))
        n_rejected = sum(len(x) for x in rejects.line)
        used_lines = set(reading.line[loaded | again].tolist())
        bad = list(_flat(file_id, reading.bad_cells, used_lines))
        reject_rows += sorted([*_flat(file_id, rejects, None), *bad], key=lambda r: r[1:3])
        repeat_rows += [(file_id, int(x)) for x in reading.line[again]]
        logger, k = place[id(reading)]
        export, dialect = reading.opened.export, reading.opened.dialect
        file_rows.append(
            (
                file_id,
                export.path,
                export.sha256,
                logger.name,
                len(export.content),
                reading.opened.text.encoding,
                dialect.delimiter,
                dialect.decimal_sign,
                reading.kind or logger.kind,
                reading.clock.timezone,
                reading.clock.timezone_source,
                reading.clock.time_format,
                reading.opened.text.n_lines,
                dialect.n_preamble,
                dialect.n_header,
                reading.n_blank,
                reading.n_footer,
                reading.n_continued,
                reading.n_read,
                int(loaded.sum()),
                n_rejected,
                int(again.sum()),
                len(bad),
                reading.first_ts,
                reading.last_ts,
                logger.ends[k],
                export.sha256 not in vanished,
                "\n".join(reading.unused) or None,
                "\n".join(reading.notes) or None,
            )
        )
        if reading.n_read != int(loaded.sum()) + n_rejected + int(again.sum()):
            raise AssertionError(f"{export.path}: rows do not add up")
    return {
        "file": _table("file", file_rows),
        "channel": _table("channel", channel_rows),
        "reading": _joined("reading", parts),
        "state": _joined("state", parts),
        "reject": _table("reject", reject_rows),
        "repeat": _table("repeat", repeat_rows),
        "conflict": _joined("conflict", parts),
    }


def _flat(
    file_id: int, rejects: Rejects, lines: set[int] | None
) -> list[tuple[int, int, str, str, str]]:
    rows = []
    for numbers, column, texts, reasons in zip(
        rejects.line, rejects.column, rejects.text, rejects.reason, strict=True
    ):
        for line, text, reason in zip(numbers.tolist(), texts, reasons, strict=True):
            if lines is None or line in lines:
                rows.append((file_id, line, column or "", text, reason))
    return rows


_ARROW_TYPES = {
    "INTEGER": pa.int32(),
    "BIGINT": pa.int64(),
    "DOUBLE": pa.float64(),
    "BOOLEAN": pa.bool_(),
    "VARCHAR": pa.string(),
}


def _table(name: str, rows: list[tuple[object, ...]]) -> pa.Table:
    columns = store_columns()[name]
    values = list(zip(*rows, strict=True)) if rows else [() for _ in columns]
    arrays = []
    for column, cells in zip(columns, values, strict=True):
        if name == "reject" and column.name == "column_name":
            cells = tuple(c or None for c in cells)
        arrays.append(pa.array(cells, _ARROW_TYPES[column.type]))
    return pa.table(arrays, names=[c.name for c in columns])


def _joined(name: str, parts: dict[str, list[pa.Table]]) -> pa.Table:
    return pa.concat_tables(parts[name]) if parts[name] else _table(name, [])


__all__ = ["Cells", "FileAccount", "LoadReport", "load_site", "logger_name", "matches"]
