"""What a check of channels is given, and what it says: one site's tables, and problems."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from pipeline.units import MICROSECONDS, UNITS

Bools = np.ndarray[Any, np.dtype[np.bool_]]
Floats = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True)
class Problem:
    """One channel, one code, one stretch; a row of trust.problem.

    figure : the number that shows it, in `figure_unit` ('' for a plain number)
    n, of_n : events that show it, of those that could
    reason : why its readings do not hold, in a few plain words
    correction : what site.toml would have to say, `key = value` lines of its block; None: no safe
        correction
    """

    channel_id: int
    code: str
    start_ts: int
    end_ts: int
    figure: float
    figure_unit: str
    n: int
    of_n: int
    is_cut: bool
    reason: str
    correction: str | None = None


@dataclass(frozen=True)
class Channel:
    """A primary channel as the checks need it."""

    channel_id: int
    role: str
    zone: int | None
    logger: str
    interval_s: float
    unit: str


@dataclass(frozen=True)
class SiteChannels:
    """One site: its tables of the trust stages, its settings and judgement numbers.

    tables : rows of this site only, by table name
    limits : judgement numbers in force
    site : the row of run.site
    """

    tables: Mapping[str, pd.DataFrame]
    limits: Mapping[str, float]
    site: Mapping[str, Any]
    start_ts: int
    end_ts: int
    timezone: str
    channels: tuple[Channel, ...] = ()
    _by_channel: dict[str, dict[int, list[Any]]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def of_role(self, role: str) -> Channel | None:
        """The channel that carries the role; of several the first."""
        return next((c for c in self.channels if c.role == role), None)

    def table(self, name: str) -> pd.DataFrame:
        """A table's rows of this site."""
        return self.tables[name]

    def rows_of(self, table: str, channel: Channel) -> list[Any]:
        """A channel's rows of a table, as records, in the table's order."""
        if table not in self._by_channel:
            of: dict[int, list[Any]] = {}
            for row in tuples(self.table(table)):
                of.setdefault(int(row.channel_id), []).append(row)
            self._by_channel[table] = of
        return self._by_channel[table].get(channel.channel_id, [])

    def setting(self, name: str) -> float | None:
        """A setting as it was last in force; None: not given."""
        rows = self.table("run.setting")
        rows = rows[(rows["name"] == name) & rows["value"].notna()]
        return None if rows.empty else float(rows.sort_values("start_ts")["value"].iloc[-1])

    @cached_property
    def states(self) -> States:
        """All primary state channels on one grid of stretches."""
        return States.of(self)

    @cached_property
    def runs(self) -> pd.DataFrame:
        """trust.run outside visits, with mode and O/B at its end added by whoever needs them."""
        return self.outside_visits(self.table("trust.run"))

    def outside_visits(self, rows: pd.DataFrame) -> pd.DataFrame:
        """The rows whose start_ts and end_ts touch no visit."""
        keep = np.ones(len(rows), bool)
        start, end = rows["start_ts"].to_numpy(), rows["end_ts"].to_numpy()
        visits = self.table("run.visit")
        for a, b in zip(visits["start_ts"], visits["end_ts"], strict=True):
            keep &= ~((start < b) & (end > a))
        return rows[keep]

    def in_channel_unit(self, difference: float, channel: Channel) -> float:
        """A difference in the store unit as the channel's logger writes it."""
        return difference / UNITS[channel.unit].scale

    def by_outputs_clock(self, ts: np.ndarray, channel: Channel) -> np.ndarray:
        """Instants as the channel's logger stamps them by the outputs' clock.

        The same where its clock is not seen to be off in this run.
        """
        rows = self.rows_of("trust.clock_left", channel)
        if not rows:
            return ts
        left = rows[0].left_us + rows[0].gains * (ts - rows[0].middle_ts)
        return ts - np.rint(left).astype(np.int64)

    def own_clock(self, ts: int, channel: Channel) -> int:
        """An instant by the outputs' clock as the channel's logger stamps it, within the window."""
        there = 2 * ts - int(self.by_outputs_clock(np.array([ts]), channel)[0])
        return min(max(there, self.start_ts), self.end_ts)

    def written_local(self, ts: int) -> str:
        """A local time as site.toml takes it, to the second."""
        at = datetime.fromtimestamp(ts / MICROSECONDS, ZoneInfo(self.timezone))
        return at.replace(tzinfo=None, microsecond=0).isoformat()

    def local_hours(self, ts: np.ndarray) -> tuple[np.ndarray, Floats]:
        """Local day number and hour of the day (0 to 24) of instants."""
        index = pd.to_datetime(ts, unit="us", utc=True).tz_convert(self.timezone).tz_localize(None)
        local = index.as_unit("us").asi8
        day, rest = np.divmod(local, 86400 * MICROSECONDS)
        return day, rest / (3600 * MICROSECONDS)


