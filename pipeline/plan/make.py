"""From a site, or only a kind of equipment, to its logging plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches

from pipeline import words
from pipeline.channels import ROLES
from pipeline.errors import InputError
from pipeline.plan.cautions import cautions
from pipeline.plan.inferred import by_inference
from pipeline.plan.installed import COOL, HEAT, Installed, installed
from pipeline.plan.intervals import for_role, interval_of, round_down_s
from pipeline.plan.probes import PROBES
from pipeline.plan.questions import (
    GROUPS,
    NEEDS_PUMP,
    NEEDS_TWO_FUELS,
    Question,
    questions,
)
from pipeline.plan.record import (
    INFERRED,
    MISSING,
    NOT_KNOWN,
    NOT_LOGGED,
    READY,
    TOO_SLOW,
    Logged,
    Plan,
    PlannedChannel,
    PlannedQuestion,
)
from pipeline.plan.sheet import stations
from pipeline.site import Equipment, Settings, Site, Zone
from pipeline.thresholds import values_for

STATES = {
    "heat": ("heat on", "cold enough for heat"),
    "cool": ("cooling on", "hot enough for cooling"),
    "any": ("heat or cooling on", "weather that makes it run"),
    "fan": ("fan on", "any weather that makes it run, with zones calling alone and together"),
    "second": ("second stage on", "the coldest or hottest days: second stage must have come on"),
    "long": ("long calls", "near design weather: a zone must have called on and on"),
    "change": (
        "compressor or furnace heat",
        "outdoor air both below the low and above the high point",
    ),
    "frost": ("compressor heat in frost weather", "outdoor air between 20 and 38 °F, and damp"),
    "setback": ("recovery from a setback", "a setback every day, cold or hot enough to feel it"),
    "steady": ("runs longer than 10 min", "weather that gives runs of more than 10 min"),
}
"""The state that must occur, and the weather that brings it."""
_SYSTEMS = {
    "furnace_ac": "furnace with air conditioner",
    "heat_pump": "heat pump",
    "dual_fuel": "dual fuel system",
    "furnace": "furnace",
    "ac": "air conditioner",
}


def make_plan(
    site: Site | str,
    asked: Sequence[str] = (),
    logged: Sequence[Logged] = (),
    *,
    units: str = "us",
    redact: bool = False,
) -> Plan:
    """The plan for a site, or for a kind of equipment where there is no site file yet.

    site : the site, or a kind such as 'dual_fuel'
    asked : names of questions or words of questions.GROUPS; none: all that can be shown here
    logged : channels that are there already
    Raises InputError for a word that is neither, or where nothing asked for can be shown here.
    """
    known = isinstance(site, Site)
    equipment = site.equipment if isinstance(site, Site) else Equipment(site)
    settings = site.settings if isinstance(site, Site) else Settings()
    zones = site.zones if isinstance(site, Site) else ()
    numbers = values_for(site.thresholds if isinstance(site, Site) else {})
    here = installed(equipment, settings, zones, frozenset(x.role for x in logged))
    logged = _as_named(logged, here)
    names = {
        z.number: f"zone {z.number}" if redact else (z.name or f"zone {z.number}") for z in zones
    }
    chosen = _chosen(asked)
    planned, not_here = [], []
    for q in chosen:
        reason = _not_here(q, here, equipment)
        if reason is not None:
            not_here.append((q.title, reason))
            continue
        interval = interval_of(q.name, q.figure, q.tables, numbers, here, settings, zones)
        needs = tuple(dict.fromkeys([*(r for g in _groups(q, here) for r in g), *_beside(q, here)]))
        helps = tuple(
            dict.fromkeys(r for r in q.helps if r in here.of_mode(q.mode) and r not in needs)
        )
        state, usual = STATES[_state(q, here)]
        weather = _weather(q, usual, settings, numbers["plan_outdoor_margin_f"])
        bare = PlannedQuestion(
            q.name, q.group, q.title, q.question, q.is_judged, needs, helps, interval,
            state, words.in_units(weather, units),
            numbers["clear_min_hours"], numbers["plan_least_days"], q.also,
        )  # fmt: skip
        bare = _standing(bare, q, here, logged, numbers, names)
        planned.append(_as_inferred(bare, q, here, logged, numbers, zones, names))
    if not planned:
        raise InputError(
            "nothing that was asked for can be shown by this equipment",
            found=", ".join(asked),
            expected="; ".join(f"{title}: {why}" for title, why in not_here),
        )
    return Plan(
        site_id=site.id if isinstance(site, Site) else None,
        name=_name(site, redact),
        kind=equipment.kind,
        zones=tuple(names.values()),
        asked=tuple(asked),
        questions=tuple(planned),
        channels=_channels(planned, logged, numbers, names),
        not_here=tuple(not_here),
        days=numbers["plan_days"],
        stations=stations(site if isinstance(site, Site) else None, here, redact=redact),
        cautions=cautions(here),
        has_logged=known and bool(logged),
    )


def _name(site: Site | str, redact: bool) -> str:
    if isinstance(site, Site):
        return site.id if redact else site.name or site.id
    return f"any {_SYSTEMS[site]}"


def _chosen(asked: Sequence[str]) -> tuple[Question, ...]:
    everything = questions()
    names = {q.name for q in everything}
    for word in asked:
        if word not in names and word not in GROUPS:
            near = get_close_matches(word, [*names, *GROUPS], n=1, cutoff=0.5)
            raise InputError(
                "--for names no question",
                found=word,
                expected=f'"{near[0]}"?' if near else f"a finding's code, or {_words()}",
                hint=f"plain words: {_words()}",
            )
    return tuple(q for q in everything if not asked or q.name in asked or q.group in asked)


def _words() -> str:
    return ", ".join(GROUPS)


def _groups(q: Question, here: Installed) -> list[list[str]]:
    """The question's groups of roles, each cut down to what this equipment has in its mode."""
    there = here.of_mode(q.mode)
    return [[r for r in group if r in there] for group in q.needs]


