"""The form of facts to read off: keys of site.toml in the order of a walk through the house.

Everything a technician can read in ten minutes; what comes from the office or from the exports
stands in NOT_READ_OFF with the reason.
"""

from __future__ import annotations

from pipeline.plan.installed import Installed
from pipeline.plan.record import Fact, Station
from pipeline.site import Site
from pipeline.site_keys import shown

NOT_READ_OFF = {
    "office": (
        "site.id site.name site.address site.agreement site.region site.installed site.installer "
        "site.next_visit site.call_first site.design_heating_f site.design_cooling_f site.notes "
        "site.timezone site.altitude_ft"
    ).split(),
    "from the log or the drawings, not from a plate": (
        "zone.share settings.stage_up_clock visit.set equipment.leak_control"
    ).split(),
}
"""Keys that are on no plate and no panel."""

BLANK_ZONES = 4
_RATED = {"at_47f": "at 47 °F", "at_17f": "at 17 °F"}
_FURNACE, _COMPRESSOR, _PUMP, _DUAL, _AUX, _STAGES = (
    "furnace", "compressor", "pump", "dual", "aux", "stages",
)  # fmt: skip
# (key, label, what to write, only where there is ...)
_Line = tuple[str, str, str, str]
_UNIT: tuple[_Line, ...] = (
    ("equipment.kind", "Kind", "furnace_ac, heat_pump, dual_fuel, furnace, ac", ""),
    ("equipment.heating_stages", "Heating stages", "1, 2", "heat"),
    ("equipment.heating_output_btuh", "Heating output by stage", "Btu/h, as fired", _FURNACE),
    ("equipment.aux_kw", "Strip heat by stage", "kW", _AUX),
    ("equipment.temperature_rise_f", "Temperature rise by stage", "°F from – to", _FURNACE),
    ("equipment.max_outlet_f", "Maximum outlet air", "°F", _FURNACE),
    ("equipment.max_external_static_inwc", "Maximum external static", "in. w.c.", ""),
    ("equipment.fan", "Blower", "constant_airflow, constant_torque, fixed_speed", ""),
    ("equipment.fan_on_delay_s", "Fan on-delay on the board", "s", ""),
    ("equipment.fan_off_delay_s", "Fan off-delay on the board", "s", ""),
    ("equipment.staged_by", "Who decides on second stage", "panel, equipment, modulating", ""),
    ("equipment.bypass", "Bypass duct", "none, barometric, motorised", ""),
    ("equipment.ventilator", "Ventilator on the return", "none, erv, damper", ""),
    ("equipment.economizer", "Outdoor-air cooling", "true, false", _COMPRESSOR),
    ("equipment.fault_contact_alarm", "Fault contact in alarm", "closed, open", ""),
)
_OUTDOOR: tuple[_Line, ...] = (
    ("equipment.cooling_stages", "Cooling stages", "1, 2", _COMPRESSOR),
    ("equipment.compressor_stages", "Compressor stages", "1, 2", _DUAL),
    ("equipment.cooling_output_btuh", "Cooling output by stage", "Btu/h, total", _COMPRESSOR),
    ("equipment.heat_pump_output_btuh", "Heat pump output", "Btu/h at 47 °F, at 17 °F", _PUMP),
    ("equipment.defrost_heat_from", "Heat during defrost", "outdoor_unit, panel, none", _PUMP),
)
_PANEL: tuple[_Line, ...] = (
    ("settings.static_target_inwc", "Static target", "in. w.c.", ""),
    ("settings.high_limit_f", "High limit, supply air", "°F", "heat"),
    ("settings.low_limit_f", "Low limit, supply air", "°F", _COMPRESSOR),
    ("settings.low_balance_f", "Low balance point", "°F", _PUMP),
    ("settings.high_balance_f", "High balance point", "°F", _PUMP),
    ("settings.stage_up_delay_min", "Stage-up delay", "min", _STAGES),
    ("settings.stage_up_by", "Second stage by", "timer, thermostat, both, equipment", _STAGES),
    ("settings.stage2_min_zones", "Zones calling for second stage", "number, at least", _STAGES),
    ("settings.stage2_release", "Second stage goes off", "follows, until_satisfied", _STAGES),
    ("settings.compressor_min_off_min", "Compressor minimum-off", "min", _COMPRESSOR),
    ("settings.changeover_wait_min", "Wait between heat and cool", "min", "both"),
    ("settings.damper_travel_s", "Damper travel", "s", ""),
    ("settings.relief_wait_s", "Wait before relief", "s", ""),
    ("settings.purge_s", "Purge after the last call", "s", ""),
    ("equipment.ob_energised_in", "O/B energised in", "cooling, heating", _PUMP),
    ("equipment.fan_output_in_gas_heat", "G on in gas heat", "true, false", _FURNACE),
)
_ZONE: tuple[tuple[str, str], ...] = (
    ("name", "Name"),
    ("thermostat", "Thermostat (conventional, heat_pump)"),
    ("cycles_per_hour", "Cycles an hour"),
    ("setback", "Setback, from – to"),
    ("relief", "May relieve (true, false)"),
    ("location", "Where the damper sits"),
)
_PHOTOGRAPH = (
    "Write the time you came. Before anything is changed or switched off, photograph: the panel's "
    "settings and lamps, fault codes on the boards, both plates, each thermostat's screen and "
    "schedule."
)
_VISITS = (
    "Write both visits down to the minute; what lies in them is left out of findings. “What” for "
    "each: loggers set, loggers taken, filter changed, setting changed (old and new)."
)


