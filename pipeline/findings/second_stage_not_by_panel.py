"""Furnace stages itself: more heat comes some minutes after W1, with W2 off all the time.

What it says
    In how many burner runs static and supply air stepped up together at one and the same time
    after W1, with calls, dampers and outputs unchanged.

Why it matters
    The furnace goes to second stage whatever zones call: the panel's minimum zones and its delay
    are passed by, and one small zone gets all of it.

What looks like it but is not
    A damper that closes: static goes up, and a damper moved. A blower that ramps in its first
    minutes. A relief damper that answers: static goes down.

Source
    Common practice, no source: board timers are set to 5 to 20 min.
"""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import _cautions, _occurrences
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
from pipeline.findings._occurrences import Occurrences
from pipeline.findings._site import SiteFrames, flags


def _board_timer(e: Occurrences) -> Weighed:
    after = e.values("step_after_s")
    said = f"the step comes {words.durations(after)} after W1"
    return (
        Weighed(Weight.STRONG, f"{said}: always the same time, as a timer's")
        if after
        else Weighed(Weight.FITS, said)
    )


def _w2_joined(e: Occurrences) -> Weighed:
    if e.more["w2_s"]:
        return Weighed(
            Weight.AGAINST, f"the panel had W2 on for {words.hours(e.more['w2_s'])} at other times"
        )
    return Weighed(Weight.FITS, "the panel never had W2 on in the whole log")


FINDING = Declaration(
    title="Furnace stages itself",
    question="Does more heat come after some minutes with the panel's W2 off?",
    needs_tables=("measure.equipment_stage", "measure.condition_time"),
    needs_roles=(("output_w1",), ("output_w2",), ("static_pressure",), ("supply_temp",)),
    compares=("static_pressure", "supply_temp"),
    figure="static",
    thresholds=("equipment_stage_min_runs", "equipment_stage_share", "judged_min_h"),
    causes=(
        Cause(
            "the furnace's board is set to time its own second stage",
            "Raised when the step comes at one time after W1 in most runs.",
            _board_timer,
        ),
        Cause(
            "W2 is not wired from the panel, or lies on the furnace's W1",
            "Raised when the panel never has W2 on; lowered when it has.",
            _w2_joined,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "W2 wire at the panel; is it set to decide on second stage?",
            "wired, and the panel decides",
            "ask who is meant to decide, then wire and set it so",
        ),
        Check(
            "unit",
            "board's stage setting and the W2 wire at the furnace; time second stage with W1 only",
            "board set to let the thermostat or panel decide, no second stage on W1 alone",
            "set it by the equipment's instructions; check the rise on both stages after",
        ),
    ),
    cautions=(
        _cautions.GAS,
        _cautions.SETTINGS,
        _cautions.LIMIT,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "A damper that closes: a damper's output changed at that moment.",
        "Second stage with too few zones: there the panel has W2 on.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when the step repeats at one time after W1 in so many runs; plan."""
    if site.equipment.get("staged_by") == "modulating":
        return CannotTell("the equipment modulates: heat goes up and down by itself")
    rows = site.table("measure.equipment_stage")
    rows = rows.rename(columns={"looked_until_ts": "end_ts"})
    heat_s = site.seconds_in(["heating"], sources=["burner", "both"])
    every = _occurrences.load(
        site,
        rows,
        heat_s,
        "gas heat",
        w2_s=site.seconds_in(["heating"], stage=2, sources=["burner", "both"]),
    )
    if every.n < site.threshold("equipment_stage_min_runs") or not every.can_judge:
        return CannotTell(
            f"{words.count(every.n, 'burner run')} stood long enough on W1 alone with calls and "
            "dampers unchanged"
        )
    e = every.where(flags(every.rows["is_repeatable"]))
    if not e.n:
        return NotFound(
            "no step in supply air that repeats, in "
            f"{words.count(every.n, 'burner run')} on W1 alone"
        )
    return _occurrences.found(
        e,
        severity="plan",
        certainty="likely",
        headline=(
            f"the furnace goes to second stage by itself, "
            f"{words.duration(median(e.values('step_after_s')))} after W1 with W2 off, in "
            f"{words.count(e.n, 'burner run')}"
        ),
        details=(
            f"static stepped up by {site.statics(e.values('static_step_inwc'))} and supply air by "
            f"{site.temperature_difference(median(e.values('supply_step_f')))} typically, calls "
            "and dampers unchanged",
        ),
        label="steps up with W2 off",
        say=lambda r: (
            f"static up by {site.static(float(r.static_step_inwc))} and supply air by "
            f"{site.temperature_difference(float(r.supply_step_f))}, "
            f"{words.duration(float(r.step_after_s))} after W1"
        ),
        worth=lambda r: float(r.supply_step_f),
        columns=(
            ("After W1", lambda r: words.duration(float(r.step_after_s))),
            ("Static by", lambda r: site.static(float(r.static_step_inwc))),
            ("Supply air by", lambda r: site.temperature_difference(float(r.supply_step_f))),
        ),
    )
