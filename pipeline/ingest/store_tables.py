"""What was read from a site's exports, as the tables of its store."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa

from pipeline.ingest import merge
from pipeline.ingest.columns import split_header
from pipeline.ingest.file_clock import is_regular
from pipeline.ingest.file_reading import FileReading, Rejects
from pipeline.ingest.match import logger_names
from pipeline.ingest.merge import Series
from pipeline.site import Channel, Site
from pipeline.store import store_columns
from pipeline.thresholds import THRESHOLDS
from pipeline.units import UNITS

CONFLICT_REASON = "every reading contradicts another row of the same instant"
EMPTY_REASON = "no cell holds a reading"


def store_tables(
    site: Site, readings: list[FileReading], vanished: Collection[str]
) -> dict[str, pa.Table]:
    """Every table of the store by its name, in the order in which rows are kept.

    readings : the site's files in any order; vanished : hashes of those no longer in exports/
    """
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


def hold_intervals(site: Site) -> float:
    """How many nominal intervals a sampled state holds: the site's own number, else the usual."""
    return site.thresholds.get("hold_max_intervals", THRESHOLDS["hold_max_intervals"].value)


# ------------------------------------------------------------------------ what the store knows


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


def _loggers(site: Site, readings: list[FileReading]) -> list[_Logger]:
    by_name: dict[str, _Logger] = {}
    paths = [r.opened.export.path for r in readings]
    names = logger_names(paths, [set(r.cells) for r in readings], site)
    for file_id, (reading, name) in enumerate(zip(readings, names, strict=True), start=1):
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
    channel_id = number + 1
    ts, value = series.ts[settled.kept], series.value[settled.kept]
    is_state = channel.meaning.kind == "state" and channel.form == "level"
    is_sampled = logger.kind == "sampled" or (
        logger.kind == "long" and (not is_state or is_regular(ts))
    )
    if is_state and is_sampled:
        start, end, on = merge.sampled_segments(ts, value, hold_intervals(site))
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
    vanished: Collection[str],
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
