"""Second stage stayed in: it went on after fewer zones than the minimum were left calling.

What it says
    How often second stage ran on for more than 2 min and an interval of the log after the zones
    calling fell below the panel's minimum or the last call ended, or, where its timer runs from
    the call, no zone was left that had called for the delay, though the panel is set to follow
    the calls.

Why it matters
    Second stage into one remaining zone is the same strain as starting it with too few: static
    and supply air climb within minutes.

What looks like it but is not
    A panel set to hold second stage until every zone is satisfied: that is its setting, and not
    audited. A minimum run of second stage of a minute or two.

Source
    Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
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
from pipeline.findings._site import SiteFrames, flags, number, numbers, records
from pipeline.findings._staging import Starts
from pipeline.findings._windows import evidence, windows
from pipeline.units import MICROSECONDS

RESULT = "stayed in"


def _minimum_not_in_force(s: Starts) -> Weighed:
    n_few = int((s.all["result"] == "too few zones").sum())
    said = f"second stage also came on with too few zones {words.times(n_few)}"
    if not n_few:
        said = f"none of {words.count(len(s.all), 'second-stage start')} came with too few zones"
    if n_few >= s.site.threshold("stage_early_min_events"):
        return Weighed(Weight.STRONG, f"{said}: the minimum is kept neither at the start nor later")
    return Weighed(Weight.AGAINST, said)


def _release_setting(s: Starts) -> Weighed:
    said = (
        f"{words.of_all(s.n, len(s.all), 'second-stage run')} stayed in, for {_span(s)}, after "
        f"{_left(s)}"
    )
    n_few = int((s.all["result"] == "too few zones").sum())
    if n_few >= s.site.threshold("stage_early_min_events"):
        return Weighed(Weight.OPEN, said)
    many = s.share >= s.site.threshold("staging_plan_share")
    return Weighed(Weight.FITS if many else Weight.OPEN, said)


def _minimum_run(s: Starts) -> Weighed:
    lengths = sorted(numbers(s.rows["length_s"]))
    spread = s.site.threshold("stage_clock_spread_s")
    share = s.site.threshold("cause_share_min_frac")
    middle = words.duration(lengths[len(lengths) // 2])
    if _staging.most_alike(lengths, spread) >= share * len(lengths):
        return Weighed(Weight.STRONG, f"these runs were all about {middle} long, as a timer's are")
    return Weighed(
        Weight.RULED_OUT, f"these runs were {words.durations(lengths)} long, not of one length"
    )


def _contact(s: Starts) -> Weighed:
    return Weighed(Weight.OPEN, "the log cannot tell whether the terminal or the wire held it")


FINDING = Declaration(
    title="Second stage stayed in",
    question="Did second stage run on after the calls that it needs had ended?",
    needs_tables=_staging.NEEDS_TABLES,
    needs_roles=_staging.NEEDS_ROLES,
    figure="staging",
    thresholds=(
        "stage2_stays_after_s",
        "stage_early_min_events",
        "staging_plan_share",
        "stage_clock_spread_s",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the minimum number of zones is not in force, so that one zone is enough to keep it",
            "Raised when second stage also comes on with too few zones; lowered when it does not.",
            _minimum_not_in_force,
            replays="stage2_min_zones",
        ),
        Cause(
            "second stage is set to hold until the zones are satisfied, not to follow the calls",
            "Raised when a quarter or more of the second-stage runs stayed in.",
            _release_setting,
        ),
        Cause(
            "a minimum run of second stage holds it",
            "Raised when the runs that stayed in are of one length. Ruled out when they are not.",
            _minimum_run,
            not_it="a minimum run of second stage",
        ),
        Cause(
            "a relay contact or wire that holds W2 (Y2)",
            "Such a log cannot tell.",
            _contact,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read what releases second stage and its minimum run; photograph both",
            "follows the calls, as the site sheet says",
            "write down the old value and set it as designed",
        ),
        Check(
            "panel",
            "with second stage on, end all calls but {zone} and time W2 (Y2) with a meter; "
            f"{_cautions.WATCHED}",
            "off within 2 min",
            "the release setting, its relay or a wire joined to it",
        ),
    ),
    cautions=(
        _cautions.SETTINGS,
        _cautions.REPRODUCE,
        _cautions.ELECTRICITY,
        _cautions.LIMIT,
    ),
    confused_with=("Second stage with too few zones: there it came on that way.",),
    symptom_of=("second-stage-too-few-zones",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three second-stage runs that stayed in, where the panel is said to follow."""
    refused = _staging.not_applicable(site)
    if refused is not None:
        return refused
    s = _staging.starts(site, None)
    if s.all.empty:
        return CannotTell("second stage never came on outside visits")
    audited = s.all[s.all["stayed_in_s"].notna()]
    if audited.empty:
        return CannotTell(
            "the site file does not say that second stage follows the calls, so "
            "there is nothing to hold it against"
        )
    long = audited[flags(audited["is_stayed_in"])]
    s = Starts(site, audited.reset_index(drop=True), long.reset_index(drop=True))
    if s.n < site.threshold("stage_early_min_events"):
        return NotFound(
            f"{_staging.how_many(s.n, len(s.all), 'run')} stayed in for "
            f"{words.duration(site.threshold('stage2_stays_after_s'))} and an interval of the log"
        )
    events = [
        replace(
            event,
            start_ts=int(row.stayed_in_ts),
            end_ts=int(row.stayed_in_ts) + int(row.stayed_in_s * MICROSECONDS),
        )
        for event, row in zip(
            _staging.events(s, RESULT, "stayed_in_s", _clause),
            records(s.rows),
            strict=True,
        )
    ]
    return Found(
        severity=s.severity,
        certainty="shown",
        summary=_summary(s),
        headline=_headline(s),
        facts=s,
        evidence=evidence(events),
        windows=windows(site, events),
        fill={"zone": "one zone"},
        table=_staging.table(
            s, ("Stayed in for", lambda row: words.duration(float(row.stayed_in_s)))
        ),
    )


def _span(s: Starts) -> str:
    return words.durations(numbers(s.rows["stayed_in_s"]))


def _left(s: Starts) -> str:
    """'fewer than 2 zones were left calling'; without a minimum it is the last call's end."""
    least = sorted(set(numbers(s.rows["min_zones_setting"])))
    left = "no zone was left calling"
    if least and max(least) > 1:
        said = words.joined((f"{x:.0f}" for x in least), last="or")
        left = f"fewer than {said} zones were left calling"
    if flags(s.rows["stayed_in_by_clock"]).any():
        return f"{left} or none that had called for the delay"
    return left


def _clause(row: Any) -> str:
    least = number(row.min_zones_setting)
    left = f"fewer than {least:.0f} zones" if least is not None and least > 1 else "no zone"
    if row.stayed_in_by_clock is True:
        left = f"{left}, or none long enough,"
    return (
        f"second stage on for {words.duration(float(row.length_s))}, "
        f"{words.duration(float(row.stayed_in_s))} of it with {left} left calling"
    )


def _headline(s: Starts) -> str:
    return (
        f"second stage stayed in {words.of_all(s.n, len(s.all))} times after {_left(s)}, for "
        f"{_span(s)}"
    )


def _summary(s: Starts) -> str:
    first = s.site.clock(int(s.rows["start_ts"].iloc[0]))
    last = s.site.clock(int(s.rows["start_ts"].iloc[-1]))
    return words.sentences(f"{_headline(s)}: first {first}, last {last}")
