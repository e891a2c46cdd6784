"""Invented fleets as records, of any size: what the fleet page and a site's light page are made of.

Nothing is measured here and nobody lives there; numbers are drawn at random with a fixed seed, so
that the same call gives the same record. Words are those that the findings' own files use.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from typing import NamedTuple

from pipeline.fleet_result import (
    Change,
    DayFigures,
    FleetFinding,
    FleetResult,
    FleetSite,
    Harm,
    Interval,
    Peers,
    RunFacts,
    Shared,
    StepChange,
    Trend,
    UnusualDay,
)
from pipeline.result import Span
from pipeline.thresholds import THRESHOLDS

RUN_DAY = date(2026, 10, 1)
SINCE = date(2026, 9, 1)
WEIGHT = {"act": 9, "plan": 3, "watch": 1}
DAY_US = 86_400_000_000


class Kind(NamedTuple):
    code: str
    title: str
    severity: str
    way: str
    per: str
    summary: str
    cause: str
    check: str
    caution: str = ""
    part: str = ""
    top: str = ""


KINDS = (
    Kind(
        "high-limit-trips", "High-limit trips", "act", "two people", "days with heat",
        "The panel shut heat off {n} times in 61 hours of heat, mostly with Bedrooms calling alone "
        "in second stage.",
        "Second stage lets one small zone call", "Read the minimum zones for second stage.",
        "Do not raise the limit or jumper it.",
    ),
    Kind(
        "short-cycling", "Short cycling", "plan", "truck", "days with heating or cooling",
        "Cycles about {n} an hour at half load; half of the runs end within 4 min.",
        "First stage is too much for one zone", "Read the cycle rate at each thermostat.",
    ),
    Kind(
        "static-above-target", "Static above target", "plan", "truck", "days with the blower on",
        "Over target for {n} % of fan time, up to 0.82 in. w.c. with one zone calling.",
        "Relief has nowhere to go", "Measure static with one zone, then with all zones.",
        part="filter of the size fitted",
    ),
    Kind(
        "airflow-falling", "Airflow falling", "plan", "truck", "days with heating or cooling",
        "Airflow about {n} % down since the log began, at like calls and stages.",
        "Filter loading", "Look at the filter before anything else.",
        part="filter of the size fitted",
    ),
    Kind(
        "fan-never-stops", "Fan never stops", "watch", "phone", "days with the blower on",
        "The blower ran {n} nights through with no call.", "Thermostat set to fan ON",
        "Ask what the fan switch is set to.",
    ),
    Kind(
        "damper-did-not-open", "Damper did not open", "act", "truck", "days with heat",
        "Kitchen called {n} times and its damper stayed shut; the room stayed 3 °F under.",
        "Actuator or its wire", "Call the zone alone and put a hand on its register.",
        part="damper actuator",
    ),
    Kind(
        "emergency-heat-left-on", "Emergency heat left on", "plan", "phone", "days with heat",
        "Strip heat only for {n} % of heat time, outdoors above 38 °F.",
        "Emergency heat selected at the thermostat", "Ask which way the switch stands.",
    ),
    Kind(
        "coil-icing", "Coil icing", "act", "licence", "days with cooling",
        "Split and supply fell slowly in {n} cooling runs over an hour long.",
        "Too little air", "Filter and blower wheel first.",
        "No chipping and no heat gun on the coil.", "filter of the size fitted",
    ),
    Kind(
        "second-stage-early", "Second stage early", "watch", "truck", "days with second stage",
        "Second stage came on before the delay in {n} of 41 starts.",
        "Delay set too short", "Read the stage-up delay at the panel.",
    ),
    Kind(
        "zone-overheats", "Zone overheats when it is not calling", "watch", "truck",
        "days with heat", "Guest room up to {n} °F over target at night.",
        "Relief goes to a small zone", "Read the relief order.",
    ),
)  # fmt: skip
ON_TOP = (
    Kind(
        "equipment-without-fan", "Equipment without fan", "act", "licence", "days with heat",
        "The burner ran {n} min with the blower standing, Tue 6:42 am.", "Blower or its relay",
        "Watch one start at the unit.",
        "Leave heat off at the unit until checked where the customer can be kept warm.",
        top="safety",
    ),
    Kind(
        "no-heat", "No heat", "act", "licence", "days with heat",
        "Called for heat {n} h without any rise; rooms fell to 58 °F.", "Ignition lockout",
        "Read and photograph fault codes before cycling power.",
        "No heat in freezing weather: pipes, and people; phone the same day.",
        "flame sensor, igniter", "no heat",
    ),
    Kind(
        "cooling-does-not-cool", "Cooling does not cool", "act", "licence", "days with cooling",
        "Split under 6 °F in {n} of 30 runs; upstairs 5 °F over.", "Outdoor unit does not run",
        "Is the outdoor unit running?", "Refrigerant side last, and by licensed people.",
        "capacitor and contactor for the outdoor unit", "no cooling",
    ),
)  # fmt: skip
TAIL = (
    " It was so on 7 days, first Mon Aug 10 8:12 pm, last Sun Sep 27 6:08 am. Supply air had "
    "reached 152 to 153 °F (limit set to 150 °F), static 0.60 to 0.88 in. w.c. at that time."
)
"""What else a finding's sentence tells: real ones have two to six hundred letters."""
STREETS = ("Larch Lane", "Birch Court", "Mill Road", "Quarry Hill", "Orchard Row", "Ferry Street")
EQUIPMENT = ("furnace_ac", "dual_fuel", "heat_pump", "furnace")
REGIONS = ("north side", "river", "hills", "old town")
AGREEMENTS = ("yearly", "twice a year", "monthly")
INSTALLERS = ("crew one", "crew two", "crew three", "builder")
WHY_NOT = (
    "Too little heating seen: 4.2 hours.",
    "No hours with one zone calling yet.",
    "Half covered: 46 % of the log’s days was logged.",
    "Nothing logged since Sat Aug 22 (40 days): loggers dead or taken?",
)
BROKEN = (
    "{folder}/exports/plenum.csv, line 1842: the time “31.02.2026” is no date. "
    "Expected: day.month.year. Correct the line, or leave the file out.",
    "{folder}/site.toml, line 7: unknown key “heating_stage”. Expected: heating_stages.",
)


