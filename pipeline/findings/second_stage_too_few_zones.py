"""Second stage with too few zones: it came on with fewer zones calling than the panel's minimum.

What it says
    How often second stage started while fewer zones called than the panel is set to wait for, and
    which zones those were.

Why it matters
    Second stage makes about half as much heat again; one small zone's duct cannot carry it. High
    static, hot supply air and limit trips follow.

What looks like it but is not
    A zone that stops calling while second stage runs (second stage stayed in). A call broken for
    a few seconds. Emergency heat and defrost. A thermostat's own second-stage call replaces the
    delay, never the minimum.

Source
    Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from pipeline import words
from pipeline.findings import _cautions, _staging
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._site import SiteFrames, flags, number, records
from pipeline.findings._staging import Starts
from pipeline.findings._stretches import Stretches
from pipeline.findings._windows import evidence, windows
from pipeline.units import MICROSECONDS


def _minimum_not_in_force(s: Starts) -> Weighed:
    said = f"{words.of_all(s.n, len(s.all), 'second-stage start')} came with too few zones"
    if s.from_timer:
        said += (
            f", each about {words.duration(sorted(s.clocks_s)[s.n // 2])} into the call: the "
            "stage-up delay is at work, the minimum is not"
        )
        return Weighed(Weight.STRONG, said)
    many = s.share >= s.site.threshold("staging_plan_share")
    return Weighed(Weight.FITS if many else Weight.AGAINST, said)


def _not_the_panel(s: Starts) -> Weighed:
    called = int(flags(s.rows["stage2_called"]).sum())
    if s.from_timer or called:
        return Weighed(Weight.AGAINST, "these starts follow the calls, as the panel's own do")
    return Weighed(Weight.OPEN, "the log holds the W2 (Y2) terminal, not the wire that feeds it")


FINDING = Declaration(
    title="Second stage with too few zones",
    question="Did second stage come on with fewer zones calling than the panel's minimum?",
    needs_tables=(*_staging.NEEDS_TABLES, "interval.condition", "measure.trip_context"),
    needs_roles=_staging.NEEDS_ROLES,
    figure="staging",
    thresholds=(
        "stage_early_min_events",
        "staging_plan_share",
        "stage_clock_spread_s",
        "call_bridge_s",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the minimum number of zones is not in force: set lower than the site sheet says, or "
            "off",
            "Raised when a quarter or more of the second-stage starts come with too few zones, "
            "most when they come at the stage-up delay, as the panel's own timer would.",
            _minimum_not_in_force,
            replays="stage2_min_zones",
        ),
        Cause(
            "a thermostat asks for second stage itself and the panel lets it through",
            "Raised when a second-stage call stands at most of these starts. Ruled out when none "
            "does. Needs the thermostats' W2 (Y2) calls.",
            _staging.asked_itself,
            not_it="a thermostat's own second-stage call",
        ),
        Cause(
            "something other than the panel feeds second stage: a jumper or wire at W2 (Y2)",
            "Lowered when the starts follow the stage-up delay or a thermostat's call.",
            _not_the_panel,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "in {zone}: is it set up for two stages, and is its W2 (Y2) wired?",
            "set for one stage, or the panel ignores its second stage",
            "set the thermostat or the panel so that the panel alone decides, by their "
            "instructions",
        ),
        Check(
            "panel",
            "read the minimum number of zones for second stage and photograph it",
            "{minimum}, as the site sheet says",
            "write down the old value and set it as designed, then call {zone} alone for the "
            "stage-up delay: second stage must stay off. If it comes on: "
            f"{_cautions.WATCHED}",
        ),
        Check(
            "unit",
            "read and photograph fault codes, switch power off, isolate and verify before opening; "
            "follow the W2 (Y2) wire from the panel to the equipment; read the equipment's own "
            "staging setting",
            "one wire, nothing joined to W1 (Y1), staging left to the panel",
            "correct the wire with power off",
        ),
    ),
    cautions=(
        _cautions.SETTINGS,
        _cautions.REPRODUCE,
        _cautions.CODES_FIRST,
        _cautions.ELECTRICITY,
        _cautions.LIMIT,
    ),
    confused_with=(
        "Second stage stayed in: there enough zones called when it came on.",
        "The equipment staging itself: there W2 (Y2) never comes on.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three starts with too few zones, where a minimum was given."""
    refused = _staging.not_applicable(site)
    if refused is not None:
        return refused
    s = _staging.starts(site, "too few zones")
    minimum = site.setting("stage2_min_zones")
    if s.all.empty:
        return CannotTell("second stage never came on outside visits")
    if minimum is None and s.all["min_zones_setting"].isna().all():
        alone = int((s.all["n_zones"] == 1).sum())
        return CannotTell(
            "the site file gives no minimum number of zones to hold it against; second stage came "
            "on "
            f"{words.times(len(s.all))}, {words.number(alone)} of them with one zone calling"
        )
    if s.n < site.threshold("stage_early_min_events"):
        return NotFound(
            f"{_staging.how_many(s.n, len(s.all), 'start')} came with fewer zones than the minimum"
        )
    alone_s, tripped = _alone_s(s), _tripped(s)
    events = [
        replace(
            event,
            worth=alone + (site.window_s if trip else 0.0),
            say=event.say + (", ended in a high-limit trip" if trip else ""),
        )
        for event, alone, trip in zip(
            _staging.events(s, "too few zones", "length_s", _clause), alone_s, tripped, strict=True
        )
    ]
    zones = s.rows["zones"].fillna("").value_counts()
    return Found(
        severity=s.severity,
        certainty="shown",
        summary=_summary(s),
        headline=_headline(s),
        aside=_aside(s),
        facts=s,
        evidence=evidence(events),
        windows=windows(site, events),
        fill={"zone": site.zones(str(zones.index[0])), "minimum": _minimum(s)},
        table=_staging.table(s),
    )


