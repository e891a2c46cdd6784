"""One logger's channels as clocks are compared by them: series, switching, calls and dampers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.measures.edges import Edges, Floats, Series, state_edges
from pipeline.units import MICROSECONDS


class Logger:
    """One logger's channels with what it logged; times in seconds from the epoch."""

    def __init__(
        self,
        name: str,
        channels: pd.DataFrame,
        site_id: Any,
        reading_of: Mapping[Any, pd.DataFrame],
        state_of: Mapping[Any, pd.DataFrame],
    ) -> None:
        self.name = name
        self._switching: dict[tuple[frozenset[str], float], Switching | None] = {}
        self._channels: list[_Channel] = []
        used = channels[channels["is_primary"]]
        names = ("channel_id", "role", "zone", "kind", "is_sampled", "interval_s")
        for channel_id, role, zone, kind, is_sampled, interval_s in zip(
            *(used[c] for c in names), strict=True
        ):
            found = (reading_of if kind == "analog" else state_of).get((site_id, channel_id))
            self._channels.append(
                _Channel(
                    str(role),
                    None if pd.isna(zone) else int(zone),
                    kind == "analog",
                    bool(is_sampled),
                    float(interval_s),
                    found,
                )
            )

    @cached_property
    def roles(self) -> frozenset[str]:
        """Roles of the channels that are used; of states those that were logged at all."""
        return frozenset(c.role for c in self._channels if c.is_analog or c.rows is not None)

    def zones(self, *roles: str) -> frozenset[int]:
        """Zones that have one of these roles."""
        return frozenset(
            c.zone
            for c in self._channels
            if c.role in roles and c.rows is not None and c.zone is not None
        )

    def series(self, role: str, zone: int | None = None) -> Series | None:
        """The readings of a role (of a zone); None where there are too few to have an interval."""
        for channel in self._channels:
            if channel.role != role or channel.rows is None or not channel.interval_s > 0:
                continue
            if zone is not None and channel.zone != zone:
                continue
            at = channel.rows["ts"].to_numpy(dtype=np.int64) / MICROSECONDS
            value = channel.rows["value"].to_numpy(dtype=float)
            order = np.argsort(at, kind="stable")
            order = order[np.isfinite(value[order])]
            if len(order) > 1:
                return Series(at[order], value[order], channel.interval_s)
        return None

    def on_stretches(self, roles: Iterable[str], zone: int) -> tuple[Floats, Floats] | None:
        """Start and end of each stretch in which any of these roles of a zone is on; None: none."""
        wanted = frozenset(roles)
        parts = [
            channel.rows[channel.rows["is_on"].to_numpy(dtype=bool)]
            for channel in self._channels
            if channel.role in wanted and channel.zone == zone and channel.rows is not None
        ]
        if not parts:
            return None
        start, end = (
            np.concatenate([p[name].to_numpy(dtype=np.int64) for p in parts]) / MICROSECONDS
            for name in ("start_ts", "end_ts")
        )
        return start, end

    def moves(self, role: str) -> tuple[Floats, Floats, float] | None:
        """When any channel of the role goes off, when any goes on, ± how much; None: none is."""
        off: list[Floats] = []
        on: list[Floats] = []
        half_s = 0.0
        for number, channel in enumerate(self._channels):
            if channel.role != role or channel.rows is None:
                continue
            half = channel.interval_s / 2 if channel.interval_s > 0 else 0.5
            half_s = max(half_s, half)
            back = half if channel.is_sampled else 0.0
            start, end = (
                channel.rows[name].to_numpy(dtype=np.int64) / MICROSECONDS - back
                for name in ("start_ts", "end_ts")
            )
            code = np.where(channel.rows["is_on"].to_numpy(dtype=bool), number, -1 - number)
            edges_on, edges_off = state_edges(start, end, code, 0.0, half)
            on.append(edges_on.at_s)
            off.append(edges_off.at_s)
        if not on:
            return None
        return np.sort(np.concatenate(off)), np.sort(np.concatenate(on)), half_s

    def switching(self, roles: Iterable[str], bridge_s: float) -> Switching | None:
        """On- and off-edges of "any of these roles is on"; None where none is logged."""
        asked = (frozenset(roles), bridge_s)
        if asked not in self._switching:
            self._switching[asked] = self._switching_of(*asked)
        return self._switching[asked]

    def _switching_of(self, wanted: frozenset[str], bridge_s: float) -> Switching | None:
        start: list[Floats] = []
        end: list[Floats] = []
        code: list[NDArray[np.int64]] = []
        half_s = 0.0
        for number, channel in enumerate(self._channels):
            if channel.role not in wanted or channel.rows is None:
                continue
            half = channel.interval_s / 2 if channel.interval_s > 0 else 0.5
            half_s = max(half_s, half)
            # sampled: the change came at some moment of the interval before the reading
            back = half if channel.is_sampled else 0.0
            rows = channel.rows
            start.append(rows["start_ts"].to_numpy(dtype=np.int64) / MICROSECONDS - back)
            end.append(rows["end_ts"].to_numpy(dtype=np.int64) / MICROSECONDS - back)
            code.append(np.where(rows["is_on"].to_numpy(dtype=bool), number, -1 - number))
        if not start:
            return None
        starts, ends = np.concatenate(start), np.concatenate(end)
        on, off = state_edges(starts, ends, np.concatenate(code), bridge_s, half_s)
        order = np.argsort(starts, kind="stable")
        return Switching(on, off, starts[order], np.maximum.accumulate(ends[order]))


@dataclass(frozen=True)
class _Channel:
    """One used channel; `rows` of channel.reading or channel.state, None if there are none."""

    role: str
    zone: int | None
    is_analog: bool
    is_sampled: bool
    interval_s: float
    rows: pd.DataFrame | None


@dataclass(frozen=True)
class Switching:
    """Edges of a group of states and the stretches in which they were seen."""

    on: Edges
    off: Edges
    from_s: Floats
    to_s: Floats
