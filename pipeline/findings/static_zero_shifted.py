"""Static zero shifted: with everything at rest, supply static stands off zero.

What it says
    By how much, since when, from how many rests, and the line that takes it out.

Why it matters
    Time over target and relief are judged to 0.05 in. w.c.; a shift of 0.08 decides them alone.

What looks like it but is not
    A fan-only speed or a ventilator: the lower of two levels counts. A fan that never stops: then
    zero cannot be checked.

Source
    Ours: everything off for ten minutes, static steady, five rests at least.
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

CODE = "static-zero-shifted"
ROLES = ("static_pressure",)


def _dated(found: Trouble) -> Weighed:
    s = found.first
    if s.start_ts > found.site.window.start_ts:
        return Weighed(Weight.FITS, f"it was right before {found.site.clock(s.start_ts)}")
    return Weighed(Weight.OPEN, "it was so from the log's first hours on")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Static zero shifted",
    question="Does supply static rest at zero when nothing blows?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "rest_min_s",
        "rest_settle_s",
        "zero_steady_inwc",
        "zero_min_rests",
        "zero_shift_min_inwc",
    ),
    causes=(
        Cause(
            "the transducer's zero moved: knocked, tilted, cold or warm",
            "Fits when it began inside the log.",
            _dated,
        ),
        Cause(
            "water or a kink in the tube, or the reference port closed",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "office",
            "{action}",
            "static rests at zero in the review",
            "take both tubes off and read zero at the logger",
        ),
        Check(
            "ducts",
            "take both tubes off the transducer with the fan off",
            "within 0.01 in. w.c. of zero",
            "zero it there, and note the time for the site file",
        ),
    ),
    confused_with=("Another fan running in the same ducts.",),
    source="Ours: everything off for ten minutes, static steady, five rests at least.",
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
        holds="static rests at zero",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = max(found.stretches, key=lambda one: abs(one.figure))
    site = found.site
    since = (
        ""
        if s.start_ts <= site.window.start_ts
        else f" since {site.clock(s.start_ts)} at the earliest"
    )
    headline = f"supply static rests at {site.static(s.figure)}, not at zero{since}"
    return headline, f"so in {words.of_all(s.n, s.of_n, 'stop')} with everything off"


def _blind(site: SiteFrames) -> str | None:
    rests = site.table("trust.rest")
    steady = rests[rests["spread_inwc"] <= site.threshold("zero_steady_inwc")]
    if len(steady) >= site.threshold("zero_min_rests"):
        return None
    return (
        f"zero could not be checked: {words.count(len(steady), 'stop')} with everything off and "
        "static steady"
    )
