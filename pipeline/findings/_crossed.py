"""Two zones crossed in the house: one calls, and the other's damper opens or its room gets the air.

The channels' own check (trust.problem) needs calls of both zones. Crossed wires seldom leave that:
the zone that gets no air calls on, the other one gets it all and never calls.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations

import numpy as np
import numpy.typing as npt
import pandas as pd

from pipeline import words
from pipeline.findings import _rooms
from pipeline.findings._site import SiteFrames, flags
from pipeline.findings._windows import Event
from pipeline.units import MICROSECONDS

Instants = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
SIDE = {"heating": ("heat_setpoint_f", 1.0), "cooling": ("cool_setpoint_f", -1.0)}


@dataclass(frozen=True)
class Pair:
    """A zone that calls, and the one that seems to get what it calls for.

    n, of_n : by dampers: its calls in which its own damper stayed shut, and its calls judged
    short_f, past_f : by rooms: how far the one stands short of its setpoint, the other past its
    calls : by dampers: those n calls, (start, end)
    """

    site: SiteFrames
    caller: int
    other: int
    mode: str = ""
    n: int = 0
    of_n: int = 0
    short_f: float = 0.0
    past_f: float = 0.0
    calls: tuple[tuple[int, int], ...] = ()

    @property
    def labels(self) -> str:
        """Both zones' names."""
        return words.joined(_rooms.name_of(self.site, z) for z in (self.caller, self.other))

    @property
    def is_by_dampers(self) -> bool:
        """Whether dampers show it; else rooms do."""
        return bool(self.n)

    @property
    def headline(self) -> str:
        """What the log shows, as a clause."""
        who, other = (_rooms.name_of(self.site, z) for z in (self.caller, self.other))
        if self.is_by_dampers:
            return (
                f"{who}'s call opens {other}'s damper: its own stayed shut at the start of "
                f"{words.of_all(self.n, self.of_n)} calls, {other}'s was open each time"
            )
        return (
            f"{who} and {other} look crossed: {who} called on and on, "
            f"{_rooms.apart(self.site, self.short_f)} short of its setpoint half of the time, "
            f"while {other}, which hardly called, stood {_rooms.apart(self.site, self.past_f)} "
            "past its own"
        )

    def events(self) -> list[Event]:
        """The calls as windows need them, in order of time."""
        who = _rooms.name_of(self.site, self.caller)
        return [
            Event(
                start_ts=start,
                end_ts=end,
                worth=float(end - start),
                say=f"{self.site.clock(start)}, {who} calling, its damper shut and the other open",
                label="wrong damper",
            )
            for start, end in self.calls
        ]


class _Dampers:
    """Whether each zone's damper is shown open at given instants."""

    def __init__(self, site: SiteFrames) -> None:
        rows = site.table("signal.state")
        rows = rows[rows["role"] == "zone_damper"].sort_values("start_ts")
        self.of_zone = {
            int(str(zone)): (
                own["start_ts"].to_numpy("int64"),
                own["end_ts"].to_numpy("int64"),
                flags(own["is_on"]).to_numpy(bool),
            )
            for zone, own in rows.groupby("zone")
        }

    def at(self, zone: int, ts: Instants) -> tuple[Bools, Bools]:
        """(open, known) at each instant."""
        starts, ends, on = self.of_zone[zone]
        n = np.searchsorted(starts, ts, side="right") - 1
        known = (n >= 0) & (ends[np.maximum(n, 0)] > ts)
        return on[np.maximum(n, 0)] & known, known


def by_dampers(site: SiteFrames) -> Pair | None:
    """A zone whose calls leave its own damper shut and find one other open, every time.

    Looked at once the dampers have travelled, before relief opens others, and where what is called
    for runs.
    """
    dampers = _Dampers(site)
    calls = site.table("interval.call")
    travel_s = site.setting("damper_travel_s") or site.threshold("damper_travel_unknown_s")
    least = int(site.threshold("crossed_min_calls"))
    found = []
    for zone in dampers.of_zone:
        own = calls[(calls["zone"] == zone) & flags(calls["has_start"])].sort_values("start_ts")
        start, end = own["start_ts"].to_numpy("int64"), own["end_ts"].to_numpy("int64")
        at = start + round(travel_s * MICROSECONDS)
        outside = np.array(
            [not site.overlaps_visit(int(a), int(b)) for a, b in zip(start, end, strict=True)],
            dtype=bool,
        )
        is_open, known = dampers.at(zone, at)
        judged = known & (end > at) & outside & _runs(site, own, at)
        shut = judged & ~is_open
        if int(shut.sum()) < least or shut.sum() < site.threshold("crossed_share") * judged.sum():
            continue
        mates = [z for z in dampers.of_zone if z != zone and _always(dampers, calls, z, at[shut])]
        if len(mates) == 1:
            spans = tuple((int(a), int(b)) for a, b in zip(start[shut], end[shut], strict=True))
            n, of_n = int(shut.sum()), int(judged.sum())
            found.append(Pair(site, zone, mates[0], n=n, of_n=of_n, calls=spans))
    return max(found, key=lambda p: p.n, default=None)


