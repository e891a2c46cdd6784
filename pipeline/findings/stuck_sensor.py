"""Stuck sensor: a channel of numbers reads one and the same value while the equipment runs.

What it says
    Which channel, from when to when, at what value, and how many equipment starts passed it by;
    where no run was logged, in how many hours of it another probe of the plenum moved.

Why it matters
    A stuck reading looks like a calm system: no trips, no room that falls behind, no overheating.

What looks like it but is not
    A quiet room read in coarse steps, a held or empty house, setpoints. A tube off the static tap
    is told by its own finding.

Source
    Ours, for rooms; two hours and two starts for ducts: common practice, no source.
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
from pipeline.findings._site import SiteFrames

CODE = "stuck-sensor"
PLENUM = ("supply_temp", "return_temp", "mixed_temp")
ROLES = ("supply_temp", "return_temp", "static_pressure", "zone_temp", "outdoor_temp")


def _one_of_logger(found: Trouble) -> Weighed:
    channel = found.site.table("channel.channel")
    s = found.first
    all_n = int((channel["logger"] == s.logger).sum())
    mine = sum(c.logger == s.logger for c in found.channels)
    if mine < all_n:
        return Weighed(Weight.FITS, f"{mine} of {all_n} channels of {s.logger} are stuck")
    return Weighed(Weight.AGAINST, f"every channel of {s.logger} is stuck")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Sensor stuck at one value",
    question="Does a sensor stay at one value while the equipment runs?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "stuck_duct_min_s",
        "stuck_room_min_s",
        "stuck_coarse_min_s",
        "stuck_fine_step_f",
        "stuck_times_usual",
        "stuck_min_starts",
        "stuck_moves_min_f",
        "constant_min_s",
    ),
    causes=(
        Cause(
            "the probe or its lead: broken, shorted or pulled out at the logger",
            "Fits where one channel of its logger stands still.",
            _one_of_logger,
        ),
        Cause(
            "the logger repeats its last reading after it lost the sensor",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{channels}: warm the probe in the hand with the logger reading",
            "the reading moves within a minute",
            "change the probe or its lead before you believe anything it reads",
        ),
    ),
    confused_with=("A room at rest: it still drifts by a step of the logger within hours.",),
    source="Ours, for rooms; two hours and two starts for ducts: common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        blind=_blind,
        holds="no plenum probe stood at one value while another moved"
        if site.table("trust.run").empty
        else "no channel stood at one value through equipment starts",
    )


def _blind(site: SiteFrames) -> str | None:
    """Why nothing shows whether a channel that stands still should move; None: something does."""
    there = set(site.table("channel.channel")["role"]) & set(PLENUM)
    if not site.table("trust.run").empty or len(there) > 1:
        return None
    return "no run was logged, and no other plenum probe that would move in one"


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = max(found.stretches, key=lambda one: one.length_s)
    site = found.site
    headline = (
        f"{s.label} stood at {said(site, s)} for {words.duration(s.length_s)}, "
        f"{site.clock_span(s.start_ts, s.end_ts)}"
    )
    if site.table("trust.run").empty:
        more = f"another plenum probe moved in {words.count(s.n, 'hour')} of it; no run was logged"
    else:
        more = f"the equipment started {words.times(s.n)} meanwhile"
    if len(found.channels) > 1:
        others = [c.label for c in found.channels if c.channel_id != s.channel_id]
        more += f"; also {words.joined(others)}"
    return headline, more
