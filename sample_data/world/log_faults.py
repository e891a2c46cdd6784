"""Faults of the log itself at three severities, and systems that are odd but fine."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from sample_data.world import faults as f
from sample_data.world.system import LogFault, System


@dataclass(frozen=True)
class Trouble:
    """One fault of the log: its finding and its amounts by severity."""

    name: str
    code: str
    faults: tuple[tuple[LogFault, ...], ...]
    also: tuple[str, ...] = ()


def levels(kind: str, role: str, amounts: tuple[float, float, float], **more: float) -> tuple[
    tuple[LogFault, ...], ...
]:  # fmt: skip
    """The same fault with its amount at each severity."""
    return tuple((LogFault(kind, role, amount=amount, **more),) for amount in amounts)  # type: ignore[arg-type]


DAYS = ((60.0, 66.0), (50.0, 74.0), (30.0, 110.0))
LOG_FAULTS = [
    Trouble("clock ahead", "clock-offset", levels("clock", "static_pressure", (40, 240, 3600))),
    Trouble("clock behind", "clock-offset", levels("clock", "supply_temp", (-90, -420, -1500))),
    Trouble("clock drifts", "clock-offset", levels("drift", "static_pressure", (15, 30, 90))),
    Trouble("gap", "logging-gap", tuple(
        (LogFault("gap", "supply_temp", from_h=a, to_h=b),) for a, b in
        ((60.0, 60.5), (50.0, 56.0), (30.0, 80.0)))),
    Trouble("sensor stuck", "stuck-sensor", tuple(
        (LogFault("stuck", "supply_temp", from_h=a, to_h=b),) for a, b in DAYS)),
    Trouble("room sensor stuck", "stuck-sensor", tuple(
        (LogFault("stuck", "zone_temp", 0, from_h=a, to_h=b),) for a, b in DAYS)),
    Trouble("spikes", "sensor-spikes", levels("spikes", "return_temp", (3, 15, 60))),
    Trouble("out of range", "sensor-out-of-range", levels("open", "supply_temp", (3, 15, 60))),
    Trouble("supply and return swapped", "swapped-probes", levels(
        "swapped", "supply_temp", (1, 1, 1))),
    Trouble("wrong unit", "unit-mismatch", levels("unit", "static_pressure", (1, 1, 1))),
    Trouble("static zero shifted", "static-zero-shifted", tuple(
        (LogFault("shift", "static_pressure", amount=x, from_h=40.0),) for x in (0.04, 0.08, 0.2))),
    Trouble("tube off", "static-flat", tuple(
        (LogFault("flat", "static_pressure", from_h=h),) for h in (120.0, 72.0, 0.0)),
        ("static-low",)),
    Trouble("sun on the outdoor sensor", "sun-on-outdoor-sensor", levels(
        "sun", "outdoor_temp", (8, 15, 30))),
    Trouble("state inverted", "state-inverted", levels("inverted", "output_g", (1, 1, 1))),
    Trouble("state never changes", "state-never-changes", levels("dead", "output_g", (1, 1, 1))),
    Trouble("zones exchanged in the log", "zones-exchanged", levels(
        "exchanged", "zone_temp", (1, 2, 3))),
    Trouble("lines spoilt", "rejected-rows", levels("spoilt", "zone_temp", (3, 30, 300))),
]  # fmt: skip
LOG_BY_NAME = {trouble.name: trouble for trouble in LOG_FAULTS}


def odd_vacation(s: System) -> System:
    """Held far back: few starts, no schedule."""
    held = [replace(z, heat_f=60.0, heat_back_f=60.0, cool_f=84.0, cool_back_f=84.0,
                    back_from_s=0.0, back_to_s=0.0) for z in s.zones]  # fmt: skip
    return replace(s, zones=tuple(held))


def odd_stove(s: System) -> System:
    """A stove heats the first zone whenever the house is awake."""
    return f.zone(s, 0, gain_btuh=s.zones[0].gain_btuh + 5000.0)


def odd_ventilator(s: System) -> System:
    """A heat-recovery ventilator runs the fan twenty minutes of every hour."""
    system = f.plant(s, vent_cfm=90.0, vent_s_per_h=1200.0)
    return f.on_plate(system, ventilator="erv")


def odd_quiet_log(s: System) -> System:
    """Logged slowly: every minute, rooms every quarter of an hour."""
    return replace(s, logging=replace(s.logging, fast_s=60, slow_s=900))


def odd_split(s: System) -> System:
    """Dry air: the split is wide and healthy."""
    return f.plant(s, sensible=0.9)


def odd_short_calls(s: System) -> System:
    """A fast thermostat within its setting: short gas burns that the sheet announces."""
    system = f.every_zone(cycles_per_h=(6.0,) * 3)(s, 1)
    return replace(system, cycles_on_sheet=(6.0,) * len(s.zones))


def odd_two_position(s: System) -> System:
    """Old thermostats with a differential and no rate."""
    return f.every_zone(differential_f=(0.8,) * 3)(s, 1)


def odd_soft_start(s: System) -> System:
    """A blower that ramps for most of a minute."""
    return f.plant(s, spin_s=25.0)


ODD: dict[str, Callable[[System], System]] = {
    "vacation": odd_vacation,
    "stove in a zone": odd_stove,
    "ventilator": odd_ventilator,
    "logged slowly": odd_quiet_log,
    "dry air": odd_split,
    "fast thermostats": odd_short_calls,
    "two-position thermostats": odd_two_position,
    "soft start": odd_soft_start,
}
