"""Every key of site.toml with the check of its value; the specification of the file."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date, datetime
from difflib import get_close_matches
from functools import cache, partial
from typing import Any
from zoneinfo import available_timezones

from pipeline.channels import ROLES
from pipeline.units import UNITS

EXPORT_KINDS = ("sampled", "change_of_state", "long")
DATE_ORDERS = ("mdy", "dmy", "ymd")
FORMS = ("level", "percent_on", "seconds_on", "count", "total")


class Wrong(Exception):
    """A value that is not what its key takes; the message says what would be right."""


# ------------------------------------------------------------------------- checkers of one value


def _text(value: Any) -> str:
    if isinstance(value, str) and value.strip():
        return value
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    raise Wrong('text in "quotes"')


def _site_id(value: Any) -> str:
    if isinstance(value, str) and re.fullmatch(r"[A-Za-z0-9_-]+", value):
        return value
    raise Wrong('letters, digits, - and _, such as "larch-14"')


def _flag(value: Any) -> bool:
    if isinstance(value, bool):
        return value
    raise Wrong("true or false")


def _number(value: Any, low: float, high: float) -> float:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if is_number and low <= value <= high:
        return float(value)
    raise Wrong(f"a number from {low:g} to {high:g}")


def _whole(value: Any, low: int, high: int) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
        return value
    raise Wrong(f"a whole number from {low} to {high}")


def _one_of(value: Any, choices: tuple[str, ...]) -> str:
    if isinstance(value, str) and value in choices:
        return value
    raise Wrong(nearest(value, choices))


def _numbers(value: Any, low: float, high: float) -> tuple[float, ...]:
    if isinstance(value, list) and value:
        return tuple(_number(v, low, high) for v in value)
    return (_number(value, low, high),)


def _bands(value: Any) -> tuple[tuple[float, float], ...]:
    expected = "one [low, high] pair per stage, such as [[30, 60], [40, 70]]"
    if isinstance(value, list) and len(value) == 2 and not isinstance(value[0], list):
        value = [value]
    if not isinstance(value, list) or not value:
        raise Wrong(expected)
    bands = []
    for pair in value:
        if not isinstance(pair, list) or len(pair) != 2:
            raise Wrong(expected)
        low, high = (_number(v, 0, 200) for v in pair)
        if low >= high:
            raise Wrong(expected)
        bands.append((low, high))
    return tuple(bands)


def _ratings(value: Any) -> dict[str, float]:
    if isinstance(value, dict) and value and set(value) <= {"at_47f", "at_17f"}:
        return {k: _number(v, 1_000, 500_000) for k, v in value.items()}
    raise Wrong("{ at_47f = 36000, at_17f = 21000 }")


def _words(value: Any) -> tuple[str, ...]:
    if isinstance(value, list) and value and all(isinstance(v, str) for v in value):
        return tuple(value)
    raise Wrong('a list of texts, such as ["ON", "1"]')


def _setback(value: Any) -> str:
    hour = r"(?:[01]\d|2[0-3]):[0-5]\d"
    if isinstance(value, str) and re.fullmatch(f"{hour}-{hour}", value):
        return value
    raise Wrong('local times, such as "22:00-06:00"')


@cache
def _zones() -> tuple[str, ...]:
    return tuple(sorted(available_timezones()))  # looks into some 600 files


def _zone_name(value: Any) -> str:
    if isinstance(value, str) and (value in _zones() or is_fixed_offset(value)):
        return value
    raise Wrong(nearest(value, _zones()) + ', or "UTC-07:00"')


def _iana_zone(value: Any) -> str:
    if isinstance(value, str) and value in _zones():
        return value
    raise Wrong(nearest(value, _zones()))


def _moment(value: Any) -> datetime:
    if isinstance(value, datetime):
        return value
    try:
        if isinstance(value, str) and len(value) > 10:
            return datetime.fromisoformat(value)
    except ValueError:
        pass
    raise Wrong('a local time, such as "2026-01-14T10:00"')


def _year(value: Any) -> int:
    return _whole(value, 1970, 2100)


def is_fixed_offset(name: str) -> bool:
    """Whether a zone is written as an offset: UTC-07:00, UTC+5:30, +02:00."""
    return re.fullmatch(r"(?:UTC|GMT)?[+-](?:0?\d|1[0-4])(?::?[0-5]\d)?", name) is not None


def nearest(value: Any, choices: tuple[str, ...]) -> str:
    """What would be right: the nearest of the choices, else what they are."""
    near = get_close_matches(str(value), choices, n=1, cutoff=0.5)
    if near:
        return f'"{near[0]}"?'
    return "one of " + ", ".join(choices) if len(choices) <= 12 else f'such as "{choices[0]}"'


# ----------------------------------------------------------------------------- keys of each table

Checker = Callable[[Any], Any]


def _span(low: float, high: float) -> Checker:
    return partial(_number, low=low, high=high)


def _count(low: int, high: int) -> Checker:
    return partial(_whole, low=low, high=high)


def _pick(*choices: str) -> Checker:
    return partial(_one_of, choices=choices)


_SITE: dict[str, Checker] = {
    "id": _site_id,
    "name": _text,
    "timezone": _iana_zone,
    "altitude_ft": _span(-1_500, 15_000),
    "complaint": _text,
    "agreement": _text,
    "region": _text,
    "installed": _text,
    "installer": _text,
    "next_visit": _text,
    "call_first": _flag,
    "design_heating_f": _span(-60, 80),
    "design_cooling_f": _span(50, 130),
    "address": _text,
    "notes": _text,
}
_EQUIPMENT: dict[str, Checker] = {
    "kind": _pick("furnace_ac", "heat_pump", "dual_fuel", "furnace", "ac"),
    "heating_stages": _count(0, 4),
    "cooling_stages": _count(0, 4),
    "compressor_stages": _count(0, 4),
    "heating_output_btuh": partial(_numbers, low=1_000, high=500_000),
    "cooling_output_btuh": partial(_numbers, low=1_000, high=500_000),
    "heat_pump_output_btuh": _ratings,
    "aux_kw": partial(_numbers, low=0.1, high=100),
    "temperature_rise_f": _bands,
    "max_outlet_f": _span(80, 250),
    "max_external_static_inwc": _span(0.05, 5),
    "fan": _pick("constant_airflow", "constant_torque", "fixed_speed"),
    "fan_on_delay_s": _span(0, 600),
    "fan_off_delay_s": _span(0, 900),
    "fan_output_in_gas_heat": _flag,
    "ob_energised_in": _pick("cooling", "heating"),
    "staged_by": _pick("panel", "equipment", "modulating", "unknown"),
    "defrost_heat_from": _pick("outdoor_unit", "panel", "none"),
    "bypass": _pick("none", "barometric", "motorised", "unknown"),
    "ventilator": _pick("none", "erv", "damper"),
    "economizer": _flag,
    "leak_control": _flag,
    "fault_contact_alarm": _pick("closed", "open"),
}
SETTINGS: dict[str, Checker] = {
    "static_target_inwc": _span(0, 5),
    "high_limit_f": _span(80, 250),
    "low_limit_f": _span(20, 70),
    "low_balance_f": _span(-60, 100),
    "high_balance_f": _span(-60, 100),
    "stage_up_delay_min": _span(0, 240),
    "stage_up_by": _pick("timer", "thermostat", "both", "equipment", "unknown"),
    "stage_up_clock": _pick("equipment_start", "zone_call"),
    "stage2_min_zones": _count(1, 64),
    "stage2_release": _pick("follows", "until_satisfied", "unknown"),
    "compressor_min_off_min": _span(0, 60),
    "changeover_wait_min": _span(0, 240),
    "damper_travel_s": _span(0, 600),
    "relief_wait_s": _span(0, 600),
    "purge_s": _span(0, 1_800),
}
_ZONE: dict[str, Checker] = {
    "number": _count(1, 64),
    "name": _text,
    "relief": _flag,
    "thermostat": _pick("conventional", "heat_pump"),
    "cycles_per_hour": _span(0.5, 20),
    "setback": _setback,
    "share": _span(0, 1),
    "location": _text,
}
_VISIT: dict[str, Checker] = {"from": _moment, "to": _moment, "what": _text, "set": lambda v: v}
_EXPORT: dict[str, Checker] = {
    "files": _text,
    "timezone": _zone_name,
    "clock_offset_s": _span(-400 * 86_400, 400 * 86_400),
    "date_order": _pick(*DATE_ORDERS),
    "year": _year,
    "decimal": _pick(".", ","),
    "kind": _pick(*EXPORT_KINDS),
    "missing": _words,
    "name_column": _text,
    "value_column": _text,
    "until": _moment,
    "reference": _flag,
}
_CHANNEL: dict[str, Checker] = {
    "file": _text,
    "column": _text,
    "role": _pick(*ROLES),
    "unit": _pick(*UNITS),
    "accuracy": _span(0, 1_000),
    "where": _text,
    "zone": _count(1, 64),
    "on": _words,
    "threshold": _span(-1e9, 1e9),
    "form": _pick(*FORMS),
    "damper": _text,
    "inverted": _flag,
    "zero_shift": _span(-1e6, 1e6),
    "zero_shift_from": _moment,
    "zero_shift_until": _moment,
}
TABLES: dict[str, dict[str, Checker]] = {
    "site": _SITE,
    "equipment": _EQUIPMENT,
    "settings": SETTINGS,
    "thresholds": {},
    "zone": _ZONE,
    "visit": _VISIT,
    "export": _EXPORT,
    "channel": _CHANNEL,
}
REPEATED = ("zone", "visit", "export", "channel")
REQUIRED = {
    "site": ("id", "timezone"),
    "equipment": ("kind",),
    "zone": ("number",),
    "visit": ("from", "to", "what"),
    "export": ("files",),
    "channel": ("column", "role"),
}


def shown(value: Any) -> str:
    """The value as it is written in a TOML file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False, default=str)
