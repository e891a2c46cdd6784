"""Sites of the simulated world as the store would hold them, without their way through text.

Records are simulated once per system and kept as sampled readings; a fault of the log is planted
on these, as the export would have carried it: rounded to the decimals that the logger writes, in
the unit it writes. `tests/accuracy/test_planted.py` holds one such site to its loaded text.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa

from pipeline.run_tables import prepare
from pipeline.site import Site
from pipeline.site_reader import read_site
from pipeline.store import create_store_tables
from pipeline.units import MICROSECONDS, UNITS
from sample_data import world
from sample_data.world import export as world_export
from sample_data.world.channels import Channel, channels
from sample_data.world.kept import cache_folder, source_hash
from sample_data.world.loop import Record
from sample_data.world.make import key
from sample_data.world.site_file import site_toml
from sample_data.world.system import WARM_UP_S, LogFault, System

Ints = np.ndarray[Any, np.dtype[np.int64]]


@dataclass(frozen=True)
class Logged:
    """What the loggers of one system read: channels with values at `seconds` of their file.

    channels : analog ones in the unit of their file, noise included, not yet rounded; states with
        their value at each row
    seconds : per file, seconds of the record
    clock_s : per file, its clock minus the true one
    starts : how often heating or cooling began
    """

    system: System
    channels: tuple[Channel, ...]
    seconds: Mapping[str, Ints]
    clock_s: Mapping[str, float]
    interval_s: Mapping[str, int | None]
    starts: int = 0


def logged(
    system: System,
    change: Callable[[list[Channel], Record], list[Channel]] | None = None,
    changed: str = "",
) -> Logged:
    """The system's readings, simulated or from the world's cache.

    change, changed : done to the channels at one second before they are sampled, and its name
    """
    world.catalogue  # noqa: B018  (the package must be whole)
    folder = cache_folder() / "channels"
    path = folder / f"{key(system)}-{source_hash()}{changed}.pickle"
    if path.exists():
        kept: Logged = pickle.loads(path.read_bytes())
        return kept
    record = world.record(system)
    found = channels(system, record)
    if change is not None:
        found = change(found, record)
    made = replace(_sampled(system, found), starts=_starts(record))
    folder.mkdir(parents=True, exist_ok=True)
    building = path.with_suffix(f".{os.getpid()}")
    building.write_bytes(pickle.dumps(made, protocol=5))
    building.replace(path)
    return made


def without(base: Logged, *beginnings: str) -> Logged:
    """The log without channels whose roles begin like these, and without files left empty."""
    left = tuple(c for c in base.channels if not c.role.startswith(beginnings or ("-",)))
    files = {c.file for c in left}
    seconds = {name: at for name, at in base.seconds.items() if name in files}
    return replace(base, channels=left, seconds=seconds)


def _starts(record: Record) -> int:
    on = record.flag("w1") | record.flag("y1") | record.flag("aux")
    return int((np.diff(on.astype(np.int8)) > 0).sum())


def _sampled(system: System, found: list[Channel]) -> Logged:
    log = system.logging
    out: list[Channel] = []
    all_seconds: dict[str, Ints] = {}
    steps: dict[str, int | None] = {}
    clock: dict[str, float] = {}
    for name in dict.fromkeys(c.file for c in found):
        group = [c for c in found if c.file == name]
        first = WARM_UP_S + world_export.START_S[name]
        last = system.seconds - world_export.STOP_S[name]
        step: int | None = log.slow_s if name == "rooms" else log.fast_s
        if name == "static":
            step = max(1, log.fast_s // 2)
        if name == "panel" and log.states == "change":
            step = None
            table = np.stack([c.values for c in group], axis=1).astype(bool)
            moved = np.zeros(len(table), dtype=bool)
            moved[1:] = (table[1:] != table[:-1]).any(axis=1)
            moved[[first, last]] = True
            seconds = np.flatnonzero(moved)
            seconds = seconds[(seconds >= first) & (seconds <= last)]
        else:
            seconds = np.arange(first, last + 1, step)
        all_seconds[name], steps[name] = seconds, step
        clock[name] = float(system.seed * 7 % 5 - 2 if name != "panel" else 0)
        for number, channel in enumerate(group):
            values = np.asarray(channel.values[seconds])
            if not channel.is_state:
                rng = np.random.default_rng([system.seed, 100 + world_export.START_S[name], number])
                draw = np.round(rng.standard_normal(len(seconds)), 6)
                values = values.astype(np.float64)
                values = values + draw * (channel.noise + channel.noise_share * np.abs(values))
            out.append(replace(channel, values=values))
    return Logged(system, tuple(out), all_seconds, clock, steps)


# ---------------------------------------------------------------------- faults of the log


@dataclass(frozen=True)
class Plant:
    """One site to make: its readings with faults planted, and its site file with lines changed.

    faults : of the world's own kinds
    spoil : further change of one channel's readings at its seconds (file's unit)
    decimals : decimals written, by role; else the channel's
    blank : share of a role's readings that are empty
    told : changes site.toml's text
    """

    name: str
    base: Logged
    faults: tuple[LogFault, ...] = ()
    spoil: Callable[[Logged, Channel, np.ndarray], np.ndarray] | None = None
    decimals: Mapping[str, float] = field(default_factory=dict)
    blank: Mapping[str, float] = field(default_factory=dict)
    told: Callable[[str], str] | None = None


def clock_of(plant: Plant, file: str) -> tuple[float, float]:
    """A file's clock as planted: offset at its first row [s], and what it gains [s a day]."""
    offset, drift = plant.base.clock_s[file], 0.0
    for fault in plant.faults:
        if world_export.file_of(fault.role) == file:
            offset += fault.amount if fault.kind == "clock" else 0.0
            drift += fault.amount if fault.kind == "drift" else 0.0
    return offset, drift


