"""What high-limit and low-limit findings share: the trips, their severity, words and windows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline import words
from pipeline.findings._base import MAX_TABLE_ROWS
from pipeline.findings._clocks import doubtful
from pipeline.findings._site import SiteFrames, flags, number, numbers, records
from pipeline.findings._states import Pattern, pattern
from pipeline.findings._static import opened_words
from pipeline.findings._stretches import Stretches
from pipeline.findings._windows import Event, lines
from pipeline.result import Mark
from pipeline.units import MICROSECONDS

OUTPUTS = ("output_w1", "output_y1", "output_aux")
BESIDE = {
    "static_max_inwc": "static_pressure",
    "return_f": "return_temp",
    "outdoor_f": "outdoor_temp",
}
MODE_OF = {"high": "heating", "low": "cooling"}


@dataclass(frozen=True)
class Trips:
    """The trips of one kind, visits left out, and what their causes are tested on.

    rows : measure.trip_context, in order of time
    pattern : in which state they come
    limit_f, target_inwc, min_zones : settings in force at the last trip; None if not given
    n_few, n_early, n_stayed : trips whose second stage had come on with too few zones, or early,
        or had come on in order and stayed in when the zones calling fell below the minimum
    n_over : trips before which static stood over its target
    n_relieved : trips in whose last minutes a relief damper stood open; None without dampers
    relief_said : which relief dampers stood open at the trips and which never did; '' without
    """

    site: SiteFrames
    kind: str
    rows: pd.DataFrame
    pattern: Pattern
    limit_f: float | None
    target_inwc: float | None
    min_zones: float | None
    n_few: int
    n_early: int
    n_stayed: int
    n_over: int
    n_relieved: int | None
    relief_said: str

    @property
    def n(self) -> int:
        """How many."""
        return len(self.rows)

    @property
    def by_panel(self) -> bool:
        """Every trip stands against a limit that was given."""
        return bool((self.rows["opened_by"] == "panel").all())

    @property
    def peaks_f(self) -> list[float]:
        """Supply temperatures at the trips."""
        return numbers(self.rows["peak_f"])

    @property
    def statics_inwc(self) -> list[float]:
        """Highest static before the trips, where it was logged."""
        return numbers(self.rows["static_max_inwc"])

    @property
    def n_days(self) -> int:
        """Local days with a trip."""
        return int(self.rows["day"].nunique())


def load(site: SiteFrames, kind: str) -> Trips | None:
    """The trips of one kind ('high' or 'low') outside visits; None if there is none.

    What stands beside a trip on a clock that is off is left out, as if it was not logged.
    """
    name = f"{kind} limit trips"
    if name not in site.made_once:
        site.made_once[name] = _load(site, kind)
    made: Trips | None = site.made_once[name]
    return made


def _load(site: SiteFrames, kind: str) -> Trips | None:
    rows = site.table("measure.trip_context")
    rows = rows[(rows["kind"] == kind) & ~flags(rows["in_visit"])]
    rows = rows[~_only_unheard(site, kind, rows)]
    rows = rows.sort_values("start_ts").reset_index(drop=True)
    if rows.empty:
        return None
    for column, role in BESIDE.items():
        if doubtful(site, (OUTPUTS, (role,))):
            rows[column] = None
    last = int(rows["start_ts"].iloc[-1])
    results = _stage_results(site, rows)
    target = site.setting("static_target_inwc", last)
    statics = numbers(rows["static_max_inwc"])
    return Trips(
        site=site,
        kind=kind,
        rows=rows,
        pattern=pattern(site, rows, MODE_OF[kind]),
        limit_f=site.setting(f"{kind}_limit_f", last),
        target_inwc=target,
        min_zones=site.setting("stage2_min_zones", last),
        n_few=results.count("too few zones"),
        n_early=results.count("early"),
        n_stayed=results.count("stayed in"),
        n_over=0 if target is None else sum(s > target for s in statics),
        n_relieved=_relieved(site, rows),
        relief_said=_relief_said(site, rows),
    )


def _only_unheard(site: SiteFrames, kind: str, rows: pd.DataFrame) -> pd.Series:
    """Drops after which only zones still called whose call alone the panel never answers.

    Such a call stands day and night: beside it every end of a run looks as if the limit had cut it.
    """
    mode = MODE_OF[kind]
    unanswered = site.table("interval.call_unanswered")
    unanswered = unanswered[flags(unanswered["is_unanswered"]) & (unanswered["mode"] == mode)]
    vain_s = unanswered.groupby("zones")["length_s"].sum()
    most = 1 - site.threshold("cause_share_min_frac")
    unheard = {
        str(zones)
        for zones, seconds in vain_s.items()
        # what the compressor runs on after another zone's call counts for nothing
        if "+" not in str(zones)
        and site.seconds_in([mode], zones=str(zones)) <= most * float(seconds)
    } - {""}
    if not unheard or rows.empty:
        return pd.Series(data=False, index=rows.index)
    calls = site.table("interval.call")
    calls = calls[calls["mode"] == mode]
    stands_us = site.threshold("trip_call_stands_s") * MICROSECONDS
    standing = [
        set(
            calls.loc[
                (calls["start_ts"] < ts) & (calls["end_ts"] >= ts + stands_us), "zone"
            ].astype(str)
        )
        for ts in rows["drop_ts"]
    ]
    return pd.Series([bool(s) and s <= unheard for s in standing], index=rows.index)


def severity(trips: Trips) -> str:
    """By how often and on how many days; never above note where no limit was given."""
    site, rows = trips.site, trips.rows
    rows = rows[flags(rows["is_certain"]) & (rows["opened_by"] == "panel")]
    if rows.empty:
        return "note"
    per_day = rows.groupby("day").size()
    busy = int((per_day >= site.threshold("trips_act_per_day")).sum())
    many = len(rows) >= site.threshold("trips_plan_per_week") * site.weeks
    days = len(per_day) >= site.threshold("trip_days")
    mode_s = trips.pattern.all_s
    enough = mode_s >= site.threshold("judged_min_h") * 3600
    often = enough and len(rows) * 360000 >= site.threshold("trips_act_per_100_heat_h") * mode_s
    if busy >= site.threshold("trip_days") or (often and many and days):
        return "act"
    if many and days:
        return "plan"
    return "watch" if many else "note"


def certainty(trips: Trips) -> str:
    """Shown where a given limit stands behind trips long enough to be sure of, else likely."""
    certain = int(flags(trips.rows["is_certain"]).sum())
    return "shown" if trips.by_panel and certain * 2 >= trips.n else "likely"


def state_clause(trips: Trips) -> str:
    """', every time with Den calling alone on second stage', or '' if no one state."""
    p = trips.pattern
    if p.state is None:
        return ""
    if p.n == p.n_all:
        often = "" if p.n == 1 else "every time "
    else:
        often = f"{p.n} of them "
    return f", {often}{p.state.text(trips.site)}"


def when(trips: Trips) -> str:
    """'Tue 6:42 am' for one trip; 'on 6 days, first Tue 6:42 am, last Sun 9:10 pm' for more."""
    first = trips.site.clock(int(trips.rows["drop_ts"].iloc[0]))
    if trips.n == 1:
        return first
    last = trips.site.clock(int(trips.rows["drop_ts"].iloc[-1]))
    return f"on {words.count(trips.n_days, 'day')}, first {first}, last {last}"


def sure_of(trips: Trips) -> str:
    """A sentence about trips too short for the sampling; '' if there is none."""
    unsure = trips.n - int(flags(trips.rows["is_certain"]).sum())
    if not unsure:
        return ""
    said = words.of_all(unsure, trips.n, "trip")
    return f"{said} lasted less than two readings, so not counted as sure"


def events(trips: Trips) -> list[Event]:
    """The trips as events for windows and evidence; the worst went furthest past the limit."""
    sign = 1.0 if trips.kind == "high" else -1.0
    names = (f"{trips.kind}_limit_f", "static_target_inwc")
    return [
        Event(
            start_ts=int(row.drop_ts),
            end_ts=max(int(row.end_ts), int(row.drop_ts)),
            worth=sign * float(row.peak_f),
            say=_say(trips, row),
            label=f"{trips.kind} limit",
            marks=_marks(row),
            lines=lines(trips.site, int(row.start_ts), *names),
        )
        for row in records(trips.rows)
    ]


def table(trips: Trips) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The trips as columns of text."""
    site = trips.site
    rows = records(trips.rows.head(MAX_TABLE_ROWS))
    peak = "Highest supply air" if trips.kind == "high" else "Lowest supply air"
    return (
        ("Dropped out", tuple(site.clock(int(r.drop_ts)) for r in rows)),
        ("Calling", tuple(site.zones(r.zones) for r in rows)),
        ("Stage", tuple(_or_dash(number(r.stage), lambda v: str(int(v))) for r in rows)),
        (peak, tuple(site.temperature(float(r.peak_f)) for r in rows)),
        (
            "Highest static before",
            tuple(_or_dash(number(r.static_max_inwc), site.static) for r in rows),
        ),
        ("Had run for", tuple(_or_dash(number(r.run_before_s), words.duration) for r in rows)),
        ("Back on after", tuple(_or_dash(number(r.recovery_s), words.duration) for r in rows)),
        ("Outdoor air", tuple(_or_dash(number(r.outdoor_f), site.temperature) for r in rows)),
    )


