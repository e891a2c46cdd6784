"""Conditions that can be planted: what changes at three severities, where, and what must be found.

A condition changes how the system is; the sheet in the panel's door (`System.sheet`) stays as it
was, unless the condition is a setting that the sheet itself shows. `codes` are the findings that a
careful reader makes of it, the first being the headline; `also` those that may come with it.
Severities are common practice or chosen here; 1 is meant to be hard to see.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from sample_data.world.system import System

Change = Callable[[System, int], System]
ANY = ("furnace_ac", "heat_pump", "dual_fuel", "furnace", "ac")
GAS = ("furnace_ac", "dual_fuel", "furnace")
PUMPS = ("heat_pump", "dual_fuel")
COOLERS = ("furnace_ac", "heat_pump", "dual_fuel", "ac")
WINTER, SUMMER, BETWEEN = "heating", "cooling", "shoulder"


@dataclass(frozen=True)
class Condition:
    """One condition: its findings, where it can stand, and its change by severity 1 to 3."""

    name: str
    codes: tuple[str, ...]
    kinds: tuple[str, ...]
    seasons: tuple[str, ...]
    change: Change
    also: tuple[str, ...] = ()
    two_stage: str = ""  # "heating" or "cooling": needs a second stage there
    zones: int = 2  # at least


def plant(system: System, **changes: float) -> System:
    """The system with other numbers in its plant."""
    return replace(system, plant=replace(system.plant, **changes))


def zone(system: System, index: int, **changes: float) -> System:
    """The system with other numbers in one zone."""
    zones = list(system.zones)
    zones[index] = replace(zones[index], **changes)
    return replace(system, zones=tuple(zones))


def branch(system: System, index: int, **changes: float) -> System:
    """The system with other numbers in one duct branch."""
    branches = list(system.branches)
    branches[index] = replace(branches[index], **changes)
    return replace(system, branches=tuple(branches))


def on_sheet(system: System, **changes: float | str) -> System:
    """The system with other settings on its sheet."""
    pairs = [(key, changes.get(key, value)) for key, value in system.sheet]
    return replace(system, sheet=tuple(pairs))


def on_plate(system: System, **changes: float | str) -> System:
    """The system with other words under [equipment]."""
    pairs = [(key, changes.get(key, value)) for key, value in system.equipment]
    return replace(system, equipment=tuple(pairs))


def smallest(system: System) -> int:
    """The index of the branch with the smallest share."""
    shares = [b.share for b in system.branches]
    return shares.index(min(shares))


def small_zone(system: System) -> int:
    """The zone that the smallest branch serves."""
    return int(system.branches[smallest(system)].zone)


def by_plant(**levels: tuple[float, float, float]) -> Change:
    """A change that sets plant numbers to their value at each severity."""

    def change(system: System, severity: int) -> System:
        return plant(system, **{key: values[severity - 1] for key, values in levels.items()})

    return change


def by_branch(which: Callable[[System], int], **levels: tuple[float, float, float]) -> Change:
    """A change that sets numbers of one branch to their value at each severity."""

    def change(system: System, severity: int) -> System:
        numbers = {key: values[severity - 1] for key, values in levels.items()}
        return branch(system, which(system), **numbers)

    return change


def by_zone(which: Callable[[System], int], **levels: tuple[float, float, float]) -> Change:
    """A change that sets numbers of one zone to their value at each severity."""

    def change(system: System, severity: int) -> System:
        numbers = {key: values[severity - 1] for key, values in levels.items()}
        return zone(system, which(system), **numbers)

    return change


def stage_for_one(system: System, severity: int) -> System:
    """Second stage for one zone; the sheet says two. The small zone recovers alone every night."""
    i = small_zone(system)
    k = smallest(system)
    system = plant(system, stage2_zones=1.0, stage_up_by=0.0, stage_clock=1.0, stage_release=0.0,
                   stage_up_s=600.0)  # fmt: skip
    system = on_sheet(system, stage2_min_zones=2, stage_up_by="timer", stage_up_delay_min=10,
                      stage_up_clock="zone_call", stage2_release="follows")  # fmt: skip
    depth = (3.0, 5.0, 7.0)[severity - 1]
    z = system.zones[i]
    system = zone(
        system, i, back_from_s=8.5 * 3600, back_to_s=20 * 3600, heat_back_f=z.heat_f - depth,
        cool_back_f=z.cool_f + depth, early_s=0.0,
    )  # fmt: skip
    if severity > 1:
        system = branch(system, k, register=(0.8, 0.65)[severity - 2])
        system = plant(system, relief_most=(1.0, 0.0)[severity - 2])
    return system


def over_fired(system: System, severity: int) -> System:
    """More gas than the plate says, on a furnace whose plate leaves little room above."""
    told = str(dict(system.equipment)["temperature_rise_f"]).strip("[]").split("], [")
    bands = [[float(x) for x in pair.split(",")] for pair in told]
    tighter = str([[round(low - 8), round(high - 14)] for low, high in bands])
    system = on_plate(system, temperature_rise_f=tighter)
    return plant(system, fire=(1.2, 1.4, 1.55)[severity - 1])


def no_relief(system: System, severity: int) -> System:
    """The panel never opens a relief damper; two zones take turns with the load."""
    target = system.plant.static_target_inwc - (0.0, 0.03, 0.06)[severity - 1]
    system = plant(system, relief_most=0.0, static_target_inwc=round(target, 2))
    return on_sheet(system, static_target_inwc=round(target, 2))


def target_below(system: System, severity: int) -> System:
    """Ducts so tight that the target is passed with every zone open."""
    target = (0.30, 0.26, 0.22)[severity - 1]
    tight = (0.75, 0.58, 0.48)[severity - 1]
    system = plant(
        system, static_target_inwc=target, static_release_inwc=0.3 * target,
        open_cfm=system.plant.open_cfm * tight,
    )  # fmt: skip
    return on_sheet(system, static_target_inwc=target)


def crossed_dampers(system: System, severity: int) -> System:
    """Two zones' actuators exchanged: the widest apart at severity 3."""
    pairs = ((0, 1), (0, len(system.zones) - 1), (small_zone(system), 0))
    a, b = pairs[severity - 1]
    if a == b:
        a, b = 0, 1
    branches = tuple(
        replace(d, driven_by=float(b if d.zone == a else a)) if d.zone in (a, b) else d
        for d in system.branches
    )
    return replace(system, branches=branches)


