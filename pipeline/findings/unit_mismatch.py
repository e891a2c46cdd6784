"""Unit mismatch: readings make sense only in another unit, or with the other sign.

What it says
    Which channel, what it says as told, and the line that puts it right.

Why it matters
    Every figure from it is off by a fixed factor: 0.4 in. w.c. told as Pa is nothing at all.

What looks like it but is not
    A flat static line (tube off), a broken sensor, a room that is really that cold.

Source
    Ours, from what working systems read: common practice, no source.
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
from pipeline.findings._channels import TABLES, Trouble, judged, said, too_few_runs
from pipeline.findings._site import SiteFrames

CODE = "unit-mismatch"
ROLES = ("supply_temp", "return_temp", "static_pressure", "zone_temp", "outdoor_temp")


def _another_unit(found: Trouble) -> Weighed:
    lines = [s.correction for s in found.stretches if s.correction and "unit" in s.correction]
    if lines:
        return Weighed(Weight.FITS, f"with {lines[0]} it makes sense")
    return Weighed(Weight.AGAINST, "no one unit makes sense of it")


def _sign(found: Trouble) -> Weighed:
    if any(s.reason == "sign inverted" for s in found.stretches):
        return Weighed(Weight.FITS, "static falls when the fan starts")
    return Weighed(Weight.AGAINST, "the sign is right")


FINDING = Declaration(
    title="Wrong unit or sign",
    question="Are readings in the unit, and of the sign, that site.toml says?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "static_least_inwc",
        "static_most_inwc",
        "static_usual_inwc",
        "flat_min_starts",
        "probe_share_min_frac",
    ),
    causes=(
        Cause(
            "the logger was set to another unit than its column heading or site.toml says",
            "Fits where the readings make sense in one other unit.",
            _another_unit,
        ),
        Cause(
            "tubes on the wrong ports, or the leads of the transducer swapped",
            "Fits where static has the other sign.",
            _sign,
        ),
    ),
    check_next=(
        Check(
            "office",
            "{action}",
            "the review gives ordinary figures",
            "compare one reading with a hand instrument and note the factor",
        ),
        Check(
            "log",
            "{channels}: read the logger's display beside a hand instrument",
            "the same number and unit",
            "set the unit on the logger before it goes out again",
        ),
    ),
    confused_with=("Another column under that name.",),
    source="Ours, from what working systems read: common practice, no source.",
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
        holds="readings make sense in the units given",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = found.first
    if s.reason == "sign inverted":
        return f"{s.label} has the wrong sign: {found.value(s)} at fan starts", ""
    what = found.value(s) if s.unit == "store difference" else said(found.site, s)
    at = "it moves by" if s.unit == "store difference" else "its usual reading is"
    return (
        f"{found.labels} logged in another unit than site.toml says: read that way, {at} {what}",
        "",
    )


def _blind(site: SiteFrames) -> str | None:
    roles = set(site.table("channel.channel")["role"])
    return too_few_runs(site) if roles <= {"static_pressure"} else None
