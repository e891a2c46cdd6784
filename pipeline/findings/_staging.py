"""What the second-stage findings share: the starts of second stage, their words and windows."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._base import MAX_TABLE_ROWS, CannotTell, Weighed, Weight
from pipeline.findings._site import SiteFrames, flags, numbers, records
from pipeline.findings._windows import Event, lines
from pipeline.result import Mark
from pipeline.units import MICROSECONDS

NEEDS_TABLES = ("measure.stage_up", "measure.condition_time")
NEEDS_ROLES = (("output_w2", "output_y2"), ("zone_call_w1", "zone_call_y1"))


@dataclass(frozen=True)
class Starts:
    """Second-stage starts outside visits.

    all : every start; rows : those of the result that the finding is about; by time
    """

    site: SiteFrames
    all: pd.DataFrame
    rows: pd.DataFrame

    @property
    def n(self) -> int:
        """Starts that the finding is about."""
        return len(self.rows)

    @property
    def share(self) -> float:
        """Their share of all starts."""
        return self.n / len(self.all) if len(self.all) else 0.0

    @property
    def severity(self) -> str:
        """Plan from the share of starts that is no blink, else watch."""
        return "plan" if self.share >= self.site.threshold("staging_plan_share") else "watch"

    @property
    def clocks_s(self) -> list[float]:
        """How long the clock that fits had run at these starts."""
        return numbers(self.rows.apply(_clock, axis=1)) if self.n else []

    @property
    def from_timer(self) -> bool:
        """Whether most of these starts lie at one time on the clock, as a timer's do."""
        clocks = sorted(self.clocks_s)
        if len(clocks) < self.site.threshold("stage_early_min_events"):
            return False
        spread = self.site.threshold("stage_clock_spread_s")
        share = self.site.threshold("cause_share_min_frac")
        return most_alike(clocks, spread) >= share * len(clocks)


def most_alike(ordered: Sequence[float], spread: float) -> int:
    """Of values in ascending order, how many lie within `spread` of each other at most."""
    return max(bisect_right(ordered, low + spread) - n for n, low in enumerate(ordered))


def starts(site: SiteFrames, keep: str | None) -> Starts:
    """Second-stage starts outside visits, with those of one audit result ('early', ...) apart."""
    rows = site.table("measure.stage_up")
    rows = rows[~flags(rows["in_visit"])].sort_values("start_ts").reset_index(drop=True)
    chosen = rows[rows["result"] == keep] if keep else rows
    return Starts(site, rows, chosen.reset_index(drop=True))


def not_applicable(site: SiteFrames) -> CannotTell | None:
    """Why second stage cannot be audited on this equipment, or None."""
    staged_by = site.equipment.get("staged_by")
    if staged_by == "modulating":
        return CannotTell("the equipment modulates: there are no stages to check")
    if staged_by == "equipment":
        return CannotTell("the equipment decides its stages itself")
    return None


def asked_itself(s: Starts) -> Weighed:
    """The cause 'a thermostat asks for second stage itself'."""
    logged = {"zone_call_w2", "zone_call_y2"} & s.site.logged_roles
    if not logged:
        return Weighed(Weight.OPEN, "second-stage calls of the thermostats were not logged")
    n = int(flags(s.rows["stage2_called"]).sum())
    said = f"a thermostat asked for second stage at {words.of_all(n, s.n, 'such start')}"
    if n == 0:
        return Weighed(
            Weight.RULED_OUT, "no thermostat asked for second stage at any of these starts"
        )
    share = s.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * s.n else Weight.FITS, said)


def who_called(s: Starts) -> str:
    """', every time Den alone' or ', mostly Den alone (20 of 23)', or ''."""
    if not s.n:
        return ""
    sizes = s.rows["zones"].fillna("").value_counts()
    zones, n = str(sizes.index[0]), int(sizes.iloc[0])
    if n < s.site.threshold("cause_share_min_frac") * s.n:
        return ""
    who = s.site.calling(zones)
    return f", every time {who}" if n == s.n else f", {n} of them {who}"


def by_zones(s: Starts) -> str:
    """'calling were: Den 12 times, Office and Den twice, others 4 times', the commonest three."""
    sizes = s.rows["zones"].fillna("").value_counts().sort_index().sort_values(ascending=False)
    told = [f"{s.site.zones(str(z))} {words.times(int(n))}" for z, n in sizes.head(3).items()]
    rest = int(sizes.iloc[3:].sum())
    more = f", others {words.times(rest)}" if rest else ""
    return f"calling were {', '.join(told)}{more}"


def events(s: Starts, label: str, worth: str, clause: Any) -> list[Event]:
    """The starts as events; `worth` names the column by which the worst is chosen."""
    made = []
    for row in records(s.rows):
        start, end = int(row.start_ts), int(row.end_ts)
        made.append(
            Event(
                start_ts=start,
                end_ts=end,
                worth=float(getattr(row, worth) or 0.0),
                say=f"{s.site.clock(start)}, {s.site.calling(row.zones)}, {clause(row)}",
                label=label,
                marks=(Mark(start, "second stage on"),),
                lines=lines(s.site, start, "high_limit_f", "static_target_inwc"),
            )
        )
    return made


def table(
    s: Starts, *more: tuple[str, Callable[[Any], str]]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The starts as columns of text.

    more : further columns: a title, and what a start's row says under it
    """
    site, rows = s.site, records(s.rows.head(MAX_TABLE_ROWS))
    return (
        ("Second stage on", tuple(site.clock(int(r.start_ts)) for r in rows)),
        ("Off", tuple(site.clock(int(r.end_ts)) for r in rows)),
        ("Calling", tuple(site.zones(r.zones) for r in rows)),
        ("Longest call before", tuple(_length(r.longest_call_s) for r in rows)),
        ("Equipment had run", tuple(_length(r.run_before_s) for r in rows)),
        *((title, tuple(text(r) for r in rows)) for title, text in more),
    )


def how_many(n: int, total: int, what: str) -> str:
    """'none of 148 starts', '2 of 148 starts'."""
    return words.of_all(n, total, what)


def seen_clocks(site: SiteFrames, s: Starts) -> str:
    """What the system did, for a delay that nobody gave: 'after about 12 min of call'."""
    clocks = sorted(numbers(s.all["longest_call_s"]))
    if not clocks:
        return ""
    middle = clocks[len(clocks) // 2]
    return f"it came on after about {words.duration(middle)} of call; confirm at the panel"


def after(row: Any) -> float:
    """Length of the stretch of a row [s]."""
    return float((row.end_ts - row.start_ts) / MICROSECONDS)


def _clock(row: pd.Series) -> float | None:
    column = "run_before_s" if row["clock_used"] == "equipment_start" else "longest_call_s"
    value = row[column]
    return None if pd.isna(value) else float(value)


def _length(value: float | None) -> str:
    return "–" if value is None else words.duration(float(value))
