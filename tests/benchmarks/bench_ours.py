"""The benchmark's figures as the project gives them: its own stages, only those they need."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.review import cores, measure_sites, read_later
from pipeline.site_reader import read_site
from pipeline.stages import Stage
from pipeline.store import attach_sites, connect_working

WANTED = frozenset(
    {
        *("interval.output_run", "interval.static_piece", "measure.runtime", "measure.zone_call"),
        *(
            "measure.runtime_day",
            "measure.cycle_hour",
            "measure.cycle_fit",
            "measure.zones_calling",
        ),
        *("measure.runtime_split", "measure.trip_context"),
    }
)
"""The tables in which the compared figures stand."""

FIGURES = {
    "run": "select site_id as site, output, start_ts, end_ts, on_s, has_start, has_end, n_chatter"
    " from interval.output_run",
    "runtime": "select site_id as site, output, on_s, n_start, n_run, n_open_run"
    " from measure.runtime",
    "call": "select site_id as site, zone, mode, calling_s, n_call, median_call_s, longest_call_s"
    " from measure.zone_call",
    "day": "select site_id as site, day, output, on_s, n_start, valid_s, day_s"
    " from measure.runtime_day",
    "cycle_hour": "select site_id as site, what, mode, hour_ts, runtime_frac, n_start"
    " from measure.cycle_hour",
    "cycle_fit": "select site_id as site, what, mode, nmax_per_h, n_hour from measure.cycle_fit",
    "zones_calling": "select site_id as site, mode, n_zones, zones, s from measure.zones_calling",
    "outdoor_bin": "select site_id as site, low_f, what, on_s, known_s from measure.runtime_split"
    " where split = 'outdoor'",
    # time above the target as measured: the steadied one beside it is the project's own refinement
    "static_day": "select p.site_id as site, d.day, sum((p.end_ts - p.start_ts) / 1e6) as fan_s,"
    " sum(p.measured_above_s) as measured_above_s,"
    " max(greatest(p.start_inwc, p.end_inwc)) as max_inwc"
    " from interval.static_piece p asof join run.day d"
    " on d.site_id = p.site_id and p.start_ts >= d.start_ts"
    " where p.fan_on and not p.in_visit group by p.site_id, d.day",
    "trip": "select site_id as site, start_ts, drop_ts, end_ts, peak_f, peak_ts, is_certain,"
    " recovery_s, day, in_visit, stage, n_zones, zones, run_before_s, stage2_before_s,"
    " static_max_inwc, return_f, outdoor_f from measure.trip_context",
}


def figures(
    folders: list[Path],
    on_stage: Callable[[Stage, float], None] | None = None,
    every_stage: bool = False,
    at_once: int = 0,
    memory: str | None = None,
) -> dict[str, pd.DataFrame]:
    """The compared tables of a batch of sites whose stores stand.

    every_stage : run all stages up to the measures, as a review does
    at_once : how many stages side by side; 0: as many as a review of one site runs
    memory : how much the tables may hold at once; what is beyond it lies on disk
    """
    sites = [read_site(folder) for folder in folders]
    con = connect_working(memory)
    try:
        attach_sites(con, {s.id: s.store_path for s in sites})
        wanted = None if every_stage else WANTED
        keep = {*read_later(), *WANTED} if every_stage else None
        at_once = at_once or (cores() if len(sites) == 1 else 1)
        measure_sites(con, sites, wanted=wanted, keep=keep, on_stage=on_stage, at_once=at_once)
        return {name: con.execute(query).df() for name, query in FIGURES.items()}
    finally:
        con.close()


def distrusted(folders: list[Path]) -> int:
    """How many stretches the checks of channels cut out: the other scripts know of none."""
    sites = [read_site(folder) for folder in folders]
    con: duckdb.DuckDBPyConnection = connect_working()
    try:
        attach_sites(con, {s.id: s.store_path for s in sites})
        measure_sites(con, sites, wanted={"trust.gap"})
        rows = con.execute("select count(*) from trust.gap where is_cut").fetchall()
        return int(rows[0][0])
    finally:
        con.close()
