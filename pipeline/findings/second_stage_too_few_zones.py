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
from pipeline.findings._site import SiteFrames, flags, number
from pipeline.findings._staging import Starts
from pipeline.findings._windows import evidence, windows


def _minimum_not_in_force(s: Starts) -> Weighed:
    said = f"{words.of_all(s.n, len(s.all))} second-stage starts came with too few zones"
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
        return Weighed(
            Weight.AGAINST, "the starts follow the calls as a panel's own decision would"
        )
    return Weighed(Weight.OPEN, "the log holds the W2 (Y2) terminal, not the wire that feeds it")


FINDING = Declaration(
    title="Second stage with too few zones",
    question="Did second stage come on with fewer zones calling than the panel's minimum?",
    needs_tables=_staging.NEEDS_TABLES,
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
            "the minimum number of zones is not in force: set lower than the sheet says, or off",
            "Raised when a quarter or more of the second-stage starts come with too few zones, "
            "most when they come at the stage-up delay, as the panel's own timer would.",
            _minimum_not_in_force,
        ),
        Cause(
            "a thermostat asks for second stage itself and the panel lets it through",
            "Raised when a second-stage call stands at most of these starts. Ruled out when none "
            "does. Needs the thermostats' W2 (Y2) calls.",
            _staging.asked_itself,
            not_it="a thermostat's own second-stage call",
        ),
        Cause(
            "second stage is fed by something else than the panel: a jumper or wire at W2 (Y2)",
            "Lowered when the starts follow the stage-up delay or a thermostat's call.",
            _not_the_panel,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "in {zone}: is it set up for two stages, and is its W2 (Y2) wired?",
            "one stage, or the panel ignores its second stage",
            "take it off by the panel's instructions",
        ),
        Check(
            "panel",
            "read the minimum number of zones for second stage and photograph it",
            "{minimum}, as the site sheet says",
            "set it as designed, then call {zone} alone for the stage-up delay: second stage must "
            "stay off",
        ),
        Check(
            "unit",
            "follow the W2 (Y2) wire from the panel to the equipment; read the equipment's own "
            "staging setting",
            "one wire, nothing joined to W1 (Y1), staging left to the panel",
            "correct the wire with power off",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.ELECTRICITY, _cautions.LIMIT),
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
            "no minimum number of zones was given, so it is not audited; second stage came on "
            f"{words.times(len(s.all))}, {words.number(alone)} of them with one zone calling"
        )
    if s.n < site.threshold("stage_early_min_events"):
        return NotFound(
            f"{_staging.how_many(s.n, len(s.all), 'start')} came with fewer zones than the minimum"
        )
    events = _staging.events(s, "too few zones", "length_s", _clause)
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


def _summary(s: Starts) -> str:
    site = s.site
    first = site.clock(int(s.rows["start_ts"].iloc[0]))
    last = site.clock(int(s.rows["start_ts"].iloc[-1]))
    total = sum(_staging.after(row) for row in s.rows.itertuples(index=False))
    return words.sentences(
        f"{_headline(s)}: first {first}, last {last}, {words.hours(total)} of second stage in all",
        "" if _staging.who_called(s) else _staging.by_zones(s),
        f"it came on {words.times(len(s.all))} altogether",
    )
