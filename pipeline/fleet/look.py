"""One site brought up to date: its exports loaded, its units cut. What a worker does first."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline import __version__
from pipeline.fleet.units import (
    RULES_VERSION,
    Unit,
    fingerprinted,
    planned,
    site_says,
)
from pipeline.guard import run_site
from pipeline.ingest.load import LoadReport, load_site
from pipeline.run_tables import ALWAYS_END_TS, ALWAYS_START_TS, prepare
from pipeline.site import Site
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working, mounted
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class LookTask:
    """A site to look at; `loaded` : the hash it had when its units were last cut, '' if never."""

    key: str
    folder: Path
    run_day: dt.date
    loaded: str = ""


@dataclass(frozen=True)
class Look:
    """How far one site's log reaches, and its units.

    units : None where nothing has changed since `loaded`
    broken : why it cannot be used, with file and line; '' if it can
    """

    key: str
    broken: str = ""
    loaded: str = ""
    first_ts: int | None = None
    last_ts: int | None = None
    is_still_logging: bool = False
    n_reading: int = 0
    n_rejected: int = 0
    units: tuple[Unit, ...] | None = None


def look_at(task: LookTask) -> Look:
    """The site loaded and its units cut; what its owner or we did wrong stands in `broken`."""
    outcome = run_site(lambda: _looked(task))
    if outcome.result is None:
        return Look(task.key, broken=outcome.message or "")
    return outcome.result


def _looked(task: LookTask) -> Look:
    with connect_working() as con:
        return _looked_through(con, task)


def _looked_through(con: duckdb.DuckDBPyConnection, task: LookTask) -> Look:
    report = load_site(task.folder, connection=con)
    site = read_site(task.folder)
    with mounted(con, site.store_path):
        first_ts, last_ts, n_reading = _span(con)
        if first_ts is None or last_ts is None:
            _refuse(site)
            raise AssertionError("a site without a reading was not refused")
        last_day = dt.datetime.fromtimestamp(last_ts / MICROSECONDS, site.zone_info).date()
        quiet = (task.run_day - last_day).days
        is_open = quiet <= THRESHOLDS["fleet_still_logging_days"].value
        loaded = _hash_of(site, report, is_open)
        units = None
        if loaded != task.loaded:
            cut = planned(site.id, site.timezone, first_ts, last_ts, is_still_logging=is_open)
            units = tuple(fingerprinted(con, site, cut, is_still_logging=is_open))
    return Look(
        key=task.key,
        loaded=loaded,
        first_ts=first_ts,
        last_ts=last_ts,
        is_still_logging=is_open,
        n_reading=n_reading,
        n_rejected=report.total("n_rejected"),
        units=units,
    )


def _span(con: duckdb.DuckDBPyConnection) -> tuple[int | None, int | None, int]:
    """First and last instant of the channels in use, and how many readings they have."""
    row = con.execute(
        "select min(first_ts), max(last_ts), coalesce(sum(n_reading), 0)::bigint"
        " from channel where role <> 'ignore'"
    ).fetchone()
    assert row is not None
    return row[0], row[1], row[2]


def _refuse(site: Site) -> None:
    """Raise what a review of the site would raise: no reading, and why."""
    with connect_working() as con:
        attach_sites(con, {site.id: site.store_path})
        prepare(con, [site])


def _hash_of(site: Site, report: LoadReport, is_open: bool) -> str:
    """Of all that the units are cut from; the same hash, the same units."""
    whole = Unit(site.id, "", dt.date.min, ALWAYS_START_TS, ALWAYS_END_TS)
    said: Mapping[str, object] = site_says(site, whole)
    files = sorted((f.sha256, f.is_present) for f in report.files)
    parts = (__version__, RULES_VERSION, duckdb.__version__, is_open, said, files)
    text = json.dumps(parts, default=str, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]
