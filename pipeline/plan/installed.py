"""Which channel roles a site's equipment has at all, by mode."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.site import Equipment, Settings, Zone

HEAT, COOL, EITHER = "heat", "cool", "either"
_ANYWHERE = (
    "supply_temp return_temp outdoor_temp static_pressure return_static zone_temp zone_damper "
    "output_g blower_run fault_contact zone_call_g zone_rh occupied voltage_24"
).split()


@dataclass(frozen=True)
class Installed:
    """What is there. roles : all that could be logged; heat, cool : outputs and calls by mode."""

    kind: str
    roles: frozenset[str]
    heat: frozenset[str]
    cool: frozenset[str]

    def of_mode(self, mode: str) -> frozenset[str]:
        """Roles that speak about the mode: sensors, and the mode's own outputs and calls."""
        if mode == EITHER:
            return self.roles
        other, own = (self.cool, self.heat) if mode == HEAT else (self.heat, self.cool)
        return self.roles - (other - own)

    @property
    def has_furnace(self) -> bool:
        """Whether a burner heats."""
        return self.kind in ("furnace", "furnace_ac", "dual_fuel")

    @property
    def heats(self) -> bool:
        """Whether it heats at all."""
        return bool(self.heat)

    @property
    def cools(self) -> bool:
        """Whether it cools at all."""
        return bool(self.cool)


def installed(
    equipment: Equipment,
    settings: Settings,
    zones: tuple[Zone, ...],
    logged: frozenset[str] = frozenset(),
) -> Installed:
    """The roles of this equipment.

    logged : roles that are logged; they tell which thermostats there are where that is not given
    Stages that are not given are taken to be two.
    Second stages are left out where they are given as one, or where the equipment stages itself.
    """
    kind = equipment.kind
    has_furnace = kind in ("furnace", "furnace_ac", "dual_fuel")
    has_compressor = kind != "furnace"
    pumps_heat = kind in ("heat_pump", "dual_fuel")
    heat: set[str] = set()
    cool: set[str] = set()
    if has_furnace:
        heat.add("output_w1")
        if _second(equipment, (equipment.heating_stages,)):
            heat.add("output_w2")
    if kind == "heat_pump":
        heat.add("output_aux")
    if has_compressor:
        own = {"output_y1"}
        stages = [equipment.compressor_stages, equipment.cooling_stages]
        if kind == "heat_pump":
            stages.append(equipment.heating_stages)
        if _second(equipment, tuple(stages)):
            own.add("output_y2")
        cool |= own
        heat |= own if pumps_heat else set()
    calls_heat, calls_cool = _calls(kind, zones, settings, heat | cool, logged)
    heat |= calls_heat
    cool |= calls_cool
    roles = set(_ANYWHERE) | heat | cool
    if heat:
        roles |= {"zone_heat_setpoint"}
    if cool:
        roles |= {"zone_cool_setpoint", "return_rh", "float_switch"}
    if has_furnace:
        roles |= {"gas_valve", "flame", "equipment_limit"}
    if has_compressor:
        roles |= {"compressor_run", "outdoor_fan_run"}
    if pumps_heat:
        roles |= {"output_ob", "zone_call_emergency"}
    if equipment.ventilator not in (None, "none"):
        roles.add("ventilator")
    if equipment.economizer:
        roles.add("mixed_temp")
    return Installed(kind, frozenset(roles), frozenset(heat), frozenset(cool))


def _second(equipment: Equipment, stages: tuple[int | None, ...]) -> bool:
    if equipment.staged_by in ("equipment", "modulating"):
        return False
    given = [n for n in stages if n is not None]
    return not given or max(given) >= 2


def _calls(
    kind: str,
    zones: tuple[Zone, ...],
    settings: Settings,
    outputs: set[str],
    logged: frozenset[str],
) -> tuple[set[str], set[str]]:
    """Calls for heat and for cooling: W and Y, or Y with O/B of a heat pump's thermostat."""
    thermostats = {z.thermostat for z in zones if z.thermostat}
    if not thermostats:
        thermostats = {_thermostat(kind, logged)}
    heat: set[str] = set()
    cool: set[str] = set()
    has_second = settings.stage_up_by in ("thermostat", "both")
    if kind != "ac" and "conventional" in thermostats:
        heat |= {"zone_call_w1"} | ({"zone_call_w2"} if has_second else set())
    if kind != "furnace":
        cool.add("zone_call_y1")
        if has_second and "output_y2" in outputs:
            cool.add("zone_call_y2")
    if "heat_pump" in thermostats and kind in ("heat_pump", "dual_fuel"):
        heat |= {"zone_call_y1", "zone_call_ob", "zone_call_aux"}
        cool.add("zone_call_ob")
    return heat, cool


def _thermostat(kind: str, logged: frozenset[str]) -> str:
    """The kind of thermostat that the logged calls show, else the usual one."""
    calls_y, calls_w = "zone_call_y1" in logged, "zone_call_w1" in logged
    if "zone_call_ob" in logged or (kind == "dual_fuel" and calls_y and not calls_w):
        return "heat_pump"
    if kind == "heat_pump":
        return "conventional" if calls_y and calls_w else "heat_pump"
    return "conventional"
