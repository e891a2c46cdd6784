"""No heat: the furnace is asked for heat and supply air stays cold.

What it says
    For how long W stood at the furnace while supply air was no warmer than return air needs to be
    to heat, how often, and in what weather.

Why it matters
    People and pipes: in freezing weather this is a call today, not a line in a report.

What looks like it but is not
    The first minutes of a run: ignition and fan delay. A limit trip, where supply air is hot. A
    furnace whose blower stands: the probe in still air shows the heat, or nothing.

Source
    Common practice, no source.
"""

from __future__ import annotations

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
from pipeline.findings._site import SiteFrames, flags


def _lockout(e: Episodes) -> Weighed:
    lit = sum(r.judged_s > r.cold_s for r in e.rows)
    said = f"it did heat for a part of the time in {words.of_all(lit, e.n, 'such run')}"
    if lit:
        return Weighed(Weight.STRONG, f"{said}: it lights, or tries again after a lockout")
    return Weighed(Weight.FITS, f"{said}; some furnaces try again after an hour, some never")


def _no_gas(e: Episodes) -> Weighed:
    lit = any(r.judged_s > r.cold_s for r in e.rows)
    said = "it did heat in between" if lit else f"it heated in {words.of_all(0, e.n, 'such run')}"
    return Weighed(Weight.AGAINST if lit else Weight.FITS, said)


def _open_safety(e: Episodes) -> Weighed:
    if "fault_contact" in e.site.logged_roles:
        n = e.more["n_fault"]
        said = f"the fault contact closed in {words.of_all(n, e.n, 'such run')}"
        return Weighed(Weight.FITS if n else Weight.OPEN, said)
    return Weighed(Weight.OPEN, "the fault contact was not logged")


FINDING = Declaration(
    title="No heat",
    question="Does supply air warm up when the furnace is asked for heat?",
    needs_tables=("interval.source_response", "signal.state"),
    needs_roles=(("supply_temp",), ("return_temp",), ("output_w1",)),
    figure="rise",
    thresholds=(
        "response_judged_s",
        "response_cold_f",
        "no_heat_min_s",
        "no_heat_share",
        "no_heat_act_s",
        "freezing_f",
    ),
    causes=(
        Cause(
            "it does not light or does not hold its flame, and locks out: flame sensing, igniter, "
            "pressure switch, drain, vent",
            "Raised when the same runs also held heat.",
            _lockout,
        ),
        Cause(
            "gas shut off or empty, switch or breaker at the unit off",
            "Raised when it never heated, lowered when it did in between.",
            _no_gas,
        ),
        Cause(
            "a safety of the furnace stays open: rollout, own limit, door switch",
            "Raised when the fault contact closed in these runs.",
            _open_safety,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "phone first: is anybody old, ill or an infant without heat; how cold is it inside?",
            "the house is warm some other way",
            "have it checked today",
        ),
        Check(
            "unit",
            "read and photograph the board's fault codes before power is cycled; W at the board",
            "24 V at W, a code that names the step it stops at",
            "follow the maker's sequence from that step",
        ),
        Check(
            "unit",
            "gas cock and tank, pressure switch and its tube, drain, vent ends, flame signal: "
            "by a licensed technician",
            "as the plate and the maker's instructions give them",
            "repair by a licensed technician, then a combustion check",
        ),
    ),
    cautions=(
        _cautions.NO_HEAT,
        _cautions.CARBON_MONOXIDE,
        _cautions.GAS,
        _cautions.OWN_LIMIT,
        _cautions.CODES_FIRST,
        _cautions.HEAT_OFF,
        _cautions.ELECTRICITY,
    ),
    confused_with=(
        "High-limit trips: there supply air is hot when the heat goes off.",
        "A call that no output answers: there W never comes on.",
    ),
    symptom_of=("ignition-slow", "fault-contact"),
    suppresses=("second-stage-no-effect",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from half an hour of cold W that is a share of the furnace's time; act by hours."""
    if not site.equipment.get("has_burner"):
        return CannotTell("there is no furnace")
    table = site.table("interval.source_response")
    runs = table[(table["source"] == "burner") & (table["judged_s"] > 0)]
    judged_s = float(runs["judged_s"].sum())
    if judged_s < site.threshold("no_heat_min_s"):
        return CannotTell(words.only(judged_s, "furnace runs old enough to judge"))
    least_s = site.threshold("response_judged_s")
    cold = runs[runs["cold_s"] >= least_s]
    cold_s = float(cold["cold_s"].sum())
    if cold_s < site.threshold("no_heat_min_s") or cold_s < (
        site.threshold("no_heat_share") * judged_s
    ):
        return NotFound(
            f"supply air was warm in {words.hours_of(judged_s - cold_s, judged_s)} of furnace "
            "runs past their first minutes"
        )
    e = _episodes.episodes(
        site,
        cold.drop(columns=["in_visit"]).assign(in_visit=False),
        state_s=judged_s,
        state="furnace runs",
        more={"n_fault": _faults(site, cold)},
    )
    outdoor = e.numbers("outdoor_f")
    freezing = bool(outdoor) and min(outdoor) <= site.threshold("freezing_f")
    lasting = cold_s >= site.threshold("no_heat_act_s")
    return _episodes.found(
        e,
        severity="act" if lasting else "plan",
        headline=(
            "no heat: W was on at the furnace and supply air stayed cold for "
            f"{words.hours_of(cold_s, judged_s)}, in "
            f"{words.count(e.n, 'run')}{e.outdoor()}"
        ),
        aside="the furnace did not heat with W on",
        label="no heat",
        say=lambda r: f"W on for {words.duration(r.on_s)}, cold for {words.duration(r.cold_s)}",
        detail=["It froze outside: people and pipes first, by phone, today"] if freezing else [],
        columns=(
            *_episodes.span_columns(site, "W on"),
            ("Cold for", lambda r: words.duration(r.cold_s)),
            ("First warm after", lambda r: _episodes.dash(r.to_heat_s, words.duration)),
            *_episodes.outdoor_column(site),
        ),
        worth=lambda r: float(r.cold_s),
    )


def _faults(site: SiteFrames, runs: pd.DataFrame) -> int:
    """Runs in which the fault contact closed."""
    state = site.table("signal.state")
    closed = state[(state["role"] == "fault_contact") & flags(state["is_on"])]
    return sum(
        bool(((closed["start_ts"] < r.end_ts) & (closed["end_ts"] > r.start_ts)).any())
        for r in runs.itertuples()
    )
