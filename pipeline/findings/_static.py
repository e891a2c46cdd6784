"""What the static finding's causes are tested on: static against its target, state by state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._site import SiteFrames, flags, number, records

MODES = ("heating", "cooling")


@dataclass(frozen=True)
class Stretch:
    """A stretch over target long enough for relief to answer.

    free : relief zones that did not call; opened : those of them whose damper stood open in it
    """

    length_s: float
    free: frozenset[int]
    opened: frozenset[int]


@dataclass(frozen=True)
class Static:
    """Static against its target, visits left out.

    over_s, margin_s : over target as measured; over target plus the finding's margin, settled
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
    max_inwc: float
    rows: pd.DataFrame
    states: pd.DataFrame
    long: tuple[Stretch, ...]
    n_zones_all: int

    @property
    def is_attributed(self) -> bool:
        """Whether time over target is known by who called and on which stage."""
        return float(self.states["above_margin_s"].sum()) > 0

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
    rows = rows[flags(rows["counts"]) & ~flags(rows["in_visit"])].sort_values("start_ts")
    states = site.table("measure.static_by_calling")
    states = states[states["class"].isin(MODES)].reset_index(drop=True)
    return Static(
        site=site,
        target_inwc=target,
        fan_s=fan_s,
        over_s=number(total.above_target_outside_visit_s) or 0.0,
        margin_s=number(total.above_margin_outside_visit_s) or 0.0,
        max_inwc=highest,
        rows=rows.reset_index(drop=True),
        states=states,
        long=_stretches(site, rows),
        n_zones_all=len(site.table("run.zone")),
    )


def _stretches(site: SiteFrames, rows: pd.DataFrame) -> tuple[Stretch, ...]:
    """Relief in each excursion that lasted as long as the panel may take to answer."""
    zones = site.table("run.zone")
    may = {int(z) for z in zones.loc[flags(zones["is_relief"]), "zone"]}
    relief = site.table("interval.relief")
    long = rows[(rows["length_s"] >= answer_s(site)) & rows["class"].isin(MODES)]
    made = []
    for r in records(long):
        there = relief[(relief["start_ts"] < r.end_ts) & (relief["end_ts"] > r.start_ts)]
        free = frozenset(may - set(words.zone_numbers(r.zones)))
        made.append(
            Stretch(float(r.length_s), free, frozenset(int(z) for z in there["zone"]) & free)
        )
    return tuple(made)


def answer_s(site: SiteFrames) -> float:
    """How long the panel may take until relief shows: damper travel, its wait, half a minute."""
    travel = site.setting("damper_travel_s") or site.threshold("damper_travel_unknown_s")
    wait = site.setting("relief_wait_s") or site.threshold("relief_wait_unknown_s")
    return travel + wait + 30


def relief_unknown(s: Static) -> str | None:
    """Why the log says nothing about relief, or None if it does."""
    if "zone_damper" not in s.site.logged_roles:
        return "damper positions were not logged"
    if not any(stretch.free for stretch in s.long):
        length = words.duration(answer_s(s.site))
        return f"it was never over target for {length} with a relief zone free"
    return None