def fleet(n: int = 24, seed: int = 5) -> FleetResult:
    """A fleet of n sites: a few on top, two in five ranked, the rest clear, not cleared, broken."""
    rng = random.Random(seed)
    n_top, n_broken = max(2, n // 80), max(1, n // 120)
    n_ranked, n_open = round(n * 0.42), round(n * 0.15)
    made = [_site(rng, i) for i in range(n)]
    top = [_found(rng, s, [ON_TOP[k % 3], rng.choice(KINDS)], "on top", k % 3)
           for k, s in enumerate(made[:n_top])]  # fmt: skip
    top.sort(key=lambda s: ("safety", "no heat", "no cooling").index(s.top))
    ranked = _ranked([
        _found(rng, s, rng.sample(KINDS, rng.choice((1, 1, 2, 2, 3))), "ranked")
        for s in made[n_top : n_top + n_ranked]
    ])  # fmt: skip
    rest = made[n_top + n_ranked :]
    not_cleared = [
        replace(s, group="not cleared", reasons=tuple(rng.sample(WHY_NOT, rng.choice((1, 2)))))
        for s in rest[:n_open]
    ]
    broken = [
        replace(
            s, group="broken", broken=BROKEN[k % 2].format(folder=s.folder), page="", trends=(),
            days=(), logged=None, heat_h=None, cool_h=None, n_days=0, coverage=None,
        )
        for k, s in enumerate(rest[n_open : n_open + n_broken])
    ]  # fmt: skip
    clear = [replace(s, reasons=("These conditions were not seen.",))
             for s in rest[n_open + n_broken :]]  # fmt: skip
    sites = (*top, *ranked, *not_cleared, *clear, *broken)
    counted = Counter(p for s in sites for p in s.parts)
    numbers = {k: t.value for k, t in THRESHOLDS.items() if k.startswith("fleet_")}
    numbers |= {
        "fleet_quiet_days": 14,
        "fleet_month_days": 30, "fleet_weight_act": 9, "fleet_weight_plan": 3,
        "fleet_weight_watch": 1,
    }  # fmt: skip
    return FleetResult(
        name="Agreement sites",
        sites=sites,
        shared=_shared(sites),
        changes=_changes(sites),
        parts=tuple(counted.most_common()),
        trends=(_trend(rng, "trips", "High-limit trips", "per 100 h of heat", 4.0),
                _trend(rng, "above_target", "Static above target", "% of fan time", 12.0)),
        run=RunFacts(
            run_id="5f0c2a91", tool_version="0.1.0", run_day=RUN_DAY, since=SINCE, n_sites=n,
            n_broken=n_broken, n_units=n * 13, n_made=n, n_reused=n * 12, jobs=1,
            numbers=tuple(sorted(numbers.items())),
        ),
    )  # fmt: skip


def renamed(result: FleetResult, name: str) -> FleetResult:
    """The fleet with this text wherever somebody else's words can stand."""
    sites = tuple(
        replace(
            s, name=name, region=name, agreement=name, installer=name, complaint=name,
            next_visit=None, next_visit_text=name, reasons=(name,), why_way=name, parts=(name,),
            broken=name if s.broken else "",
            findings=tuple(replace(f, summary=name, came_back_after=name) for f in s.findings),
        )
        for s in result.sites
    )  # fmt: skip
    return replace(
        result, name=name, sites=sites, parts=((name, 3),),
        shared=tuple(replace(x, value=name, sentence=name) for x in result.shared),
        changes=tuple(replace(c, sentence=name) for c in result.changes),
    )  # fmt: skip


def _site(rng: random.Random, i: int) -> FleetSite:
    site_id = f"site-{i + 1:04d}"
    n_days = rng.randint(28, 91)
    last = RUN_DAY - timedelta(days=rng.choice((1, 1, 2, 5, 40)))
    first = last - timedelta(days=n_days - 1)
    start = (first - date(1970, 1, 1)).days * DAY_US
    days = _days(rng, last, min(n_days, 42))
    return FleetSite(
        site_id=site_id,
        folder=f"{rng.choice(REGIONS).replace(' ', '-')}/{site_id}",
        name=f"{rng.randint(1, 199)} {rng.choice(STREETS)}",
        group="nothing found",
        kind=rng.choice(EQUIPMENT),
        heating_stages=2,
        cooling_stages=1,
        n_zones=rng.randint(2, 5),
        timezone="America/Denver",
        region=rng.choice(REGIONS),
        agreement=rng.choice(AGREEMENTS),
        installer=rng.choice(INSTALLERS),
        installed=str(rng.randint(2008, 2025)),
        call_first=rng.random() < 0.05,
        next_visit=RUN_DAY + timedelta(days=rng.randint(2, 60)) if rng.random() < 0.4 else None,
        page=f"sites/{site_id}.html",
        logged=Span(start, start + n_days * DAY_US),
        first_day=first,
        last_day=last,
        n_days=n_days,
        coverage=rng.uniform(0.8, 1.0),
        quiet_days=(RUN_DAY - last).days,
        heat_h=rng.uniform(10, 200),
        cool_h=rng.uniform(0, 160),
        unusual_days=tuple(
            UnusualDay(d.day, rng.uniform(1.1, 3), ("Heat 9.6 h; 3.1 to 5.2 h on days like it.",))
            for d in days
            if d.is_unusual
        ),
        step_changes=(
            StepChange(
                last - timedelta(days=9), "static_p50", "static, middle", "in. w.c.", 0.41, 0.55,
                f"Since {last - timedelta(days=9):%a %b %-d}: static 0.41 in. w.c. before, "
                "0.55 in. w.c. after at like weather (0.08 to 0.19 in. w.c. more).",
            ),
        )
        if rng.random() < 0.1
        else (),
        peers=Peers(
            tuple(f"site-{k + 1:04d}" for k in range(i % 7, i % 7 + 12)),
            "furnace, 2 heating stages, 3 zones give or take 1", True,
            is_unusual=rng.random() < 0.04, distance=rng.uniform(0.2, 2.0),
            differs=("Starts 74 a day at like weather; 12 sites like it 20 to 41.",),
        ),
        trends=(_trend(rng, "trips", "High-limit trips", "per 100 h of heat", 4.0),),
        days=days,
    )  # fmt: skip


def _found(
    rng: random.Random, site: FleetSite, kinds: list[Kind], group: str, top: int = 0
) -> FleetSite:
    findings = tuple(_finding(rng, k, site) for k in kinds)
    findings = tuple(sorted(findings, key=lambda f: -(f.harm.points.expected if f.harm else 0.0)))
    if group == "on top":
        findings = tuple(sorted(findings, key=lambda f: f.code != ON_TOP[top].code))
    harms = [f.harm.points for f in findings if f.harm]
    total = Interval(*(sum(getattr(h, k) for h in harms) for k in ("expected", "low", "high")))
    ways = ("phone", "truck", "two people", "licence")
    lead = findings[0]
    return replace(
        site,
        group=group,
        top=ON_TOP[top].top if group == "on top" else "",
        harm=Harm(total),
        way=max((f.way for f in findings), key=ways.index),
        why_way=f"{lead.title}: {lead.checks[0]}",
        parts=tuple(dict.fromkeys(p for f in findings for p in f.parts)),
        reasons=(lead.summary,),
        findings=findings,
    )


def _finding(rng: random.Random, kind: Kind, site: FleetSite) -> FleetFinding:
    n_looked = rng.randint(2, 40)
    n_found = rng.randint(1, n_looked)
    season = rng.choice((1.0, 0.9, 0.35)) if kind.per != "days with cooling" else 0.2
    rate = (n_found + 0.6) / (n_looked + 4)
    spread = 0.9 * (rate * (1 - rate) / n_looked) ** 0.5
    share = Interval(rate, max(rate - spread, 0.0), min(rate + spread, 1.0))
    factor = WEIGHT[kind.severity] * season * 30
    points = Interval(share.expected * factor, share.low * factor, share.high * factor)
    assert site.last_day is not None
    last = site.last_day - timedelta(days=rng.randint(0, 4))
    status = rng.choice(("standing",) * 5 + ("new", "came back", "not seen lately"))
    first = last - timedelta(days=20 if status == "new" else 48)
    return FleetFinding(
        code=kind.code,
        title=kind.title,
        severity=kind.severity,
        about="installation",
        certainty=rng.choice(("shown", "likely", "possible")),
        summary=kind.summary.format(n=rng.randint(3, 39)) + TAIL,
        status=status,
        first_seen=first,
        last_seen=last,
        last_looked=site.last_day,
        n_weeks_found=rng.randint(1, 6),
        n_weeks_looked=rng.randint(6, 9),
        way=kind.way,
        harm=Harm(points, n_found, n_looked, kind.per, share, 0.12, season, is_shrunk=n_looked < 3),
        came_back_after="the visit of Thu Sep 10 (filter changed)" if status == "came back" else "",
        causes=(kind.cause,),
        checks=(kind.check,),
        cautions=(kind.caution,) if kind.caution else (),
        parts=(kind.part,) if kind.part else (),
    )


def _ranked(sites: list[FleetSite]) -> list[FleetSite]:
    def points(site: FleetSite) -> Interval:
        assert site.harm is not None
        return site.harm.points

    sites = sorted(sites, key=lambda s: -points(s).expected)
    made, tie, lead = [], 0, None
    for rank, site in enumerate(sites, start=1):
        if lead is None or points(site).expected < lead.low:
            tie, lead = tie + 1, points(site)
        made.append(replace(site, rank=rank, tie=tie))
    return made


def _days(rng: random.Random, last: date, n: int) -> tuple[DayFigures, ...]:
    made = []
    for k in range(n):
        if rng.random() < 0.06:
            made.append(DayFigures(last - timedelta(days=n - 1 - k), 0.0))
            continue
        heat = max(0.0, rng.gauss(4, 3))
        made.append(
            DayFigures(
                last - timedelta(days=n - 1 - k), rng.choice((24.0, 24.0, 24.0, 17.5)), heat,
                max(0.0, rng.gauss(1, 2)), rng.uniform(35, 75), int(heat / 2) * (k % 5 == 0),
                rng.randint(8, 40), rng.uniform(0, 3), rng.random() < 0.05,
            )
        )  # fmt: skip
    return tuple(made)


def _trend(rng: random.Random, figure: str, label: str, unit: str, level: float) -> Trend:
    monday = RUN_DAY - timedelta(days=RUN_DAY.weekday())
    weeks = tuple(monday - timedelta(days=7 * k) for k in range(12, -1, -1))
    values = tuple(None if rng.random() < 0.15 else level * rng.uniform(0.3, 1.6) for _ in weeks)
    return Trend(
        figure, label, unit, weeks, values, tuple(0.0 if v is None else 40.0 for v in values)
    )


def _shared(sites: tuple[FleetSite, ...]) -> tuple[Shared, ...]:
    code = "high-limit-trips"
    found = [s for s in sites if any(f.code == code for f in s.findings)]
    with_it = [s.site_id for s in found if s.installer == "crew two"]
    n = sum(s.installer == "crew two" for s in sites)
    if not with_it:
        return ()
    return (
        Shared(
            "setting", "minimum zones for second stage", "1", code, n, len(with_it),
            len(sites) - n, len(found) - len(with_it), tuple(with_it),
            f"High-limit trips: {len(with_it)} of {n} sites with minimum zones for second stage "
            f"= 1, {len(found) - len(with_it)} of {len(sites) - n} other sites.",
        ),
    )  # fmt: skip


def _changes(sites: tuple[FleetSite, ...]) -> tuple[Change, ...]:
    made = [
        Change(s.site_id, f.code, f.title, f.severity, f.status, f.first_seen, f.summary)
        for s in sites
        for f in s.findings
        if f.status in ("new", "came back")
    ]
    made += [
        Change(
            s.site_id,
            "short-cycling",
            "Short cycling",
            "plan",
            "gone",
            RUN_DAY - timedelta(9),
            "Not seen since Tue Sep 22, in 11 days that could have shown it.",
        )
        for s in sites[-6:-1]
    ]
    return tuple(sorted(made, key=lambda c: ("act", "plan", "watch").index(c.severity)))
