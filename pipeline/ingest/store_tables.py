"""What was read from a site's exports, as the tables of its store."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pyarrow as pa

from pipeline.ingest import merge
from pipeline.ingest.accounts import Fates, Place, account_tables
from pipeline.ingest.columns import split_header
from pipeline.ingest.file_clock import is_regular
from pipeline.ingest.going_on import Tail, Tails
from pipeline.ingest.match import logger_names
from pipeline.ingest.merge import Series, Settled, Times
from pipeline.ingest.reading import FileReading
from pipeline.site import Channel, Site
from pipeline.store import store_table
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS, UNITS


def store_tables(
    site: Site, readings: list[FileReading], vanished: Collection[str]
) -> dict[str, pa.Table]:
    """Every table of the store by its name, in the order in which rows are kept; and its tails.

    readings : the site's files in any order; vanished : hashes of those no longer in exports/
    """
    readings = sorted(readings, key=lambda r: (r.first_ts, r.opened.export.sha256))
    loggers = _loggers(site, readings)
    fates = Fates(readings)
    names = ("channel", "rate", "reading", "state", "conflict")
    parts = {name: [store_table(name, {})] for name in names}
    shared: dict[tuple[int, ...], Times] = {}
    tails = Tails()
    for number in range(len(site.channels)):
        logger = next((g for g in loggers if any(number in r.cells for r in g.files)), None)
        if logger is None:
            continue
        series = series_of(logger.files, logger.file_ids, number, shared)
        settled = merge.settle(series)
        fates.mark(series, settled)
        parts["conflict"].append(conflicts(number + 1, series, settled, readings))
        made = _Made(site, logger, number, series, settled)
        if (tail := made.tail) is not None:
            tails.add(number + 1, tail)
        parts["channel"].append(made.channel_table())
        parts["rate"].append(made.rate_table())
        parts["state" if made.is_state else "reading"].append(made.table())
    places: list[Place] = [Place("", "", 0)] * len(readings)
    for logger in loggers:
        for file_id, end in zip(logger.file_ids, logger.ends, strict=True):
            places[file_id - 1] = Place(logger.name, logger.kind, end)
    tables = {name: pa.concat_tables(found) for name, found in parts.items()}
    return tables | tails.tables() | account_tables(readings, fates, places, vanished)


def hold_intervals(site: Site) -> float:
    """How many nominal intervals a sampled state holds: the site's own number, else the usual."""
    return site.thresholds.get("hold_max_intervals", THRESHOLDS["hold_max_intervals"].value)


@dataclass
class _Logger:
    """The files of one logger in the order of (first instant, hash), and how it logged.

    ends : how far each file's states are known; spans : stretches during which the logger ran
    """

    name: str
    files: list[FileReading] = field(default_factory=list)
    file_ids: list[int] = field(default_factory=list)
    kind: str = "sampled"
    ends: list[int] = field(default_factory=list)
    spans: list[tuple[int, int]] = field(default_factory=list)


def _loggers(site: Site, readings: list[FileReading]) -> list[_Logger]:
    by_name: dict[str, _Logger] = {}
    paths = [r.opened.export.path for r in readings]
    names = logger_names(paths, [set(r.cells) for r in readings], site)
    for file_id, (reading, name) in enumerate(zip(readings, names, strict=True), start=1):
        logger = by_name.setdefault(name, _Logger(name))
        logger.files.append(reading)
        logger.file_ids.append(file_id)
    for logger in by_name.values():
        logger.kind = _kind(site, logger)
        first_last = [(r.first_ts, max(r.last_ts, r.stop_ts or r.last_ts)) for r in logger.files]
        until = [r.opened.said.until_ts for r in logger.files if r.opened.said is not None]
        if logger.kind == "sampled":
            logger.ends = [r.last_ts for r in logger.files]
        else:
            logger.ends = merge.file_ends(first_last, max((u for u in until if u), default=None))
        logger.spans = merge.joined_spans(first_last, logger.ends)
    return list(by_name.values())


