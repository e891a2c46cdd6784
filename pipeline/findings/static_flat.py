"""Static flat: equipment starts and supply static does not move.

What it says
    Since when, and through how many starts.

Why it matters
    Static under target is then no good news: nothing is read at all.

What looks like it but is not
    A blower that does not run: supply air then climbs or freezes, which other findings tell. A
    wrong unit: small numbers that still move with the fan.

Source
    Ours: no answer beyond one count at five starts in a row.
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
from pipeline.findings._channels import TABLES, Trouble, judged, said, too_few_runs
from pipeline.findings._site import SiteFrames

CODE = "static-flat"
ROLES = ("static_pressure",)


def _dated(found: Trouble) -> Weighed:
    s = found.first
    if s.start_ts > found.site.window.start_ts:
        return Weighed(Weight.FITS, f"it was right before {found.site.clock(s.start_ts)}")
    return Weighed(Weight.OPEN, "it was so from the log's first hours on")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Static does not answer the fan",
    question="Does supply static rise when the fan starts?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "flat_max_inwc",
        "flat_min_starts",
    ),
    causes=(
        Cause(
            "the tube is off, kinked or plugged",
            "Fits when static answered before.",
            _dated,
        ),
        Cause(
            "the transducer has no power, or reads another port",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "look at the tube from tap to transducer; take it off at the tap and blow into it "
            "gently",
            "the reading jumps",
            "put the tube back on and note the time",
        ),
        Check(
            "log",
            "see whether supply air moves in the same runs",
            "it does, so the blower runs",
            "no air either: go to the unit at once",
        ),
    ),
    confused_with=("A blower that stands still.",),
    source="Ours: no answer beyond one count at five starts in a row.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        blind=too_few_runs,
        holds="static rises when the fan starts",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = max(found.stretches, key=lambda one: one.n)
    site = found.site
    since = "" if s.start_ts <= site.window.start_ts else f" since {site.clock(s.start_ts)}"
    headline = (
        f"supply static does not answer the fan{since}: {words.count(s.n, 'fan start')} without a "
        "rise"
    )
    return headline, f"it stays at {said(site, s)}"
