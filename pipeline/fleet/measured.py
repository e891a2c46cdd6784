"""A batch of units, each of another site, measured by the stages and judged by the rules.

This is what a worker does: it is given site folders and units, and returns rows of fleet.duckdb;
never readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.findings import Rule, judge_rules, rules, tables_needed
from pipeline.fleet.known import CANNOT_WAIT
from pipeline.fleet.units import DAY, Unit, stretch
from pipeline.guard import run_site
from pipeline.result import Finding, Judged, Span
from pipeline.review import frames_of, measure_sites
from pipeline.run_tables import Ask
from pipeline.site import Site
from pipeline.site_reader import read_site
from pipeline.stages import frame
from pipeline.store import attach_sites, connect_working

DAY_TABLE = "unusual.site_day"
WHOLE_LOG = frozenset({"store.reject", "store.repeat", "store.conflict"})
"""Tables that are not cut to a unit."""

MAX_EVENTS = 500
"""Events of one finding that a unit keeps; their number is kept whole."""


@dataclass(frozen=True)
class Task:
    """One unit to do: its site's folder, and whether its loggers are still in place."""

    folder: Path
    unit: Unit
    is_still_logging: bool


@dataclass(frozen=True)
class UnitResult:
    """What one unit gave: rows of fleet.duckdb without their keys.

    window : of the unit, what was logged
    days : rows of unusual.site_day
    broken : why there is no result; '' if there is one
    """

    unit: Unit
    window: Span | None = None
    findings: tuple[Finding, ...] = ()
    judged: tuple[Judged, ...] = ()
    days: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)
    broken: str = ""


def measure_batch(tasks: Sequence[Task]) -> list[UnitResult]:
    """The results of all tasks, in their order; each of another site, all of one kind.

    A batch that fails is done again site by site, so that only what is broken is left out.
    """
    whole = run_site(lambda: _measured(tasks))
    if whole.result is not None:
        return whole.result
    if len(tasks) == 1:
        return [UnitResult(tasks[0].unit, broken=whole.message or "")]
    return [result for task in tasks for result in measure_batch([task])]


def _measured(tasks: Sequence[Task]) -> list[UnitResult]:
    sites = [read_site(task.folder) for task in tasks]
    units = {site.id: task.unit for site, task in zip(sites, tasks, strict=True)}
    chosen = _rules_of(tasks[0].unit.kind)
    wanted = tables_needed(chosen)
    with connect_working() as con:
        attach_sites(
            con,
            {s.id: s.store_path for s in sites},
            {s.id: stretch(s, units[s.id]) for s in sites},
        )
        measure_sites(
            con,
            sites,
            ask={key: Ask(u.start_ts, u.end_ts) for key, u in units.items()},
            still_logging={
                s.id for s, task in zip(sites, tasks, strict=True) if task.is_still_logging
            },
            wanted={*wanted, DAY_TABLE},
        )
        return [_judged(con, site, units[site.id], chosen, wanted) for site in sites]


def _judged(
    con: duckdb.DuckDBPyConnection,
    site: Site,
    unit: Unit,
    chosen: Sequence[Rule],
    wanted: frozenset[str],
) -> UnitResult:
    said = frames_of(con, site, wanted)
    findings, judged = judge_rules(said, chosen)
    days = frame(con, DAY_TABLE, site.id).drop(columns="site_id")
    return UnitResult(unit, said.window, tuple(findings), tuple(judged), days)


def _rules_of(kind: str) -> list[Rule]:
    """The rules that a unit is judged by: what its own readings can answer.

    A rule that reads what was rejected speaks of the whole log: in a unit it would say something
    else after every export. The fleet's own table of sites has those counts.
    """
    chosen = [r for r in rules() if WHOLE_LOG.isdisjoint(r.declaration.needs_tables)]
    return [r for r in chosen if kind != DAY or r.code in CANNOT_WAIT]
