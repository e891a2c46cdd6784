"""The fleet's record from its store: findings with their history, the ranking, what is shared."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from pipeline import __version__, words
from pipeline.fleet import trends, unusual
from pipeline.fleet.rank import order
from pipeline.fleet.rows import SiteRows
from pipeline.fleet.run import Fleet
from pipeline.fleet.shared import Shares, shared, year_of
from pipeline.fleet.standing import Known, all_rates, broken_site, known_of, standing
from pipeline.fleet_result import (
    GROUPS,
    STATUSES,
    TOPS,
    Change,
    FleetResult,
    FleetSite,
    Interval,
    RunFacts,
    Shared,
)
from pipeline.result import SEVERITIES
from pipeline.review import settings_told
from pipeline.thresholds import THRESHOLDS, values_for

NUMBERS = tuple(name for name in THRESHOLDS if name.startswith("fleet_"))


def assemble(
    fleet: Fleet,
    rows: Mapping[str, SiteRows],
    *,
    since: dt.date,
    units: str = "us",
    redact: bool = False,
) -> FleetResult:
    """The record of a fleet that has been brought up to date.

    rows : what its store holds, by site id
    since : what was first seen, or gone, from this day on is told as new, or gone
    """
    numbers = values_for({})
    known = {
        s.key: known_of(s.site, s.folder, rows[s.key], fleet, since, numbers)
        for s in fleet.sites
        if s.site is not None and s.key in rows and rows[s.key].units and s.key in fleet.looks
    }
    rate_of = all_rates(known, numbers)
    like = unusual.peers([k.site for k in known.values()], rows, numbers, units)
    why_not = ""
    sites = []
    for found in fleet.sites:
        k = known.get(found.key)
        if k is None or found.site is None:
            why = fleet.broken.get(found.key, "nothing of it could be judged")
            sites.append(broken_site(found.key, found.folder, found.site, why, redact))
            continue
        made = standing(k, fleet, rate_of, numbers, redact)
        days, changes, why = unusual.days_and_changes(k.site, k.rows, units)
        why_not = why_not or why
        glance = trends.days_at_a_glance(
            k.rows.days, [d.day for d in days], round(numbers["fleet_recent_days"])
        )
        sites.append(
            replace(
                made,
                unusual_days=days,
                step_changes=changes,
                peers=like.get(found.key),
                trends=trends.trends(k.rows.days, numbers),
                days=glance,
            )
        )
    placed = _placed(sites)
    everything = [k.rows.days for k in known.values() if not k.rows.days.empty]
    return FleetResult(
        name=fleet.folder.resolve().name,
        sites=placed,
        shared=_shared(known, numbers, units),
        changes=_changes(placed, since),
        parts=_parts(placed),
        trends=trends.trends(pd.concat(everything), numbers) if everything else (),
        run=_facts(fleet, since, placed),
        units=units,
        redacted=redact,
        unusual_why_not=why_not if not any(s.unusual_days for s in placed) else "",
    )


def _placed(sites: list[FleetSite]) -> tuple[FleetSite, ...]:
    """Sites in the order they are read, the ranked ones with their ranks."""
    points: dict[str, Interval] = {
        s.site_id: s.harm.points for s in sites if s.group == "ranked" and s.harm is not None
    }
    places = {
        p.site_id: p for p in order(points, frozenset(s.site_id for s in sites if s.call_first))
    }
    placed = [
        replace(s, rank=places[s.site_id].rank, tie=places[s.site_id].tie)
        if s.site_id in places
        else s
        for s in sites
    ]

    def key(s: FleetSite) -> tuple[Any, ...]:
        grave = TOPS.index(s.top) if s.top else 0
        harm_now = s.harm.points.expected if s.harm else 0.0
        return GROUPS.index(s.group), grave, s.rank or 0, not s.call_first, -harm_now, s.site_id

    return tuple(sorted(placed, key=key))


def _shared(
    known: Mapping[str, Known], numbers: Mapping[str, float], units: str
) -> tuple[Shared, ...]:
    listed = []
    titles: dict[str, str] = {}
    for k in known.values():
        site = k.site
        there = set()
        for code, told in k.history.items():
            newest = k.rows.newest(code)
            if newest and told.status != "gone" and newest[1].about == "installation":
                there.add(code)
                titles[code] = newest[1].title
        traits = [("setting", name, text) for name, text, _ in settings_told(site, units)]
        if site.installer:
            traits.append(("installer", "installer", site.installer))
        if year := year_of(site.installed):
            traits.append(("installed", "installed", year))
        listed.append(Shares(site.id, tuple(traits), frozenset(there), frozenset(k.seen) | there))
    return shared(listed, titles, numbers)


def _changes(sites: tuple[FleetSite, ...], since: dt.date) -> tuple[Change, ...]:
    """New, back and gone since the day, the gravest first."""
    made = []
    for s in sites:
        for f in s.findings:
            day = f.gone_since if f.status == "gone" else f.first_seen
            if f.status == "came back":
                day = f.last_seen
            if f.status not in ("new", "came back", "gone") or day is None or day < since:
                continue
            how = {
                "new": f"first seen {words.day(day)}",
                "came back": f"came back after {f.came_back_after}",
                "gone": f"gone since {words.day(day)}",
            }[f.status]
            sentence = words.sentence(f"{s.name}: {f.title.lower()}, {how}")
            made.append(Change(s.site_id, f.code, f.title, f.severity, f.status, day, sentence))
    return tuple(
        sorted(
            made,
            key=lambda c: (
                STATUSES.index(c.status),
                SEVERITIES.index(c.severity),
                c.day,
                c.site_id,
                c.code,
            ),
        )
    )


def _parts(sites: tuple[FleetSite, ...]) -> tuple[tuple[str, int], ...]:
    counts: dict[str, int] = {}
    for s in sites:
        for part in s.parts if s.group in ("on top", "ranked") else ():
            counts[part] = counts.get(part, 0) + 1
    return tuple(sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))


def _facts(fleet: Fleet, since: dt.date, sites: tuple[FleetSite, ...]) -> RunFacts:
    """What the run did, and its id: the same for the same sites, units and dates."""
    said = [__version__, str(fleet.run_day), str(since)]
    said += [f"{key} {look.loaded}" for key, look in sorted(fleet.looks.items())]
    said += [f"{key} {why}" for key, why in sorted(fleet.broken.items())]
    return RunFacts(
        run_id=hashlib.sha256("\n".join(said).encode()).hexdigest()[:16],
        tool_version=__version__,
        run_day=fleet.run_day,
        since=since,
        n_sites=len(sites),
        n_broken=sum(s.group == "broken" for s in sites),
        n_units=fleet.n_units,
        n_made=fleet.n_made,
        n_reused=fleet.n_units - fleet.n_made,
        jobs=fleet.jobs,
        numbers=tuple((name, THRESHOLDS[name].value) for name in NUMBERS),
    )
