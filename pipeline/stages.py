"""The stages between store and report: found in sql/ and pipeline/measures, checked, run in order.

A stage makes one table. In SQL it is one file with one SELECT: `sql/50_measure/51_coverage.sql`
makes `measure.coverage`. In Python it is a module of `pipeline/measures` with TABLE, STAGE (its
place in the same listing), READS and `build(frames) -> DataFrame`. Name order is running order; a
stage that reads what no earlier stage made is refused. This is the only reader of sql/.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
import re
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import duckdb
import pandas as pd

import pipeline.measures
from pipeline.errors import StageError
from pipeline.store import SITE_KEY, settle
from pipeline.tables import tables

STREAMING = re.compile(r"over\s*\(\s*(rows unbounded preceding)?\s*\)", re.IGNORECASE)
TABLE_READ = re.compile(r"(?<!distinct )\b(?:from|join)\s+([a-z_]+\.[a-z_0-9]+)\b", re.IGNORECASE)
COMMENT = re.compile(r"/\*.*?\*/|--[^\n]*", re.DOTALL)
GIVEN_SCHEMAS = ("store", "run")
"""Schemas that stand before the first stage: the attached stores, and what the site files say."""


@dataclass(frozen=True)
class Stage:
    """One table and how it is made."""

    key: str
    table: str
    reads: tuple[str, ...]
    means: str
    sql: str | None = None
    build: Callable[[dict[str, pd.DataFrame]], pd.DataFrame] | None = None

    @property
    def folder(self) -> str:
        """The folder the stage belongs to, such as '50_measure'."""
        return self.key.split("/")[0]


def listed() -> list[Stage]:
    """All stages in running order, as a run needs them: what each reads is taken from its text.

    Parsing a hundred files takes longer than many a stage; `discover` does it where the stages are
    looked at (`zonetrail stages`, the tests), and a test holds the two readings against each other.
    """
    return sorted([*_sql_stages(None), *_python_stages()], key=lambda s: s.key)


def needed_for(stages: Sequence[Stage], wanted: Iterable[str]) -> list[Stage]:
    """Of these stages, in their order, those without which the wanted tables cannot be made."""
    needed = set(wanted)
    for stage in reversed(stages):
        if stage.table in needed:
            needed.update(stage.reads)
    return [stage for stage in stages if stage.table in needed]


def discover(con: duckdb.DuckDBPyConnection) -> list[Stage]:
    """All stages in running order, checked: each reads only what stands before it.

    Raises StageError naming the file for a second statement, a parameter, a table without a
    schema, a file that reads ahead, two stages for one table, or a table without a declaration.
    """
    stages = sorted([*_sql_stages(con), *_python_stages()], key=lambda s: s.key)
    made: set[str] = set()
    declared = tables()
    for stage in stages:
        if stage.table in made:
            raise StageError(f"{stage.key}: {stage.table} is made twice")
        if stage.table not in declared:
            raise StageError(f"{stage.key}: {stage.table} is declared nowhere")
        for table in stage.reads:
            given = table.split(".")[0] in GIVEN_SCHEMAS and table in declared
            if not given and table not in made:
                raise StageError(f"{stage.key}: reads {table}, which no earlier stage makes")
        made.add(stage.table)
    return stages


def run(
    con: duckdb.DuckDBPyConnection,
    stages: Iterable[Stage],
    on_stage: Callable[[Stage, float], None] | None = None,
    at_once: int = 1,
    keep: Collection[str] | None = None,
) -> None:
    """Make each stage's table, in a connection that holds `store.*` and `run.*`.

    on_stage : called after each with the stage and the seconds it took
    at_once : how many stages may run side by side, each once what it reads is made; every stage
        stays single-threaded, so the tables are the same whatever this is
    keep : any other table that stages make goes once the last of these has read it, so that its
        memory serves the next; all stay if None
    Raises StageError when a result differs from its declaration, or when a streaming window reads a
    table that is not stored in order.
    """
    stages = list(stages)
    for schema in sorted({stage.table.split(".")[0] for stage in stages}):
        con.execute(f'create schema if not exists "{schema}"')
    leaving = _Leaving(con.cursor(), stages, keep)
    if at_once == 1:
        for stage in stages:
            took_s = _make(con, stage)
            leaving.after(stage)
            if on_stage is not None:
                on_stage(stage, took_s)
        return
    _run_side_by_side(con, stages, on_stage, at_once, leaving)


class _Leaving:
    """The tables that nobody wants any more, dropped as their last readers are done."""

    def __init__(
        self, con: duckdb.DuckDBPyConnection, stages: list[Stage], keep: Collection[str] | None
    ) -> None:
        self._con = con
        seen = {t for s in stages for t in (s.table, *s.reads)}
        made = {t for t in seen if t.split(".")[0] not in GIVEN_SCHEMAS}
        goes = set() if keep is None else made - set(keep)
        self._readers = {t: {s.key for s in stages if t in (*s.reads, s.table)} for t in goes}

    def after(self, stage: Stage) -> None:
        for table in {*stage.reads, stage.table} & self._readers.keys():
            self._readers[table].discard(stage.key)
            if not self._readers[table]:
                del self._readers[table]
                self._con.execute(f"drop table {table}")


def _run_side_by_side(
    con: duckdb.DuckDBPyConnection,
    stages: list[Stage],
    on_stage: Callable[[Stage, float], None] | None,
    at_once: int,
    leaving: _Leaving,
) -> None:
    """As `run`, each stage begun as soon as there is a connection for it and what it reads.

    The first stage that fails stops the others: none begins after it, and its error is raised.
    """
    made_here = {stage.table for stage in stages}
    waits_for = {s.key: {t for t in s.reads if t in made_here and t != s.table} for s in stages}
    waiting = list(stages)
    connections = [con, *(con.cursor() for _ in range(at_once - 1))]
    for own in connections[1:]:
        settle(own)
    running: dict[Future[float], tuple[Stage, duckdb.DuckDBPyConnection]] = {}
    with ThreadPoolExecutor(at_once) as pool:
        try:
            while waiting or running:
                for stage in [s for s in waiting if not waits_for[s.key]][: len(connections)]:
                    waiting.remove(stage)
                    own = connections.pop()
                    running[pool.submit(_make, own, stage)] = (stage, own)
                for done in wait(running, return_when=FIRST_COMPLETED).done:
                    stage, own = running.pop(done)
                    took_s = done.result()
                    connections.append(own)
                    leaving.after(stage)
                    for names in waits_for.values():
                        names.discard(stage.table)
                    if on_stage is not None:
                        on_stage(stage, took_s)
        except BaseException:
            for _, own in running.values():
                own.interrupt()
            raise


def _make(con: duckdb.DuckDBPyConnection, stage: Stage) -> float:
    """Make one stage's table; the seconds it took."""
    started = time.perf_counter()
    schema, name = stage.table.split(".")
    if stage.sql is not None:
        if STREAMING.search(stage.sql):
            _check_order(con, stage)
        con.execute(f'create or replace table "{schema}"."{name}" as {stage.sql}')
        _check_columns(con, stage.table)
    elif stage.build is not None:
        frames = {t: frame(con, t) for t in stage.reads}
        put(con, stage.table, stage.build(frames))
    return time.perf_counter() - started


