"""Sensor spikes: single readings far off both of their neighbours, which agree with each other.

What it says
    Which channel leaps, how often and how far.

Why it matters
    One leap of supply air looks like a limit trip, one of static like a slammed damper.

What looks like it but is not
    Real steps, which stay for more than a reading: stage changes, damper moves, a door.

Source
    Common practice, no source.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings._base import (
    Cause,
    Check,
    Declaration,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._channels import TABLES, Trouble, judged, said
from pipeline.findings._site import SiteFrames, flags, records, role_words

CODE = "sensor-spikes"
IN_PLENUM = ("supply_temp", "return_temp", "static_pressure")
ROLES = (*IN_PLENUM, "zone_temp", "outdoor_temp")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Readings that jump and come back",
    question="Does a channel jump for one reading and come straight back?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "leap_min_f",
        "leap_supply_min_f",
        "leap_min_inwc",
        "leap_plenum_interval_max_s",
        "outlier_min_events",
    ),
    causes=(
        Cause(
            "a loose plug or a lead beside line voltage or an igniter",
            "Open: both give the same readings.",
            _open,
        ),
        Cause(
            "the logger's own reading failed now and then",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{channels}: wiggle plug and lead with the logger reading",
            "the reading stays steady",
            "fasten or replace the lead and keep it away from line voltage",
        ),
    ),
    confused_with=("A one-reading burner run at coarse sampling: its neighbours do not agree.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="note",
        least="outlier_min_events",
        blind=_too_coarse,
        holds="no reading jumps away from the one before and the one after",
    )


def _too_coarse(site: SiteFrames) -> str | None:
    """Why a leap of a probe in the plenum would not be told from a run; None if it would."""
    enough_s = site.threshold("leap_plenum_interval_max_s")
    channels = site.table("channel.channel")
    there = channels[channels["role"].isin(IN_PLENUM) & flags(channels["is_primary"])]
    slow = {r.role: r.interval_s for r in records(there[there["interval_s"] > enough_s])}
    if not slow:
        return None
    names = words.joined(role_words(role) for role in IN_PLENUM if role in slow)
    return (
        f"read every {words.duration(max(slow.values()))}, {names} may show a whole run in one "
        f"reading; every {words.duration(enough_s)} would do"
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    channel = max(found.channels, key=lambda one: one.n)
    headline = f"{channel.label} jumps and comes back {words.times(channel.n)}"
    first = found.of(channel)[0]
    more = f"first {found.site.clock(first.start_ts)}, to {said(found.site, first)}"
    return headline, more