def _minimum(s: Starts) -> str:
    value = number(s.rows["min_zones_setting"].iloc[-1]) or 0.0
    return words.count(int(value), "zone")


def _clause(row: Any) -> str:
    return f"second stage on for {words.duration(float(row.length_s))}"


def _headline(s: Starts) -> str:
    alone = bool((s.rows["n_zones"] == 1).all())
    who = "only one zone" if alone else "fewer zones"
    return (
        f"second stage came on {words.times(s.n)} with {who} calling, against the panel's minimum "
        f"of {_minimum(s)}{_staging.who_called(s)}"
    )


def _aside(s: Starts) -> str:
    return (
        f"the panel is set to wait for {_minimum(s)} before second stage and "
        f"{words.times(s.n)} did not"
    )


def _time_with_too_few(s: Starts) -> str:
    """How much of all second stage ran with fewer zones than the minimum, however it came on."""
    least = number(s.rows["min_zones_setting"].iloc[-1]) or 0.0
    time = s.site.table("measure.condition_time")
    time = time[(time["stage"] == 2) & time["class"].isin(["heating", "cooling"])]
    total = float(time["outside_visit_s"].sum())
    few = float(time.loc[time["n_zones"] < least, "outside_visit_s"].sum())
    if total <= 0:
        return ""
    return (
        f"of {words.hours(total)} of second stage, {words.hours(few)} ran with fewer than "
        f"{_minimum(s)} calling, however that came about"
    )


def _alone_s(s: Starts) -> list[float]:
    """Of each start, the time in it with too few zones calling [s]; its length if not known."""
    if not s.site.has_table("interval.condition"):
        return [float(x) for x in s.rows["length_s"]]
    condition = Stretches(s.site.table("interval.condition"))
    columns = ("start_ts", "end_ts", "n_zones")
    starts, ends, n_zones = (condition.rows[c].to_numpy(float) for c in columns)
    made = []
    for row in records(s.rows):
        over = condition.touching(int(row.start_ts), int(row.end_ts))
        over = over[n_zones[over] < (number(row.min_zones_setting) or 0.0)]
        inside = np.minimum(ends[over], row.end_ts) - np.maximum(starts[over], row.start_ts)
        made.append(float(inside.sum()) / MICROSECONDS)
    return made


def _tripped(s: Starts) -> list[bool]:
    """Whether each start ended in a high-limit trip: heat dropped out as second stage went off."""
    if not s.site.has_table("measure.trip_context"):
        return [False] * s.n
    trips = s.site.table("measure.trip_context")
    drops = trips.loc[trips["kind"] == "high", "drop_ts"].to_numpy("int64")
    near = 2 * MICROSECONDS
    return [bool((np.abs(drops - int(row.end_ts)) <= near).any()) for row in records(s.rows)]


def _summary(s: Starts) -> str:
    site = s.site
    first = site.clock(int(s.rows["start_ts"].iloc[0]))
    last = site.clock(int(s.rows["start_ts"].iloc[-1]))
    return words.sentences(
        f"{_headline(s)}: first {first}, last {last}",
        _time_with_too_few(s),
        "" if _staging.who_called(s) else _staging.by_zones(s),
        f"second stage came on {words.times(len(s.all))} altogether",
    )
