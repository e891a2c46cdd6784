"""Channel roles: what a column can mean, its kind, store unit and plausible range.

One list, read by the site file, the loader, the trust stages and the reports. Plausible ranges
are common practice, no source: a reading beyond them is a wiring, unit or sensor question, not
weather or comfort.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Role:
    """One meaning a channel can carry.

    kind : 'analog' (a number that is linear between readings) or 'state' (on or off)
    dimension : of `units.UNITS`
    low, high : plausible range in the store unit; None for states
    per_zone : whether a zone number belongs to it
    label : what a technician calls it; `{zone}` stands for the zone's name
    """

    name: str
    kind: str
    dimension: str
    label: str
    low: float | None = None
    high: float | None = None
    per_zone: bool = False


def _analog(
    name: str, dimension: str, low: float, high: float, label: str, zone: bool = False
) -> Role:
    return Role(name, "analog", dimension, label, low, high, zone)


def _state(name: str, label: str, zone: bool = False) -> Role:
    return Role(name, "state", "state", label, per_zone=zone)


_ROLES = [
    _analog("supply_temp", "temperature", 20, 220, "Supply air"),
    _analog("return_temp", "temperature", 35, 115, "Return air"),
    _analog("outdoor_temp", "temperature", -60, 135, "Outdoor air"),
    _analog("mixed_temp", "temperature", 20, 140, "Mixed air"),
    _analog("static_pressure", "pressure", -2, 4, "Supply static"),
    _analog("return_static", "pressure", -4, 2, "Return static"),
    _analog("return_rh", "humidity", 0, 100, "Return humidity"),
    _analog("zone_temp", "temperature", 30, 110, "{zone} temperature", True),
    _analog("zone_rh", "humidity", 0, 100, "{zone} humidity", True),
    _analog("zone_heat_setpoint", "temperature", 35, 100, "{zone} heat setpoint", True),
    _analog("zone_cool_setpoint", "temperature", 50, 110, "{zone} cool setpoint", True),
    _state("zone_call_w1", "{zone} heat call", True),
    _state("zone_call_w2", "{zone} second-stage heat call", True),
    _state("zone_call_y1", "{zone} compressor call", True),
    _state("zone_call_y2", "{zone} second-stage compressor call", True),
    _state("zone_call_g", "{zone} fan call", True),
    _state("zone_call_ob", "{zone} reversing valve call", True),
    _state("zone_call_aux", "{zone} auxiliary heat call", True),
    _state("zone_call_emergency", "{zone} emergency heat call", True),
    _state("zone_damper", "{zone} damper", True),
    _state("output_w1", "W1 out"),
    _state("output_w2", "W2 out"),
    _state("output_y1", "Y1 out"),
    _state("output_y2", "Y2 out"),
    _state("output_g", "G out"),
    _state("output_ob", "O/B out"),
    _state("output_aux", "Aux out"),
    _state("gas_valve", "Gas valve"),
    _state("flame", "Flame"),
    _state("equipment_limit", "Furnace's own limit"),
    _state("compressor_run", "Compressor running"),
    _state("outdoor_fan_run", "Outdoor fan running"),
    _state("blower_run", "Blower running"),
    _state("fault_contact", "Fault contact"),
    _state("occupied", "Occupied"),
    _state("float_switch", "Float switch"),
    _state("ventilator", "Ventilator"),
    _state("voltage_24", "24 V present"),
    Role("ignore", "ignore", "state", "Not used"),
]
ROLES = {r.name: r for r in _ROLES}

# Words a state column may hold, lower case. A site file's `on = [...]` replaces them.
ON_WORDS = frozenset(
    {"1", "1.0", "on", "open", "true", "yes", "alarm", "closed contact"}
    | {"energised", "energized", "calling"}
)
OFF_WORDS = frozenset(
    {"0", "0.0", "off", "closed", "false", "no", "ok", "normal", "open contact"}
    | {"de-energised", "de-energized", "not calling", "idle"}
)

# Outputs in the order a technician lists the terminals.
INFERRED_ROLES = ("inferred_heat", "inferred_cool", "inferred_fan")
"""Runs of the equipment that no channel carries: read off supply and return temperature. They stand
beside outputs where only what ran is asked, never in their place: an output is a request."""

OUTPUT_ROLES = (
    "output_w1",
    "output_w2",
    "output_y1",
    "output_y2",
    "output_g",
    "output_ob",
    "output_aux",
)
