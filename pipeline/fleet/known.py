"""What a fleet owner needs to know of each kind of finding, beside what its own file declares.

A finding that is named nowhere here can show whenever anything heats or cools, needs a truck and no
parts, and never stands on top. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.findings._cautions import GAS, REFRIGERANT, WATCHED
from pipeline.result import Finding

TOP = {
    "equipment-without-fan": "safety",
    "fault-contact": "safety",
    "leak-control": "safety",
    "limit-did-not-act": "safety",
    "call-without-output": "no heat",
    "heating-with-cooling": "no heat",
    "no-heat": "no heat",
    "cooling-does-not-cool": "no cooling",
    "float-switch": "no cooling",
}
"""Findings that stand on top of the page, outside the ranking, where they are `act`."""

CANNOT_WAIT = frozenset(TOP)
"""Findings that a day is looked at for before its week is over."""

STATES: dict[str, tuple[str, tuple[str, ...]]] = {
    "run": ("heating or cooling", ("heat_s", "cool_s")),
    "heat": ("heat", ("heat_s",)),
    "cool": ("cooling", ("cool_s",)),
    "second": ("second stage", ("heat_second_s", "cool_second_s")),
    "compressor": ("the compressor", ("compressor_heat_s", "cool_s")),
    "compressor heat": ("compressor heat", ("compressor_heat_s",)),
    "one zone": ("one zone calling", ("heat_one_zone_s", "cool_one_zone_s")),
    "burner": ("the furnace", ("burner_s",)),
    "fan": ("the blower", ("fan_s",)),
    "logged": ("log", ("window_s",)),
}
"""A state in words ('in 61 hours of ...') and the columns of unusual.site_day that add up to it."""

_STATE_OF = {
    **dict.fromkeys(
        (
            "no-heat",
            "ignition-slow",
            "no-purge-after-heat",
            "rise-outside-plate",
            "second-stage-no-effect",
            "second-stage-not-by-panel",
        ),
        "burner",
    ),
    **dict.fromkeys(("high-limit-trips", "equipment-cut-outs", "limit-did-not-act"), "heat"),
    **dict.fromkeys(
        ("aux-too-readily", "emergency-heat-left-on", "balance-point-mismatch"), "heat"
    ),
    **dict.fromkeys(("no-defrost", "too-much-defrost"), "compressor heat"),
    **dict.fromkeys(
        (
            "coil-icing",
            "cooling-does-not-cool",
            "cooling-in-cold-weather",
            "fan-on-in-cooling",
            "float-switch",
            "low-limit-trips",
            "zone-overcools",
        ),
        "cool",
    ),
    **dict.fromkeys(("compressor-stops-in-call", "heating-with-cooling"), "compressor"),
    **dict.fromkeys(
        ("second-stage-early", "second-stage-too-few-zones", "stage-drop-on-limit"), "second"
    ),
    "second-stage-stayed-in": "second",
    "fan-never-stops": "fan",
    **dict.fromkeys(("static-above-target", "static-hunting", "static-low"), "fan"),
    **dict.fromkeys(("fault-contact", "power-dropout", "leak-control", "opposing-calls"), "logged"),
    "call-without-output": "logged",
    "zone-overheats": "heat",
    "both-fuels": "heat",
}

HEATING, COOLING, EITHER = "heating", "cooling", ""
_SEASON = {
    "run": EITHER,
    "fan": EITHER,
    "logged": EITHER,
    "second": EITHER,
    "one zone": EITHER,
    "compressor": EITHER,
    "heat": HEATING,
    "burner": HEATING,
    "compressor heat": HEATING,
    "cool": COOLING,
}

FIRST_BY_PHONE = frozenset(
    {
        "cooling-in-cold-weather",
        "emergency-heat-left-on",
        "fan-never-stops",
        "fan-on-in-cooling",
        "opposing-calls",
    }
)
"""A switch, a setpoint or a habit: the customer can say, and can put it right."""

PARTS = {
    "airflow-falling": ("filter of the size fitted",),
    "airflow-low": ("filter of the size fitted",),
    "coil-icing": ("filter of the size fitted",),
    "compressor-stops-in-call": ("capacitor and contactor for the outdoor unit",),
    "cooling-does-not-cool": ("capacitor and contactor for the outdoor unit",),
    "damper-did-not-close": ("damper actuator",),
    "damper-did-not-open": ("damper actuator",),
    "float-switch": ("drain cleaning kit, float switch",),
    "ignition-slow": ("flame sensor, igniter",),
    "no-heat": ("flame sensor, igniter",),
    "thermostat-in-air-stream": ("sealant for the hole behind the thermostat",),
}
"""What such a visit may need, so that it need not be two; the checks decide what is fitted."""


def state_of(code: str) -> str:
    """The state in which a finding can show: a key of STATES."""
    return _STATE_OF.get(code, "run")


def season_of(code: str) -> str:
    """'heating' or 'cooling' for a finding that shows in that mode alone, '' for others."""
    return _SEASON[state_of(code)]


def way_of(code: str, checks: Sequence[str], cautions: Sequence[str]) -> str:
    """What it takes to settle a finding: one of fleet_result.WAYS, by its declared checks.

    licence : its cautions leave the gas or the refrigerant side to licensed people
    two people : a step asks for somebody at the unit while a zone is made to call
    phone : see FIRST_BY_PHONE
    """
    if code in FIRST_BY_PHONE:
        return "phone"
    if GAS in cautions or REFRIGERANT in cautions:
        return "licence"
    if any(WATCHED in check for check in checks):
        return "two people"
    return "truck"


def top_of(finding: Finding) -> str:
    """Why the finding puts its site on top of the page; '' if it does not."""
    return TOP.get(finding.code, "") if finding.severity == "act" else ""
