"""Log too coarse: a channel is written in steps coarser than what is concluded from it.

What it says
    Which channel, in what steps, and which would do.

Why it matters
    A rise, a split or the margin over target is then told to one step at best.

What looks like it but is not
    A channel that hardly moves: its steps are judged by the smallest two values it ever told apart.

Source
    Ours: a degree for temperatures, under half of the margin over target for static.
"""

from __future__ import annotations

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

CODE = "log-too-coarse"
ROLES = ("supply_temp", "return_temp", "static_pressure", "zone_temp")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Log too coarse",
    question="Are readings written in steps fine enough for what is concluded from them?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "coarse_step_f",
        "coarse_step_inwc",
    ),
    causes=(
        Cause(
            "the logger's resolution, or a setting that rounds what it writes",
            "Open: the log shows the same either way.",
            _open,
        ),
        Cause(
            "a sensor with a wide range on a logger with few counts",
            "Open: as before.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{channels}: look for a setting of decimals or range in the logger",
            "tenths of a degree; hundredths of an inch of water",
            "use a logger or a sensor range that is finer",
        ),
    ),
    confused_with=("A logger that reads too seldom: that is said beside each figure.",),
    source="Ours: a degree for temperatures, under half of the margin over target for static.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="note",
        holds="steps are fine enough on every channel",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = max(found.stretches, key=lambda one: one.figure)
    headline = f"{found.labels} logged only in steps of {found.value(s)}"
    least = (
        found.site.static(found.site.threshold("coarse_step_inwc"))
        if s.role == "static_pressure"
        else found.site.temperature_difference(found.site.threshold("coarse_step_f"))
    )
    return headline, f"steps of {least} or finer would do; no figure here is finer than the steps"