def fill(trips: Trips) -> dict[str, str]:
    """Values of the names in the checks: the zone to call alone, the static to expect."""
    site, state = trips.site, trips.pattern.state
    zones = state.zones if state is not None else None
    target = trips.target_inwc
    return {
        "zone": site.zones(zones) if zones else "each small zone in turn",
        "target": site.static(target) if target is not None else "the blower's rated static",
    }


def linked(trips: Trips) -> tuple[str, ...]:
    """The findings whose events came before enough of the trips for both to be one story."""
    least = trips.site.threshold("linked_min_share") * trips.n
    pairs = (
        ("second-stage-too-few-zones", trips.n_few + trips.n_stayed),
        ("static-above-target", trips.n_over),
        ("second-stage-early", trips.n_early),
        ("second-stage-stayed-in", trips.n_stayed),
    )
    return tuple(code for code, n in pairs if n and n >= least)


def _say(trips: Trips, row: Any) -> str:
    site = trips.site
    stage = number(row.stage)
    on = f" on {words.stage(int(stage))}" if stage in (1, 2) else ""
    recovery = number(row.recovery_s)
    back = (
        f"back on after {words.duration(recovery)}"
        if recovery is not None
        else "the call ended before it came back"
    )
    static = number(row.static_max_inwc)
    at = f" and {site.static(static)}" if static is not None else ""
    what = "heat" if trips.kind == "high" else "cooling"
    return (
        f"{site.clock(int(row.drop_ts))}, {site.calling(row.zones)}{on}, {what} dropped out "
        f"at {site.temperature(float(row.peak_f))}{at}, {back}"
    )


