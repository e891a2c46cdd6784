"""fleet.duckdb: what is kept of a fleet between two runs. Only the run's own process writes it.

Its tables are described in sql/fleet.toml. Everything in it can be made again from the sites, the
ranks of earlier days excepted; so a file of another layout is begun anew, and those ranks are
taken over.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import duckdb
import pandas as pd

from pipeline.fleet.measured import MAX_EVENTS, UnitResult
from pipeline.fleet.units import Unit
from pipeline.store import open_file, quoted
from pipeline.tables import fleet_tables

FILE = "fleet.duckdb"
OF_UNITS = ("unit", "unit_finding", "unit_judged", "event", "day")


def layout() -> str:
    """A short text that changes whenever a table of the fleet's store does."""
    described = [(t.name, c.name, c.type) for t in fleet_tables().values() for c in t.with_site]
    return hashlib.sha256(repr(described).encode()).hexdigest()[:16]


class FleetStore:
    """An open fleet.duckdb; use as a context.

    is_new : there was none of this layout; is_of_another_layout : there was one of another
    """

    def __init__(self, path: Path) -> None:
        self._con = open_file(path)
        found = self._layout()
        self.is_new = found != layout()
        self.is_of_another_layout = self.is_new and found is not None
        if self.is_new:
            self._begin_anew()

    def __enter__(self) -> Self:
        """The store itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it."""
        self._con.close()

    def frame(self, name: str) -> pd.DataFrame:
        """A whole table, such as 'unit_finding', in the order of its first columns."""
        columns = [quoted(c.name) for c in fleet_tables()[f"fleet.{name}"].with_site]
        order = ", ".join(columns[:4])
        return self._con.execute(
            f"select {', '.join(columns)} from {quoted(name)} order by {order}"
        ).df()

    def units(self) -> dict[tuple[str, str, int], Unit]:
        """Every unit that is kept, by its key."""
        rows = self._con.execute(
            "select site_id, kind, day, start_ts, end_ts, fingerprint, n_reading from unit"
        ).fetchall()
        units = [Unit(*row) for row in rows]
        return {u.key: u for u in units}

    def loaded(self) -> dict[str, str]:
        """By site, the hash of what its units were cut from when it was last looked at whole."""
        return dict(
            self._con.execute(
                "select site_id, loaded from site where loaded is not null and broken is null"
            ).fetchall()
        )

    def begin(self, site_ids: Collection[str]) -> None:
        """Note that these sites' units are being replaced: until the end, none is as `loaded`."""
        for site_id in sorted(site_ids):
            self._con.execute("update site set loaded = null where site_id = ?", [site_id])

    def write_sites(self, rows: Sequence[dict[str, Any]]) -> None:
        """Replace the table of sites."""
        with _Transaction(self._con):
            self._con.execute("delete from site")
            self._put("site", rows)

    def write_units(self, results: Iterable[UnitResult]) -> None:
        """Replace the rows of these units, all of them or, if stopped, none."""
        kept = [r for r in results if r.window is not None]
        rows: dict[str, list[dict[str, Any]]] = {name: [] for name in OF_UNITS}
        for result in kept:
            for name, more in _rows(result).items():
                rows[name] += more
        with _Transaction(self._con):
            self._forget([r.unit.key for r in kept])
            for name in OF_UNITS:
                self._put(name, rows[name])

    def forget(self, keys: Collection[tuple[str, str, int]]) -> None:
        """Take out units that there are no longer."""
        with _Transaction(self._con):
            self._forget(keys)

    def write_whole(self, name: str, rows: Sequence[dict[str, Any]]) -> None:
        """Replace a table that every run makes anew."""
        with _Transaction(self._con):
            self._con.execute(f"delete from {quoted(name)}")
            self._put(name, rows)

    def write_ranking(self, run_day: object, rows: Sequence[dict[str, Any]]) -> None:
        """Replace the ranking of one day; those of other days stay."""
        with _Transaction(self._con):
            self._con.execute("delete from ranking where run_day = ?", [run_day])
            self._put("ranking", rows)

    def _put(self, name: str, rows: Sequence[dict[str, Any]]) -> None:
        if not rows:
            return
        columns = fleet_tables()[f"fleet.{name}"].with_site
        frame = pd.DataFrame({c.name: [row.get(c.name) for row in rows] for c in columns})
        frame = frame.astype(object).where(frame.notna(), None)
        self._con.register("incoming", frame)
        picks = ", ".join(f"cast({quoted(c.name)} as {c.type})" for c in columns)
        names = ", ".join(quoted(c.name) for c in columns)
        self._con.execute(f"insert into {quoted(name)} ({names}) select {picks} from incoming")
        self._con.unregister("incoming")

    def _forget(self, keys: Collection[tuple[str, str, int]]) -> None:
        if not keys:
            return
        gone = pd.DataFrame(sorted(keys), columns=["site_id", "kind", "start_ts"])
        self._con.register("gone", gone)
        for name in OF_UNITS:
            start = "unit_start_ts" if name in ("event", "day") else "start_ts"
            self._con.execute(
                f"delete from {quoted(name)} t using gone g where t.site_id = g.site_id"
                f" and t.kind = g.kind and t.{start} = g.start_ts"
            )
        self._con.unregister("gone")

    def _layout(self) -> str | None:
        try:
            row = self._con.execute("select value from meta where name = 'layout'").fetchone()
        except duckdb.CatalogException:
            return None
        return row[0] if row else None

    def _begin_anew(self) -> None:
        with _Transaction(self._con):
            ranked = self._ranks_of_another_layout() if self.is_of_another_layout else []
            for (name,) in self._con.execute("select table_name from duckdb_tables()").fetchall():
                self._con.execute(f"drop table {quoted(name)}")
            for table in fleet_tables().values():
                columns = ", ".join(f"{quoted(c.name)} {c.type}" for c in table.with_site)
                self._con.execute(f"create table {quoted(table.name.split('.')[1])} ({columns})")
            self._con.execute("create table meta (name VARCHAR, value VARCHAR)")
            self._con.execute("insert into meta values ('layout', ?)", [layout()])
            self._put("ranking", ranked)

    def _ranks_of_another_layout(self) -> list[dict[str, Any]]:
        """The ranks of earlier days, as far as their columns are still known."""
        there = self._con.execute(
            "select column_name from duckdb_columns() where table_name = 'ranking'"
        ).fetchall()
        known = [c.name for c in fleet_tables()["fleet.ranking"].with_site]
        kept = [name for name in known if (name,) in there]
        if not {"run_day", "site_id"} <= set(kept):
            return []
        rows = self._con.execute(f"select {', '.join(map(quoted, kept))} from ranking").fetchall()
        return [dict(zip(kept, row, strict=True)) for row in rows]