def _runs(site: SiteFrames, calls: pd.DataFrame, at: Instants) -> Bools:
    """Whether what each call asks for runs at its instant: a call that waits moves no damper."""
    rows = site.table("interval.condition").sort_values("start_ts")
    starts, ends = rows["start_ts"].to_numpy("int64"), rows["end_ts"].to_numpy("int64")
    if not len(rows):
        return np.zeros(len(at), dtype=bool)
    n = np.maximum(np.searchsorted(starts, at, side="right") - 1, 0)
    runs = rows["class"].to_numpy(object)[n] == calls["mode"].to_numpy(object)
    return np.asarray(runs & (starts[n] <= at) & (ends[n] > at), dtype=bool)


def _always(dampers: _Dampers, calls: pd.DataFrame, zone: int, at: Instants) -> bool:
    """Whether the zone's damper is open at all of these instants though it does not call."""
    own = calls[calls["zone"] == zone]
    calling = np.zeros(len(at), dtype=bool)
    for start, end in zip(own["start_ts"], own["end_ts"], strict=True):
        calling |= (at >= int(start)) & (at < int(end))
    is_open, known = dampers.at(zone, at)
    return bool(is_open.all() and known.all() and calling.mean() <= 0.5)


def by_rooms(site: SiteFrames) -> Pair | None:
    """A zone that calls on and stays short, and one that does not call and stands far past.

    Where dampers are logged the other one's must be shown shut while the first calls: relief opens
    it on purpose.
    """
    minutes = site.table("interval.zone_minute")
    minutes = minutes[~flags(minutes["in_visit"]) & minutes["call_mode"].notna()]
    dampers = _Dampers(site)
    found = []
    for mode, (column, sign) in SIDE.items():
        past = minutes.assign(past_f=(minutes["temp_f"] - minutes[column]).astype(float) * sign)
        past = past[past["past_f"].notna()]
        zones = {int(str(z)): rows for z, rows in past.groupby("zone")}
        for caller, other in permutations(zones, 2):
            pair = _by_rooms(site, zones[caller], zones[other], mode)
            if pair is not None and _stays_shut(dampers, site, pair, zones[caller]):
                found.append(pair)
    return max(found, key=lambda p: p.short_f + p.past_f, default=None)


def _by_rooms(site: SiteFrames, mine: pd.DataFrame, theirs: pd.DataFrame, mode: str) -> Pair | None:
    least_s = site.threshold("judged_min_h") * 3600
    calling = mine["call_mode"] == mode
    if calling.sum() * 60.0 < least_s or len(theirs) * 60.0 < least_s:
        return None
    if calling.mean() < site.threshold("damper_calling_share"):
        return None
    if (theirs["call_mode"] == mode).mean() > site.threshold("crossed_calls_max_share"):
        return None
    short_f = -float(mine.loc[calling, "past_f"].median())
    past_f = float(theirs["past_f"].median())
    if short_f < site.threshold("crossed_short_f") or past_f < site.threshold("crossed_past_f"):
        return None
    zones = int(mine["zone"].iloc[0]), int(theirs["zone"].iloc[0])
    return Pair(site, *zones, mode=mode, short_f=short_f, past_f=past_f)


def _stays_shut(dampers: _Dampers, site: SiteFrames, pair: Pair, mine: pd.DataFrame) -> bool:
    """Whether the other zone's damper is shown shut while the first calls; True if not logged."""
    if pair.other not in dampers.of_zone:
        return True
    at = mine.loc[mine["call_mode"] == pair.mode, "ts"].to_numpy("int64")
    is_open, known = dampers.at(pair.other, at)
    return bool(known.any() and is_open[known].mean() <= site.threshold("crossed_calls_max_share"))
