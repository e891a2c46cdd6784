"""A plan in words for the terminal, and as a JSON document."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from pipeline import words
from pipeline.channels import OUTPUT_ROLES
from pipeline.plan.record import (
    INFERRED,
    MISSING,
    NOT_KNOWN,
    NOT_LOGGED,
    READY,
    TOO_SLOW,
    Interval,
    Plan,
    PlannedChannel,
)

DAY_S = 86_400
LEAST_WIDTH = 24
"""A column narrower than this is no longer read as text [characters]."""
BELOW = " " * 6


def headline(plan: Plan) -> str:
    """The answer in one sentence: how many channels, how fast, how long."""
    needed = [c for c in plan.channels if c.is_needed]
    fastest = plan.fastest_sampled_s
    states = any(c.is_state for c in needed)
    fast = (
        [f"temperatures and static every {words.duration(fastest)} at the fastest"]
        if fastest
        else []
    )
    if states:
        fast.append("states at each change")
    how = words.joined(fast)
    return (
        f"Log {words.count(len(needed), 'kind')} of channel "
        f"for {words.duration(plan.days * DAY_S)}, {how}."
    )


def how_long(plan: Plan) -> str:
    """Least time and weather, and what the visits cost."""
    hours = max(q.hours for q in plan.questions)
    least = max(q.days for q in plan.questions)
    rows = ""
    fastest = plan.fastest_sampled_s
    if fastest is not None:
        n = round(plan.days * DAY_S / fastest)
        days = words.duration(plan.days * DAY_S)
        rows = (
            f" {days.capitalize()} every {words.duration(fastest)} are {n:,} readings a channel: "
            "see that the logger holds them."
        )
    return (
        f"At least {words.duration(least * DAY_S)} between the visits, and {hours:g} hours in the "
        "state a question asks about; the visits themselves are left out of findings."
        f"{rows}"
    )


def standing_text(plan: Plan) -> str:
    """How the questions stand with what is logged now; '' where nothing is."""
    if not plan.has_logged:
        return ""
    n = {
        s: sum(q.standing == s for q in plan.questions)
        for s in (READY, INFERRED, MISSING, TOO_SLOW, NOT_KNOWN)
    }
    told = n[READY] + n[INFERRED]
    parts = [f"{words.of_all(told, len(plan.questions))} questions can be answered"]
    if n[INFERRED]:
        whose = "" if not n[READY] else f"{n[INFERRED]} of them "
        parts[0] += f", {whose}by what is inferred only, with the error told beside each"
    if n[MISSING]:
        parts.append(f"{n[MISSING]} lack{'s' if n[MISSING] == 1 else ''} a channel")
    if n[TOO_SLOW]:
        parts.append(f"{n[TOO_SLOW]} {'is' if n[TOO_SLOW] == 1 else 'are'} read too slowly")
    if n[NOT_KNOWN]:
        parts.append(f"{n[NOT_KNOWN]} have their channels named, not yet loaded")
    hint = "; `zonetrail load` tells the intervals" if n[NOT_KNOWN] else ""
    return f"With what is logged now: {'; '.join(parts)}{hint}.{_inferred_text(plan)}"


def _inferred_text(plan: Plan) -> str:
    """What supply and return air alone still show; '' where an output is logged or one of them not.

    The review infers runs from both where no output is logged.
    """
    have = {c.role for c in plan.channels if c.logged not in ("", NOT_LOGGED)}
    if not {"supply_temp", "return_temp"} <= have or have & set(OUTPUT_ROLES):
        return ""
    return (
        " No output is logged: from supply and return air, read every minute or faster, run time, "
        "starts and short cycling are inferred, with an expected error; limits and stages are not."
    )


def set_to(channel: PlannedChannel) -> str:
    """How the channel is to be set: 'each change (or 5 s)', 'every 30 s'."""
    every = words.duration(channel.set_to_s)
    return f"each change, or {every}" if channel.is_state else f"every {every}"


def interval_text(slowest_s: float) -> str:
    """A bound as it is said; half seconds kept."""
    return f"{slowest_s:g} s" if slowest_s < 90 else words.duration(slowest_s)


def slowest_text(interval: Interval) -> str:
    """Both bounds: '60 s' or '60 s; 30 s for all of it'."""
    said = interval_text(interval.slowest_s)
    full_s = interval.full_s
    return said if full_s is None else f"{said}; {interval_text(full_s)} for all of it"


def asked_text(plan: Plan) -> str:
    """What was asked for."""
    return words.joined(plan.asked) if plan.asked else "all that this equipment can show"


def plan_text(plan: Plan, width: int = 100) -> str:
    """The plan for a terminal: the answer, the channels, the questions, what to mind."""
    lines = [_wrapped(f"{plan.name}: {headline(plan)}", width), _wrapped(how_long(plan), width)]
    if plan.has_logged:
        lines.append(_wrapped(standing_text(plan), width))
    out = ["\n".join(lines)]
    needed = [c for c in plan.channels if c.is_needed]
    more = [c for c in plan.channels if not c.is_needed]
    out.append(
        _channel_table(f"Channels for {asked_text(plan)}, worth most first:", needed, plan, width)
    )
    if more:
        out.append(
            _channel_table(
                "These settle causes; no question fails without them:", more, plan, width
            )
        )
    rows = []
    for q in plan.questions:
        if q.standing == INFERRED:
            note = q.inferred
        elif q.standing in (None, READY, NOT_KNOWN):
            note = q.standing or ""
        else:
            lacks = [f"no {m}" for m in q.missing] + list(q.too_slow)
            note = "; ".join(lacks)
        name = q.name + ("" if q.is_judged else " *")
        rows.append((name, slowest_text(q.interval), q.state, note))
    out.append(
        "Questions, slowest interval that still answers, state that must occur:\n"
        + _table(rows, width)
    )
    if any(not q.is_judged for q in plan.questions):
        out[-1] += "\n  * shown, not yet judged by a rule of this version: log it now all the same"
    if plan.not_here:
        out.append(
            "Not on this equipment: "
            + "; ".join(f"{t.lower()} ({why})" for t, why in plan.not_here)
        )
    out.append("Take care:\n" + "\n".join(_wrapped(t, width, "  - ") for t in plan.cautions[:5]))
    return "\n\n".join(out)


def _channel_table(title: str, channels: Sequence[PlannedChannel], plan: Plan, width: int) -> str:
    rows = []
    for c in channels:
        zones = f" × {len(c.zones)}" if len(c.zones) > 1 else ""
        rows.append((c.label + zones, set_to(c), _place(c)))
    return f"{title}\n{_table(rows, width)}"


def _place(channel: PlannedChannel) -> str:
    """Where it goes; where it is logged already, how."""
    if channel.logged in ("", NOT_LOGGED):
        lead = f"{NOT_LOGGED}; " if channel.logged else ""
        return lead + channel.where
    return channel.logged


def _table(rows: Sequence[tuple[str, ...]], width: int) -> str:
    """Columns side by side, the last one wrapped; under its row where little room is left."""
    widths = [max(len(r[k]) for r in rows) for k in range(len(rows[0]) - 1)]
    is_below = width - sum(widths) - 2 * len(rows[0]) < LEAST_WIDTH
    out = []
    for row in rows:
        lead = (
            "  " + "  ".join(cell.ljust(w) for cell, w in zip(row[:-1], widths, strict=True)) + "  "
        )
        if is_below:
            out.append(lead.rstrip())
            if row[-1]:
                out.append(_wrapped(row[-1], width, BELOW))
            continue
        out.append(_wrapped(row[-1], width, lead).rstrip() or lead.rstrip())
    return "\n".join(out)


def _wrapped(text: str, width: int, lead: str = "") -> str:
    return textwrap.fill(text, width, initial_indent=lead, subsequent_indent=" " * len(lead))


def plan_document(plan: Plan) -> dict[str, object]:
    """The plan as JSON: schema zonetrail.plan/1; intervals in s, lengths in days and hours."""
    return {
        "schema": "zonetrail.plan/1",
        "site": plan.site_id,
        "name": plan.name,
        "kind": plan.kind,
        "asked": list(plan.asked),
        "days": plan.days,
        "channels": [
            {
                "role": c.role,
                "label": c.label,
                "zones": list(c.zones),
                "worth": round(c.worth, 3),
                "needed_by": list(c.needed_by),
                "helps_with": list(c.helps_with),
                "log": "each change" if c.is_state else "every interval",
                "interval_s": c.set_to_s,
                "interval_max_s": c.slowest_s,
                "where": c.where,
                "care": c.care,
                "without": c.without,
                "logged": c.logged or None,
            }
            for c in plan.channels
        ],
        "questions": [
            {
                "name": q.name,
                "group": q.group,
                "question": q.question,
                "judged": q.is_judged,
                "needs": list(q.needs),
                "helps": list(q.helps),
                "interval_max_s": q.interval.slowest_s,
                "interval_full_s": q.interval.full_s,
                "why": q.interval.why,
                "state": q.state,
                "weather": q.weather,
                "least_hours": q.hours,
                "least_days": q.days,
                "also": q.also or None,
                "standing": q.standing,
                "inferred": q.inferred or None,
                "missing": list(q.missing),
                "too_slow": list(q.too_slow),
                "cannot_tell": list(q.cannot_tell),
            }
            for q in plan.questions
        ],
        "not_here": [{"question": title, "why": why} for title, why in plan.not_here],
        "facts": [
            {
                "at": s.title,
                "first": s.first,
                "read": [
                    {"key": f.key, "label": f.label, "write": f.write, "given": f.given or None}
                    for f in s.facts
                ],
            }
            for s in plan.stations
        ],
        "cautions": list(plan.cautions),
    }
