"""How a judgement number is said in the units of the report: a temperature is not a difference."""

from __future__ import annotations

from pipeline import units, words
from pipeline.thresholds import THRESHOLDS

TEMPERATURES = frozenset(
    {
        "cold_house_f",
        "defrost_outdoor_max_f",
        "fleet_cool_above_f",
        "fleet_design_cooling_f",
        "fleet_design_heating_f",
        "fleet_heat_below_f",
        "freezing_f",
        "frost_cooling_f",
        "frost_high_f",
        "frost_low_f",
        "heat_wave_heating_f",
        "icing_supply_f",
        "limit_trip_cool_air_f",
        "low_ambient_cooling_f",
        "no_fan_supply_f",
        "purge_hot_f",
        "purge_warm_f",
        "return_unknown_f",
        "return_warm_f",
        "sense_mild_cooling_f",
        "sense_mild_heating_f",
        "supply_cold_f",
        "supply_no_fire_f",
        "supply_warm_f",
        "told_celsius_high_f",
        "usual_return_high_f",
        "usual_return_low_f",
        "usual_supply_high_f",
        "usual_supply_low_f",
        "usual_zone_high_f",
        "usual_zone_low_f",
    }
)
"""Numbers in °F that are temperatures; others in °F are differences: no 32 is taken off."""


def number_said(name: str, value: float, system: str = "us") -> str:
    """A judgement number with its unit: '2 °F', or in SI '1.11 °C'; shares as per cent.

    Raises KeyError for a name that is not in the table.
    """
    unit = THRESHOLDS[name].unit
    if unit == "share":
        return words.share(value)
    if system == "si":
        celsius = units.UNITS["degC"].label
        if unit == "°F" and name in TEMPERATURES:
            return f"{units.from_store(value, 'degC'):.3g} {celsius}"
        if unit.startswith("°F"):
            difference = units.difference_from_store(value, "degC")
            return f"{difference:.3g} {celsius}{unit.removeprefix('°F')}"
        if unit == "in. w.c.":
            return f"{units.from_store(value, 'Pa'):.3g} Pa"
    return f"{value:g} {unit}"
