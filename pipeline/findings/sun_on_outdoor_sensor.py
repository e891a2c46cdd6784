"""Sun on the outdoor sensor, or something warm beside it: it reads more than outdoor air.

What it says
    On which days readings flicker as sun and cloud do, or that they follow the equipment's runs.

Why it matters
    Balance points, changeover and weather comparisons rest on it.

What looks like it but is not
    Gusts and fronts: they come by night too. A wall that lifts every reading alike leaves no trace
    in a log and is not told.

Source
    Ours; compare night hours: common practice, no source.
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

CODE = "sun-on-outdoor-sensor"
ROLES = ("outdoor_temp",)


def _sun(found: Trouble) -> Weighed:
    if found.first.unit == "answers equipment":
        return Weighed(Weight.AGAINST, "it moves with the equipment, by night too")
    days = words.count(len(found.stretches), "day")
    return Weighed(Weight.STRONG, f"it flickers by day only, on {days}")


def _vent(found: Trouble) -> Weighed:
    if found.first.unit == "answers equipment":
        return Weighed(Weight.STRONG, "it moves at every run of the equipment")
    return Weighed(Weight.AGAINST, "it does not move with the equipment's runs")


FINDING = Declaration(
    title="Outdoor sensor in the sun or beside something warm",
    question="Does the outdoor sensor read outdoor air?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "sun_rough_min_f",
        "sun_rough_times",
        "sun_step_min_f",
        "sun_min_days",
        "wall_answer_min_f",
        "probe_share_min_frac",
        "dead_min_starts",
    ),
    causes=(
        Cause(
            "sun on the sensor or on what it hangs on",
            "Fits when it flickers by day only.",
            _sun,
        ),
        Cause(
            "a vent, a warm wall or the outdoor unit beside it",
            "Fits when it moves with the equipment's runs.",
            _vent,
        ),
    ),
    check_next=(
        Check(
            "outdoor unit",
            "look where the sensor hangs at the hour it is wrong, and read shaded air beside it",
            "within 2 degrees F of shaded air",
            "move it to a north wall, out of sun and rain, away from vents",
        ),
    ),
    confused_with=("A storm: outdoor air itself jumps, on one day.",),
    source="Ours; compare night hours: common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        certainty="likely",
        holds="outdoor readings move by day about as by night, and not with the equipment",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = found.first
    site = found.site
    if s.unit == "answers equipment":
        way = "rises" if s.figure > 0 else "falls"
        by = site.temperature_difference(abs(s.figure))
        headline = f"the outdoor sensor {way} by {by} whenever the equipment runs"
        return headline, f"in {words.of_all(s.n, s.of_n, 'run')}"
    days = len(found.stretches)
    headline = f"the outdoor sensor seems to stand in the sun on {words.count(days, 'day')}"
    return headline, "by day it flickers as sun and cloud do, by night it does not"