@dataclass(frozen=True)
class States:
    """Every state channel on the stretches between all of their edges.

    start_ts, end_ts : the stretches
    seconds : their lengths
    on, known : per channel id, whether it was on, and whether that is known
    edges : per channel id, changes seen
    """

    start_ts: np.ndarray
    end_ts: np.ndarray
    seconds: Floats
    on: Mapping[int, Bools]
    known: Mapping[int, Bools]
    edges: Mapping[int, int]

    @classmethod
    def of(cls, site: SiteChannels) -> States:
        """From channel.state, cut to the window."""
        rows = site.table("channel.state")
        start = np.clip(rows["start_ts"].to_numpy(np.int64), site.start_ts, site.end_ts)
        end = np.clip(rows["end_ts"].to_numpy(np.int64), site.start_ts, site.end_ts)
        ids = rows["channel_id"].to_numpy()
        is_on = rows["is_on"].to_numpy(bool)
        grid = np.unique(np.concatenate([start, end, [site.start_ts, site.end_ts]]))
        on: dict[int, Bools] = {}
        known: dict[int, Bools] = {}
        edges: dict[int, int] = {}
        places = np.searchsorted(grid, start), np.searchsorted(grid, end)
        for channel_id in np.unique(ids).tolist():
            mine = ids == channel_id
            step = np.zeros((2, len(grid)), np.int64)
            for row, some in enumerate((mine, mine & is_on)):
                np.add.at(step[row], places[0][some], 1)
                np.add.at(step[row], places[1][some], -1)
            covered = np.cumsum(step, axis=1)[:, :-1] > 0
            known[channel_id], on[channel_id] = covered
            both = covered[0][1:] & covered[0][:-1]
            edges[channel_id] = int((both & (covered[1][1:] != covered[1][:-1])).sum())
        seconds = np.diff(grid) / MICROSECONDS
        return cls(grid[:-1], grid[1:], seconds, on, known, edges)

    def any_on(self, channels: list[Channel]) -> tuple[Bools, Bools]:
        """Where any of the channels is on, and where all of them are known."""
        on = np.zeros(len(self.seconds), bool)
        known = np.ones(len(self.seconds), bool)
        for c in channels:
            if c.channel_id in self.on:
                on |= self.on[c.channel_id]
                known &= self.known[c.channel_id]
        return on, known

    def share(self, on: Bools, where: Bools) -> float:
        """Share of the time `where` in which `on`; NaN for no time."""
        time = float(self.seconds[where].sum())
        return float(self.seconds[where & on].sum()) / time if time else float("nan")

    def hours(self, where: Bools) -> float:
        """Hours of the stretches `where`."""
        return float(self.seconds[where].sum()) / 3600.0

    def at(self, channel_id: int, ts: np.ndarray) -> tuple[Bools, Bools]:
        """On and known at instants."""
        place = np.clip(np.searchsorted(self.start_ts, ts, side="right") - 1, 0, None)
        return self.on[channel_id][place], self.known[channel_id][place]

    def on_until(self, on: Bools) -> tuple[np.ndarray, Floats]:
        """Corner points of the time spent on since the window's start: instants, seconds."""
        ts = np.append(self.start_ts, self.end_ts[-1:])
        return ts, np.append(0.0, np.cumsum(self.seconds * on))

    def agreement(self, a: Bools, b: Bools, where: Bools) -> float:
        """How two states go together: 1 always, 0 by chance, -1 always the opposite.

        The correlation of the two (the phi coefficient), weighted by time; NaN where one is
        constant.
        """
        p, q, both = self.share(a, where), self.share(b, where), self.share(a & b, where)
        spread = p * (1 - p) * q * (1 - q)
        return (both - p * q) / spread**0.5 if spread > 0 else float("nan")


def tuples(rows: pd.DataFrame) -> list[Any]:
    """The rows as records whose attributes are the columns."""
    return list(rows.itertuples(index=False))