def _marks(row: Any) -> tuple[Mark, ...]:
    marks = [Mark(int(row.drop_ts), "trip")]
    stage2_s = number(row.stage2_before_s)
    if stage2_s is not None:
        marks.append(Mark(int(row.drop_ts) - int(stage2_s * MICROSECONDS), "second stage on"))
    return tuple(marks)


def _stage_results(site: SiteFrames, rows: pd.DataFrame) -> list[str]:
    """For trips on second stage: what the stage-up audit said of that second-stage start.

    'stayed in' where the start was in order and the zones calling had since fallen below the
    minimum.
    """
    if not site.has_table("measure.stage_up"):
        return []
    audited = site.table("measure.stage_up")
    starts, at = records(audited), audited["start_ts"].to_numpy("int64")
    results = []
    for row in records(rows):
        on_s = number(row.stage2_before_s)
        if on_s is None:
            continue
        start = int(row.drop_ts) - int(on_s * MICROSECONDS)
        near = np.flatnonzero(np.abs(at - start) <= 2 * MICROSECONDS)
        if not near.size:
            continue
        found = starts[near[0]]
        least = number(found.min_zones_setting)
        fell = least is not None and row.n_zones is not None and row.n_zones < least
        results.append("stayed in" if found.result == "in order" and fell else found.result)
    return results


def _relieved(site: SiteFrames, rows: pd.DataFrame) -> int | None:
    """Trips before which a relief damper stood open; None where no damper was logged."""
    if "zone_damper" not in site.logged_roles or not site.has_table("interval.relief"):
        return None
    relief = Stretches(site.table("interval.relief"))
    return sum(relief.overlaps(int(row.start_ts), int(row.drop_ts)) for row in records(rows))


def _relief_said(site: SiteFrames, rows: pd.DataFrame) -> str:
    """Relief dampers by name: which stood open at the trips, which were free to and never did."""
    if _relieved(site, rows) is None or not site.has_table("run.zone"):
        return ""
    zones, relief = site.table("run.zone"), Stretches(site.table("interval.relief"))
    opened = relief.rows["zone"].to_numpy()
    may = {int(z) for z in zones.loc[flags(zones["is_relief"]), "zone"]}
    events = []
    for row in records(rows):
        there = opened[relief.touching(int(row.start_ts), int(row.drop_ts))]
        free = frozenset(may - set(words.zone_numbers(row.zones)))
        events.append((free, frozenset(int(z) for z in there) & free))
    return opened_words(site, events, "trip", "trips")


def _or_dash(value: float | None, say: Any) -> str:
    return "–" if value is None else str(say(value))
