"""Seeded logs for the benchmark: a year of one site, a week at loggers' own rates, fleets.

A plain model of a zoned furnace with cooling is stepped for many blocks of time at once: zones
call by the weather in cycles of about half an hour, second stage follows a call of ten minutes,
the panel drops all heat at its high limit, few zones raise static over its target. What comes out
has the shape of a real log (calls, stages, trips, static on both sides of the target), at a million
rows in a few seconds. It says what the work costs, not how right anything is: the simulated world
is for that.

The same readings are written twice: as the export that a load reads (clean, or with malformed
lines, unfilled cells, error codes and gaps), and as Parquet with every reading that an honest load
of that export keeps, which is what the pandas and polars scripts are given.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

SEED = 26
TIMEZONE = "America/Denver"
STATIC_TARGET_INWC = 0.40
HIGH_LIMIT_F = 150.0
PURGE_S = 120.0
TRAVEL_S = 60.0
ZONES = (1, 2, 3, 4)
DAY_S = 86_400
ANALOG = (
    *("supply_temp", "return_temp", "outdoor_temp", "static_pressure", "return_static"),
    *("return_rh", *(f"zone_temp_{z}" for z in ZONES), "zone_rh_1"),
)
STATE = (
    *(f"zone_call_w1_{z}" for z in ZONES),
    *(f"zone_call_y1_{z}" for z in ZONES),
    *(f"zone_damper_{z}" for z in ZONES),
    *("output_w1", "output_w2", "output_y1", "output_g", "blower_run"),
)
SOILED = tuple(name for name in ANALOG if name != "static_pressure")
UNIT = {"temp": "degF", "static": "inwc", "rh": "percent"}
PREAMBLE = ["Readings of one house", "One row at an interval", ""]
FIRST_S = int(np.datetime64("2025-01-01T07:00:00", "s").astype(np.int64))
WINTER_S = int(np.datetime64("2026-01-10T07:00:00", "s").astype(np.int64))

Columns = dict[str, np.ndarray]


@dataclass(frozen=True)
class Made:
    """One site as it was written: its folder, its export, and what an honest load of it keeps.

    truth : by logger ('log', or 'static', 'temps' and 'panel'), a Parquet file with ts [us, UTC]
    n_odd : lines that no reader can take whole; n_blank : lines with nothing in them
    """

    folder: Path
    export: Path
    truth: dict[str, Path]
    n_odd: int = 0
    n_blank: int = 0
    n_bad_cells: int = 0


def simulate(
    seed: list[int],
    start_s: np.ndarray,
    n_steps: int,
    step_s: float,
    warmer_f: np.ndarray | float = 0,
) -> Columns:
    """Every channel for blocks of time side by side, each of shape (blocks, steps).

    start_s : UTC seconds at which each block begins; warmer_f : by how much its climate is warmer
    """
    rng = np.random.default_rng(seed)
    n = len(start_s)
    at_s = np.asarray(start_s)[:, None] + np.arange(n_steps) * step_s
    day = at_s / DAY_S
    season = 54 - 27 * np.cos(2 * np.pi * (day % 365.25 - 20) / 365.25)
    season = (
        season
        + np.reshape(np.asarray(warmer_f, float), (-1, 1))
        + 5 * np.sin(day * 2 * np.pi / 4.3)
    )
    outdoor = season + 9 * np.sin(2 * np.pi * (day - 0.65))
    heat, cool = _calls(rng, at_s, outdoor, season, step_s)
    made = {name: np.zeros((n, n_steps), np.float32) for name in ANALOG}
    on = {name: np.zeros((n, n_steps), np.int8) for name in STATE}
    supply, static = np.full(n, 72.0), np.zeros(n)
    rooms = np.tile(np.array([70.0, 69.4, 68.5, 69.8]), (n, 1))
    age = np.zeros((n, 4))
    tripped, since_trip = np.zeros(n, bool), np.zeros(n)
    second, was_w1, was_y1 = (np.zeros(n, bool) for _ in range(3))
    since_on, since_off = np.zeros(n), np.full(n, 1e6)
    blew = np.zeros(n, bool)
    hot_by_few = np.array([0.0, 18.5, 10, 5, 2])
    inwc_by_few = np.array([0.33, 0.50, 0.385, 0.33, 0.29])

    def share(lag_s: float) -> float:
        return 1 - float(np.exp(-step_s / lag_s))

    for k in range(n_steps):
        calls = heat[:, :, k] | cool[:, :, k]
        age = np.where(calls, age + step_s, 0.0)
        few = calls.sum(1)
        heating, cooling = heat[:, :, k].any(1), cool[:, :, k].any(1)
        since_trip += step_s
        tripped = (tripped | (was_w1 & (supply >= HIGH_LIMIT_F))) & heating
        since_trip = np.where(was_w1, 0.0, since_trip)
        tripped &= ~((supply < 120) & (since_trip >= 330))
        rested = since_off >= 300
        w1 = heating & ~tripped & (rested | was_w1)
        second = w1 & (second | (age.max(1) >= 600)) & (outdoor[:, k] < 40)
        y1 = cooling & ~heating & (rested | was_y1)
        running = w1 | y1
        since_on = np.where(running, since_on + step_s, 0.0)
        since_off = np.where(running, 0.0, since_off + step_s)
        fan = (running & (y1 | (since_on > 50))) | (~running & (since_off <= 120))
        was_w1, was_y1 = w1, y1
        aim = np.where(w1, 112 + 0.5 * hot_by_few[few], np.where(y1, 55.0, 73.0))
        aim = np.where(second, 134 + hot_by_few[few], aim)
        supply = supply + (aim - supply) * np.where(running, share(150), share(260))
        level = np.where(blew, inwc_by_few[few] * np.where(second, 1.15, 1.0), 0.0)
        static = static + (level - static) * share(12)
        blew = fan  # air takes a moment to build up
        warmed = calls & running[:, None]
        to = np.array([70.0, 69.4, 68.5, 69.8]) + np.where(
            warmed, np.where(w1, 1.2, -1.2)[:, None], 0.0
        )
        rooms = rooms + (to - rooms) * share(1_800)
        made["supply_temp"][:, k] = supply
        made["static_pressure"][:, k] = static
        for z in range(4):
            made[f"zone_temp_{z + 1}"][:, k] = rooms[:, z]
        for name, state in (
            *(("output_w1", w1), ("output_w2", second), ("output_y1", y1)),
            *(("output_g", fan), ("blower_run", fan)),
        ):
            on[name][:, k] = state
    nobody = ~(heat | cool).any(1)
    for z in ZONES:
        on[f"zone_call_w1_{z}"][:] = heat[:, z - 1]
        on[f"zone_call_y1_{z}"][:] = cool[:, z - 1]
        on[f"zone_damper_{z}"][:] = heat[:, z - 1] | cool[:, z - 1] | nobody
    made["outdoor_temp"][:] = outdoor
    made["return_temp"][:] = sum(made[f"zone_temp_{z}"] for z in ZONES) / 4 - 1.0
    made["return_static"][:] = -0.35 * made["static_pressure"]
    made["return_rh"][:] = 38 + 6 * np.sin(2 * np.pi * (day - 0.3))
    made["zone_rh_1"][:] = made["return_rh"] + 1.5
    shaken = {}
    for name in ANALOG:
        digits, noise = (3, 0.004) if "static" in name else (1, 0.12)
        value = made[name] + rng.normal(0, noise, (n, n_steps)).astype(np.float32)
        shaken[name] = np.round(value.astype(np.float64), digits)
    return shaken | on


def _calls(
    rng: np.random.Generator,
    at_s: np.ndarray,
    outdoor: np.ndarray,
    season: np.ndarray,
    step_s: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Whether each zone calls for heat and for cooling: shape (blocks, zones, steps)."""
    n, n_steps = at_s.shape
    most = int(n_steps * step_s / 1_320) + 2
    out = [np.zeros((n, 4, n_steps + 1), np.int32) for _ in range(2)]
    rows = np.repeat(np.arange(n), most)
    for zone in range(4):
        length = rng.uniform(1_320, 2_280, (n, most))
        start = np.cumsum(length, 1) - length + rng.uniform(0, 900, (n, 1))
        k = np.minimum((start / step_s).astype(int), n_steps - 1)
        air, mild = (np.take_along_axis(a, k, 1) for a in (outdoor, season))
        bias = rng.normal(0, 0.06, (n, most)) + (0.0, 0.05, 0.1, -0.08)[zone]
        needs = (
            np.where(mild < 60, (62 - air) / 75 + bias, 0.0),
            np.where(mild > 68, (air - 68) / 30 + bias, 0.0),
        )
        for which, duty in enumerate(needs):
            on_s = np.where(duty * length < 240, 0.0, np.minimum(duty * length, length - 240))
            first = np.clip(np.ceil(start / step_s).astype(int), 0, n_steps)
            last = np.clip(np.ceil((start + on_s) / step_s).astype(int), 0, n_steps)
            np.add.at(out[which], (rows, zone, first.ravel()), 1)
            np.add.at(out[which], (rows, zone, last.ravel()), -1)
    heat, cool = (np.cumsum(steps, 2)[:, :, :-1] > 0 for steps in out)
    return heat, cool & ~heat.any(1, keepdims=True)


