"""Exports whose rows all come after those of a store: what they add to it.

What is added makes the store that reading everything anew would make; only the order in which rows
lie on disk differs. Wherever a later file may change what was made of an earlier one, or it cannot
be told from the store alone, there is nothing to add and the caller reads everything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

from pipeline.ingest import merge
from pipeline.ingest.accounts import Fates, Place, account_tables
from pipeline.ingest.going_on import Tail, Tails, read_tails
from pipeline.ingest.logger_clock import may_show_its_clock
from pipeline.ingest.match import export_block
from pipeline.ingest.merge import Times
from pipeline.ingest.reading import FileReading
from pipeline.ingest.store_tables import (
    conflicts,
    hold_intervals,
    rates,
    series_of,
    written_to_s,
)
from pipeline.site import Site
from pipeline.store import store_columns, store_table
from pipeline.units import MICROSECONDS

Row = dict[str, Any]


class NotSimplyLaterError(Exception):
    """These files do not just go on where the store ends; it says why. Never leaves the load."""


@dataclass(frozen=True)
class StoreEnd:
    """Where a store ends: what is needed of it to go on from there.

    files, channels, rates : rows of the store's tables; tails : by channel_id
    last_states : by channel_id the last segment (start, end, is_on)
    """

    files: Sequence[Row]
    channels: Sequence[Row]
    rates: Sequence[Row]
    tails: Mapping[int, Tail]
    last_states: Mapping[int, tuple[int, int, bool]]


def read_end(con: duckdb.DuckDBPyConnection, files: Sequence[Row]) -> StoreEnd:
    """The end of the store that is open; `files` : the rows of its table file."""
    names = [c.name for c in store_columns()["channel"]]
    rows = con.execute(f"select {', '.join(names)} from channel order by channel_id").fetchall()
    last = con.execute(
        "select channel_id, max(start_ts), arg_max(end_ts, start_ts), arg_max(is_on, start_ts)"
        " from state group by channel_id"
    ).fetchall()
    columns = [c.name for c in store_columns()["rate"]]
    of_rates = con.execute(f"select {', '.join(columns)} from rate").fetchall()
    return StoreEnd(
        files,
        [dict(zip(names, row, strict=True)) for row in rows],
        [dict(zip(columns, row, strict=True)) for row in of_rates],
        read_tails(con),
        {channel_id: (start, end, is_on) for channel_id, start, end, is_on in last},
    )


@dataclass
class Added:
    """Rows that a store gets, tables of it that are written whole, and what of it has moved."""

    rows: dict[str, list[pa.Table]] = field(default_factory=dict)
    anew: dict[str, pa.Table] = field(default_factory=dict)
    file_ends: dict[int, int] = field(default_factory=dict)
    states_again: list[tuple[int, int]] = field(default_factory=list)

    def put(self, table: str, rows: pa.Table) -> None:
        """Some more rows of one table."""
        self.rows.setdefault(table, []).append(rows)

    def tables(self) -> dict[str, pa.Table]:
        """All rows by table."""
        return {name: pa.concat_tables(parts) for name, parts in self.rows.items()}


def added_rows(
    site: Site, end: StoreEnd, readings: Sequence[FileReading], names: Sequence[str]
) -> Added:
    """What the new files add to the store.

    readings : the new files, on their loggers' clocks; names : their loggers

    Raises NotSimplyLaterError where the store has to be made anew.
    """
    pairs = sorted(
        zip(readings, names, strict=True), key=lambda p: (p[0].first_ts, p[0].opened.export.sha256)
    )
    if _order(pairs[0][0]) <= max((f["first_ts"], f["sha256"]) for f in end.files):
        raise NotSimplyLaterError("files are numbered in the order in which they begin")
    files = [reading for reading, _ in pairs]
    added, fates = Added(), Fates(files)
    tails, anew = dict(end.tails), {c["channel_id"]: dict(c) for c in end.channels}
    changed_rates: dict[int, pa.Table] = {}
    places: list[Place] = [Place("", "", 0)] * len(files)
    for name in dict.fromkeys(names):
        mine = [k for k, (_, n) in enumerate(pairs) if n == name]
        logger = _Logger(site, end, name, files, mine)
        for k, end_ts in zip(mine, logger.ends, strict=True):
            places[k] = Place(name, logger.kind, end_ts)
        added.file_ends |= logger.file_ends
        for number in logger.numbers:
            made = _Longer(site, end, logger, number, fates)
            anew[number + 1] |= made.channel
            tails[number + 1] = made.tail
            for table, rows in made.rows.items():
                added.put(table, rows)
            added.states_again += made.states_again
            if made.rates is not None:
                changed_rates[number + 1] = made.rates
    n_before = len(end.files)
    for table, rows in account_tables(files, fates, places, ()).items():
        added.put(table, _numbered_from(rows, n_before))
    added.rows["conflict"] = [
        _numbered_from(rows, n_before) for rows in added.rows.get("conflict", [])
    ] or [store_table("conflict", {})]
    added.anew["channel"] = store_table("channel", _columns([anew[c] for c in sorted(anew)]))
    if changed_rates:
        added.anew["rate"] = _rates_with(end.rates, changed_rates)
    kept = Tails()
    for channel_id in sorted(tails):
        kept.add(channel_id, tails[channel_id])
    added.anew |= kept.tables()
    return added


def _order(reading: FileReading) -> tuple[int, str]:
    return reading.first_ts, reading.opened.export.sha256


def _numbered_from(rows: pa.Table, n_before: int) -> pa.Table:
    """The rows with their files' numbers counted on from those in the store."""
    for name in ("file_id", "file_a", "file_b"):
        if name in rows.column_names:
            k = rows.column_names.index(name)
            moved = pa.array(rows[name].to_numpy(zero_copy_only=False) + n_before, rows[name].type)
            rows = rows.set_column(k, name, moved)
    return rows


