"""Shared by all tests of stages: one working connection, and a bench that runs stages on rows.

A `SiteLog` is a whole small log for tests of several stages in a row.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import duckdb
import pytest

from pipeline.run_tables import (
    ALWAYS_END_TS,
    ALWAYS_START_TS,
    BURNER_KINDS,
    HEAT_PUMP_KINDS,
    local_days,
)
from pipeline.stages import Stage, discover, run
from pipeline.store import connect_working, quoted
from pipeline.tables import tables
from pipeline.thresholds import values_for

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
Rows = Iterable[Mapping[str, Any]]


@dataclass
class SiteLog:
    """What one site logged; seconds from `origin_ts`, ends not included.

    states : (role, zone) -> [(from, until, is on)], touching stretches of one channel differ
    readings : (role, zone) -> [(second, value)], nominally `interval_s` apart
    thermostats : zone -> conventional or heat_pump; conventional where left out
    """

    window: tuple[float, float]
    states: dict[tuple[str, int | None], list[tuple[float, float, bool]]] = field(
        default_factory=dict
    )
    readings: dict[tuple[str, int | None], list[tuple[float, float]]] = field(default_factory=dict)
    interval_s: float = 10.0
    kind: str = "furnace_ac"
    timezone: str = "UTC"
    settings: dict[str, float | str] = field(default_factory=dict)
    visits: list[tuple[float, float]] = field(default_factory=list)
    thermostats: dict[int, str] = field(default_factory=dict)
    relief: set[int] = field(default_factory=set)
    origin_ts: int = 1_768_176_000_000_000  # Monday 2026-01-12 00:00 UTC

    def ts(self, second: float) -> int:
        """The instant that many seconds after the origin, in UTC microseconds."""
        return self.origin_ts + round(second * 1e6)


class Bench:
    """A working connection on which single stages, or some in a row, run on given rows.

    con : the connection; `stages` : every stage by its table, in running order, parsed once
    """

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self.con = con
        self.stages: dict[str, Stage] = {s.table: s for s in discover(con)}

    def fill(self, table: str, rows: Rows = ()) -> None:
        """Make `table` hold exactly these rows; a column they leave out is null."""
        columns = {c.name: c.type for c in tables()[table].with_site}
        records = list(rows)
        given = list(dict.fromkeys(k for r in records for k in r))
        if tables()[table].is_open:
            columns |= {name: "DOUBLE" for name in given if name not in columns}
        unknown = set(given) - set(columns)
        assert not unknown, f"{table} has no column {sorted(unknown)}"
        schema, name = map(quoted, table.split("."))
        self.con.execute(f"create schema if not exists {schema}")
        typed = ", ".join(f"{quoted(c)} {t}" for c, t in columns.items())
        self.con.execute(f"create or replace table {schema}.{name} ({typed})")
        if records:
            # one bound statement: a frame for each of a case's small tables takes ten times as long
            one = "(" + ", ".join("?" * len(given)) + ")"
            self.con.execute(
                f"insert into {schema}.{name} ({', '.join(map(quoted, given))})"
                f" values {', '.join([one] * len(records))}",
                [r.get(c) for r in records for c in given],
            )

    def fill_thresholds(self, by_site: Mapping[str, Mapping[str, float]]) -> None:
        """`run.threshold`: the defaults with these values over them, one row per site."""
        rows = [{"site_id": site} | values_for(dict(own)) for site, own in by_site.items()]
        self.fill("run.threshold", rows or [{"site_id": ""} | values_for({})])
        if not rows:
            self.con.execute("delete from run.threshold")

    def run(self, *made: str) -> None:
        """Run the stages that make these tables, in running order."""
        run(self.con, [s for t, s in self.stages.items() if t in made])

    def measure(self, logs: Mapping[str, SiteLog], until: str) -> None:
        """Run every SQL stage from the store up to the one that makes `until`, on these sites."""
        tables_made = [t for t, s in self.stages.items() if s.sql is not None]
        made = tables_made[: tables_made.index(until) + 1]
        for table, rows in log_rows(logs).items():
            self.fill(table, rows)
        self.fill("trust.problem")  # what these logs say is taken at its word,
        self.fill("trust.clock_offset")  # on the clock they tell
        self.fill_thresholds({site_id: {} for site_id in logs})
        self.fill("run_state.inferred_state")
        self.run(*made)

    def rows(self, table: str) -> list[dict[str, Any]]:
        """The rows of a table as they are stored, missing values as None."""
        found = self.con.execute(f"select * from {table}")
        names = [d[0] for d in found.description]
        return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def log_rows(logs: Mapping[str, SiteLog]) -> dict[str, list[dict[str, Any]]]:
    """The rows of store.* and run.* that these logs come to, in the order a store keeps them."""
    made: dict[str, list[dict[str, Any]]] = {
        t: [] for t in tables() if t.startswith(("store.", "run.")) and t != "run.threshold"
    }

    def add(table: str, site_id: str, **row: Any) -> None:
        made[table].append({"site_id": site_id} | row)

    for site_id, log in sorted(logs.items()):
        start_ts, end_ts = map(log.ts, log.window)
        add("run.window", site_id, start_ts=start_ts, end_ts=end_ts, timezone=log.timezone)
        for day, a, b in local_days(log.timezone, start_ts, end_ts):
            add("run.day", site_id, day=day, start_ts=a, end_ts=b)
        add(
            "run.site",
            site_id,
            name=site_id,
            kind=log.kind,
            has_burner=log.kind in BURNER_KINDS,
            has_heat_pump=log.kind in HEAT_PUMP_KINDS,
            fan_output_in_gas_heat=True,
            staged_by="panel",
        )
        always = {"start_ts": ALWAYS_START_TS, "end_ts": ALWAYS_END_TS}
        for name, value in log.settings.items():
            key = "value_text" if isinstance(value, str) else "value"
            add("run.setting", site_id, name=name, **{key: value}, **always)
        for a, b in log.visits:
            add("run.visit", site_id, start_ts=log.ts(a), end_ts=log.ts(b), what="visit")
        channels = [*log.states, *log.readings]
        for zone in sorted({zone for _, zone in channels if zone is not None}):
            add(
                "run.zone",
                site_id,
                zone=zone,
                name=f"Zone {zone}",
                is_relief=zone in log.relief,
                thermostat=log.thermostats.get(zone, "conventional"),
            )
        for number, (role, zone) in enumerate(channels, start=1):
            is_state = number <= len(log.states)
            add(
                "store.channel",
                site_id,
                channel_id=number,
                logger="log",
                column_name=f"{role} {zone or ''}",
                role=role,
                zone=zone,
                kind="state" if is_state else "analog",
                is_sampled=not is_state,
                interval_s=1.0 if is_state else log.interval_s,
            )
            for a, b, is_on in log.states.get((role, zone), []):
                row = {"start_ts": log.ts(a), "end_ts": log.ts(b), "is_on": is_on}
                add("store.state", site_id, channel_id=number, **row)
            for second, value in log.readings.get((role, zone), []):
                row = {"ts": log.ts(second), "value": value}
                add("store.reading", site_id, channel_id=number, **row)
    return made


@pytest.fixture(scope="session")
def bench() -> Iterator[Bench]:
    """One bench for all tests; who uses it fills every table it reads."""
    con = connect_working()
    yield Bench(con)
    con.close()


def instant_of(text: str) -> int:
    """`10:05:30` on Monday 2026-01-12 UTC, or an ISO instant, as UTC microseconds."""
    iso = text if "T" in text else f"2026-01-12T{text}+00:00"
    stamp = dt.datetime.fromisoformat(iso)
    assert stamp.tzinfo is not None, f"{text}: an ISO instant carries its zone, such as Z"
    return (stamp - EPOCH) // dt.timedelta(microseconds=1)


@pytest.fixture(scope="session")
def instant() -> Callable[[str], int]:
    """What reads the instants of cases."""
    return instant_of


@pytest.fixture(scope="session")
def site_log() -> type[SiteLog]:
    """The class of a small log, for tests that draw their own."""
    return SiteLog
