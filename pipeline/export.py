"""What `zonetrail export` hands on: which tables, one site at a time, and the dictionary of them.

A table goes out as its stage declares it; here stands only which ones, and which measure says how
fine its rows are. Instants leave as times in UTC. A site is loaded, measured and judged before its
first row is handed on, so that one that cannot be leaves nothing half written.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pipeline.errors import InputError
from pipeline.ingest.load import load_site
from pipeline.review import Judgement, judge, measure_sites
from pipeline.run_channels import ALWAYS_END_TS, ALWAYS_START_TS
from pipeline.site_reader import read_site
from pipeline.stages import listed, put, run
from pipeline.store import attach_sites, connect_working
from pipeline.tables import Column, Measure, Table, tables

if TYPE_CHECKING:
    import duckdb
    import pyarrow as pa

FOLDER = "95_export"
ROWS_AT_ONCE = 250_000
"""Rows that are handed on together: what a site needs of memory does not grow with its log."""
UTC_TYPE = "TIMESTAMP WITH TIME ZONE"
TABLE = re.compile(r"\b([a-z_]+\.[a-z_]+)\b(?:\.([a-z_]+))?")
AS_MEASURE = re.compile(r"as (measure\.[a-z_]+)")
CUT_AT_EDGES = "one interval of the channels it rests on, at each end"


@dataclass(frozen=True)
class Exported:
    """One table that is handed on.

    table : its full name; the file's name is what stands after the dot
    topic : site, readings, runs, daily figures or findings; the store of a canonical export
    measured_by : the measure whose definition, resolution and source hold for its rows
    resolution : where no measure says it
    """

    table: str
    topic: str
    measured_by: str = ""
    resolution: str = ""

    @property
    def name(self) -> str:
        """The file's name without its ending."""
        return self.table.split(".")[1]

    @property
    def declared(self) -> Table:
        """The table as it is declared."""
        return tables()[self.table]


EXPORTED = (
    Exported("run.site", "site"),
    Exported("run.window", "site"),
    Exported("run.zone", "site"),
    Exported("run.setting", "site"),
    Exported("run.visit", "site"),
    Exported("channel.channel", "readings", resolution="interval_s"),
    Exported("signal.coverage", "readings", resolution="interval_s"),
    Exported("export.reading", "readings", resolution="interval_s of its channel in channel"),
    Exported("channel.state", "readings", resolution="interval_s of its channel in channel"),
    Exported("trust.problem", "readings", resolution="one interval of its channel at each end"),
    Exported("trust.gap", "readings", resolution="one interval of its channel at each end"),
    Exported("interval.output_run", "runs", "measure.runtime"),
    Exported("interval.source_run", "runs", "measure.cycle"),
    Exported("interval.call", "runs", "measure.zone_call"),
    Exported("interval.condition", "runs", "measure.condition_time"),
    Exported("interval.static_above_target", "runs", "measure.static_total"),
    Exported("interval.relief", "runs", "measure.relief"),
    Exported("interval.cut_out", "runs", resolution=CUT_AT_EDGES),
    Exported("interval.defrost", "runs", "measure.defrost_total"),
    Exported("interval.not_keeping_up", "runs", "measure.zone_comfort"),
    Exported("measure.trip_context", "runs"),
    Exported("measure.stage_up", "runs"),
    Exported("measure.recovery", "runs"),
    Exported("measure.contact", "runs"),
    Exported("run.day", "daily figures", resolution="exact"),
    Exported("measure.runtime_day", "daily figures"),
    Exported("measure.runtime_total", "daily figures"),
    Exported("measure.source_day", "daily figures"),
    Exported("measure.static_day", "daily figures"),
    Exported("measure.heat_day", "daily figures"),
    Exported("measure.airflow_index", "daily figures"),
    Exported("run.finding", "findings", resolution="resolution_s"),
    Exported("run.evidence", "findings", resolution="resolution_s in finding"),
    Exported("run.judged", "findings"),
)
REDACTED = {
    "run.site": {"name": "site_id"},
    "run.zone": {"name": "'Zone ' || zone"},
    "run.visit": {"what": "'visit'"},
    "channel.channel": {"column_name": "role", "logger": "'logger'"},
}
"""What stands in place of a column that may name the site or the people in it."""