def _beside(q: Question, here: Installed) -> tuple[str, ...]:
    """What must stand beside a Y call to tell heating from cooling."""
    calls = {r for group in _groups(q, here) for r in group}
    asks = "zone_call_y1" in calls and "zone_call_ob" in here.roles
    return ("zone_call_ob",) if asks else ()


def _as_named(logged: Sequence[Logged], here: Installed) -> tuple[Logged, ...]:
    """The channels, W of a heat pump taken for what it is there: strip heat."""
    names = {"output_w1": "output_aux", "zone_call_w1": "zone_call_aux"}
    return tuple(
        replace(x, role=names[x.role])
        if x.role in names and x.role not in here.roles and names[x.role] in here.roles
        else x
        for x in logged
    )


def _not_here(q: Question, here: Installed, equipment: Equipment) -> str | None:
    if q.name in NEEDS_TWO_FUELS and here.kind != "dual_fuel":
        return "only a heat pump with a furnace has two fuels"
    if q.name in NEEDS_PUMP and "output_ob" not in here.roles:
        return "only a heat pump defrosts"
    if q.mode == HEAT and not here.heats:
        return "it does not heat"
    if q.mode == COOL and not here.cools:
        return "it does not cool"
    if q.group == "staging" and not {"output_w2", "output_y2"} & here.roles:
        by = equipment.staged_by
        return f"staged by {by}" if by in ("equipment", "modulating") else "one stage only"
    if q.name == "short-cycling" and equipment.staged_by == "modulating":
        return "it modulates: length of runs says nothing about cycling"
    if any(not group for group in _groups(q, here)):
        return "it has no such channel"
    return None


def _state(q: Question, here: Installed) -> str:
    if q.state == "any" and not here.cools:
        return "heat"
    return "cool" if q.state == "any" and not here.heats else q.state


def _weather(q: Question, usual: str, settings: Settings, margin_f: float) -> str:
    low, high = settings.low_balance_f, settings.high_balance_f
    if q.state == "change" and low is not None and high is not None:
        return (
            f"heating runs that start with outdoor air under {low - margin_f:g} °F, "
            f"and over {high + margin_f:g} °F"
        )
    return usual


def _standing(
    bare: PlannedQuestion,
    q: Question,
    here: Installed,
    logged: Sequence[Logged],
    numbers: Mapping[str, float],
    names: Mapping[int, str],
) -> PlannedQuestion:
    """The question with how it stands: what is missing, what is too slow, what stays unknown."""
    if not logged:
        return replace(bare, cannot_tell=_unknown(bare.helps))
    have = {x.role for x in logged}
    missing: list[str] = []
    partly = [r for r in _beside(q, here) if r not in have]
    for group in _groups(q, here):
        absent = [r for r in group if r not in have]
        if group and len(absent) == len(group):
            missing.append(words.joined((_lower(PROBES[r].label) for r in absent), last="or"))
        else:
            partly += [r for r in absent if r not in partly]
    used = [x for x in logged if x.role in bare.needs]
    slow = _slow(used, bare.interval.slowest_s, numbers)
    not_full = [] if bare.interval.full_s is None else _slow(used, bare.interval.full_s, numbers)
    unknown = list(_unknown([*partly, *(r for r in bare.helps if r not in have)]))
    if not_full and not slow:
        unknown.append(f"that every one was seen: {not_full[0]} would do")
    for role in bare.needs:
        has = {x.zone for x in logged if x.role == role}
        if ROLES[role].per_zone and has:
            lost = [name for number, name in names.items() if number not in has]
            if lost:
                unknown.append(f"{words.joined(lost)}: no {_lower(PROBES[role].label)}")
    standing = READY
    if missing:
        standing = MISSING
    elif slow:
        standing = TOO_SLOW
    elif any(x.interval_s is None for x in used):
        standing = NOT_KNOWN
    return replace(
        bare,
        standing=standing,
        missing=tuple(missing),
        too_slow=tuple(f"{text} would do" for text in slow),
        cannot_tell=tuple(unknown),
    )


