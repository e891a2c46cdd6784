"""State inverted: a channel is on when what it goes with is off, and off when that is on.

What it says
    Which channel, what it was held against, and the line that turns it.

Why it matters
    Runtime is then the time it stood still.

What looks like it but is not
    A call that stands unanswered: then nothing goes off with it. A fan left on.

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

CODE = "state-inverted"
ROLES = ("output_w1", "output_y1", "output_aux", "output_g", "zone_call_w1", "zone_call_y1")


def _most(found: Trouble) -> Weighed:
    s = found.first
    if s.n >= s.of_n / 2:
        return Weighed(Weight.FITS, f"it shows in {words.of_all(s.n, s.of_n, 'event')} compared")
    return Weighed(
        Weight.AGAINST, f"it shows in only {words.of_all(s.n, s.of_n, 'event')} compared"
    )


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="On and off the wrong way round",
    question="Is every state on when it should be?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "state_against_min_frac",
        "state_mostly_frac",
        "dead_min_starts",
        "probe_min_runs",
        "probe_share_min_frac",
        "static_least_inwc",
    ),
    causes=(
        Cause(
            "the logger writes 1 for off, or a normally closed contact was used",
            "Raised by what goes with it.",
            _most,
        ),
        Cause(
            "the column belongs to another terminal",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "office",
            "{action}",
            "its runtime agrees with the other channels",
            "watch the terminal and the logger side by side once",
        ),
    ),
    confused_with=("A damper that is wired the other way: the log looks the same.",),
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
        holds="every state is on and off together with what it belongs to",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    headline = f"{found.labels} logged the wrong way round: on while what goes with it is off"
    return headline, ""