Rows = Iterator["pa.RecordBatch"]
Take = Callable[[Exported, Rows], None]


def canonical() -> tuple[Exported, ...]:
    """The store's own tables: what a canonical export holds, in the order of their declaration."""
    return tuple(Exported(name, "store") for name in tables() if name.startswith("store."))


def export_site(
    folder: Path,
    take: Take,
    *,
    align: bool = False,
    redact: bool = False,
    tell: Callable[[str], None] | None = None,
) -> None:
    """Hand on every table of EXPORTED of one site folder; brings its store up to date first.

    take : given each table with its rows; align : take out clock offsets that the data show
    redact : leave out what may name the site or the people in it
    Raises the errors of pipeline.errors for whatever a user can mend, before `take` is called.
    """
    told = tell or (lambda step: None)
    site = read_site(folder)
    told(f"{site.id}: reading exports")
    load_site(folder)
    with connect_working() as con:
        attach_sites(con, {site.id: site.store_path})
        told(f"{site.id}: measuring")
        measure_sites(con, [site], align=align)
        told(f"{site.id}: judging")
        said = judge(con, site, redact=redact)
        for table, frame in _said_frames(site.id, said).items():
            put(con, table, frame)
        run(con, [s for s in listed() if s.folder == FOLDER])
        told(f"{site.id}: writing")
        for exported in EXPORTED:
            instead = REDACTED.get(exported.table, {}) if redact else {}
            take(exported, _rows(con, exported, instead))


def export_store(folder: Path, take: Take, *, tell: Callable[[str], None] | None = None) -> None:
    """Hand on every table of one site's store, sorted by all its columns, its key first."""
    told = tell or (lambda step: None)
    site = read_site(folder)
    told(f"{site.id}: reading exports")
    load_site(folder)
    with connect_working() as con:
        attach_sites(con, {site.id: site.store_path})
        told(f"{site.id}: writing")
        for exported in canonical():
            take(exported, _rows(con, exported, {}, is_sorted=True))


def refuse_inside(target: Path, folders: Sequence[Path]) -> None:
    """InputError where an export would be written among a site's own exports, or over the site."""
    to = target.resolve()
    for folder in folders:
        site = folder.resolve()
        exports = site / "exports"
        if to == site or to in site.parents or to == exports or exports in to.parents:
            raise InputError(
                "an export does not go where a site's own files lie",
                file=target,
                found=f"the site {folder}",
                expected="a folder of its own",
                hint=f"zonetrail export {folder} --to {folder / 'tables'}",
            )


def schema(exported: Exported) -> pa.Schema:
    """The Arrow schema of a table: types as declared, each column with its unit and meaning."""
    import pyarrow as pa

    types = {
        "INTEGER": pa.int32(),
        "BIGINT": pa.int64(),
        "DOUBLE": pa.float64(),
        "BOOLEAN": pa.bool_(),
        "VARCHAR": pa.string(),
        "DATE": pa.date32(),
        UTC_TYPE: pa.timestamp("us", tz="UTC"),
    }
    fields = [
        pa.field(
            c.name,
            types[type_of(c)],
            metadata={"unit": _unit(c), "meaning": _meaning(c.name, c.meaning)},
        )
        for c in exported.declared.with_site
    ]
    return pa.schema(fields, metadata={"one_row_is": exported.declared.grain})


def type_of(column: Column) -> str:
    """The SQL type a column leaves with: an instant is a time in UTC."""
    return UTC_TYPE if _is_instant(column) else column.type


