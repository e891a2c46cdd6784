"""One site of a fleet: its findings with their history and harm, where it stands, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pipeline import words
from pipeline.fleet import clearing
from pipeline.fleet.exposure import days_in_states, hours, seen_days
from pipeline.fleet.history import Done, History, Looked, history, services
from pipeline.fleet.known import FIRST_BY_PHONE, PARTS, STATES, TOP, season_of, state_of, way_of
from pipeline.fleet.rank import Rate, Seen, harm, rates, together
from pipeline.fleet.rows import SiteRows
from pipeline.fleet.run import Fleet
from pipeline.fleet.season import Season, season
from pipeline.fleet_result import TOPS, WAYS, FleetFinding, FleetSite, Harm
from pipeline.result import SEVERITIES, Span
from pipeline.site import Site


@dataclass(frozen=True)
class Known:
    """One site with what is needed to place it."""

    site: Site
    folder: str
    rows: SiteRows
    looked: dict[str, list[Looked]]
    done: tuple[Done, ...]
    history: dict[str, History]
    seen: dict[str, Seen]
    season: Season
    last_ts: int


def known_of(
    site: Site,
    folder: str,
    rows: SiteRows,
    fleet: Fleet,
    since: dt.date,
    numbers: Mapping[str, float],
) -> Known:
    """The site with what is needed to place it; its id is among the fleet's looks."""
    zone = site.zone_info
    done = services(
        [(v.end_ts, v.what) for v in site.visits],
        lambda ts: dt.datetime.fromtimestamp(ts / 1e6, zone).date(),
    )
    looked = rows.looked()
    told = {
        code: history(
            code,
            answers,
            done,
            since,
            numbers["fleet_back_after_days"],
            numbers["fleet_clear_days"],
        )
        for code, answers in looked.items()
    }
    state_days = days_in_states(rows.days, numbers)
    seen = {
        code: seen_days(site.id, code, answers, state_days, done, numbers)
        for code, answers in looked.items()
    }
    return Known(
        site=site,
        folder=folder,
        rows=rows,
        looked=looked,
        done=done,
        history={code: h for code, h in told.items() if h is not None},
        seen={code: s for code, s in seen.items() if s is not None},
        season=season(fleet.run_day, site.design_heating_f, site.design_cooling_f, numbers),
        last_ts=fleet.looks[site.id].last_ts or 0,
    )


def visit_reason(visit: dt.date, group: str, run_day: dt.date) -> str:
    """What a booked visit means for what was found: nobody waits for it without heat."""
    if visit < run_day:
        return f"A visit was booked for {words.day(visit)}."
    way = "do not wait for it" if group == "on top" else "add to it"
    return f"Visit booked for {words.day(visit)}: {way}."


def all_rates(
    known: Mapping[str, Known], numbers: Mapping[str, float]
) -> dict[tuple[str, str], Rate]:
    """The rate of every finding at every site that could show it, by (site, finding)."""
    by_code: dict[str, list[Seen]] = {}
    for k in known.values():
        for code, seen in k.seen.items():
            by_code.setdefault(code, []).append(seen)
    ever = {code for k in known.values() for code in k.history}
    return {
        (site_id, code): rate
        for code, seen in by_code.items()
        if code in ever
        for site_id, rate in rates(seen, numbers).items()
    }


def standing(
    k: Known,
    fleet: Fleet,
    rate_of: Mapping[tuple[str, str], Rate],
    numbers: Mapping[str, float],
    redact: bool,
) -> FleetSite:
    """The site with its findings, its group and the reasons; ranks and days are added later."""
    findings = tuple(sorted((_finding(k, code, rate_of, numbers) for code in k.history), key=_by))
    there = [f for f in findings if f.status != "gone" and f.about == "installation"]
    goes_with = {
        f.code: newest[1].goes_with for f in there if (newest := k.rows.newest(f.code)) is not None
    }
    whole = together({f.code: f.harm for f in there if f.harm is not None}, goes_with)
    tops = [TOP[f.code] for f in there if f.code in TOP and f.severity == "act"]
    top = min(tops, key=TOPS.index) if tops else ""
    logged = Span(min(fleet.looks[k.site.id].first_ts or 0, k.last_ts), k.last_ts)
    coverage = clearing.coverage_of(k.rows, logged)
    unclear = clearing.not_cleared(k.site, k.rows, coverage, k.season, numbers)
    quiet = clearing.quiet(k.site, k.last_ts, fleet.run_day, numbers)
    broken = fleet.broken.get(k.site.id, "")
    worth = [f for f in there if f.harm is not None and f.harm.points.expected > 0]
    if top:
        group = "on top"
    elif worth:
        group = "ranked"
    elif unclear or quiet or broken:
        group = "not cleared"
    else:
        group = "nothing found"
    named = [f for f in there if f.severity != "note"]
    way = max((f.way for f in named), key=WAYS.index, default="")
    visit = _date(k.site.next_visit)
    reasons = [
        *_harm_reasons(there, top),
        *_season_reason(worth, k.season),
        *([f"Could not be read whole: {broken.splitlines()[0]}"] if broken else []),
        *([quiet] if quiet else []),
        *(unclear if group == "not cleared" else ()),
        *([visit_reason(visit, group, fleet.run_day)] if visit and named else []),
        *(["Call this customer first."] if k.site.call_first and named else []),
    ]
    first_day, last_day = k.rows.units[0][2], k.rows.units[-1][3]
    return replace(
        facts_of(k.site, k.folder, redact),
        group=group,
        next_visit=visit,
        logged=logged,
        first_day=first_day,
        last_day=last_day,
        n_days=len(k.rows.days),
        coverage=coverage,
        quiet_days=(fleet.run_day - last_day).days,
        heat_h=hours(k.rows.days, "heat_s"),
        cool_h=hours(k.rows.days, "cool_s"),
        top=top,
        harm=whole if group in ("on top", "ranked") else None,
        way=way,
        why_way=_why_way(named, way),
        parts=tuple(dict.fromkeys(p for f in named for p in f.parts)),
        reasons=tuple(reasons),
        broken=broken,
        findings=findings,
    )