def _columns(rows: Sequence[Row]) -> dict[str, list[Any]]:
    return {name: [row[name] for row in rows] for name in rows[0]}


def _rates_with(before: Sequence[Row], changed: Mapping[int, pa.Table]) -> pa.Table:
    """store.rate with the rows of some channels put in the place of theirs."""
    rows = [r for r in before if r["channel_id"] not in changed]
    rows += [row for table in changed.values() for row in table.to_pylist()]
    rows.sort(key=lambda r: (r["channel_id"], r["start_ts"]))
    return store_table("rate", _columns(rows) if rows else {})


class _Logger:
    """A logger's new files, and how they go on from those in the store.

    new : the new files of all loggers, in the order of their numbers; files : this one's
    numbers : its channels' places in site.channels; ends : how far the new files' states are known
    file_ends : the same of files in the store for which that changes; spans : of all its files
    shared, longer : instants that channels have in common
    """

    def __init__(
        self,
        site: Site,
        end: StoreEnd,
        name: str,
        new: list[FileReading],
        mine: list[int],
    ) -> None:
        self.new = new
        self.files = files = [new[k] for k in mine]
        self.file_ids = [k + 1 for k in mine]
        self.shared: dict[tuple[int, ...], Times] = {}
        self.longer: dict[tuple[int, bytes], Times] = {}
        before = sorted((f for f in end.files if f["logger"] == name), key=lambda f: f["file_id"])
        if not before:
            raise NotSimplyLaterError("there is a logger that the store does not know")
        self.kind: str = before[0]["kind"]
        channels = [c for c in end.channels if c["logger"] == name]
        self.numbers = [c["channel_id"] - 1 for c in channels]
        if any(r.kind not in (None, self.kind) for r in files):
            raise NotSimplyLaterError("what most rows say of the logger's kind may change")
        if self.kind == "long" and any(c["kind"] == "state" for c in channels):
            raise NotSimplyLaterError("states of a long file are told by all of their rows")
        if not {n for r in files for n in r.cells} <= set(self.numbers):
            raise NotSimplyLaterError("there is a channel that the store does not know")
        if any(c["channel_id"] not in end.tails for c in channels):
            raise NotSimplyLaterError("a channel has no reading yet, or totals what it counts")
        said = [r.opened.said for r in files] + [export_block(site, f["path"]) for f in before]
        if any(block is not None and block.until_ts for block in said):
            raise NotSimplyLaterError("the site file says until when the log ran")
        if not all(len(r.ts) for r in files):
            raise NotSimplyLaterError("a file has no row with a time")
        last_ts = max(f["last_ts"] for f in before)
        broken = [c.broken_ts for r in files for c in r.cells.values()]
        first_ts = min(int(a.min()) for a in (*(r.ts for r in files), *broken) if len(a))
        if first_ts <= last_ts:
            raise NotSimplyLaterError("there are rows that are not later than those in the store")
        self._refuse_clocks(site, before)
        self.file_ends: dict[int, int] = {}
        first_last = [(r.first_ts, max(r.last_ts, r.stop_ts or r.last_ts)) for r in files]
        if self.kind == "sampled":
            self.ends = [r.last_ts for r in files]
        else:
            latest = before[-1]
            known = (latest["first_ts"], latest["end_ts"])
            latest_end, *self.ends = merge.file_ends([known, *first_last], None)
            if latest_end != latest["end_ts"]:
                self.file_ends[latest["file_id"]] = latest_end
        known_ends = {f["file_id"]: f["end_ts"] for f in before} | self.file_ends
        ends = [known_ends[f["file_id"]] for f in before]
        self.spans = merge.joined_spans(
            [(f["first_ts"], f["end_ts"]) for f in before] + first_last, ends + self.ends
        )

    def _refuse_clocks(self, site: Site, before: Sequence[Row]) -> None:
        sources = {f["timezone_source"] for f in before}
        sources |= {r.clock.timezone_source for r in self.files}
        if "rows" in sources or any(r.clock.fixed_zone is not None for r in self.files):
            raise NotSimplyLaterError("a file shows that its clock did not follow the zone")
        spans = [(f["first_ts"], f["last_ts"]) for f in before if f["timezone_source"] == "assumed"]
        spans += [
            (r.first_ts, r.last_ts) for r in self.files if r.clock.timezone_source == "assumed"
        ]
        if spans and may_show_its_clock(
            site, self.numbers, min(a for a, _ in spans), max(b for _, b in spans)
        ):
            raise NotSimplyLaterError("schedules may show whether the clock followed the zone")