def dictionary(exported: Sequence[Exported], ending: str) -> list[dict[str, str]]:
    """One row per column of every table that is handed on: what the export's dictionary says.

    ending : of the files, such as '.parquet'
    """
    rows = []
    for e in exported:
        measure = tables()[e.measured_by or e.table].measure
        for c in e.declared.with_site:
            rows.append(
                {
                    "file": e.name + ending,
                    "topic": e.topic,
                    "one_row_is": e.declared.grain.removeprefix("one row per "),
                    "column": c.name,
                    "type": type_of(c).lower(),
                    "unit": _unit(c),
                    "meaning": _meaning(c.name, c.meaning),
                    "defined_as": measure.definition if measure else "",
                    "resolution": _resolution(measure) if measure else e.resolution,
                    "source": measure.source if measure else "",
                    "made_by": e.declared.file,
                }
            )
    return rows


def _resolution(measure: Measure) -> str:
    """What a measure says of its resolution; where it says 'as' another one, what that says."""
    other = AS_MEASURE.fullmatch(measure.resolution)
    like = tables()[other.group(1)].measure if other else None
    return _resolution(like) if like else measure.resolution


def _meaning(name: str, meaning: str) -> str:
    """A column's meaning in words: where it names a table or its column, what that one says.

    Other tables that it mentions are named as their files are.
    """
    followed: set[str] = set()
    while (other := TABLE.fullmatch(meaning)) and meaning not in followed:
        followed.add(meaning)
        table = tables().get(other.group(1))
        name = other.group(2) or name
        said = [c.meaning for c in table.columns if c.name == name] if table else []
        meaning = said[0] if said else meaning
    files = {e.table: e.name for e in (*EXPORTED, *canonical())}
    return TABLE.sub(lambda m: files.get(m.group(1), m.group(1)) + (m.group(2) or ""), meaning)


def _unit(column: Column) -> str:
    if _is_instant(column):
        return "UTC"
    return "none" if column.unit == "-" else column.unit


def _is_instant(column: Column) -> bool:
    return column.unit == "us" and column.type == "BIGINT"


def _rows(
    con: duckdb.DuckDBPyConnection,
    exported: Exported,
    instead: dict[str, str],
    is_sorted: bool = False,
) -> Rows:
    """The rows of a table in batches of the schema; 'always' has no instant at its end."""
    picked = []
    for c in exported.declared.with_site:
        told = instead.get(c.name, f'"{c.name}"')
        if c.name == "site_id":  # a key in a run, a text only where it leaves
            told = f"cast({told} as varchar)"
        if _is_instant(c):
            told = f"nullif(nullif({told}, {ALWAYS_START_TS}), {ALWAYS_END_TS})"
        picked.append(f'{told} as "{c.name}"')
    order = " order by all" if is_sorted else ""
    query = f"select {', '.join(picked)} from {exported.table}{order}"
    layout = schema(exported)
    for batch in con.sql(query).to_arrow_reader(ROWS_AT_ONCE):
        yield batch.cast(layout)


def _said_frames(site_id: str, said: Judgement) -> dict[str, pd.DataFrame]:
    """What the rules said, as the tables run.finding, run.evidence and run.judged."""
    rows: dict[str, list[dict[str, object]]] = {
        "run.finding": [
            {
                "code": f.code,
                "title": f.title,
                "severity": f.severity,
                "about": f.about,
                "certainty": f.certainty,
                "summary": f.summary,
                "n_evidence": len(f.evidence),
                "coverage": f.coverage,
                "resolution_s": f.resolution_s,
                "causes": "\n".join(f"{c.cause} {c.because}" for c in f.causes),
                "checks": "\n".join(f.checks),
                "cautions": "\n".join(f.cautions),
            }
            for f in said.findings
        ],
        "run.evidence": [
            {"code": f.code, "start_ts": e.start_ts, "end_ts": e.end_ts, "label": e.label}
            for f in said.findings
            for e in f.evidence
        ],
        "run.judged": [
            {name: getattr(j, name) for name in ("code", "title", "question", "result", "why")}
            for j in said.judged
        ],
    }
    made = {}
    for table, records in rows.items():
        names = [c.name for c in tables()[table].columns]
        frame = pd.DataFrame(records, columns=names)
        frame.insert(0, "site_id", site_id)
        made[table] = frame
    return made
