"""Zone overheats: a room goes past its setpoint in heat while it isn't calling.

What it says
    Which room stands how far past its comfort band in heat, what it gains while only other zones
    call, and whether its damper was open or shut then.

Why it matters
    It is a complaint of its own, and heat that nobody asked for.

What looks like it but is not
    Sun, cooking, people, a stove: then the room gains no more when the equipment runs.
    A setback: time after a setpoint step is left out. Two degrees are within comfort.

Source
    Common practice, no source.
"""

from __future__ import annotations

from pipeline.findings import _cautions, _over
from pipeline.findings._base import Cause, Check, Declaration, Outcome
from pipeline.findings._site import SiteFrames

FINDING = Declaration(
    title="Zone overheats when it isn't calling",
    question="Does a room go past its setpoint in heat while only other zones call?",
    needs_tables=_over.NEEDS_TABLES,
    needs_roles=_over.NEEDS_ROLES,
    compares=("supply_temp",),
    figure="calls",
    thresholds=_over.THRESHOLDS,
    causes=(
        Cause(
            "its damper is opened to relieve static: relief order, too much air for the zones that "
            "call",
            "Raised when the room moves further past its setpoint with its damper shown open "
            "while only others call. Ruled "
            "out when it never was.",
            _over.relief,
            not_it="relief",
        ),
        Cause(
            "its damper does not shut tight",
            "Raised when the room moves further past its setpoint with its damper shown closed.",
            _over.leak,
        ),
        Cause(
            "heat from elsewhere: sun, a stove, an open stair, the room below",
            "Raised when the room moves little while others call.",
            _over.elsewhere,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the relief order, static target and which zones may relieve; photograph them",
            "{zone} last in the order, or out of it where others can take the air",
            "write down the old order, then change it by the panel's instructions",
        ),
        Check(
            "dampers",
            "with only other zones calling: is {zone}'s damper open, and does it shut tight?",
            "shut, or open only while static is over its target",
            "open for no reason: back to the panel; shut and air still comes: blade or linkage",
        ),
        Check(
            "ducts",
            "a hand or anemometer at the registers of {zone} while only others call",
            "no more than a breath of air",
            "another branch feeds it: find where it taps off",
        ),
    ),
    cautions=(_cautions.RELIEF, _cautions.SETTINGS, _cautions.SYMPTOMS),
    confused_with=(
        "Thermostat and room apart: past its setpoint while it calls as well.",
        "Damper did not close: there the room moves with its damper shut.",
    ),
    symptom_of=(
        "damper-did-not-close",
        "damper-did-not-open",
        "static-above-target",
        "zones-exchanged",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by degrees past the comfort band with the duct's air as the reason."""
    return _over.judge_mode(site, "heating")
