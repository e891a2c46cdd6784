"""What the site file says of channels as rows of `run.*`: zero shifts, what roles can read."""

from __future__ import annotations

import duckdb

from pipeline.channels import ROLES, Role
from pipeline.site import Site
from pipeline.units import STORE_UNIT, UNITS

ALWAYS_START_TS = -(2**62)
ALWAYS_END_TS = 2**62


def zero_shift_rows(con: duckdb.DuckDBPyConnection, site: Site) -> list[dict[str, object]]:
    """Told zero shifts in the store unit; channels are numbered in the order of the site file."""
    told = {n: c for n, c in enumerate(site.channels, start=1) if c.zero_shift}
    if not told:
        return []
    units = dict(
        con.execute(
            "select channel_id, unit from store.channel where site_id = ?", [site.id]
        ).fetchall()
    )
    return [
        {
            "site_id": site.id,
            "channel_id": number,
            "shift": (c.zero_shift or 0.0) * UNITS[units[number]].scale,
            "start_ts": ALWAYS_START_TS if c.zero_shift_from_ts is None else c.zero_shift_from_ts,
            "end_ts": ALWAYS_END_TS if c.zero_shift_until_ts is None else c.zero_shift_until_ts,
        }
        for number, c in told.items()
        if number in units
    ]


def role_rows(site: Site, limits: dict[str, float]) -> list[dict[str, object]]:
    """What each role of numbers that the site uses can read at all."""
    used = {c.role for c in site.channels}
    return [
        {
            "site_id": site.id,
            "role": role.name,
            "unit": UNITS[STORE_UNIT[role.dimension]].label,
            "low_value": role.low,
            "high_value": role.high,
            "leap_value": leap_value(role, limits),
        }
        for role in ROLES.values()
        if role.kind == "analog" and role.name in used
    ]


def leap_value(role: Role, limits: dict[str, float]) -> float | None:
    """How far a reading of the role cannot leap and come back [store unit]; None: it may."""
    if role.name == "supply_temp":
        return limits["leap_supply_min_f"]
    if role.dimension == "temperature" and "setpoint" not in role.name:
        return limits["leap_min_f"]
    return limits["leap_min_inwc"] if role.dimension == "pressure" else None
