"""Every table and column of the tool: the one reader of what `sql/` and the Python stages declare.

The store's tables and `run.*` stand in sql/columns.toml. A stage declares its own table where it is
made: an SQL file in a comment below its first line, a module of pipeline/measures in DECLARED, both
as TOML with `[columns]`. A table of `measure` also says there what it measures, from which
channels, how fine they must be, and where the definition comes from.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any

from pipeline.channels import INFERRED_ROLES, ROLES

HEAD = re.compile(r"-- (?P<grain>[^\n]+)\n/\*\n(?P<toml>.*?)\n\*/\n", re.DOTALL)
STAGE_FOLDER = re.compile(r"\d\d_(?P<schema>[a-z_]+)")
STAGE_FILE = re.compile(r"\d\d_(?P<name>[a-z0-9_]+)\.sql")
MEASURE_KEYS = ("definition", "needs", "resolution", "source")


@dataclass(frozen=True)
class Column:
    """One column of one table: its name, SQL type, unit ('-' for none) and meaning."""

    name: str
    type: str
    unit: str
    meaning: str


@dataclass(frozen=True)
class Measure:
    """What a table of `measure` says about itself.

    definition : what is counted, with its strictness
    needs : the channels without which there is no figure, in words
    resolution : how the channels' interval bounds the figure
    interval_max_s : slowest interval [s] at which the figure is still given as certain; None: any
    counted_from : roles, or their beginnings, whose interval that is; those that were not logged do
        not count
    not_without : groups of roles, or their beginnings; with none of a group there is no figure, so
        nothing is said of how fine its log was
    source : where the definition comes from
    """

    definition: str
    needs: tuple[str, ...]
    resolution: str
    interval_max_s: float | None
    counted_from: tuple[str, ...]
    not_without: tuple[tuple[str, ...], ...]
    source: str


@dataclass(frozen=True)
class Table:
    """One table: its full name, what one row is, and its columns without `site_id`.

    file : where it is declared, below the project's folder
    holds : what else holds of all rows; '' if nothing
    is_open : it may have more columns than are declared
    """

    name: str
    grain: str
    columns: tuple[Column, ...]
    is_open: bool
    file: str
    holds: str = ""
    measure: Measure | None = None

    @property
    def with_site(self) -> tuple[Column, ...]:
        """The columns with `site_id` in front, as every table outside a site's own store has."""
        return (Column("site_id", "VARCHAR", "-", "site"), *self.columns)


@cache
def tables() -> dict[str, Table]:
    """Every declared table by its full name, such as 'measure.cycle': given ones, then stages'.

    Raises ValueError naming the file and what its declaration lacks.
    """
    found: dict[str, Table] = {}
    for table in (*_given(), *_sql_stages(), *_python_stages()):
        if table.name in found:
            raise ValueError(f"{table.file}: {table.name} is declared twice")
        found[table.name] = table
    return found


@cache
def fleet_tables() -> dict[str, Table]:
    """The tables of fleet.duckdb by full name, such as 'fleet.unit'.

    fleet.day has the columns of unusual.site_day behind its own.
    """
    found = {table.name: table for table in _given("fleet.toml")}
    day = found["fleet.day"]
    columns = (*day.columns, *tables()["unusual.site_day"].columns)
    return found | {day.name: replace(day, columns=columns, is_open=False)}


def _given(file: str = "columns.toml") -> Iterator[Table]:
    """The tables that a TOML file of sql/ describes."""
    declared = tomllib.loads((files("sql") / file).read_text(encoding="utf-8"))
    for schema, group in declared.items():
        for name, body in group.items():
            yield _table(f"{schema}.{name}", body["grain"], body, f"sql/{file}")


def _sql_stages() -> Iterator[Table]:
    """The tables of the SQL stages, in running order."""
    for folder in sorted(files("sql").iterdir(), key=lambda p: p.name):
        schema = STAGE_FOLDER.fullmatch(folder.name)
        if schema is None or not folder.is_dir():
            continue
        for path in sorted(folder.iterdir(), key=lambda p: p.name):
            name = STAGE_FILE.fullmatch(path.name)
            if name is None:
                continue  # the stages' reader refuses it
            file = f"sql/{folder.name}/{path.name}"
            head = HEAD.match(path.read_text(encoding="utf-8"))
            if head is None:
                raise ValueError(f"{file}: first line '-- one row per ...', then /* its columns */")
            body = tomllib.loads(head["toml"])
            yield _table(f"{schema['schema']}.{name['name']}", head["grain"], body, file)


def _python_stages() -> Iterator[Table]:
    """The tables of the Python stages, read from the source: importing them would be slow."""
    for path in sorted((files("pipeline") / "measures").iterdir(), key=lambda p: p.name):
        if not path.name.endswith(".py"):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        said = {
            target.id: str(node.value.value)
            for node in tree.body
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
            for target in node.targets
            if isinstance(target, ast.Name)
        }
        if "TABLE" not in said:
            continue
        file = f"pipeline/measures/{path.name}"
        if "DECLARED" not in said:
            raise ValueError(f"{file}: DECLARED, the columns of {said['TABLE']}, is missing")
        grain = (ast.get_docstring(tree) or "").splitlines()[0]
        yield _table(said["TABLE"], grain, tomllib.loads(said["DECLARED"]), file)


def _table(name: str, grain: str, body: dict[str, Any], file: str) -> Table:
    columns = []
    for column, text in body["columns"].items():
        parts = [p.strip() for p in text.split("|", 2)]
        if len(parts) != 3:
            raise ValueError(f"{file}: {name}.{column}: TYPE | unit | meaning")
        columns.append(Column(column, *parts))
    return Table(
        name=name,
        grain=grain,
        columns=tuple(columns),
        is_open=bool(body.get("open", False)),
        file=file,
        holds=body.get("holds", ""),
        measure=_measure(name, body, file) if name.startswith("measure.") else None,
    )


def _measure(name: str, body: dict[str, Any], file: str) -> Measure:
    missing = [key for key in MEASURE_KEYS if key not in body]
    if missing:
        raise ValueError(f"{file}: {name} does not say its {', '.join(missing)}")
    if ("interval_max_s" in body) is not ("counted_from" in body):
        raise ValueError(f"{file}: {name} says one of interval_max_s and counted_from, not both")
    counted_from = tuple(body.get("counted_from", ()))
    not_without = tuple(tuple(group) for group in body.get("not_without", ()))
    known = (*ROLES, *INFERRED_ROLES)
    told = (*counted_from, *(r for group in not_without for r in group))
    unknown = [r for r in told if not any(role.startswith(r) for role in known)]
    if unknown:
        names = ", ".join(unknown)
        raise ValueError(f"{file}: {name} is counted from {names}: no role begins so")
    return Measure(
        definition=body["definition"],
        needs=tuple(body["needs"]),
        resolution=body["resolution"],
        interval_max_s=body.get("interval_max_s"),
        counted_from=counted_from,
        not_without=not_without,
        source=body["source"],
    )