def _kind(site: Site, logger: _Logger) -> str:
    """The kind of a logger: what most rows of its files say.

    A piece too short to tell follows the others; where none can tell, states alone are taken for a
    log of changes.
    """
    votes: dict[str, int] = {}
    for reading in logger.files:
        if reading.kind is not None:
            votes[reading.kind] = votes.get(reading.kind, 0) + len(reading.ts)
    if votes:
        kind = max(sorted(votes), key=lambda kind: votes[kind])
        for reading in logger.files:
            if reading.kind not in (None, kind):
                seemed, taken = (str(k).replace("_", " ") for k in (reading.kind, kind))
                reading.notes.append(
                    f"By itself this file looks {seemed}; it was read as {taken} like most of its "
                    "logger's rows."
                )
        return kind
    channels = [site.channels[n] for n in {n for r in logger.files for n in r.cells}]
    only_states = bool(channels) and all(c.meaning.kind == "state" for c in channels)
    return "change_of_state" if only_states else "sampled"


def series_of(
    files: Sequence[FileReading],
    file_ids: Sequence[int],
    number: int,
    shared: dict[tuple[int, ...], Times],
) -> Series:
    """One channel's cells; channels with a cell in every row of their files share their times.

    files : of one logger, in the order of (first instant, hash); shared : is filled
    """
    found = [
        (reading, reading.cells[number], file_id)
        for reading, file_id in zip(files, file_ids, strict=True)
        if number in reading.cells
    ]
    parts = tuple((file_id, cells.row) for _, cells, file_id in found)
    if all(len(cells.row) == len(reading.ts) for reading, cells, _ in found):
        key = tuple(file_id for file_id, _ in parts)
        if key not in shared:
            shared[key] = Times(_joined([reading.ts for reading, _, _ in found]))
        times = shared[key]
    else:
        times = Times(_joined([reading.ts[cells.row] for reading, cells, _ in found]))
    return Series(times, _joined([cells.value for _, cells, _ in found]), parts)


def _joined(arrays: list[np.ndarray]) -> np.ndarray:
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)


class _Made:
    """One channel as the store keeps it: readings, or segments of a state."""

    def __init__(
        self, site: Site, logger: _Logger, number: int, series: Series, settled: Settled
    ) -> None:
        self.site, self.logger, self.number = site, logger, number
        self.channel: Channel = site.channels[number]
        self.times, self.value = series.times, series.value
        if settled.kept is not None:
            self.times = Times(series.ts[settled.kept])
            self.value = series.value[settled.kept]
        if self.channel.form == "total":
            ts, self.value, note = merge.increases(self.ts, self.value)
            self.times = Times(ts)
            if note:
                logger.files[-1].notes.append(f"{self.channel.column}: {note}")
        self.contradicted = np.array([series.ts[a] for a, _ in settled.pairs], np.int64)
        # Totals over an interval (percent on, seconds on, counts) stay numbers.
        self.is_state = self.channel.meaning.kind == "state" and self.channel.form == "level"
        self.is_sampled = logger.kind == "sampled" or (
            logger.kind == "long" and (not self.is_state or self._is_read_again_and_again())
        )

    def _is_read_again_and_again(self) -> bool:
        """Whether a state of a long file is read at an interval, not written when it changes.

        A state that changes at every row is a log of changes, however evenly a thermostat cycles.
        """
        if not is_regular(self.ts):
            return False
        again = float((np.diff(self.value) == 0).mean()) if len(self.value) > 1 else 0.0
        return again >= THRESHOLDS["sampled_state_repeat_share"].value

    @property
    def ts(self) -> np.ndarray:
        """The instants of its values, in the order of time."""
        return self.times.ts

    def table(self) -> pa.Table:
        """Rows of store.reading or of store.state."""
        if not self.is_state:
            return store_table(
                "reading",
                {
                    "channel_id": np.full(len(self.ts), self.number + 1, np.int32),
                    "ts": self.ts,
                    "value": self.value,
                },
            )
        if self.is_sampled:
            start, end, is_on = merge.sampled_segments(
                self.times, self.value, hold_intervals(self.site)
            )
        else:
            start, end, is_on = merge.change_segments(
                self.ts, self.value, self._unknown, self.logger.spans
            )
        return store_table(
            "state",
            {
                "channel_id": np.full(len(start), self.number + 1, np.int32),
                "start_ts": start,
                "end_ts": end,
                "is_on": is_on,
            },
        )

    @cached_property
    def _unknown(self) -> np.ndarray:
        """The instants from which a state logged by its changes is unknown."""
        files = [r for r in self.logger.files if self.number in r.cells]
        broken = [r.cells[self.number].broken_ts for r in files]
        return np.unique(np.concatenate([*broken, self.contradicted]))

    @property
    def tail(self) -> Tail | None:
        """What the next load goes on from; None where later rows do not simply follow."""
        if len(self.ts) == 0 or self.channel.form == "total":
            return None
        last_ts, last_value = int(self.ts[-1]), float(self.value[-1])
        if self.is_sampled:
            return Tail(last_ts, last_value, ts=self.ts)
        after = self._unknown[self._unknown >= last_ts]
        return Tail(last_ts, last_value, int(after[0]) if len(after) else None)

    def channel_table(self) -> pa.Table:
        """The channel's row of store.channel."""
        channel, unit = self.channel, self._unit()
        accuracy = None if channel.accuracy is None else channel.accuracy * UNITS[unit].scale
        row = {
            "channel_id": self.number + 1,
            "logger": self.logger.name,
            "column_name": channel.column,
            "role": channel.role,
            "zone": channel.zone,
            "damper": channel.damper,
            "kind": "state" if self.is_state else "analog",
            "form": channel.form,
            "unit": unit,
            "accuracy": accuracy,
            "is_sampled": self.is_sampled,
            "interval_s": self._interval_s(),
            "n_reading": len(self.ts),
            "first_ts": int(self.ts[0]) if len(self.ts) else None,
            "last_ts": int(self.ts[-1]) if len(self.ts) else None,
        }
        return store_table("channel", {name: [value] for name, value in row.items()})

    def rate_table(self) -> pa.Table:
        """The channel's rows of store.rate; states are held by their own stretch's rate already."""
        if self.is_state or not self.is_sampled:
            return store_table("rate", {})
        return rates(self.number + 1, self.times)

    def _unit(self) -> str:
        if self.channel.unit is not None:
            return self.channel.unit
        unit = split_header(self.channel.column)[1]
        return unit if unit is not None and self.channel.meaning.kind == "analog" else "state"

    def _interval_s(self) -> float | None:
        if self.is_sampled:
            interval = self.times.nominal_us
            return None if interval is None else interval / MICROSECONDS
        return written_to_s([r.ts for r in self.logger.files])


