"""Tiny sites for tests of the fleet: a furnace with two zones, read every minute.

Work for another process stands here too: it imports little.
"""

from __future__ import annotations

import datetime as dt
import math
import os
from pathlib import Path

MIDNIGHT = dt.datetime(2026, 1, 5)
"""Monday; site and loggers keep UTC."""

SITE = """[site]
id = "{id}"
timezone = "UTC"
{more}
[equipment]
kind = "furnace"

[settings]
high_limit_f = 150
{settings}
[[zone]]
number = 1
name = "Down"
[[zone]]
number = 2
name = "Up"
{tail}
"""
HEADER = "time,supply_temp,return_temp,outdoor_temp,zone_temp 1,zone_temp 2,w1,call 1,call 2"
CHANNELS = "".join(
    f'\n[[channel]]\ncolumn = "{column}"\nrole = "{role}"{more}\n'
    for column, role, more in (
        *((n, n, '\nunit = "degF"') for n in ("supply_temp", "return_temp", "outdoor_temp")),
        *((f"zone_temp {z}", "zone_temp", f'\nzone = {z}\nunit = "degF"') for z in (1, 2)),
        ("w1", "output_w1", ""),
        *((f"call {z}", "zone_call_w1", f"\nzone = {z}") for z in (1, 2)),
    )
)


def write_site(
    folder: Path,
    site_id: str,
    days: range,
    *,
    cold: range = range(0),
    every_min: int = 1,
    more: str = "",
    settings: str = "",
    tail: str = "",
) -> None:
    """A site folder with one export of these days.

    cold : days on which the furnace stays cold with W1 on; every_min : the logger's interval
    more, settings, tail : lines of the site file
    """
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    text = SITE.format(id=site_id, more=more, settings=settings, tail=tail + CHANNELS)
    (folder / "site.toml").write_text(text, encoding="utf-8")
    if days:
        rows = [row for day in days for row in _rows(day, day in cold, every_min)]
        _write(folder / "exports" / f"day{days[0]:02d}.csv", rows)


def write_day(folder: Path, day: int, *, is_cold: bool = False, every_min: int = 1) -> None:
    """One more day's export."""
    _write(folder / "exports" / f"day{day:02d}.csv", _rows(day, is_cold, every_min))


def _rows(day: int, is_cold: bool, every_min: int) -> list[str]:
    """Twenty minutes of heat an hour, both zones calling in every other run, all of it wavering."""
    rows = []
    for minute in range(0, 1440, every_min):
        at = MIDNIGHT + dt.timedelta(days=day, minutes=minute)
        into = minute % 60
        on = into < 20
        waver = 0.2 * ((minute * 7919) % 11 - 5)
        back = 66 + 0.1 * ((minute * 31) % 7)
        warm = 60 * min(into, 4) / 4 if on else max(60 - 8 * (into - 20), 0)
        supply = back + 0.5 + waver + (0 if is_cold else warm)
        outdoor = 22 - 8 * math.cos(minute / 1440 * 2 * math.pi) + waver
        rooms = [68 + z + math.sin((into - 20 * on) / 60 * math.pi) / 2 + waver / 4 for z in (0, 1)]
        calls = [int(on), int(on and minute % 120 < 60)]
        numbers = ",".join(f"{v:.1f}" for v in (supply, back, outdoor, *rooms))
        rows.append(f"{at:%Y-%m-%d %H:%M:%S},{numbers},{int(on)},{calls[0]},{calls[1]}")
    return rows


def _write(path: Path, rows: list[str]) -> None:
    path.write_text("\n".join([HEADER, *rows, ""]), encoding="utf-8")


def square_or_die(n: int) -> int:
    """The square; a negative number ends the process as the system would."""
    if n < 0:
        os._exit(9)
    return n * n
