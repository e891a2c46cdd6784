"""site.toml of a system, as a technician would fill it in."""

import json
from collections.abc import Sequence

from sample_data.world.dialects import DIALECTS
from sample_data.world.export import Export
from sample_data.world.packing import path_below_site
from sample_data.world.system import WARM_UP_S, Pairs, System
from sample_data.world.worlds import FIRST_VISIT_S, LAST_VISIT_S

ROOMS = ("Main floor", "Upstairs", "Bedroom", "Study", "Guest room", "Basement")


def value(told: float | int | str | bool) -> str:
    """A value as TOML; text that already is a list or a table stays."""
    if isinstance(told, str):
        return told if told[:1] in "[{" else json.dumps(told)
    if isinstance(told, bool):
        return "true" if told else "false"
    return f"{told:g}"


def lines(pairs: Pairs) -> list[str]:
    """`key = value` lines."""
    return [f"{key} = {value(told)}" for key, told in pairs]


def clock(seconds: float) -> str:
    """A second of the day as HH:MM."""
    return f"{int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}"


def local(system: System, second: int) -> str:
    """A second of the record as local time without a zone."""
    return system.local(second).replace(tzinfo=None).isoformat()


def site_toml(system: System, files: Sequence[Export]) -> str:
    """The whole file."""
    weather = system.weather
    dialect = DIALECTS[system.logging.dialect]
    out = [
        "[site]",
        f'id = "{system.name[:60]}"',
        f'timezone = "{weather.timezone}"',
        f"altitude_ft = {weather.altitude_ft:g}",
        f"design_heating_f = {weather.design_heating_f:g}",
        f"design_cooling_f = {weather.design_cooling_f:g}",
        "",
        "[equipment]",
        *lines(system.equipment),
        "",
        "[settings]",
        *lines(system.sheet),
    ]
    shares = [0.0] * len(system.zones)
    for branch in system.branches:
        shares[int(branch.zone)] += branch.share
    for i, zone in enumerate(system.zones):
        room = ROOMS[i] if i < len(system.zones) - 1 else ROOMS[-1]
        out += [
            "",
            "[[zone]]",
            f"number = {i + 1}",
            f'name = "{room}"',
            f"relief = {value(zone.relief > 0)}",
            f'thermostat = "{"heat_pump" if zone.kind > 0 else "conventional"}"',
            f"cycles_per_hour = {system.cycles_on_sheet[i]:g}",
            f"share = {shares[i]:.2f}",
        ]
        if zone.back_from_s != zone.back_to_s:
            out.append(f'setback = "{clock(zone.back_from_s)}-{clock(zone.back_to_s)}"')
    for start, end, what in (
        (WARM_UP_S, WARM_UP_S + FIRST_VISIT_S, "loggers set"),
        (system.seconds - LAST_VISIT_S, system.seconds, "loggers taken"),
    ):
        out += [
            "",
            "[[visit]]",
            f'from = "{local(system, start)}"',
            f'to = "{local(system, end)}"',
            f'what = "{what}"',
        ]
    for export in files:
        out += ["", "[[export]]", f'files = "{path_below_site(system, export.name)}"']
        if dialect.utc:
            out.append('timezone = "UTC"')
        if dialect.date in ("mdy", "dmy"):
            out.append(f'date_order = "{dialect.date}"')
        if dialect.long:
            out += ['kind = "long"', 'name_column = "Point"', 'value_column = "Value"']
        else:
            out.append(f'kind = "{"sampled" if export.interval_s else "change_of_state"}"')
        if export.name == "panel.csv":
            out.append("reference = true")
        for channel in export.channels:
            out += [
                "",
                "[[channel]]",
                f'file = "{path_below_site(system, export.name)}"',
                f"column = {json.dumps(channel.column, ensure_ascii=False)}",
                f'role = "{channel.role}"',
            ]
            if channel.zone >= 0:
                out.append(f"zone = {channel.zone + 1}")
            if not channel.is_state:
                out.append(f'unit = "{channel.unit}"')
            if channel.is_state and system.logging.totals:
                out.append(f'form = "{system.logging.totals}"')
            elif channel.words == ("closed", "open"):
                out.append('on = ["open"]')
            elif channel.words == ("ok", "alarm"):
                out.append('on = ["alarm"]')
            if channel.damper:
                out.append(f'damper = "{channel.damper}"')
            if channel.role == "static_pressure":
                out += ["accuracy = 2.5", 'where = "after_coil"']
            if channel.role in ("supply_temp", "return_temp", "outdoor_temp"):
                out.append("accuracy = 1.0" if channel.unit == "degF" else "accuracy = 0.6")
    return "\n".join(out) + "\n"
