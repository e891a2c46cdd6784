"""Cooling in cold weather: the compressor cools with outdoor air far below what it is meant for.

What it says
    How long the compressor cooled with outdoor air under 60 °F, how often, and for which zones.

Why it matters
    Without a control for low ambient the coil ices and liquid reaches the compressor; and outdoor
    air would cool for nothing.

What looks like it but is not
    A minute at the edge of the temperature, a visit. A heat pump that heats. Equipment fitted for
    it: computer rooms.

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


def _gains(e: Episodes) -> Weighed:
    return Weighed(
        Weight.FITS, f"a zone called each time{e.callers()}; its own heat or the sun must drive it"
    )


def _setpoint(e: Episodes) -> Weighed:
    n = e.more["n_opposed"]
    said = f"another zone called for heat during {words.of_all(n, e.n, 'cooling run')}"
    return Weighed(Weight.STRONG if n * 2 >= e.n else Weight.AGAINST, said)


FINDING = Declaration(
    title="Cooling in cold weather",
    question="Does the compressor cool in weather it is not meant for?",
    needs_tables=(
        "interval.source_response",
        "interval.condition",
        "interval.opposing_call",
        "measure.condition_time",
    ),
    needs_roles=(("output_y1",), ("outdoor_temp",)),
    figure="outdoor",
    thresholds=(
        "low_ambient_cooling_f",
        "outdoor_sensor_tolerance_f",
        "cold_cooling_min_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "setpoints of neighbours overlap: one zone heats what the other cools",
            "Raised when heat was called for elsewhere in half of them or more.",
            _setpoint,
        ),
        Cause(
            "sun or machines in one zone, and no outdoor air to cool with",
            "Fits when a zone called each time.",
            _gains,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "read cool setpoints and mode of the zones that called",
            "cool setpoint over 72 °F in such weather, or heat only",
            "talk it over with the customer before changing it",
        ),
        Check(
            "outdoor unit",
            "is a low-ambient control fitted, and what does the plate allow?",
            "fitted and working, or cooling locked out below its limit",
            "lock cooling out by the equipment's instructions",
        ),
    ),
    cautions=(_cautions.ICE, _cautions.LOW_LIMIT, _cautions.ELECTRICITY, _cautions.REFRIGERANT),
    confused_with=("A heat pump with its valve wrong: there heat is called for.",),
    symptom_of=("opposing-calls",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from an hour of cooling under the least outdoor temperature; plan where it persists."""
    low_f = site.threshold("low_ambient_cooling_f") - site.threshold("outdoor_sensor_tolerance_f")
    table = site.table("interval.source_response")
    runs = table[
        (table["source"] == "compressor")
        & (table["mode"] == "cooling")
        & ~flags(table["in_visit"])
        & table["outdoor_f"].notna()
        & (table["called"].fillna("cooling") == "cooling")
    ]
    cool_s = float(runs["on_s"].sum())
    rows = runs[runs["outdoor_f"] < low_f]
    opposed = site.table("interval.opposing_call")
    calls = site.table("interval.condition").set_index("start_ts")["cool_zones"]
    zones = [calls.asof(ts) for ts in rows["start_ts"]]
    rows = rows.assign(zones=pd.Series(zones, index=rows.index, dtype=object))
    e = _episodes.episodes(site, rows, state_s=cool_s, state="cooling")
    if e.total_s < site.threshold("cold_cooling_min_s"):
        if not cool_s:
            return CannotTell("no cooling outside visits with outdoor air known")
        cold = words.hours(e.total_s) if e.total_s else "none"
        return NotFound(
            f"{cold} of it under {site.temperature(low_f)} outdoors, in {words.hours(cool_s)} of "
            "cooling"
        )
    n = sum(
        bool(((opposed["start_ts"] < r.end_ts) & (opposed["end_ts"] > r.start_ts)).any())
        for r in e.rows
    )
    e = Episodes(site, e.rows, cool_s, "cooling", {"n_opposed": n})
    return _episodes.found(
        e,
        severity="watch",
        headline=f"the compressor cooled in cold weather {e.often}, {e.how_long}{e.outdoor()}",
        aside="the compressor cools in cold weather",
        label="cold weather",
        say=lambda r: f"cooling at {site.temperature(r.outdoor_f)} outdoors",
        columns=(
            *_episodes.span_columns(site),
            *_episodes.calling_column(site),
            *_episodes.outdoor_column(site),
        ),
    )
