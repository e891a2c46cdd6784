"""Per channel: where its probe goes, what to mind there, what stays unknown without it.

Common practice, no source, where none is named. Order is the order of a walk at equal worth.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Probe:
    """How one role is logged.

    label : plural where a site has several, without zone names
    care : what is special to it; how 24 V states are sensed stands in cautions.SENSE
    """

    label: str
    where: str
    without: str
    care: str = ""


_LINE = "line voltage: licensed person"
_CALL = "at the panel's thermostat terminals"
_OUT = "at the panel's equipment terminals"

PROBES: dict[str, Probe] = {
    "supply_temp": Probe(
        "Supply air",
        "supply trunk about 4 ft (1.2 m) from the unit, before the first takeoff, in mixed air, "
        "out of sight of the exchanger and strips, tip off the metal",
        "air too hot or too cold; heat that never came",
        "drill only where you know what is behind",
    ),
    "return_temp": Probe(
        "Return air",
        "return drop near the unit, before the filter and any outdoor-air or bypass tie-in",
        "rise and split; warm return air",
        "tip in the air, not on the metal",
    ),
    "static_pressure": Probe(
        "Supply static",
        "supply trunk 2 to 3 ft (60 to 90 cm) from the unit, after the coil box, before the first "
        "takeoff and any bypass; static tip into the flow; range 0 to 1 in. w.c.",
        "little air told from much heat; time over target",
        "zero it with the fan off before and after; seal the hole",
    ),
    "return_static": Probe(
        "Return static",
        "between filter and blower, static tip into the flow; sensor as for supply",
        "return side told from supply side",
        "zero it with the fan off; seal the hole",
    ),
    "outdoor_temp": Probe(
        "Outdoor air",
        "shaded north side, off the wall, away from the outdoor unit's air, vents and dryer",
        "balance points; like days with like",
    ),
    "mixed_temp": Probe(
        "Mixed air",
        "after outdoor and return air have mixed, before the filter",
        "rise and split while outdoor air is taken in",
    ),
    "return_rh": Probe("Return humidity", "beside the return probe", "what split to expect"),
    "output_w1": Probe("W1 out", _OUT, "furnace runs, starts, trips"),
    "output_w2": Probe("W2 out", _OUT, "which stage of the furnace ran"),
    "output_y1": Probe("Y1 out", _OUT, "compressor runs, starts, rests"),
    "output_y2": Probe("Y2 out", _OUT, "which stage of the compressor ran"),
    "output_ob": Probe("O/B out", _OUT, "whether it heated or cooled"),
    "output_aux": Probe("Aux out", _OUT, "strip heat: runtime and starts"),
    "output_g": Probe("G out", _OUT, "fan asked for by itself"),
    "zone_call_w1": Probe("Heat calls", _CALL, "who called for heat, how long"),
    "zone_call_w2": Probe(
        "Second-stage heat calls", _CALL, "whether a thermostat asked for it"
    ),
    "zone_call_y1": Probe("Compressor calls", _CALL, "who called, how long"),
    "zone_call_y2": Probe(
        "Second-stage compressor calls", _CALL, "whether a thermostat asked for it"
    ),
    "zone_call_ob": Probe(
        "Reversing valve calls", _CALL, "whether a Y call meant heat or cooling"
    ),
    "zone_call_aux": Probe(
        "Auxiliary heat calls", _CALL, "whether a thermostat asked for strip heat"
    ),
    "zone_call_emergency": Probe(
        "Emergency heat calls", _CALL, "emergency heat left on"
    ),
    "zone_damper": Probe(
        "Damper states",
        "at each damper's end switch, or the panel's damper terminals",
        "whether relief opened",
    ),
    "zone_temp": Probe(
        "Room temperatures",
        "beside each thermostat, 5 ft (1.5 m) up, out of sun and register air, hole behind "
        "it sealed",
        "which zone could not hold, which overheated",
    ),
    "zone_heat_setpoint": Probe(
        "Heat setpoints", "the thermostat's own export, else written down",
        "how far off a zone was",
    ),
    "zone_cool_setpoint": Probe(
        "Cool setpoints", "the thermostat's own export, else written down",
        "how far off a zone was",
    ),
    "gas_valve": Probe(
        "Gas valve", "at the valve's 24 V terminals, by a qualified person",
        "whether it was asked to fire", "isolated; never in series with it",
    ),
    "flame": Probe(
        "Flame", "the board's own proof, if it has an output for it",
        "flame loss told from a limit", "leave the flame sensor's circuit alone",
    ),
    "equipment_limit": Probe(
        "Furnace's own limit",
        "across the board's limit input, high impedance, by a qualified person",
        "limit told from ignition fault", "never in series with it",
    ),
    "compressor_run": Probe(
        "Compressor running", "current switch at the outdoor unit",
        "whether it ran when Y was on", _LINE,
    ),
    "outdoor_fan_run": Probe(
        "Outdoor fan running", "current switch at the outdoor unit", "defrost told apart", _LINE
    ),
    "blower_run": Probe(
        "Blower running", "current switch on the blower's lead",
        "that the fan really ran", _LINE,
    ),
    "float_switch": Probe(
        "Float switch", "across the switch, high impedance", "full pan told from low limit",
        "never bypass it",
    ),
    "zone_call_g": Probe("Fan calls", _CALL, "who asked for the fan alone"),
    "zone_rh": Probe("Room humidity", "beside the room temperature", "comfort in damp weather"),
    "occupied": Probe("Occupied", "the time clock's or panel's contact", "which schedule was on"),
    "ventilator": Probe("Ventilator", "its control contact", "when outdoor air was taken in"),
    "voltage_24": Probe(
        "24 V present", "across R and C, high impedance", "power failures told from stops"
    ),
    "fault_contact": Probe(
        "Fault contact", "dry contact of the equipment's board",
        "when the equipment itself gave alarm",
        "a dry contact only: check with a meter first",
    ),
}  # fmt: skip