def write_year(
    folder: Path, *, dirty: bool, days: int = 365, step_s: int = 60, zones: int = len(ZONES)
) -> Made:
    """One wide export at one interval, `days` long; of 28 channels, or without the last zones'."""
    block_days = 5 if days % 5 == 0 else 1
    starts = FIRST_S + np.arange(0, days, block_days) * DAY_S
    made = simulate([SEED, 1], starts, block_days * DAY_S // step_s, step_s)
    columns = {
        name: values.ravel()
        for name, values in made.items()
        if not name[-1].isdigit() or "output" in name or int(name[-1]) <= zones
    }
    ts = (FIRST_S + np.arange(days * DAY_S // step_s) * step_s) * 1_000_000
    rng = np.random.default_rng([SEED, 2])
    keep = np.ones(len(ts), bool)
    for start in rng.choice(len(ts) - 1_500, max(1, 20 * days // 365), replace=False):
        keep[start : start + int(rng.integers(5, 900))] = False
    columns = {name: values[keep] for name, values in columns.items()}
    return write_wide(folder, "year", ts[keep], columns, dirty, rng)


def write_fleet(folder: Path, n_sites: int, days: int = 7) -> list[Made]:
    """Sites of a winter week at one minute, one dirty export each, made a hundred at a time."""
    sites: list[Made] = []
    for first in range(0, n_sites, 100):
        numbers = np.arange(first, min(first + 100, n_sites))
        rng = np.random.default_rng([SEED, 3, first])
        starts = np.full(len(numbers), WINTER_S)
        made = simulate(
            [SEED, 4, first], starts, days * 1_440, 60, rng.uniform(-12, 14, len(numbers))
        )
        ts = (WINTER_S + np.arange(days * 1_440) * 60) * 1_000_000
        for row, number in enumerate(numbers.tolist()):
            site_id = f"s{number:04d}"
            columns = {name: values[row] for name, values in made.items()}
            sites.append(write_wide(folder / site_id, site_id, ts, columns, True, rng))
    return sites


def write_week(folder: Path, days: int = 7) -> Made:
    """Three loggers of one house: static at 5 s, temperatures at 10 s, a panel's changes."""
    step_s, block_s = 5, 21_600
    starts = WINTER_S + np.arange(0, days * DAY_S, block_s)
    made = simulate([SEED, 5], starts, block_s // step_s, step_s)
    columns = {name: values.ravel() for name, values in made.items()}
    ts = (WINTER_S + np.arange(days * DAY_S // step_s) * step_s) * 1_000_000
    of = {
        "static": [n for n in ANALOG if "static" in n],
        "temps": [n for n in ANALOG if "static" not in n],
        "panel": list(STATE),
    }
    changes = np.zeros(len(ts), bool)
    changes[[0, -1]] = True
    for name in STATE:
        changes[1:] |= np.diff(columns[name]) != 0
    keep = {
        "static": np.ones(len(ts), bool),
        "temps": np.arange(len(ts)) % 2 == 0,
        "panel": changes,
    }
    (folder / "exports").mkdir(parents=True)
    truth, said = {}, []
    for logger, names in of.items():
        table = _table(ts[keep[logger]], {n: columns[n][keep[logger]] for n in names})
        truth[logger] = folder / f"{logger}.parquet"
        pq.write_table(table, truth[logger])
        _write_csv(table, folder / "exports" / f"{logger}.csv")
        kind = "change_of_state" if logger == "panel" else "sampled"
        said.append(
            f'[[export]]\nfiles = "exports/{logger}.csv"\ntimezone = "UTC"\nkind = "{kind}"'
        )
    _write_site_file(folder, "week", said, of)
    return Made(folder, folder / "exports" / "static.csv", truth)


def write_wide(
    folder: Path,
    site_id: str,
    ts: np.ndarray,
    columns: Columns,
    dirty: bool,
    rng: np.random.Generator,
) -> Made:
    """A site of one wide export; `columns` one-dimensional, one value a row."""
    (folder / "exports").mkdir(parents=True)
    export = folder / "exports" / "log.csv"
    table = _table(ts, columns)
    said = ['[[export]]\nfiles = "exports/*.csv"\ntimezone = "UTC"\nkind = "sampled"']
    _write_site_file(folder, site_id, said, {"log": list(columns)})
    truth = {"log": folder / "log.parquet"}
    if not dirty:
        _write_csv(table, export)
        pq.write_table(table, truth["log"])
        return Made(folder, export, truth)
    _write_csv(table, export)
    made = _soil(export, table, truth["log"], rng)
    return Made(folder, export, truth, **made)


def _soil(export: Path, table: pa.Table, truth: Path, rng: np.random.Generator) -> dict[str, int]:
    """Spoil lines and cells of an export; the truth keeps what can still be read of it."""
    header, *lines = export.read_text(encoding="utf-8").splitlines()
    n = len(lines)
    names = table.column_names[1:]
    arrays = {name: table[name].to_numpy().copy() for name in names}
    unread = {name: np.zeros(n, bool) for name in names}
    lost = np.zeros(n, bool)
    n_odd = max(5, n // 10_500)
    # nor is a line lost as the blower starts, likewise
    blown = arrays["blower_run"]
    steady = np.flatnonzero((blown[1:-3] == blown[2:-2]) & (blown[2:-2] == blown[3:-1])) + 2
    spoilt = np.sort(rng.choice(steady[steady < n - 10], n_odd, replace=False))
    n_bad = 0
    for k, at in enumerate(spoilt.tolist()):
        cells = lines[at].split(",")
        kind = k % 5
        lost[at] = kind != 2
        if kind == 2:
            unread[names[0]][at] = True
            n_bad += 1
        lines[at] = (
            lines[at][:40],
            lines[at] + ",7",
            ",".join([cells[0], "ERR", *cells[2:]]),
            header,
            ",".join(["2025-13-40 99:00:00", *cells[1:]]),
        )[kind]
    usable = np.setdiff1d(np.arange(2, n - 10), spoilt)
    for k, at in enumerate(rng.choice(usable, n // 200, replace=False).tolist()):
        # static is left whole: where its reading is missing as the blower starts, a level told by
        # halves and a straight line give the half minute before it to the blower or not
        column = names.index(SOILED[int(rng.integers(0, len(SOILED)))])
        cells = lines[at].split(",")
        word = ("", "NaN", "-999")[k % 3]
        cells[1 + column] = word
        n_bad += word == "-999" or word == "NaN"
        unread[names[column]][at] = True
        lines[at] = ",".join(cells)
    n_blank = max(2, n // 52_000)
    for at in np.sort(rng.choice(n, n_blank, replace=False))[::-1].tolist():
        lines.insert(at, "")
    export.write_text("\n".join([*PREAMBLE, header, *lines, ""]), encoding="utf-8")
    kept = ~lost
    out = [table["ts"].filter(pa.array(kept))]
    for name in names:
        out.append(pa.array(arrays[name][kept], mask=unread[name][kept]))
    pq.write_table(pa.table(out, names=["ts", *names]), truth)
    return {"n_odd": int(lost.sum()), "n_blank": n_blank, "n_bad_cells": n_bad}


def _table(ts: np.ndarray, columns: Columns) -> pa.Table:
    arrays = [pa.array(ts, pa.int64())]
    return pa.table([*arrays, *(pa.array(v) for v in columns.values())], names=["ts", *columns])


def _write_csv(table: pa.Table, path: Path) -> None:
    """The table as a logger writes it: UTC to the second, numbers as short as they are."""
    with duckdb.connect() as con:
        con.execute("set TimeZone = 'UTC'")
        con.register("readings", table)
        con.execute(
            "copy (select strftime(make_timestamp(ts), '%Y-%m-%d %H:%M:%S') as \"Time\","
            " * exclude (ts) from readings) to '" + str(path) + "' (header, delimiter ',')"
        )


def _write_site_file(folder: Path, site_id: str, said: list[str], of: dict[str, list[str]]) -> None:
    text = [
        f'[site]\nid = "{site_id}"\ntimezone = "{TIMEZONE}"',
        '[equipment]\nkind = "furnace_ac"\nheating_stages = 2\ncooling_stages = 1\n'
        'fan_output_in_gas_heat = true\nstaged_by = "panel"',
        f"[settings]\nstatic_target_inwc = {STATIC_TARGET_INWC}\nhigh_limit_f = {HIGH_LIMIT_F:g}\n"
        f"purge_s = {PURGE_S:g}\ndamper_travel_s = {TRAVEL_S:g}",
        *(f'[[zone]]\nnumber = {z}\nname = "Zone {z}"\nthermostat = "conventional"' for z in ZONES),
        *said,
    ]
    for logger, names in of.items():
        for name in names:
            role, _, zone = name.rpartition("_")
            has_zone = zone.isdigit()
            one = f'[[channel]]\nfile = "exports/{logger}.csv"\ncolumn = "{name}"\nrole = "'
            one += f'{role}"\nzone = {zone}' if has_zone else f'{name}"'
            kind = next((u for part, u in UNIT.items() if part in name), None)
            text.append(one + (f'\nunit = "{kind}"' if kind else ""))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text("\n\n".join(text) + "\n", encoding="utf-8")