def _with_faults(plant: Plant) -> tuple[System, list[Channel]]:
    system = plant.base.system
    system = replace(system, logging=replace(system.logging, faults=plant.faults))
    group = world_export.swap_columns(system, list(plant.base.channels))
    out = []
    for channel in group:
        seconds = plant.base.seconds[channel.file]
        if channel.is_state:
            on = np.asarray(channel.values, bool)
            for fault in plant.faults:
                mine = fault.role == channel.role and fault.zone in (-1, channel.zone)
                if mine and fault.kind == "inverted":
                    on = ~on
                if mine and fault.kind == "dead":
                    on = np.zeros_like(on)
            out.append(replace(channel, values=on))
            continue
        read = world_export.spoil_values(system, channel, channel.values, seconds)
        decimals = float(channel.decimals)
        if any(f.kind == "unit" and f.role == channel.role for f in plant.faults):
            decimals = 3.0
        if plant.spoil is not None:
            read = plant.spoil(plant.base, channel, read)
        step = plant.decimals.get(channel.role, 10.0**-decimals)
        read = np.rint(read / step) * step
        if share := plant.blank.get(channel.role):
            rng = np.random.default_rng([system.seed, 77])
            read = np.where(rng.random(len(read)) < share, np.nan, read)
        out.append(replace(channel, values=read))
    return system, out


# ---------------------------------------------------------------------- the store's tables


def fill(con: duckdb.DuckDBPyConnection, plants: list[Plant], folder: Path) -> list[Site]:
    """Make `store.*` and `run.*` of these sites in a working connection; gives their site files.

    folder : where their site files are written
    """
    con.execute("create schema if not exists store")
    create_store_tables(con, schema="store", with_site_id=True)
    sites = []
    for plant in plants:
        system, group = _with_faults(plant)
        files = [
            world_export.Export(
                f"{name}.csv",
                "",
                tuple(c for c in group if c.file == name),
                plant.base.seconds[name],
                plant.base.interval_s[name],
            )
            for name in plant.base.seconds
        ]
        text = site_toml(system, files).replace(
            f'id = "{system.name[:60]}"', f'id = "{plant.name}"'
        )
        if plant.told is not None:
            text = plant.told(text)
        place = folder / plant.name
        place.mkdir(parents=True)
        (place / "site.toml").write_text(text, encoding="utf-8")
        site = read_site(place)
        _store(con, site, plant, group)
        sites.append(site)
    prepare(con, sites)
    return sites


def _store(con: duckdb.DuckDBPyConnection, site: Site, plant: Plant, group: list[Channel]) -> None:
    base = plant.base
    utc = world_export.utc_s(base.system)
    by_name = {(c.file, c.column): c for c in group}
    for number, told in enumerate(site.channels, start=1):
        name = str(told.file).removeprefix("exports/").removesuffix(".csv")
        channel = by_name[name, told.column]
        seconds = base.seconds[name]
        offset_s, drift_s_per_day = clock_of(plant, name)
        wrong = np.rint(offset_s + drift_s_per_day * (seconds - seconds[0]) / 86400.0)
        ts = ((utc + seconds + wrong) * MICROSECONDS).astype(np.int64)
        step = base.interval_s[name]
        if channel.is_state:
            on = np.asarray(channel.values, bool) ^ bool(getattr(told, "inverted", False))
            edge = np.flatnonzero(np.concatenate([[True], on[1:] != on[:-1]]))
            end = ts[-1] + (step or 0) * MICROSECONDS
            starts, ends = ts[edge], np.append(ts[edge[1:]], end)
            _insert(con, "state", site.id, number, start_ts=starts, end_ts=ends, is_on=on[edge])
            n, interval = len(on), float(step or 1)
        else:
            unit = UNITS[told.unit or channel.unit]
            value = channel.values * unit.scale + unit.shift
            if getattr(told, "inverted", False):
                value = -value
            good = ~np.isnan(value)
            _insert(con, "reading", site.id, number, ts=ts[good], value=value[good])
            n, interval = int(good.sum()), float(step or 1)
        con.execute(
            "insert into store.channel by name select ? as site_id, ?::integer as channel_id,"
            " ? as logger, ? as column_name, ? as role, ?::integer as zone, ? as damper, ? as kind,"
            " 'level' as form, ? as unit, ? as is_sampled, ? as interval_s, ? as n_reading,"
            " ? as first_ts, ? as last_ts, ? as accuracy",
            [
                site.id, number, f"exports/{name}.csv", told.column, told.role, told.zone,
                told.damper, "state" if channel.is_state else "analog", told.unit or "state",
                step is not None, interval, n, int(ts[0]), int(ts[-1]),
                None if told.accuracy is None else told.accuracy * UNITS[str(told.unit)].scale,
            ],
        )  # fmt: skip


def _insert(
    con: duckdb.DuckDBPyConnection, table: str, site_id: str, number: int, **columns: np.ndarray
) -> None:
    n = len(next(iter(columns.values())))
    rows = pa.table(
        {
            "site_id": pa.array([site_id] * n),
            "channel_id": np.full(n, number, np.int32),
            **columns,
        }
    )
    con.register("rows_to_keep", rows)
    con.execute(f"insert into store.{table} by name select * from rows_to_keep")
    con.unregister("rows_to_keep")
