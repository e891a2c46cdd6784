"""Fault contact: the equipment reported a fault of its own.

What it says
    How often and how long the contact was closed, what ran and called when it closed, and whether
    calls went without heat or cooling meanwhile.

Why it matters
    The equipment's board knows what went wrong and keeps a code; cycling power erases it.

What looks like it but is not
    A contact that is normally closed, or told the wrong way round. Flashes of a second or two: a
    code, counted as one. The visit itself.

Source
    Common practice, no source.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _episodes
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._episodes import Episodes
from pipeline.findings._site import SiteFrames, flags, records
from pipeline.units import MICROSECONDS


def _lockout(e: Episodes) -> Weighed:
    idle_s = sum(r.unserved_s for r in e.rows)
    if idle_s:
        return Weighed(
            Weight.STRONG,
            f"zones called and got no warm or cool air for {words.hours(idle_s)} of the "
            f"{words.hours(e.total_s)} it was closed",
        )
    return Weighed(
        Weight.FITS,
        "heat or cooling ran on, or nothing called, through the "
        f"{words.hours(e.total_s)} it was closed",
    )


def _state(e: Episodes) -> Weighed:
    kinds = [r.doing for r in e.rows]
    top = max(sorted(set(kinds)), key=kinds.count)
    n = kinds.count(top)
    return Weighed(Weight.OPEN, f"{words.of_all(n, e.n, 'closing')} began with {top}")


FINDING = Declaration(
    title="Fault contact closed",
    question="Did the equipment report a fault?",
    needs_tables=(
        "signal.state",
        "interval.condition",
        "interval.weather",
        "interval.source_response",
    ),
    needs_roles=(("fault_contact",),),
    thresholds=(
        "fault_debounce_s",
        "fault_normally_closed_share",
        "fault_plan_s",
        "fault_act_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
    ),
    causes=(
        Cause(
            "a lockout or safety of the equipment: what its board's code names",
            "Raised when calls went without heat or cooling while it was closed.",
            _lockout,
        ),
        Cause(
            "something that happens only in one way of running",
            "Goes by what ran when it closed.",
            _state,
        ),
    ),
    check_next=(
        Check(
            "unit",
            "read and photograph the fault codes and their history before power is cycled",
            "the code names the step",
            "follow the maker's table from that code",
        ),
        Check(
            "panel",
            "which contact is it, normally open or closed, and what does it watch?",
            "as site.toml says",
            "correct site.toml and review again",
        ),
    ),
    cautions=(
        _cautions.CODES_FIRST,
        _cautions.OWN_LIMIT,
        _cautions.GAS,
        _cautions.ELECTRICITY,
    ),
    confused_with=(
        "A contact that site.toml has the wrong way round: then it is closed nearly all the time.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from one closing of five seconds; plan by time or number, act by hours unserved."""
    state = site.table("signal.state")
    contact = state[state["role"] == "fault_contact"]
    closed = contact[flags(contact["is_on"])]
    known_s = float((contact["end_ts"] - contact["start_ts"]).sum()) / MICROSECONDS
    closed_s = float((closed["end_ts"] - closed["start_ts"]).sum()) / MICROSECONDS
    often = closed_s > site.threshold("fault_normally_closed_share") * known_s
    if known_s and often and _closed_in_good_runs(site, closed):
        return CannotTell(
            f"it reads closed {words.share(closed_s / known_s)} of the time: a normally closed "
            "contact, or site.toml has it the wrong way round"
        )
    lengths_s = (closed["end_ts"] - closed["start_ts"]) / MICROSECONDS
    long = lengths_s >= site.threshold("fault_debounce_s")
    base = _episodes.episodes(site, closed[long], state_s=known_s, state="log")
    n_flash = int((~long).sum())
    flash = f"; {words.count(n_flash, 'flash', 'flashes')} shorter than that" if n_flash else ""
    if not base.n:
        return NotFound(f"never closed for {site.threshold('fault_debounce_s'):g} s or more{flash}")
    condition = records(site.table("interval.condition").rename(columns={"class": "cls_name"}))
    e = Episodes(site, tuple(_with_context(site, condition, r) for r in base.rows), known_s, "log")
    unserved_s = sum(r.unserved_s for r in e.rows)
    if unserved_s >= site.threshold("fault_act_s"):
        severity = "act"
    elif e.is_persistent() or e.total_s >= site.threshold("fault_plan_s"):
        severity = "plan"
    else:
        severity = "watch"
    idle = (
        [f"Zones called with nothing running for {words.hours(unserved_s)} of it"]
        if unserved_s
        else []
    )
    return _episodes.found(
        e,
        severity=severity,
        headline=f"the equipment's fault contact closed {words.times(e.n)}, {e.how_long}{flash}",
        aside="the equipment reported a fault",
        label="fault",
        say=lambda r: f"fault contact closed for {words.duration(r.length_s)}, {r.doing}",
        detail=idle,
        columns=(
            *_episodes.span_columns(site, "Closed"),
            ("What ran", lambda r: r.doing),
            *_episodes.calling_column(site),
            *_episodes.outdoor_column(site),
        ),
    )


def _closed_in_good_runs(site: SiteFrames, closed: pd.DataFrame) -> bool:
    """Whether it is closed while heat and cooling come as they should: then it is no fault."""
    runs = site.table("interval.source_response")
    good = runs[(runs["source"] == "compressor") | (runs["to_heat_s"].notna())]
    good = good[(good["cold_s"] == 0) & (good["judged_s"] > 0)]
    n = sum(
        bool(((closed["start_ts"] <= ts) & (closed["end_ts"] >= ts)).any()) for ts in good["end_ts"]
    )
    return n * 2 > len(good) if len(good) else runs.empty


def _with_context(site: SiteFrames, condition: list[Any], row: Any) -> Any:
    """The closing with what ran and called when it began, and the time calls stood idle."""
    start, end = int(row.start_ts), int(row.end_ts)
    inside = [c for c in condition if c.start_ts < end and c.end_ts > start]
    idle = sum(
        min(c.end_ts, end) - max(c.start_ts, start)
        for c in inside
        if c.cls_name not in ("heating", "cooling", "unknown")
        and ((c.n_heat or 0) > 0 or (c.n_cool or 0) > 0)
    )
    first = inside[0] if inside else None
    doing = {"heating": "heat on", "cooling": "cooling on"}.get(
        first.cls_name if first else "", "nothing running"
    )
    zones = None if first is None else (first.heat_zones or first.cool_zones)
    return SimpleNamespace(
        start_ts=start,
        end_ts=end,
        length_s=(end - start) / MICROSECONDS,
        doing=doing,
        zones=zones,
        unserved_s=idle / MICROSECONDS,
        outdoor_f=_episodes.outdoor_at(site, start),
    )
