"""What to mind when loggers are set. Wording is ours; common practice, no source."""

from __future__ import annotations

from pipeline.findings import _cautions
from pipeline.plan.installed import Installed

DRILL = (
    "Drill ducts and plenums only where you know what is behind: no coil, drain pan, exchanger, "
    "refrigerant line or wiring. Stay downstream of the coil box, keep the bit short, clear the "
    "chips, take hole plugs along and seal every hole."
)
SENSE = (
    "Sense 24 V states by isolated contact, high-impedance input or current clamp. Never load the "
    "24 V circuit, and never put anything in series with a limit, float switch or other safety."
)
LINE = (
    "Line voltage (blower, compressor, strips) is for licensed people under local codes; no logger "
    "or its wiring near it."
)
INSIDE = (
    "Before a hand goes inside: power off at the disconnect and verified dead, capacitors hold "
    "their charge. Close every door; never tape or block the blower-door switch or run "
    "with panels off unattended."
)
GAS = (
    "Gas side: only licensed people open it. If you smell gas or a CO alarm sounds, leave and call "
    "the emergency services."
)
REFRIGERANT = "Refrigerant circuit stays closed: temperatures are taken in the air, not on gauges."
SETTINGS = (
    "Photograph settings and fault codes before anything is changed or switched off. Change "
    "nothing while the loggers run, or write down when, what and from which value."
)
ROOM = "Probes, cables and tubes out of moving parts, hot metal, drains and children's reach."


def cautions(here: Installed) -> tuple[str, ...]:
    """The cautions that belong to this equipment, in the order of the work."""
    lines = [SETTINGS, DRILL, SENSE, LINE, INSIDE]
    if here.has_furnace:
        lines.append(GAS)
    if "output_y1" in here.roles:
        lines.append(REFRIGERANT)
    return (*lines, ROOM, _cautions.CLEAN_LOG)
