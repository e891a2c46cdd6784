"""Shared by all tests of stages: one working connection, and a bench that runs stages on rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import duckdb
import pytest

from pipeline.stages import Stage, discover, run
from pipeline.store import connect_working, quoted
from pipeline.tables import tables
from pipeline.thresholds import values_for

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
Rows = Iterable[Mapping[str, Any]]


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

    def rows(self, table: str) -> list[dict[str, Any]]:
        """The rows of a table as they are stored, missing values as None."""
        found = self.con.execute(f"select * from {table}")
        names = [d[0] for d in found.description]
        return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


@pytest.fixture(scope="session")
def bench() -> Iterator[Bench]:
    """One bench for all tests; who uses it fills every table it reads."""
    con = connect_working()
    yield Bench(con)
    con.close()


@pytest.fixture(scope="session")
def instant() -> Callable[[str], int]:
    """`10:05:30` on Monday 2026-01-12 UTC, or an ISO instant, as UTC microseconds."""

    def of(text: str) -> int:
        iso = text if "T" in text else f"2026-01-12T{text}+00:00"
        stamp = dt.datetime.fromisoformat(iso)
        assert stamp.tzinfo is not None, f"{text}: an ISO instant carries its zone, such as Z"
        return (stamp - EPOCH) // dt.timedelta(microseconds=1)

    return of