def written_to_s(stamps: Sequence[np.ndarray], before_s: float = 60.0) -> float:
    """How finely a log of changes is written, however rarely something changes.

    The stamps' greatest common divisor, a minute at the most; before_s : that of earlier ones
    """
    before = round(before_s * MICROSECONDS)
    return float(np.gcd.reduce(np.concatenate([*stamps, [before]]))) / MICROSECONDS


def rates(channel_id: int, times: Times) -> pa.Table:
    """A sampled channel's rows of store.rate."""
    stretches = times.stretches
    if len(stretches) < 2:
        return store_table("rate", {})
    return store_table(
        "rate",
        {
            "channel_id": np.full(len(stretches), channel_id, np.int32),
            "start_ts": times.ts[[first for first, _, _ in stretches]],
            "end_ts": times.ts[[min(end, len(times.ts) - 1) for _, end, _ in stretches]],
            "interval_s": np.array([us for _, _, us in stretches]) / MICROSECONDS,
        },
    )


def conflicts(
    channel_id: int, series: Series, settled: Settled, readings: list[FileReading]
) -> pa.Table:
    """Rows of store.conflict for one channel."""
    if not settled.pairs:
        return store_table("conflict", {})
    a, b = (np.array(side, np.int64) for side in zip(*settled.pairs, strict=True))

    (file_a, row_a), (file_b, row_b) = series.places(a), series.places(b)

    def lines(files: np.ndarray, rows: np.ndarray) -> list[int]:
        places = zip(files.tolist(), rows.tolist(), strict=True)
        return [int(readings[f - 1].line[row]) for f, row in places]

    return store_table(
        "conflict",
        {
            "channel_id": np.full(len(a), channel_id),
            "ts": series.ts[a],
            "value_a": series.value[a],
            "file_a": file_a,
            "line_a": lines(file_a, row_a),
            "value_b": series.value[b],
            "file_b": file_b,
            "line_b": lines(file_b, row_b),
        },
    )
