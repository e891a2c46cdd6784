"""Stretches in which cooling is held off with calls standing: what float and leak control share.

A float switch (condensate) takes the cooling away and leaves the fan; a leak control takes heat and
cooling away, runs the fan and opens every damper. Told apart by the dampers that nobody calls for.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import Any

from pipeline.findings._site import SiteFrames, flags, records
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class Held:
    """One stretch, from the first call with no answer to the last, no cooling between.

    n_calls : unanswered stretches in it; zones : who called at its start
    fan_share : share of the waiting with the fan on
    open_share : share of it in which a damper stood open for a zone that does not call; None
        where that could not be seen
    kind : 'float', 'leak' or '' for neither
    in_run : cooling ran until it began: the call did not start it
    """

    start_ts: int
    end_ts: int
    n_calls: int
    zones: str
    fan_share: float
    open_share: float | None
    kind: str
    in_run: bool

    @property
    def length_s(self) -> float:
        """Its length."""
        return (self.end_ts - self.start_ts) / MICROSECONDS


def periods(site: SiteFrames) -> list[Held]:
    """Every such stretch of cooling outside visits, in order of time."""
    if "held" not in site.made_once:
        site.made_once["held"] = _periods(site)
    return list(site.made_once["held"])


def _periods(site: SiteFrames) -> list[Held]:
    rows = site.table("interval.call_unanswered")
    keep = flags(rows["is_unanswered"]) & ~flags(rows["in_visit"]) & (rows["mode"] == "cooling")
    condition = site.table("interval.condition")
    cooling = records(condition[condition["class"] == "cooling"])
    starts = sorted(int(c.start_ts) for c in cooling)
    groups: list[list[Any]] = []
    for row in records(rows[keep].sort_values("call_ts")):
        last = groups[-1][-1] if groups else None
        if last is None or bisect_left(starts, last.until_ts) < bisect_left(starts, row.call_ts):
            groups.append([row])
        else:
            groups[-1].append(row)
    ends = {int(c.end_ts) for c in cooling}
    return [_held(site, group, ends) for group in groups]


def _held(site: SiteFrames, group: list[Any], cooling_ends: set[int]) -> Held:
    start, end = int(group[0].call_ts), int(group[-1].until_ts)
    condition = site.table("interval.condition")
    inside = records(condition[(condition["start_ts"] < end) & (condition["end_ts"] > start)])
    waiting = [c for c in inside if (c.n_cool or 0) > 0]
    total = sum(_within(c, start, end) for c in waiting) or 1
    fan = sum(_within(c, start, end) for c in waiting if c.fan_on) / total
    opened = _open_share(site, inside, start, end)
    kind = ""
    if (end - start) / MICROSECONDS >= site.threshold("held_min_s") and fan >= site.threshold(
        "held_fan_share"
    ):
        leak = opened is not None and opened >= site.threshold("held_open_share")
        kind = "leak" if leak else "float"
    return Held(
        start_ts=start,
        end_ts=end,
        n_calls=len(group),
        zones=str(group[0].zones or ""),
        fan_share=fan,
        open_share=opened,
        kind=kind,
        in_run=start in cooling_ends,
    )


def _open_share(site: SiteFrames, inside: list[Any], start: int, end: int) -> float | None:
    """Share of the time in which every damper of a zone that does not call is open."""
    state = site.table("signal.state")
    rows = state[(state["role"] == "zone_damper") & (state["end_ts"] > start)]
    dampers = records(rows[rows["start_ts"] < end])
    zones = {int(d.zone) for d in dampers}
    if not zones:
        return None
    seen = opened = 0
    for c in inside:
        calling = {int(z) for z in (c.cool_zones or "").split("+") if z}
        free = zones - calling
        if c.n_cool is None or not free:
            continue
        a, b = max(c.start_ts, start), min(c.end_ts, end)
        shut = [
            (max(d.start_ts, a), min(d.end_ts, b))
            for d in dampers
            if int(d.zone) in free and not d.is_on and d.start_ts < b and d.end_ts > a
        ]
        seen += b - a
        opened += b - a - _union(shut)
    return opened / seen if seen else None


def _union(spans: list[tuple[int, int]]) -> int:
    """Time covered by any of the spans."""
    total, reached = 0, 0
    for a, b in sorted(spans):
        total += max(0, b - max(a, reached))
        reached = max(reached, b)
    return total


def _within(row: Any, start: int, end: int) -> int:
    return int(min(row.end_ts, end) - max(row.start_ts, start))