def facts_of(site: Site, folder: str, redact: bool) -> FleetSite:
    """What the site file says, as far as a page shows it."""
    return FleetSite(
        site_id=site.id,
        folder=folder,
        name=site.id if redact else site.name or site.id,
        group="broken",
        kind=site.equipment.kind,
        heating_stages=site.equipment.heating_stages,
        cooling_stages=site.equipment.cooling_stages,
        n_zones=len(site.zones),
        timezone=site.timezone,
        region=site.region or "",
        agreement=site.agreement or "",
        installer=site.installer or "",
        installed=site.installed or "",
        call_first=site.call_first,
        complaint="" if redact else site.complaint or "",
        next_visit=_date(site.next_visit),
        next_visit_text=site.next_visit or "",
        visits=tuple(
            Span(v.start_ts, v.end_ts, "visit" if redact else v.what) for v in site.visits
        ),
    )


def broken_site(key: str, folder: str, site: Site | None, why: str, redact: bool) -> FleetSite:
    """A site of which nothing could be judged, with the reason."""
    if site is None:
        base = FleetSite(site_id=key, folder=folder, name=folder, group="broken")
    else:
        base = facts_of(site, folder, redact)
    return replace(base, broken=why, reasons=(why.splitlines()[0],))


def _finding(
    k: Known,
    code: str,
    rate_of: Mapping[tuple[str, str], Rate],
    numbers: Mapping[str, float],
) -> FleetFinding:
    told = k.history[code]
    newest = k.rows.newest(code)
    assert newest is not None  # it was found, or it would have no history
    said = newest[1]
    seen, rate = k.seen.get(code), rate_of.get((k.site.id, code))
    weighs = told.status != "gone" and said.about == "installation"
    own: Harm | None = None
    if weighs and seen is not None and rate is not None:
        share = k.season.share(season_of(code))
        per = f"days with {STATES[state_of(code)][0]}"
        own = harm(seen, rate, share, per, numbers["fleet_month_days"])
    return FleetFinding(
        code=code,
        title=said.title,
        severity=said.severity,
        about=said.about,
        certainty=said.certainty,
        summary=said.summary,
        status=told.status,
        first_seen=told.first_seen,
        last_seen=told.last_seen,
        last_looked=told.last_looked,
        n_weeks_found=told.n_found,
        n_weeks_looked=told.n_looked,
        way=way_of(code, said.checks, said.cautions),
        harm=own,
        gone_since=told.gone_since,
        came_back_after=told.came_back_after,
        causes=said.causes,
        checks=said.checks,
        cautions=said.cautions,
        parts=PARTS.get(code, ()),
    )


def _by(finding: FleetFinding) -> tuple[Any, ...]:
    """Findings as they are read: what is there first, the most harmful first."""
    points = finding.harm.points.expected if finding.harm else 0.0
    return (
        finding.status == "gone",
        finding.about == "log",
        SEVERITIES.index(finding.severity) if finding.code in TOP else len(SEVERITIES),
        -points,
        SEVERITIES.index(finding.severity),
        finding.code,
    )


def _harm_reasons(there: list[FleetFinding], top: str) -> list[str]:
    """What is found, the gravest three, with days and history."""
    said = []
    for f in there[:3]:
        if f.severity == "note":
            continue
        is_top = f.severity == "act" and TOP.get(f.code) == top
        names_it = f.title.lower() == top
        text = f"{top.capitalize()}: {f.title.lower()}" if is_top and not names_it else f.title
        if f.harm is not None and f.harm.n_looked:
            text += f" on {words.of_all(f.harm.n_found or 0, f.harm.n_looked)} {f.harm.per}"
            if f.harm.is_shrunk:
                text += ", too few to go by: the fleet's experience counts too"
        if f.status == "came back":
            text += f"; came back after {f.came_back_after}"
        elif f.status == "new":
            text += f"; first seen {words.day(f.first_seen)}"
        elif f.status == "not seen lately":
            text += f"; last seen {words.day(f.last_seen)}, could not be seen since"
        said.append(words.sentence(text))
    return said


def _season_reason(worth: list[FleetFinding], season: Season) -> list[str]:
    """What the season to come does to the worst finding, where it shows in one mode alone."""
    if not worth or not (mode := season_of(worth[0].code)):
        return []
    share = season.share(mode)
    days = f"{mode} on about {round(30 * share)} of the next 30 days"
    basis = "" if season.is_known else "; the site's climate is not given"
    return [words.sentence(f"{'Little' if share < 1 / 3 else 'Season'} ahead: {days}{basis}")]


def _why_way(named: list[FleetFinding], way: str) -> str:
    which = words.joined(f.title.lower() for f in named if f.way == way)
    return {
        "": "",
        "phone": f"By phone first: {which}",
        "truck": f"A visit: {which}",
        "two people": f"One at the unit, one at the thermostats: {which}",
        "licence": f"Gas or refrigerant side, licensed people only: {which}",
    }[way] + (
        "; by phone first: "
        + words.joined(f.title.lower() for f in named if f.code in FIRST_BY_PHONE)
        if way not in ("", "phone") and any(f.code in FIRST_BY_PHONE for f in named)
        else ""
    )


def _date(text: str | None) -> dt.date | None:
    try:
        return dt.date.fromisoformat((text or "").strip()[:10])
    except ValueError:
        return None
