"""Missing readings: a channel lacks readings inside its own log.

What it says
    Which channel, and what share of its readings is lacking.

Why it matters
    Short runs, trips and excursions fall between the readings that are left.

What looks like it but is not
    A logger that stopped as a whole, which is a gap. A rate that was changed on purpose.

Source
    Ours: by the channel's own interval and by what its neighbours in the logger have.
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
from pipeline.findings._channels import TABLES, Trouble, judged
from pipeline.findings._site import SiteFrames

CODE = "missing-readings"
ROLES = ("supply_temp", "return_temp", "static_pressure", "zone_temp", "outdoor_temp")


def _one_of_logger(found: Trouble) -> Weighed:
    channel = found.site.table("channel.channel")
    s = found.first
    all_n = int((channel["logger"] == s.logger).sum())
    mine = sum(c.logger == s.logger for c in found.channels)
    if mine < all_n:
        return Weighed(
            Weight.FITS, f"readings are missing on {mine} of {all_n} channels of {s.logger}"
        )
    return Weighed(Weight.AGAINST, f"readings are missing on every channel of {s.logger}")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Readings missing",
    question="Does every channel have the readings its logger took?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "lost_min_frac",
        "lost_watch_frac",
        "lost_hole_max_s",
    ),
    causes=(
        Cause(
            "a bad contact at one sensor, or readings the logger leaves blank",
            "Fits where one channel of its logger misses readings.",
            _one_of_logger,
        ),
        Cause(
            "a radio link at the end of its reach",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{channels}: plug, lead and range of the link",
            "every row has a number",
            "fasten the lead, or move the receiver nearer",
        ),
    ),
    confused_with=("Blank cells in a file that several loggers share.",),
    source="Ours: by the channel's own interval and by what its neighbours in the logger have.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity=_severity,
        holds="every channel has all but a few of its readings",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    worst = max(found.stretches, key=lambda one: one.figure)
    lacking = (
        f"{worst.label} has no reading at all"
        if worst.figure >= 1
        else f"{worst.label} misses {words.share(worst.figure)} of its readings"
    )
    others = [c.label for c in found.channels if c.channel_id != worst.channel_id]
    return lacking, f"also {words.joined(others)}" if others else ""


def _severity(found: Trouble) -> str:
    """More than a note from the share that leaves holes in every hour."""
    worst = max(s.figure for s in found.stretches)
    return "watch" if worst >= found.site.threshold("lost_watch_frac") else "note"