class _Transaction:
    """All of what is inside, or none of it."""

    def __init__(self, con: duckdb.DuckDBPyConnection) -> None:
        self._con = con

    def __enter__(self) -> None:
        self._con.execute("begin")

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._con.execute("commit" if kind is None else "rollback")


def _rows(result: UnitResult) -> dict[str, list[dict[str, Any]]]:
    """A unit's rows by table."""
    unit, window = result.unit, result.window
    assert window is not None
    key = {"site_id": unit.site_id, "kind": unit.kind, "start_ts": unit.start_ts}
    below = {"site_id": unit.site_id, "kind": unit.kind, "unit_start_ts": unit.start_ts}
    return {
        "unit": [
            key
            | {
                "end_ts": unit.end_ts,
                "day": unit.day,
                "fingerprint": unit.fingerprint,
                "n_reading": unit.n_reading,
                "window_start_ts": window.start_ts,
                "window_end_ts": window.end_ts,
            }
        ],
        "unit_finding": [
            key
            | {name: getattr(f, name) for name in ("code", "severity", "about", "certainty")}
            | {name: getattr(f, name) for name in ("title", "headline", "summary")}
            | {
                "goes_with": "\n".join(f.goes_with),
                "causes": "\n".join(c.cause for c in f.causes),
                "checks": "\n".join(f.checks),
                "cautions": "\n".join(f.cautions),
                "n_event": len(f.evidence),
            }
            for f in result.findings
        ],
        "unit_judged": [
            key
            | {"code": j.code, "result": j.result, "why": None if j.result == "found" else j.why}
            for j in result.judged
        ],
        "event": [
            below | {"code": f.code, "start_ts": e.start_ts, "end_ts": e.end_ts, "label": e.label}
            for f in result.findings
            for e in f.evidence[:MAX_EVENTS]
        ],
        "day": [
            below | {str(k): v for k, v in row.items()} for row in result.days.to_dict("records")
        ],
    }