class _Longer:
    """One channel with the new files' cells behind what the store has of it.

    channel : what changes in its row of store.channel; rates : all its rows of store.rate
    rows : more rows of reading, state and conflict; states_again : see Additions
    """

    def __init__(
        self, site: Site, end: StoreEnd, logger: _Logger, number: int, fates: Fates
    ) -> None:
        self.number, self.logger = number, logger
        self.rows: dict[str, pa.Table] = {}
        self.states_again: list[tuple[int, int]] = []
        self.rates: pa.Table | None = None
        before = next(c for c in end.channels if c["channel_id"] == number + 1)
        tail = end.tails[number + 1]
        ts, value, contradicted = self._settled(fates)
        self.channel: Row = {}
        if len(ts):
            self.channel = {"n_reading": before["n_reading"] + len(ts), "last_ts": int(ts[-1])}
        last = (int(ts[-1]), float(value[-1])) if len(ts) else (tail.last_ts, tail.last_value)
        is_state, last_state = before["kind"] == "state", end.last_states.get(number + 1)
        if not is_state and len(ts):
            ids = np.full(len(ts), number + 1, np.int32)
            self.rows["reading"] = store_table(
                "reading", {"channel_id": ids, "ts": ts, "value": value}
            )
        if before["is_sampled"]:
            if len(ts) == 0:
                self.tail = tail
                return
            key = (id(tail.ts), ts.tobytes())
            times = logger.longer.get(key) or _longer_times(tail, ts)
            logger.longer[key] = times
            self.tail = Tail(*last, ts=times.ts)
            nominal = times.nominal_us
            assert nominal is not None
            self.channel["interval_s"] = nominal / MICROSECONDS
            if is_state:
                self._put_states(_sampled_end(site, times, tail, value), last_state)
            else:
                self.rates = rates(number + 1, times)
            return
        stamps = [r.ts for r in logger.files]
        self.channel["interval_s"] = written_to_s(stamps, before["interval_s"])
        cells = [r.cells[number] for r in logger.files if number in r.cells]
        unknown = np.unique(
            np.concatenate([np.array([], np.int64), contradicted, *(c.broken_ts for c in cells)])
        )
        if tail.unknown_ts is not None:
            unknown = np.append(tail.unknown_ts, unknown)
        after = unknown[unknown >= last[0]]
        self.tail = Tail(*last, int(after[0]) if len(after) else None)
        if is_state:
            segments = merge.change_segments(
                np.append(tail.last_ts, ts), np.append(tail.last_value, value), unknown,
                logger.spans,
            )  # fmt: skip
            self._put_states(segments, last_state)

    def _settled(self, fates: Fates) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Instants and values of the cells that are used, and instants that contradict."""
        logger = self.logger
        if not any(self.number in r.cells for r in logger.files):
            return np.array([], np.int64), np.array([]), np.array([], np.int64)
        series = series_of(logger.files, logger.file_ids, self.number, logger.shared)
        settled = merge.settle(series)
        fates.mark(series, settled)
        found = conflicts(self.number + 1, series, settled, logger.new)
        if found.num_rows:
            self.rows["conflict"] = found
        ts, value = series.ts, series.value
        contradicted = np.array([ts[a] for a, _ in settled.pairs], np.int64)
        if settled.kept is not None:
            ts, value = ts[settled.kept], value[settled.kept]
        return ts, value, contradicted

    def _put_states(
        self,
        segments: tuple[np.ndarray, np.ndarray, np.ndarray],
        last: tuple[int, int, bool] | None,
    ) -> None:
        """Put segments that begin at the last reading before behind those that the store has."""
        start, end, is_on = segments
        if last is not None and len(start):
            joins = last[1] >= start[0] and last[2] == bool(is_on[0])
            if joins:
                start = np.append(last[0], start[1:])
            elif last[1] > start[0]:
                raise AssertionError("a state is on and off at once")
            if joins and last[1] == end[0]:
                start, end, is_on = start[1:], end[1:], is_on[1:]
            elif joins:
                self.states_again.append((self.number + 1, last[0]))
        if len(start):
            self.rows["state"] = store_table(
                "state",
                {
                    "channel_id": np.full(len(start), self.number + 1, np.int32),
                    "start_ts": start,
                    "end_ts": end,
                    "is_on": is_on,
                },
            )


def _longer_times(tail: Tail, ts: np.ndarray) -> Times:
    """All instants of a channel read at an interval.

    Raises NotSimplyLaterError if with the new ones its interval was another before.
    """
    assert tail.ts is not None
    times = Times(np.append(tail.ts, ts))
    n_settled = len(tail.ts) - 1  # the last one belongs to what follows
    if n_settled and not np.array_equal(
        Times(tail.ts).nominal_by_reading[:n_settled], times.nominal_by_reading[:n_settled]
    ):
        raise NotSimplyLaterError("with the new rows earlier ones were read at another interval")
    return times


def _sampled_end(
    site: Site, times: Times, tail: Tail, value: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Segments from the last reading before on."""
    assert tail.ts is not None
    return merge.sampled_segments(
        times, np.append(tail.last_value, value), hold_intervals(site), len(tail.ts) - 1
    )
