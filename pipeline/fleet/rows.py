"""What fleet.duckdb holds of each site, as plain records: units, answers, findings, days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline.fleet.history import Looked, by_code
from pipeline.fleet.store import FleetStore
from pipeline.units import MICROSECONDS

Key = tuple[str, int]
"""A unit of a site: kind and start."""


@dataclass(frozen=True)
class UnitFinding:
    """What one unit says of one finding, as fleet.unit_finding keeps it; lists one a line."""

    code: str
    severity: str
    about: str
    certainty: str
    title: str
    headline: str
    summary: str
    goes_with: tuple[str, ...]
    causes: tuple[str, ...]
    checks: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass
class SiteRows:
    """One site's rows.

    units : (kind, start_ts, first local day, last local day), in order of time
    results, whys : unit -> rule -> its answer; why, where nothing was found
    findings : unit -> finding
    event_days : (unit's kind, start, finding) -> local days of its events
    days : rows of unusual.site_day, in order of days
    row : of fleet.site
    """

    site_id: str
    row: dict[str, Any]
    units: list[tuple[str, int, dt.date, dt.date]] = field(default_factory=list)
    results: dict[Key, dict[str, str]] = field(default_factory=dict)
    whys: dict[Key, dict[str, str]] = field(default_factory=dict)
    findings: dict[Key, dict[str, UnitFinding]] = field(default_factory=dict)
    event_days: dict[tuple[str, int, str], set[dt.date]] = field(default_factory=dict)
    days: pd.DataFrame = field(default_factory=pd.DataFrame)

    def looked(self) -> dict[str, list[Looked]]:
        """Every rule's answers, in order of time."""
        found = {
            (*key, code): (f.severity, tuple(sorted(self.event_days.get((*key, code), ()))))
            for key, by in self.findings.items()
            for code, f in by.items()
        }
        return by_code(self.units, self.results, found)

    def newest(self, code: str) -> tuple[Key, UnitFinding] | None:
        """The newest unit that found it, and what it says."""
        for kind, start_ts, _, _ in reversed(self.units):
            found = self.findings.get((kind, start_ts), {}).get(code)
            if found is not None:
                return (kind, start_ts), found
        return None

    def why_not(self, code: str) -> str:
        """Why the newest unit that could not tell could not; '' if every one could."""
        for kind, start_ts, _, _ in reversed(self.units):
            if self.results.get((kind, start_ts), {}).get(code) == "cannot tell":
                return self.whys[(kind, start_ts)].get(code, "")
        return ""


def read_rows(store: FleetStore) -> dict[str, SiteRows]:
    """Every site's rows, by site id."""
    sites = {
        str(r["site_id"]): SiteRows(str(r["site_id"]), r) for r in _records(store.frame("site"))
    }
    place = {s.site_id: _local_day(s.row["timezone"]) for s in sites.values() if s.row["timezone"]}
    for r in _records(store.frame("unit")):
        day = place[r["site_id"]]
        first, last = day(r["window_start_ts"]), day(r["window_end_ts"] - 1)
        sites[r["site_id"]].units.append((r["kind"], r["start_ts"], first, last))
    for r in _records(store.frame("unit_judged")):
        key = (r["kind"], r["start_ts"])
        sites[r["site_id"]].results.setdefault(key, {})[r["code"]] = r["result"]
        sites[r["site_id"]].whys.setdefault(key, {})[r["code"]] = r["why"] or ""
    for r in _records(store.frame("unit_finding")):
        key = (r["kind"], r["start_ts"])
        sites[r["site_id"]].findings.setdefault(key, {})[r["code"]] = _finding(r)
    for r in _records(store.frame("event")):
        day = place[r["site_id"]]
        of = (r["kind"], r["unit_start_ts"], r["code"])
        touched = _days_between(day(r["start_ts"]), day(max(r["end_ts"] - 1, r["start_ts"])))
        sites[r["site_id"]].event_days.setdefault(of, set()).update(touched)
    frame = store.frame("day")
    for site_id, days in frame.groupby("site_id", sort=False):
        sites[str(site_id)].days = (
            days.drop(columns=["kind", "unit_start_ts"]).sort_values("day").reset_index(drop=True)
        )
    for site in sites.values():
        site.units.sort(key=lambda u: (u[1], u[0]))
    return sites


def _finding(row: dict[str, Any]) -> UnitFinding:
    listed: dict[str, Any] = {
        name: tuple(line for line in (row[name] or "").split("\n") if line)
        for name in ("goes_with", "causes", "checks", "cautions")
    }
    said: dict[str, Any] = {
        name: row[name] or ""
        for name in ("code", "severity", "about", "certainty", "title", "headline", "summary")
    }
    return UnitFinding(**said, **listed)


def _local_day(timezone: str) -> Callable[[int], dt.date]:
    zone = ZoneInfo(timezone)
    return lambda ts: dt.datetime.fromtimestamp(ts / MICROSECONDS, zone).date()


def _days_between(first: dt.date, last: dt.date) -> list[dt.date]:
    return [first + dt.timedelta(days=n) for n in range((last - first).days + 1)]


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as records; nulls are None, whole numbers int."""
    made: list[dict[str, Any]] = []
    for row in frame.astype(object).where(frame.notna(), None).to_dict("records"):
        made.append(
            {
                str(k): int(v) if str(k).endswith("_ts") and v is not None else v
                for k, v in row.items()
            }
        )
    return made
