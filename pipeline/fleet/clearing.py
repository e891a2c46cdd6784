"""Whether a site with nothing found is cleared, and why not: what its log could not have shown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import cache

from pipeline import words
from pipeline.fleet.exposure import hours
from pipeline.fleet.rows import SiteRows
from pipeline.fleet.season import Season
from pipeline.result import Span
from pipeline.site import Site
from pipeline.units import MICROSECONDS

MODES = {
    "heating": (frozenset({"furnace_ac", "heat_pump", "dual_fuel", "furnace"}), "heat_s"),
    "cooling": (frozenset({"furnace_ac", "heat_pump", "dual_fuel", "ac"}), "cool_s"),
}
"""The kinds of equipment that have a mode, and the column of unusual.site_day that adds it up."""


def not_cleared(
    site: Site, rows: SiteRows, coverage: float | None, season: Season, numbers: Mapping[str, float]
) -> tuple[str, ...]:
    """Why nothing can be said of the site for the season to come; empty: it can.

    coverage : of the days from the first to the last reading
    """
    why = []
    if coverage is not None and coverage < numbers["coverage_min_frac"]:
        why.append(f"half covered: {words.share(coverage)} of the log's days was logged")
    why += _silent(rows, numbers)
    grave = {
        f.title
        for by in rows.findings.values()
        for f in by.values()
        if f.about == "log" and f.severity in ("act", "plan")
    }
    if grave:
        why.append(f"its log is in doubt: {words.joined(t.lower() for t in sorted(grave))}")
    for mode, (kinds, column) in MODES.items():
        if site.equipment.kind not in kinds:
            continue
        if season.share(mode) < numbers["fleet_clear_season_share"]:
            continue
        ran_h = hours(rows.days, column) or 0.0
        if ran_h < numbers["fleet_clear_run_h"]:
            seen = words.hours(ran_h * 3_600) if ran_h else "none"
            why.append(f"too little {mode} seen: {seen}")
            continue
        unseen = [code for code in _clearing_rules(mode) if not _was_looked(rows, code)]
        why += [f"{mode}: {words.stopped(rows.why_not(code))}" for code in unseen]
        if _stages(site, mode) > 1 and not hours(rows.days, column.replace("_s", "_second_s")):
            why.append(f"no second-stage {mode} seen yet")
    if len(site.zones) > 1 and hours(rows.days, "heat_one_zone_s", "cool_one_zone_s") == 0.0:
        why.append("no hours with one zone calling yet")
    return tuple(words.sentence(w) for w in why)


CHANNELS = {
    "outputs_known_s": "outputs",
    "calls_known_s": "calls",
    "supply_known_s": "supply air",
    "return_known_s": "return air",
    "static_known_s": "static",
    "rooms_known_s": "rooms",
}
"""Columns of unusual.site_day that say how long a kind of channel was known, and its name."""


def _silent(rows: SiteRows, numbers: Mapping[str, float]) -> list[str]:
    """Channels that fell silent well before the others did: a logger that died."""
    if rows.days.empty:
        return []
    last_day = rows.days["day"].max()
    silent: dict[dt.date, list[str]] = {}
    for column, name in CHANNELS.items():
        known = rows.days.loc[rows.days[column] > 0, "day"]
        if len(known) and (last_day - known.max()).days >= numbers["fleet_still_logging_days"]:
            silent.setdefault(known.max().date(), []).append(name)
    return [
        f"{words.joined(names)} not logged since {words.day(day)}: a logger that died?"
        for day, names in sorted(silent.items())
    ]


def quiet(site: Site, last_ts: int, run_day: dt.date, numbers: Mapping[str, float]) -> str:
    """That nothing has been logged for long, if no visit took the loggers away; '' else."""
    last_day = dt.datetime.fromtimestamp(last_ts / MICROSECONDS, site.zone_info).date()
    days = (run_day - last_day).days
    taken = any(v.end_ts >= last_ts and "taken" in v.what.lower() for v in site.visits)
    if days < numbers["fleet_quiet_days"] or taken:
        return ""
    return f"Nothing logged since {words.day(last_day)} ({days} days): loggers dead or taken?"


@cache
def _clearing_rules(mode: str) -> tuple[str, ...]:
    from pipeline.findings import rules

    return tuple(r.code for r in rules() if r.declaration.clears == mode)


def _was_looked(rows: SiteRows, code: str) -> bool:
    return any(by.get(code) in ("found", "not found") for by in rows.results.values())


def _stages(site: Site, mode: str) -> int:
    equipment = site.equipment
    return (equipment.heating_stages if mode == "heating" else equipment.cooling_stages) or 1


def coverage_of(rows: SiteRows, logged: Span) -> float | None:
    """The share of the time from first to last reading in which any channel was logged."""
    if rows.days.empty:
        return None
    known = [c for c in rows.days.columns if c.endswith("_known_s")]
    best = rows.days[known].max(axis=1).sum()
    span_s = (logged.end_ts - logged.start_ts) / MICROSECONDS
    return min(float(best) / span_s, 1.0) if span_s > 0 else None
