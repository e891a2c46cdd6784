"""Float switch: cooling is held off with calls standing and the fan on, as by a full drain pan.

What it says
    When and how long cooling was held off, and whether a float switch was seen to open.

Why it matters
    The drain is blocked: the next thing is water in the ceiling. The house is warm meanwhile.

What looks like it but is not
    A low-limit trip (supply air near the limit), a compressor's wait, leak control (all dampers
    open), the other mode's turn, a call that never reaches the panel (no fan).

Source
    Common practice, no source.
"""

from __future__ import annotations

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
from pipeline.units import MICROSECONDS


def _drain(e: Episodes) -> Weighed:
    if e.more["logged"]:
        return Weighed(Weight.STRONG, f"the float switch opened {words.times(e.n)}")
    in_run = sum(bool(r.in_run) for r in e.rows)
    return Weighed(
        Weight.FITS,
        f"cooling went off {words.times(e.n)} with zones still calling and the fan on, "
        f"{words.of_all(in_run, e.n, 'time')} in the middle of a run, and came back by itself",
    )


def _compressor_side(e: Episodes) -> Weighed:
    return Weighed(
        Weight.AGAINST,
        f"Y itself went off {words.times(e.n)}: a compressor's own protection leaves Y on",
    )


def _leak(e: Episodes) -> Weighed:
    shares = [s for r in e.rows if (s := r.open_share) is not None]
    if not shares:
        return Weighed(Weight.OPEN, "the dampers of zones that do not call were not logged")
    said = (
        f"dampers that nobody called for were open for {words.share(max(shares))} of that time at "
        "the most"
    )
    return Weighed(Weight.RULED_OUT, said)


FINDING = Declaration(
    title="Cooling held off as by a float switch",
    question="Is cooling held off for long while zones call for it and the fan runs?",
    needs_tables=(
        "interval.call_unanswered",
        "interval.condition",
        "interval.weather",
        "signal.state",
        "measure.condition_time",
    ),
    needs_roles=(("output_y1",), ("zone_call_y1",)),
    figure="conditions",
    thresholds=(
        "held_min_s",
        "held_fan_share",
        "held_open_share",
        "held_act_s",
        "fault_debounce_s",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "drain blocked, pan full: the float or condensate switch opened",
            "Raised when the switch was logged open; else it is what takes Y away and leaves the "
            "fan.",
            _drain,
        ),
        Cause(
            "leak control of the refrigerant",
            "Ruled out when dampers that nobody called for stayed shut.",
            _leak,
            not_it="leak control",
        ),
        Cause(
            "the compressor's own protection",
            "Lowered because Y itself goes off.",
            _compressor_side,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "which input or message holds cooling off? Photograph it",
            "none when the pan is dry",
            "float: go to the unit with a pump and a wet vacuum",
        ),
        Check(
            "unit",
            "drain line, trap, pan and float switch; pour water in and watch it go",
            "runs off at once, switch closed, pan dry",
            "clear the drain and clean the trap; look for ice before",
        ),
        Check(
            "ducts",
            "look at the ceiling under the unit",
            "dry",
            "tell the customer today and keep cooling off until the pan drains",
        ),
    ),
    cautions=(_cautions.OWN_LIMIT, _cautions.ICE, _cautions.REFRIGERANT, _cautions.ELECTRICITY),
    confused_with=(
        "Low-limit trip: there supply air is near the limit when cooling goes off.",
        "Leak control: there every damper opens.",
        "A call that never arrives: there the fan stays off.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from one stretch; act by hours held off, shown where the switch was logged."""
    cool_s = site.seconds_in(["cooling"])
    state = site.table("signal.state")
    switch = state[(state["role"] == "float_switch") & flags(state["is_on"])]
    lengths_s = (switch["end_ts"] - switch["start_ts"]) / MICROSECONDS
    switch = switch[lengths_s >= site.threshold("fault_debounce_s")]
    opened = _episodes.episodes(site, switch, state_s=cool_s, state="cooling")
    held = [h for h in _held.periods(site) if h.kind == "float"]
    if opened.n:
        rows = tuple(
            _held.Held(int(r.start_ts), int(r.end_ts), 0, "", 1.0, None, "float", False)
            for r in opened.rows
        )
    else:
        rows = tuple(held)
    if not rows:
        if cool_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(cool_s, "cooling"))
        return NotFound(
            f"cooling was never held off with the fan on, in {words.hours(cool_s)} of cooling"
        )
    e = Episodes(site, rows, cool_s, "cooling", {"logged": bool(opened.n)})
    outdoors = [v for r in rows if (v := _episodes.outdoor_at(site, r.start_ts)) is not None]
    weather = f", outdoor air {site.temperatures(outdoors)}" if outdoors else ""
    lasting = sum(e.lengths_s) >= site.threshold("held_act_s")
    what = (
        "the float switch opened"
        if opened.n
        else "cooling was held off with zones calling, as a float switch does on a full pan,"
    )
    return _episodes.found(
        e,
        severity="act" if lasting else "plan",
        certainty="shown" if opened.n else "likely",
        headline=(f"{what} {words.times(e.n)}, {e.how_long}, fan on{weather}"),
        aside="cooling held off as by a float switch",
        label="held off",
        say=lambda r: f"cooling held off for {words.duration(r.length_s)}, fan on",
        columns=(
            *_episodes.span_columns(site, "Held off from"),
            *_episodes.calling_column(site),
            ("In a run", lambda r: "yes" if r.in_run else "no"),
        ),
    )
