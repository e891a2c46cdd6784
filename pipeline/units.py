"""Store units and the conversions into and out of them; the only arithmetic on units.

Inside the tool temperatures are °F, pressures in. w.c., times UTC microseconds. A conversion is
`store = value * scale + shift`.

Inch of water: the conventional one (1000 kg/m3, g = 9.80665 m/s2), 249.08891 Pa. Source: NIST
SP 811, appendix B. The definitions at 4 °C, 60 °F and 68 °F differ from it by less than 0.2 %,
which is below the accuracy of duct static transducers.
"""

from __future__ import annotations

from dataclasses import dataclass

PA_PER_INWC = 249.08891
MICROSECONDS = 1_000_000
BTUH_PER_KW = 3412.142


@dataclass(frozen=True)
class Unit:
    """One unit a logger may write: its dimension and how it becomes the store unit."""

    name: str
    dimension: str
    scale: float
    shift: float = 0.0
    label: str = ""


_UNITS = [
    Unit("degF", "temperature", 1.0, 0.0, "°F"),
    Unit("degC", "temperature", 1.8, 32.0, "°C"),
    Unit("K", "temperature", 1.8, -459.67, "K"),
    Unit("inwc", "pressure", 1.0, 0.0, "in. w.c."),
    Unit("Pa", "pressure", 1 / PA_PER_INWC, 0.0, "Pa"),
    Unit("kPa", "pressure", 1000 / PA_PER_INWC, 0.0, "kPa"),
    Unit("mbar", "pressure", 100 / PA_PER_INWC, 0.0, "mbar"),
    Unit("mmH2O", "pressure", 1 / 25.4, 0.0, "mm H2O"),
    Unit("psi", "pressure", 6894.757293168361 / PA_PER_INWC, 0.0, "psi"),
    Unit("percent", "humidity", 1.0, 0.0, "%"),
    Unit("V", "voltage", 1.0, 0.0, "V"),
    Unit("A", "current", 1.0, 0.0, "A"),
    Unit("state", "state", 1.0, 0.0, ""),
]
UNITS = {u.name: u for u in _UNITS}

STORE_UNIT = {
    "temperature": "degF",
    "pressure": "inwc",
    "humidity": "percent",
    "voltage": "V",
    "current": "A",
    "state": "state",
}


def to_store(value: float, unit: str) -> float:
    """The value in its dimension's store unit. Raises KeyError for an unknown unit name."""
    u = UNITS[unit]
    return value * u.scale + u.shift


def from_store(value: float, unit: str) -> float:
    """A store-unit value expressed in `unit`. Raises KeyError for an unknown unit name."""
    u = UNITS[unit]
    return (value - u.shift) / u.scale


def difference_from_store(value: float, unit: str) -> float:
    """A store-unit *difference* (a rise, a tolerance) expressed in `unit`."""
    return value / UNITS[unit].scale


DISPLAY = {
    "us": {"temperature": "degF", "pressure": "inwc"},
    "si": {"temperature": "degC", "pressure": "Pa"},
}
