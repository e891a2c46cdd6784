"""What the static finding's causes are tested on: static against its target, state by state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._site import SiteFrames, flags, number, records
from pipeline.findings._stretches import Stretches

MODES = ("heating", "cooling")
PEAK_SAME_INWC = 1e-9
"""Two tables' highest readings are one reading if they differ by no more: rounding of sums."""


@dataclass(frozen=True)
class Stretch:
    """A stretch over target long enough for relief to answer.

    free : relief zones that did not call; opened : those of them whose damper stood open in it
    zones : zones calling for most of it
    """

    zones: str
    length_s: float
    free: frozenset[int]
    opened: frozenset[int]


@dataclass(frozen=True)
class Static:
    """Static against its target, visits left out.

    over_s : over target, the sensor's noise averaged out, all blower time
    settled_s, margin_s : blower time with dampers on the move left out; of it, over target plus
        the finding's margin. Every share is of these two.
    idle_over_s : of over_s, with no zone calling: the blower running on, or fan only
    max_ts : start of the stretch that holds the highest reading; None if no stretch does
    rows : excursions that count, in order of time
    states : measure.static_by_calling of heating and cooling with `share`, the part of the
        settled time over target plus margin
    long : the excursions of heating and cooling that relief had time to answer
    n_zones_all : zones of the site
    """

    site: SiteFrames
    target_inwc: float
    fan_s: float
    over_s: float
    margin_s: float
    settled_s: float
    idle_over_s: float
    max_inwc: float
    max_ts: int | None
    rows: pd.DataFrame
    states: pd.DataFrame
    long: tuple[Stretch, ...]
    n_zones_all: int

    @property
    def is_attributed(self) -> bool:
        """Whether time over target is known by who called and on which stage."""
        return float(self.states["above_margin_s"].sum()) > 0

    @property
    def margin_share(self) -> float:
        """Share of the settled blower time over target plus margin."""
        return self.margin_s / self.settled_s if self.settled_s else 0.0

    @property
    def running_margin_s(self) -> float:
        """Over target plus margin, settled, with heat or cooling on: what `part` is a part of."""
        return float(self.states["above_margin_s"].sum())

    @property
    def worst(self) -> Any:
        """The state with most time over target plus margin; None if none has any."""
        over = self.states[self.states["above_margin_s"] > 0]
        if over.empty:
            return None
        return records(over.sort_values(["above_margin_s", "zones"]).tail(1))[0]

    @property
    def zone_alone(self) -> tuple[str, float]:
        """The zone that called alone in most of that time, and its part of it; '' if none."""
        alone = self.states[self.states["n_zones"] == 1]
        sums = alone.groupby("zones")["above_margin_s"].sum()
        total = float(self.states["above_margin_s"].sum())
        if sums.empty or total == 0 or sums.max() == 0:
            return "", 0.0
        return str(sums.idxmax()), float(sums.max()) / total

    def part(self, keep: pd.Series) -> float:
        """The part of the time over target plus margin that lies in these states."""
        total = float(self.states["above_margin_s"].sum())
        return float(self.states.loc[keep, "above_margin_s"].sum()) / total if total else 0.0

    def share(self, keep: pd.Series) -> tuple[float, float]:
        """Share over target plus margin of the settled time in these states, and that time."""
        settled_s = float(self.states.loc[keep, "settled_s"].sum())
        over_s = float(self.states.loc[keep, "above_margin_s"].sum())
        return (over_s / settled_s if settled_s else 0.0), settled_s


def load(site: SiteFrames, target: float, fan_s: float, total: Any, highest: float) -> Static:
    """Static of one site: target in force, the row of measure.static_total, and what it holds."""
    rows = site.table("interval.static_above_target")
    rows = rows[~flags(rows["in_visit"])].sort_values("start_ts")
    at_peak = rows[rows["max_inwc"].astype(float) >= highest - PEAK_SAME_INWC]
    rows = rows[flags(rows["counts"])]
    every = site.table("measure.static_by_calling")
    settled_s = float(every["settled_s"].sum()) or fan_s
    idle = every["class"].isin(["purge", "fan_only"]) | (every["n_zones"] == 0)
    states = every
    states = states[states["class"].isin(MODES)].reset_index(drop=True)
    return Static(
        site=site,
        target_inwc=target,
        fan_s=fan_s,
        over_s=number(total.above_target_outside_visit_s) or 0.0,
        margin_s=number(total.above_margin_outside_visit_s) or 0.0,
        settled_s=settled_s,
        idle_over_s=float(every.loc[idle, "above_target_s"].sum()),
        max_inwc=highest,
        max_ts=None if at_peak.empty else int(at_peak["max_ts"].iloc[0]),
        rows=rows.reset_index(drop=True),
        states=states,
        long=_stretches(site, rows),
        n_zones_all=len(site.table("run.zone")),
    )


