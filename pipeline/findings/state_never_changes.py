"""State never changes: a channel stays as it is through events that should have moved it.

What it says
    Which channel, and through how many events.

Why it matters
    No runtime is not the same as not logged.

What looks like it but is not
    A second stage or a zone that was not used. A fan output where the furnace starts its own fan.

Source
    Ours.
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

CODE = "state-never-changes"
ROLES = ("output_w1", "output_y1", "output_aux", "output_g", "zone_call_w1", "zone_call_y1")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="State that never changes",
    question="Did every state change that should have?",
    about="log",
    needs_tables=TABLES,
    thresholds=("dead_min_starts",),
    causes=(
        Cause(
            "the lead is not connected, or the clamp is on another wire",
            "Open: the log shows the same either way.",
            _open,
        ),
        Cause(
            "the threshold of the input is too high or too low",
            "Open: as before.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{channels}: watch the channel through one start",
            "it changes",
            "connect it, or set its threshold between the two levels seen",
        ),
    ),
    confused_with=("An output that is never used.",),
    source="Ours.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        holds="every state that should have changed did",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = found.first
    headline = (
        f"{found.labels} never changed through {words.count(s.n, 'event')} that should have moved "
        "it"
    )
    return headline, ""