def put(con: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame) -> None:
    """Store a frame as `table` with the columns and types that are declared for it.

    Raises StageError when a declared column is missing or, unless the table is open, when the
    frame has one that is not declared.
    """
    declared = tables()[table]
    names = [c.name for c in declared.with_site]
    extra = [c for c in frame.columns if c not in names]
    missing = [n for n in names if n not in frame.columns]
    if missing or (extra and not declared.is_open):
        raise StageError(f"{table}: missing columns {missing}, undeclared columns {extra}")
    site_type = _site_type(con)
    picks = [f'cast("site_id" as {site_type}) as "site_id"']
    picks += [f'cast("{c.name}" as {c.type}) as "{c.name}"' for c in declared.columns]
    picks += [f'"{name}"' for name in extra]
    schema, name = table.split(".")
    con.execute(f'create schema if not exists "{schema}"')
    con.register("frame_to_put", frame)
    selected = ", ".join(picks)
    target = f'"{schema}"."{name}"'
    con.execute(f"create or replace table {target} as select {selected} from frame_to_put")
    con.unregister("frame_to_put")


def frame(con: duckdb.DuckDBPyConnection, table: str, site_id: str | None = None) -> pd.DataFrame:
    """A declared table as a DataFrame, its site as text; of one site if `site_id` is given."""
    if table not in tables():
        raise StageError(f"{table} is declared nowhere")
    query = f"select * replace (site_id::varchar as site_id) from {table}"
    if site_id is None:
        return con.execute(query).df()
    return con.execute(f"{query} where site_id = ?", [site_id]).df()


def _site_type(con: duckdb.DuckDBPyConnection) -> str:
    """The type of `site_id` in this connection: text where no store is attached."""
    query = "select count(*) from duckdb_types() where type_name = ?"
    found = con.execute(query, [SITE_KEY]).fetchone()
    return SITE_KEY if found and found[0] else "VARCHAR"


def reads_of(con: duckdb.DuckDBPyConnection, sql: str) -> tuple[str, ...]:
    """The tables with a schema that a SELECT reads, by DuckDB's own parser, sorted.

    Raises StageError for anything but one SELECT, a parameter, a table function other than those
    that make rows of lists and ranges, and a table without a schema that no `with` names.
    """
    row = con.execute("select json_serialize_sql(?::varchar)", [sql]).fetchone()
    tree: dict[str, Any] = json.loads(row[0]) if row else {"error": True}
    if tree.get("error"):
        raise StageError(f"not one SELECT: {tree.get('error_message', 'unknown')}")
    if len(tree["statements"]) != 1:
        raise StageError("more than one statement")
    found: set[str] = set()
    bare: set[str] = set()
    named: set[str] = set()
    _walk(tree, found, bare, named)
    if bare - named:
        raise StageError(f"table without a schema: {', '.join(sorted(bare - named))}")
    return tuple(sorted(found))