def _stretches(site: SiteFrames, rows: pd.DataFrame) -> tuple[Stretch, ...]:
    """Relief in each excursion that lasted as long as the panel may take to answer."""
    zones = site.table("run.zone")
    may = {int(z) for z in zones.loc[flags(zones["is_relief"]), "zone"]}
    opened = openings(site)
    long = rows[(rows["length_s"] >= answer_s(site)) & rows["class"].isin(MODES)]
    made = []
    for r in records(long):
        free = frozenset(may - set(words.zone_numbers(r.zones)))
        made.append(
            Stretch(
                str(r.zones or ""),
                float(r.length_s),
                free,
                opened(int(r.start_ts), int(r.end_ts)) & free,
            )
        )
    return tuple(made)


def openings(site: SiteFrames) -> Callable[[int, int], frozenset[int]]:
    """Which zones' dampers opened as relief between two instants."""
    opened = Stretches(site.table("interval.relief"))
    zones = opened.rows["zone"].to_numpy()

    def between(start_ts: int, end_ts: int) -> frozenset[int]:
        return frozenset(int(z) for z in zones[opened.touching(start_ts, end_ts)])

    return between


def answer_s(site: SiteFrames) -> float:
    """How long the panel may take until relief shows: damper travel, its wait, half a minute."""
    travel, wait = site.setting("damper_travel_s"), site.setting("relief_wait_s")
    if travel is None:
        travel = site.threshold("damper_travel_unknown_s")
    if wait is None:
        wait = site.threshold("relief_wait_unknown_s")
    return travel + wait + 30


def relief_by_name(s: Static) -> str:
    """Which relief dampers opened and which never did, in the state with most of the stretches.

    'with Den alone calling Basement opened in 18 of 20 stretches of 3 min or more; Main floor and
    Upstairs, free to open, never did'; '' where dampers or such stretches were not logged.
    """
    if relief_unknown(s) is not None:
        return ""
    sizes: dict[str, int] = {}
    for x in s.long:
        if x.free:
            sizes[x.zones] = sizes.get(x.zones, 0) + 1
    zones = max(sorted(sizes), key=lambda z: sizes[z])
    chosen = [x for x in s.long if x.zones == zones and x.free]
    said = opened_words(
        s.site, [(x.free, x.opened) for x in chosen], "stretch over target", "stretches over target"
    )
    alone = " alone" if len(words.zone_numbers(zones)) == 1 else ""
    return f"with {s.site.zones(zones)} calling{alone}, {said}"


def opened_words(
    site: SiteFrames,
    events: list[tuple[frozenset[int], frozenset[int]]],
    noun: str,
    plural: str,
) -> str:
    """Who opened and who never did. events : (zones free to relieve, those that stood open)."""
    free = frozenset().union(*(f for f, _ in events))
    n_open = {z: sum(z in o for _, o in events) for z in free}
    name = site.site.zones
    told = [
        f"{name.get(z, f'zone {z}')} opened in {words.of_all(n, len(events))} "
        f"{noun if len(events) == 1 else plural}"
        for z, n in sorted(n_open.items())
        if n
    ]
    never = [name.get(z, f"zone {z}") for z, n in sorted(n_open.items()) if not n]
    if never:
        told.append(f"{words.joined(never)}, free to open, never did")
    return "; ".join(told)


def relief_unknown(s: Static) -> str | None:
    """Why the log says nothing about relief, or None if it does."""
    if "zone_damper" not in s.site.logged_roles:
        return "damper positions were not logged"
    if not any(stretch.free for stretch in s.long):
        length = words.duration(answer_s(s.site))
        return f"it was never over target for {length} with a relief zone free"
    return None
