"""Sensor lag: supply air seems to change over many minutes, so the probe is slow.

What it says
    How little of its way supply goes in its fastest minute after a start.

Why it matters
    Peaks are read too low and too late: trips and cut-outs can be missed.

What looks like it but is not
    Equipment that ramps by itself (modulating, inverter, staged strip heat).

Source
    Ours, from ordinary equipment and probes.
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
from pipeline.findings._channels import TABLES, Trouble, judged, too_few_runs
from pipeline.findings._site import SiteFrames

CODE = "sensor-lag"
ROLES = ("supply_temp",)


def _most(found: Trouble) -> Weighed:
    s = found.first
    if s.n >= s.of_n / 2:
        return Weighed(Weight.FITS, f"it shows in {words.of_all(s.n, s.of_n, 'run')}")
    return Weighed(Weight.AGAINST, f"it shows in only {words.of_all(s.n, s.of_n, 'run')}")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Slow supply probe",
    question="Does the supply probe follow supply air within a minute or two?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "lag_pace_max_times",
        "probe_min_runs",
        "rest_min_s",
    ),
    causes=(
        Cause(
            "the probe is thick, wrapped, on the outside of the duct or in a dead corner",
            "Raised by the runs that show it.",
            _most,
        ),
        Cause(
            "the equipment itself ramps up slowly",
            "Open unless site.toml says modulating.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "look how the supply probe sits in the duct",
            "bare, in the middle of the air",
            "put a thin probe into the air stream",
        ),
        Check(
            "log",
            "compare with a fast thermometer in the same hole at a start",
            "they agree within a minute or two",
            "believe steady values only, not peaks",
        ),
    ),
    confused_with=("A long purge or a damper in between.",),
    source="Ours, from ordinary equipment and probes.",
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
        blind=too_few_runs,
        holds="supply air moves within minutes at starts",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = found.first
    headline = (
        f"the supply probe is slow: at starts its fastest minute is only {s.figure:.1f} times its "
        "average pace"
    )
    return headline, f"in {words.of_all(s.n, s.of_n, 'run')}; real peaks may be higher than logged"