def _walk(node: Any, found: set[str], bare: set[str], named: set[str]) -> None:
    """Collect tables with a schema, names without one, and names that a `with` gives."""
    if isinstance(node, dict):
        if node.get("type") == "BASE_TABLE":
            if node.get("schema_name"):
                found.add(f"{node['schema_name']}.{node['table_name']}")
            else:
                bare.add(node["table_name"].lower())
        if node.get("class") == "PARAMETER":
            raise StageError("a parameter has no value in a stage")
        if isinstance(node.get("cte_map"), dict):
            named.update(entry["key"].lower() for entry in node["cte_map"].get("map", []))
        if node.get("type") == "TABLE_FUNCTION":
            function = node.get("function", {}).get("function_name", "")
            if function not in ("unnest", "range", "generate_series"):
                raise StageError(f"table function {function} is not allowed in a stage")
        for value in node.values():
            _walk(value, found, bare, named)
    elif isinstance(node, list):
        for value in node:
            _walk(value, found, bare, named)


def _read_in_text(sql: str) -> tuple[str, ...]:
    return tuple(sorted({t.lower() for t in TABLE_READ.findall(COMMENT.sub("", sql))}))


def _sql_stages(con: duckdb.DuckDBPyConnection | None) -> list[Stage]:
    """con : where to have each file parsed; None: what it reads is looked for in its text"""
    found = []
    root = files("sql")
    for folder in sorted(root.iterdir(), key=lambda p: p.name):
        if not folder.is_dir() or not re.fullmatch(r"\d\d_[a-z_]+", folder.name):
            continue
        for file in sorted(folder.iterdir(), key=lambda p: p.name):
            match = re.fullmatch(r"\d\d_([a-z0-9_]+)\.sql", file.name)
            if match is None:
                raise StageError(f"sql/{folder.name}/{file.name}: name is not NN_table.sql")
            text = file.read_text(encoding="utf-8")
            key = f"{folder.name}/{file.name.removesuffix('.sql')}"
            try:
                reads = _read_in_text(text) if con is None else reads_of(con, text)
            except StageError as problem:
                raise StageError(f"sql/{key}.sql: {problem}") from problem
            first = text.splitlines()[0]
            if not first.startswith("-- "):
                raise StageError(f"sql/{key}.sql: the first line says what one row is")
            table = f"{folder.name[3:]}.{match.group(1)}"
            found.append(Stage(key, table, reads, first[3:].strip(), sql=text))
    return found


def _python_stages() -> list[Stage]:
    found = []
    for module_info in pkgutil.iter_modules(pipeline.measures.__path__):
        module = importlib.import_module(f"pipeline.measures.{module_info.name}")
        if not hasattr(module, "TABLE"):
            continue
        means = (module.__doc__ or "").strip().splitlines()[0]
        key = f"{module.STAGE}_{module.TABLE.split('.')[1]}"
        found.append(Stage(key, module.TABLE, tuple(module.READS), means, build=module.build))
    return found


def _check_columns(con: duckdb.DuckDBPyConnection, table: str) -> None:
    declared = [(c.name, c.type) for c in tables()[table].with_site]
    actual = [
        (name, "VARCHAR" if name == "site_id" and kind.startswith("ENUM(") else kind)
        for name, kind, *_ in con.execute(f"describe {table}").fetchall()
    ]
    if declared != actual:
        wrong = [f"{a} (declared {d})" for a, d in zip(actual, declared, strict=False) if a != d]
        raise StageError(
            f"{table} differs from its declaration: {len(actual)} columns for {len(declared)};"
            f" {wrong}"
        )


def _check_order(con: duckdb.DuckDBPyConnection, stage: Stage) -> None:
    """A streaming window (`over ()`) is right only on rows stored in (site, channel, ts) order."""
    for table in stage.reads:
        names = [c.name for c in tables()[table].columns]
        if "channel_id" not in names or "ts" not in names:
            continue
        # a row compared with nulls is not null in DuckDB, so the first row is left out by hand
        row = con.execute(
            "select count(*) from (select lag(ts) over () is not null and (site_id, channel_id, ts)"
            " <= (lag(site_id) over (), lag(channel_id) over (), lag(ts) over ()) as is_back"
            f" from {table}) where is_back"
        ).fetchone()
        if row and row[0]:
            raise StageError(f"{stage.key}: {table} is not stored in (site, channel, ts) order")
