"""Call without output: a zone calls and nothing heats or cools, beyond every honest wait.

What it says
    How often, how long, and which zone called, with the waits that explain a silence taken off.

Why it matters
    A zone whose call never arrives is cold whatever the equipment does; a whole system that does
    not answer is a house without heat.

What looks like it but is not
    Compressor minimum-off, start delay after a dropout, a damper on its way, recovery from a limit
    trip, the other mode's turn, outdoor lockout, a float switch, leak control or fault contact.

Source
    Common practice, no source.
"""

from __future__ import annotations

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _episodes, _held
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
from pipeline.findings._site import SiteFrames, flags


def _one_zone(e: Episodes) -> Weighed:
    zones, n = e.more["zones"], e.more["n_alone"]
    who = e.site.zones(zones)
    answered_s = e.more["answered_s"]
    said = f"{words.of_all(n, e.n, 'unanswered call')} came with {who} alone calling"
    if n < e.site.threshold("cause_share_min_frac") * e.n:
        return Weighed(Weight.AGAINST, said)
    if answered_s:
        return Weighed(
            Weight.FITS, f"{said}; it alone was answered for {words.hours(answered_s)} too"
        )
    return Weighed(
        Weight.STRONG,
        f"{said}, and its call alone was never answered, while other zones had "
        f"{words.hours(e.state_s)} of heat and cooling",
    )


def _whole_system(e: Episodes) -> Weighed:
    several = e.n - e.more["n_alone"]
    said = (
        f"{words.of_all(several, e.n, 'unanswered call')} came with other or several zones calling"
    )
    if several == 0 and not e.more["answered_s"]:
        return Weighed(Weight.RULED_OUT, f"other zones' calls were answered; {said}")
    share = 1 - e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.FITS if several > share * e.n else Weight.AGAINST, said)


def _hidden_contact(e: Episodes) -> Weighed:
    cooling = sum(r.mode == "cooling" for r in e.rows)
    said = f"{words.of_all(cooling, e.n, 'unanswered call')} asked for cooling"
    if cooling == 0:
        return Weighed(Weight.RULED_OUT, f"{said}: a float stops cooling only")
    return Weighed(Weight.OPEN, f"{said}; the float switch was not logged")


FINDING = Declaration(
    title="Call with no output",
    question="Does the panel answer every call once its normal waits are over?",
    needs_tables=(
        "interval.call_unanswered",
        "interval.condition",
        "interval.weather",
        "measure.condition_time",
        "signal.state",
    ),
    needs_roles=(
        ("output_w1", "output_y1", "output_aux"),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="conditions",
    thresholds=(
        "unanswered_min_s",
        "unanswered_min_events",
        "unanswered_act_s",
        "freezing_f",
        "held_fan_share",
        "held_open_share",
        "held_min_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "that zone's call does not reach the panel: wire, terminal, zone switched off there",
            "Raised when nearly all come with one zone alone, most when its call alone was never "
            "answered while others were.",
            _one_zone,
        ),
        Cause(
            "the panel or the equipment holds off: lockout, its own safety, wrong mode",
            "Raised when several zones call in vain. Ruled out when only one zone's calls go "
            "unanswered.",
            _whole_system,
            not_it="the panel or equipment as a whole",
        ),
        Cause(
            "a float or condensate switch that is not logged",
            "Ruled out when none is a cooling call.",
            _hidden_contact,
            not_it="a float switch",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "in {zone}: call, and measure 24 V between W (Y) and C at the thermostat",
            "24 V while it calls",
            "the thermostat or its power is at fault",
        ),
        Check(
            "panel",
            "same call: the zone's lamp and 24 V at its W (Y) terminal",
            "lamp on, 24 V, output on within the waits it is set for",
            "no 24 V: the wire between; 24 V and no lamp: the terminal or the zone's switch",
        ),
        Check(
            "panel",
            "what does its display or lamp say it waits for: limit, lockout, other mode, purge?",
            "nothing once its timers are over",
            "go after what it names",
        ),
    ),
    cautions=(
        _cautions.ELECTRICITY,
        _cautions.OWN_LIMIT,
        _cautions.CODES_FIRST,
        _cautions.SETTINGS,
    ),
    confused_with=(
        "Float switch: cooling only, drops in the middle of a run, fan stays on.",
        "No heat: there W is on and supply air stays cold.",
    ),
    symptom_of=("fault-contact", "power-dropout", "float-switch", "leak-control"),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three unanswered calls; act where several zones are left cold in frost."""
    table = site.table("interval.call_unanswered")
    rows = table[flags(table["is_unanswered"])]
    held = [h for h in _held.periods(site) if h.kind]
    in_held = [any(h.start_ts <= ts < h.end_ts for h in held) for ts in rows["call_ts"]]
    rows = rows[~pd.Series(in_held, index=rows.index, dtype=bool)]
    rows = _episodes.with_outdoor(site, rows)
    run_s = site.seconds_in(["heating", "cooling"])
    sizes = rows.loc[~flags(rows["in_visit"]), "zones"].fillna("").value_counts()
    top = str(sizes.index[0]) if len(sizes) else ""
    e = _episodes.episodes(
        site,
        rows,
        state_s=run_s,
        state="heat and cooling",
        more={
            "zones": top,
            "n_alone": int(sizes.iloc[0]) if "+" not in top and top else 0,
            "answered_s": site.seconds_in(["heating", "cooling"], zones=top) if top else 0.0,
        },
    )
    if e.n < site.threshold("unanswered_min_events"):
        if run_s < site.threshold("judged_min_h") * 3600 and not e.n:
            return CannotTell(words.only(run_s, "heat and cooling"))
        return NotFound(
            f"{words.count(e.n, 'call')} waited longer than the panel's normal waits explain, "
            f"beside {words.hours(run_s)} of heat and cooling"
        )
    heat = sum(r.mode == "heating" for r in e.rows) * 2 >= e.n
    return _episodes.found(
        e,
        severity=_severity(e, heat=heat),
        headline=(
            f"{words.count(e.n, 'call')} for {'heat' if heat else 'cooling'} went unanswered for "
            f"longer than any normal wait, {e.how_long}{e.callers()}{e.outdoor()}"
        ),
        aside="calls that no output answers",
        label="no answer",
        say=lambda r: f"{site.calling(r.zones)}, no answer for {words.duration(r.length_s)}",
        columns=(
            *_episodes.span_columns(site),
            ("For heat or cooling", lambda r: "heat" if r.mode == "heating" else "cooling"),
            *_episodes.calling_column(site),
            *_episodes.outdoor_column(site),
        ),
        fill={"zone": site.zones(top)},
    )


def _severity(e: Episodes, *, heat: bool) -> str:
    site, outdoor = e.site, e.numbers("outdoor_f")
    several = e.more["n_alone"] < site.threshold("cause_share_min_frac") * e.n
    frost = bool(outdoor) and min(outdoor) <= site.threshold("freezing_f")
    if heat and several and frost and e.total_s >= site.threshold("unanswered_act_s"):
        return "act"
    return "plan" if e.is_persistent() else "watch"