def _as_inferred(
    asked: PlannedQuestion,
    q: Question,
    here: Installed,
    logged: Sequence[Logged],
    numbers: Mapping[str, float],
    zones: Sequence[Zone],
    names: Mapping[int, str],
) -> PlannedQuestion:
    """The question as it stands where its channels are missing and others show what they would."""
    if asked.standing != MISSING:
        return asked
    found = by_inference(q, here, logged, numbers, zones, names)
    if found is None:
        return asked
    enough_s = min(found.enough_s, asked.interval.slowest_s)
    slow = _slow(found.used, enough_s, numbers)
    if slow:
        return replace(asked, too_slow=tuple(f"{text} would do to infer them" for text in slow))
    full_s = asked.interval.full_s
    not_full = [] if full_s is None else _slow(found.used, full_s, numbers)
    unsure = tuple(f"that every one was seen: {text} would do" for text in not_full[:1])
    is_known = all(x.interval_s is not None for x in found.used)
    return replace(
        asked,
        standing=INFERRED if is_known else NOT_KNOWN,
        inferred=found.says,
        cannot_tell=(*found.cannot_tell, *unsure, *asked.cannot_tell),
    )


def _slow(used: Sequence[Logged], asked_s: float, numbers: Mapping[str, float]) -> list[str]:
    """Channels read more slowly than asked, worst first, each as 'X every 60 s, 30 s'."""
    worst: dict[str, float] = {}
    for x in used:
        if x.interval_s is not None and x.interval_s > for_role(x.role, asked_s, numbers):
            worst[x.role] = max(worst.get(x.role, 0.0), x.interval_s)
    return [
        f"{PROBES[role].label} every {words.duration(has)}, "
        f"{words.duration(round_down_s(for_role(role, asked_s, numbers)))}"
        for role, has in sorted(worst.items(), key=lambda kv: -kv[1])
    ]


def _unknown(roles: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"{PROBES[r].without} (no {_lower(PROBES[r].label)})" for r in roles)


def _lower(label: str) -> str:
    """The label inside a sentence; terminals keep their capitals."""
    return (
        label
        if label.split()[0].isupper() or label[1:2].isdigit()
        else label[0].lower() + label[1:]
    )


def _channels(
    planned: Sequence[PlannedQuestion],
    logged: Sequence[Logged],
    numbers: Mapping[str, float],
    names: Mapping[int, str],
) -> tuple[PlannedChannel, ...]:
    """Every channel that is needed or helps, by its worth."""
    roles = dict.fromkeys(r for q in planned for r in (*q.needs, *q.helps))
    out = []
    for role in roles:
        needed = [q for q in planned if role in q.needs]
        helped = [q for q in planned if role in q.helps]
        asking = needed or helped
        slowest = min(for_role(role, q.interval.slowest_s, numbers) for q in asking)
        wanted = min(for_role(role, q.interval.wanted_s, numbers) for q in asking)
        probe, meaning = PROBES[role], ROLES[role]
        out.append(
            PlannedChannel(
                role=role,
                label=probe.label,
                worth=_worth(role, planned),
                zones=tuple(names.values()) if meaning.per_zone else (),
                is_state=meaning.kind == "state",
                set_to_s=round_down_s(wanted),
                slowest_s=slowest,
                needed_by=tuple(q.name for q in needed),
                helps_with=tuple(q.name for q in helped),
                where=probe.where,
                care=probe.care,
                without=probe.without,
                logged=_as_logged([x for x in logged if x.role == role]) if logged else "",
            )
        )
    order = list(PROBES)
    return tuple(
        sorted(out, key=lambda c: (not c.is_needed, -round(c.worth, 6), order.index(c.role)))
    )


def _worth(role: str, planned: Sequence[PlannedQuestion]) -> float:
    """Each subject counts one, shared among its questions; to help is worth half."""
    size = Counter(q.group for q in planned)
    return sum(
        (1.0 if role in q.needs else 0.5) / size[q.group]
        for q in planned
        if role in q.needs or role in q.helps
    )


def _as_logged(channels: Sequence[Logged]) -> str:
    if not channels:
        return NOT_LOGGED
    intervals = [x.interval_s for x in channels if x.interval_s is not None]
    if len(intervals) < len(channels):
        return "named, not loaded"
    if not any(x.is_sampled for x in channels):
        return "each change"
    return f"every {words.durations(sorted(intervals))}"