def crossed_stats(system: System, severity: int) -> System:
    """Two thermostats wired to each other's terminals."""
    a, b = ((0, 1), (0, len(system.zones) - 1), (small_zone(system), 0))[severity - 1]
    if a == b:
        a, b = 0, 1
    system = zone(system, a, stat_of=float(b))
    return zone(system, b, stat_of=float(a))


def cold_zone(system: System, severity: int) -> System:
    """A zone with more load than its duct can carry."""
    i = small_zone(system)
    more = (1.8, 2.6, 3.6)[severity - 1]
    z = system.zones[i]
    system = zone(
        system, i, air_loss_btuh_f=z.air_loss_btuh_f * more, sun_btuh=z.sun_btuh * more,
        mass_loss_btuh_f=z.mass_loss_btuh_f * more,
    )  # fmt: skip
    return branch(system, smallest(system), register=(0.8, 0.6, 0.4)[severity - 1])


def stage_early(system: System, severity: int) -> System:
    """Second stage after a part of the delay on the sheet."""
    delay = system.plant.stage_up_s
    system = plant(system, stage_up_s=delay * (0.7, 0.45, 0.15)[severity - 1], stage_up_by=0.0)
    return on_sheet(system, stage_up_by="timer")


def board_stages(system: System, severity: int) -> System:
    """The furnace stages itself: W2 is not wired."""
    after = (900.0, 600.0, 420.0)[severity - 1]
    return plant(system, board_stage_s=after, stage2_blocked=1.0)


def stays_in(system: System, severity: int) -> System:
    """Second stage is kept until satisfied; the sheet says that it follows."""
    system = plant(system, stage_release=1.0, stage_up_by=0.0,
                   stage_up_s=(720.0, 480.0, 300.0)[severity - 1])  # fmt: skip
    minutes = round(system.plant.stage_up_s / 60)
    return on_sheet(
        system, stage2_release="follows", stage_up_by="timer", stage_up_delay_min=minutes
    )


def balance_off(system: System, severity: int) -> System:
    """Fuel changes at another temperature than the sheet's low point."""
    low = system.plant.low_balance_f
    shift = (4.0, 7.0, 12.0)[severity - 1]
    mean = system.weather.season(system.season)[0]
    sign = 1.0 if mean > low else -1.0
    return plant(system, low_balance_f=low + sign * shift)


def panel_sensor_off(system: System, severity: int) -> System:
    """The panel's outdoor sensor reads wrong."""
    shift = (-4.0, -7.0, -12.0)[severity - 1]
    return plant(system, outdoor_offset_f=shift)


def quick_aux(system: System, severity: int) -> System:
    """Strips join the compressor at once and in mild weather."""
    after = (600.0, 180.0, 30.0)[severity - 1]
    return plant(system, backup_after_s=after, high_balance_f=70.0)


def opposing(system: System, severity: int) -> System:
    """Neighbours set so that one heats while the other cools."""
    middle = 71.0
    by = (0.5, 1.5, 2.5)[severity - 1]
    system = zone(system, 0, mode=3.0, heat_f=middle + by, heat_back_f=middle + by,
                  cool_f=middle + by + 3, cool_back_f=middle + by + 3)  # fmt: skip
    return zone(system, 1, mode=3.0, cool_f=middle - by, cool_back_f=middle - by,
                heat_f=middle - by - 3, heat_back_f=middle - by - 3)  # fmt: skip


def upset(kind: str, *spans: tuple[tuple[float, float], ...]) -> Change:
    """A change that sets upsets by severity: spans in hours after the first logger."""

    def change(system: System, severity: int) -> System:
        made = tuple((kind, start, end) for start, end in spans[severity - 1])
        return replace(system, upsets=system.upsets + made)

    return change


def every_zone(**levels: tuple[float, float, float]) -> Change:
    """A change that sets numbers of all zones to their value at each severity."""

    def change(system: System, severity: int) -> System:
        numbers: dict[str, Any] = {key: values[severity - 1] for key, values in levels.items()}
        for i in range(len(system.zones)):
            system = zone(system, i, **numbers)
        return system

    return change
