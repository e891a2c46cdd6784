"""Heating with cooling: the compressor cools when heat is called for, or heats in cooling.

What it says
    For how much of the compressor's time supply air was colder than return air with heat called
    for, or warmer with cooling called for.

Why it matters
    The house gets the opposite of what it asks for while the compressor runs without end; backup
    heat then hides it and is paid for.

What looks like it but is not
    Defrost, for ten minutes. O/B told the other way round in the log: then the air agrees with the
    calls. Supply and return probes exchanged: then burner heat looks cold too.

Source
    Common practice, no source.
"""

from __future__ import annotations

from typing import Any

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
from pipeline.findings._site import SiteFrames, flags, number, records


def _valve(e: Episodes) -> Weighed:
    said = f"{words.of_all(e.n, e.more['n_runs'], 'compressor run')} had the wrong air"
    if "output_ob" not in e.site.logged_roles:
        return Weighed(Weight.FITS, f"{said}; O/B out was not logged")
    right = sum(r.mode == r.called for r in e.rows)
    said += f"; O/B out was as called for in {words.of_all(right, e.n, 'such run')}"
    if right == 0:
        return Weighed(Weight.AGAINST, said)
    return Weighed(Weight.STRONG if right == e.n else Weight.FITS, said)


def _output(e: Episodes) -> Weighed:
    if "output_ob" not in e.site.logged_roles:
        return Weighed(Weight.OPEN, "O/B out was not logged")
    wrong = sum(r.mode != r.called for r in e.rows)
    said = f"O/B out was set against the call in {words.of_all(wrong, e.n, 'such run')}"
    return Weighed(Weight.STRONG if wrong else Weight.RULED_OUT, said)


def _probes(e: Episodes) -> Weighed:
    cold = e.more["burner_over_f"]
    if cold is None:
        return Weighed(Weight.OPEN, "no gas or strip heat by itself in this log to compare with")
    side = "over" if cold > 0 else "under"
    apart = e.site.temperature_difference(abs(cold))
    said = f"with gas or strip heat supply was {apart} {side} return"
    if cold > 0:
        return Weighed(Weight.RULED_OUT, said)
    return Weighed(Weight.STRONG, f"{said}: the probes are swapped")


FINDING = Declaration(
    title="Compressor does the opposite",
    question="Does the compressor heat when heat is called for, and cool when cooling is?",
    needs_tables=("interval.source_response",),
    needs_roles=(("supply_temp",), ("return_temp",), ("output_y1",)),
    figure="rise",
    thresholds=(
        "opposite_air_f",
        "opposite_share",
        "opposite_min_s",
        "response_judged_s",
    ),
    causes=(
        Cause(
            "the reversing valve does not move, or its wire goes to the wrong terminal (O for B)",
            "Raised when O/B out is as called for and the air is not.",
            _valve,
        ),
        Cause(
            "the panel or a thermostat is set for the other kind of valve (O or B)",
            "Raised when O/B out itself stands against the call. Ruled out when it never does.",
            _output,
            not_it="the panel's O/B output",
        ),
        Cause(
            "the log's supply and return probes are swapped",
            "Ruled out when gas or strip heat shows supply over return.",
            _probes,
            not_it="swapped probes",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "read its setting for O or B, and whether it is set up as a heat pump",
            "as the outdoor unit's instructions ask",
            "set it as they ask",
        ),
        Check(
            "panel",
            "call one zone for {mode}: measure 24 V at O/B out and read its O/B setting",
            "O/B as the outdoor unit needs it for {mode}",
            "set it by the panel's and the outdoor unit's instructions",
        ),
        Check(
            "outdoor unit",
            "same call: 24 V at the valve's coil, click of the valve, and which line is hot",
            "the vapor line is hot in heating",
            "coil, wire or valve: a certified technician",
        ),
    ),
    cautions=(
        _cautions.ELECTRICITY,
        _cautions.REFRIGERANT,
        _cautions.OWN_LIMIT,
        _cautions.ICE,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "O/B the wrong way round in site.toml: there the air is as the zones call for.",
        "A compressor that does not run: there supply air stands at return temperature.",
    ),
    suppresses=("no-defrost",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when the air opposes the calls for most of the compressor's judged time."""
    if not site.equipment.get("has_heat_pump"):
        return CannotTell("there is no heat pump, so no reversing valve")
    table = site.table("interval.source_response")
    runs = table[
        (table["source"] == "compressor") & ~flags(table["in_defrost"]) & (table["outside_s"] > 0)
    ]
    runs = runs[runs["over_return_f"].notna() & runs["called"].notna()]
    judged_s = float(runs["outside_s"].sum())
    if judged_s < site.threshold("opposite_min_s"):
        return CannotTell(words.only(judged_s, "compressor runs with calls and supply air known"))
    least_f = site.threshold("opposite_air_f")
    sign = runs["called"].map({"heating": -1.0, "cooling": 1.0}).astype(float)
    wrong = runs[runs["over_return_f"] * sign >= least_f]
    wrong_s = float(wrong["outside_s"].sum())
    if (
        wrong_s < site.threshold("opposite_min_s")
        or wrong_s < site.threshold("opposite_share") * judged_s
    ):
        return NotFound(
            f"supply air was as called for in {words.hours_of(judged_s - wrong_s, judged_s)} of "
            "compressor runs"
        )
    others = table[(table["source"] != "compressor") & table["over_return_f"].notna()]
    e = Episodes(
        site,
        tuple(records(wrong.sort_values("start_ts"))),
        state_s=judged_s,
        state="compressor runs",
        more={
            "n_runs": len(runs),
            "burner_over_f": number(others["over_return_f"].median()) if len(others) else None,
        },
    )
    mode = "heat" if (wrong["called"] == "heating").sum() * 2 >= len(wrong) else "cooling"
    apart = site.temperature_difference(abs(float(wrong["over_return_f"].median())))
    way = "colder" if mode == "heat" else "warmer"
    return _episodes.found(
        e,
        severity="act",
        certainty="likely",
        headline=(
            f"the compressor does the opposite: with {mode} called for, supply air was {apart} "
            f"{way} than return air in {words.hours_of(wrong_s, judged_s)} of compressor runs"
        ),
        aside="the compressor does the opposite of what is called for",
        label="opposite",
        say=lambda r: f"{_called(r)} called for, supply air {_apart(site, r)} return air",
        columns=(
            *_episodes.span_columns(site, "Ran from"),
            ("Called for", _called),
            ("Supply air", lambda r: f"{_apart(site, r)} return air"),
            *_episodes.outdoor_column(site),
        ),
        fill={"mode": mode},
    )


def _called(row: Any) -> str:
    return "heat" if row.called == "heating" else "cooling"


def _apart(site: SiteFrames, row: Any) -> str:
    over = float(row.over_return_f)
    return f"{site.temperature_difference(abs(over))} {'over' if over > 0 else 'under'}"
