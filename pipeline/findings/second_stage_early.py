"""Second stage early: it came on before the stage-up delay had run.

What it says
    How often second stage started before a zone had called for the panel's stage-up delay, and by
    how much too soon. The clock is the one that fits this panel: from the zone's call or from the
    start of the equipment.

Why it matters
    First stage carries most of the season. Second stage too soon means short, hot, loud runs, more
    static and more limit trips, and rooms that overshoot.

What looks like it but is not
    A thermostat that asks for second stage itself: its call replaces the delay. A call broken for
    a few seconds, which is one call. Starts with too few zones, which are their own finding.

Source
    Common practice, no source.
"""

from __future__ import annotations

from typing import Any

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
from pipeline.findings._site import SiteFrames, number, numbers
from pipeline.findings._staging import Starts
from pipeline.findings._windows import evidence, windows


def _other_delay(s: Starts) -> Weighed:
    clocks = sorted(s.clocks_s)
    said = f"these starts came {words.durations(clocks)} into the {_clock_words(s)}"
    if s.from_timer:
        middle = words.duration(clocks[len(clocks) // 2])
        return Weighed(Weight.STRONG, f"{said}: looks like a delay of about {middle}")
    return Weighed(Weight.AGAINST, f"{said}, not at one time as a timer would")


def _joined_wires(s: Starts) -> Weighed:
    runs = numbers(s.rows["run_before_s"])
    spread_s = s.site.threshold("stage_clock_spread_s")
    n = sum(r <= spread_s for r in runs)
    said = (
        f"{words.of_all(n, s.n, 'such start')} came within {words.duration(spread_s)} of the "
        "equipment's start"
    )
    if n == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = s.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * s.n else Weight.OPEN, said)


def _by_temperature(s: Starts) -> Weighed:
    by = s.site.setting_text("stage_up_by")
    if by == "timer":
        return Weighed(
            Weight.AGAINST, "the site sheet says that the timer alone brings second stage on"
        )
    if by in ("thermostat", "both"):
        return Weighed(Weight.FITS, f"the site sheet says: second stage by {by}")
    return Weighed(Weight.OPEN, "the site file does not say what else may bring second stage on")


FINDING = Declaration(
    title="Second stage early",
    question="Did second stage come on before the panel's stage-up delay had run?",
    needs_tables=_staging.NEEDS_TABLES,
    needs_roles=_staging.NEEDS_ROLES,
    figure="staging",
    thresholds=(
        "stage_early_min_events",
        "staging_plan_share",
        "stage_tolerance_min_s",
        "stage_clock_spread_s",
        "call_bridge_s",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the stage-up delay is set shorter than the site sheet says",
            "Raised when most early starts lie at one time on the clock, as a timer's do; lowered "
            "when they scatter.",
            _other_delay,
            replays="stage_up_delay_min",
        ),
        Cause(
            "W1 and W2 (Y1 and Y2) are joined, or second stage is wired as the only stage",
            "Raised when the starts come within a minute of the equipment's. Ruled out when none "
            "does.",
            _joined_wires,
            not_it="W1 and W2 (Y1 and Y2) joined",
        ),
        Cause(
            "second stage is let in by temperature: a thermostat's or the panel's own rule",
            "Raised when the site sheet says that thermostats take part; lowered when it says "
            "timer alone.",
            _by_temperature,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the stage-up delay and what starts its clock; photograph it",
            "{delay}, as the site sheet says",
            "write down the old value and set it as designed",
        ),
        Check(
            "panel",
            "call {zone} and time second stage with a watch. If it comes on with one zone calling: "
            f"{_cautions.WATCHED}",
            "second stage not before {delay}",
            "the delay setting, or a second-stage call at the panel's terminals",
        ),
        Check(
            "unit",
            "read and photograph fault codes, switch power off, isolate and verify before opening; "
            "look for a jumper between W1 and W2 (Y1 and Y2) and the equipment's own staging "
            "setting",
            "none; staging left to the panel",
            "put it right with power off",
        ),
    ),
    cautions=(
        _cautions.SETTINGS,
        _cautions.REPRODUCE,
        _cautions.CODES_FIRST,
        _cautions.ELECTRICITY,
        _cautions.LIMIT,
    ),
    confused_with=("Second stage with too few zones: there the delay may have run.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three early starts, where a stage-up delay was given."""
    refused = _staging.not_applicable(site)
    if refused is not None:
        return refused
    s = _staging.starts(site, "early")
    if s.all.empty:
        return CannotTell("second stage never came on outside visits")
    if site.setting("stage_up_delay_min") is None and s.all["delay_setting_s"].isna().all():
        return CannotTell(
            "the site file gives no stage-up delay to hold it against; "
            f"{_staging.seen_clocks(site, s)}".rstrip("; ")
        )
    if s.n < site.threshold("stage_early_min_events"):
        return NotFound(f"{_staging.how_many(s.n, len(s.all), 'start')} came before the delay")
    events = _staging.events(s, "early", "early_by_s", _clause)
    return Found(
        severity=s.severity,
        certainty="shown",
        summary=_summary(s),
        headline=_headline(s),
        facts=s,
        evidence=evidence(events),
        windows=windows(site, events),
        fill={
            "zone": site.zones(str(s.rows["zones"].fillna("").value_counts().index[0])),
            "delay": words.duration(_delay_s(s)),
        },
        table=_staging.table(s),
    )


def _delay_s(s: Starts) -> float:
    return number(s.rows["delay_setting_s"].iloc[-1]) or 0.0


def _clock_words(s: Starts) -> str:
    used = str(s.rows["clock_used"].iloc[-1])
    return "equipment's run" if used == "equipment_start" else "longest call"


def _clause(row: Any) -> str:
    early = words.duration(float(row.early_by_s or 0.0))
    return f"second stage came on {early} before the delay had run"


def _headline(s: Starts) -> str:
    early = sorted(numbers(s.rows["early_by_s"]))
    middle = words.duration(early[len(early) // 2])
    return (
        f"second stage came on before the stage-up delay of {words.duration(_delay_s(s))} "
        f"{words.times(s.n)} out of {len(s.all)}, typically {middle} too soon"
    )


def _summary(s: Starts) -> str:
    first = s.site.clock(int(s.rows["start_ts"].iloc[0]))
    last = s.site.clock(int(s.rows["start_ts"].iloc[-1]))
    return words.sentences(
        f"{_headline(s)}{_staging.who_called(s)}: first {first}, last {last}",
        f"counted from the {_clock_words(s)}",
    )