def stations(site: Site | None, here: Installed, *, redact: bool = False) -> tuple[Station, ...]:
    """The walk, stop by stop; with a site, what its site.toml says already stands beside it."""
    out = [
        Station(
            "On arrival",
            _PHOTOGRAPH,
            (
                Fact("site.complaint", "Customer's words", "text"),
                Fact("visit.from", "Came", "date and time"),
            ),
        ),
        Station(
            _unit_title(here),
            "Read the plate through the open door only; power off and verified before a hand goes "
            "inside.",
            _lines(site, here, _UNIT),
        ),
    ]
    outdoor = _lines(site, here, _OUTDOOR)
    if outdoor:
        first = "Read the plate; no panel needs to come off."
        out.append(Station("Outdoor unit: plate", first, outdoor))
    out.append(
        Station(
            "Panel: settings as found",
            "Photograph first. Leave blank what cannot be read: what is not given is not audited.",
            _lines(site, here, _PANEL),
        )
    )
    out.append(
        Station("Thermostats and dampers", "One column a zone.", _zones(site, redact=redact))
    )
    out.append(
        Station(
            "Visits",
            _VISITS,
            (
                Fact("visit.to", "Left, loggers running", "date and time"),
                Fact("visit.what", "What was done", "text"),
                Fact("visit.from", "Came back", "date and time"),
                Fact("visit.to", "Left", "date and time"),
                Fact("visit.what", "What was done", "text"),
            ),
        )
    )
    return tuple(out)


def _unit_title(here: Installed) -> str:
    unit = "Furnace" if here.has_furnace else "Air handler"
    return f"{unit}: plate and board"


def _lines(site: Site | None, here: Installed, lines: tuple[_Line, ...]) -> tuple[Fact, ...]:
    is_there = {
        "": True,
        "heat": here.heats,
        "both": here.heats and here.cools,
        _FURNACE: here.has_furnace,
        _COMPRESSOR: "output_y1" in here.roles,
        _PUMP: "output_ob" in here.roles,
        _DUAL: here.kind == "dual_fuel",
        _AUX: "output_aux" in here.roles,
        _STAGES: bool({"output_w2", "output_y2"} & here.roles),
    }
    return tuple(
        _fact(site, key, label, write) for key, label, write, only in lines if is_there[only]
    )


def _fact(site: Site | None, key: str, label: str, write: str) -> Fact:
    if site is None:
        return Fact(key, label, write)
    table, name = key.split(".")
    holder = {"equipment": site.equipment, "settings": site.settings}[table]
    return Fact(key, label, write, _given(getattr(holder, name)))


def _given(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, dict):
        return ", ".join(f"{v:g} {_RATED[k]}" for k, v in value.items())
    if isinstance(value, tuple):
        return ", ".join(f"{v[0]:g}–{v[1]:g}" if isinstance(v, tuple) else f"{v:g}" for v in value)
    if isinstance(value, float):
        return f"{value:g}"
    return value if isinstance(value, str) else shown(value)


def _zones(site: Site | None, *, redact: bool) -> tuple[Fact, ...]:
    """One fact per zone and key, in zone order; blank zones where none is given."""
    zones = site.zones if site is not None else ()
    if not zones:
        return tuple(
            Fact(f"zone.{key}", label, f"zone {number}")
            for key, label in _ZONE
            for number in range(1, BLANK_ZONES + 1)
        )
    private = ("name", "location")
    return tuple(
        Fact(
            f"zone.{key}",
            label,
            f"zone {z.number}",
            "" if redact and key in private else _given(getattr(z, key)),
        )
        for key, label in _ZONE
        for z in zones
    )
