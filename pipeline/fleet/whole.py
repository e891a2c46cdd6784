"""The whole job on a fleet's folder: brought up to date, assembled, its history kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from pipeline.fleet.assemble import assemble
from pipeline.fleet.rows import read_rows
from pipeline.fleet.run import bring_up_to_date, open_fleet
from pipeline.fleet.store import FleetStore
from pipeline.fleet_result import FleetResult
from pipeline.thresholds import THRESHOLDS


def run_fleet(
    folder: Path,
    *,
    run_day: dt.date,
    since: dt.date | None = None,
    jobs: int = 1,
    scheduler: str = "",
    units: str = "us",
    redact: bool = False,
    tell: Callable[[str], None] | None = None,
) -> FleetResult:
    """The record of the fleet in `folder`, its fleet.duckdb brought up to date.

    run_day : the date that ages and the season to come are counted from
    since : what 'new' and 'gone' mean; a month before run_day if None
    jobs : processes of this machine; scheduler : address of a Dask cluster to do it instead, whose
        workers see the folder under the same path
    tell : told how far the run is

    Raises InputError for a folder that is no fleet; a site that cannot be used is named in the
    record instead.
    """
    month = dt.timedelta(days=round(THRESHOLDS["fleet_since_days"].value))
    with open_fleet(folder) as store:
        fleet = bring_up_to_date(folder, store, run_day, jobs=jobs, scheduler=scheduler, tell=tell)
        if tell:
            tell("ranking")
        rows = read_rows(store)
        result = assemble(fleet, rows, since=since or run_day - month, units=units, redact=redact)
        _keep(store, result)
        run = replace(result.run, was_of_another_version=store.is_of_another_layout)
    return replace(result, run=run)


def _keep(store: FleetStore, result: FleetResult) -> None:
    """History and ranking, for whoever reads fleet.duckdb."""
    store.write_whole(
        "finding",
        [
            {
                "site_id": s.site_id,
                "came_back_after": f.came_back_after or None,
                "n_found": f.n_weeks_found,
                "n_looked": f.n_weeks_looked,
            }
            | {
                name: getattr(f, name)
                for name in (
                    *("code", "severity", "status", "first_seen", "last_seen"),
                    *("last_looked", "gone_since"),
                )
            }
            for s in result.sites
            for f in s.findings
        ],
    )
    store.write_ranking(
        result.run.run_day,
        [
            {
                "site_id": s.site_id,
                "run_day": result.run.run_day,
                "standing": s.group,
                "place": s.rank,
                "points": s.harm.points.expected if s.harm else None,
                "points_low": s.harm.points.low if s.harm else None,
                "points_high": s.harm.points.high if s.harm else None,
            }
            for s in result.sites
        ],
    )
