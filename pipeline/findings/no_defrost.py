"""No defrost: hours of compressor heat in frost weather, and the outdoor coil is never cleared.

What it says
    For how long the compressor heated between 20 and 38 °F outdoors without a defrost, and how the
    heat it gives changed meanwhile.

Why it matters
    A coil that fills with ice gives less and less heat, and ice bends fan blades and fins.

What looks like it but is not
    Dry cold, where little frost forms. Defrosts that the log cannot show: a coarse supply reading,
    or strip heat that hides the dip.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median
from types import SimpleNamespace
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
from pipeline.findings._site import SiteFrames, flags, records


def _control(e: Episodes) -> Weighed:
    first_f, last_f = e.more["first_f"], e.more["last_f"]
    n = e.more["n_defrost"]
    said = f"{words.count(n, 'defrost')} in {words.hours(e.state_s)} of such heat"
    if first_f is None or last_f is None:
        return Weighed(Weight.FITS, said)
    said += (
        f"; supply air stood {e.site.temperature_difference(first_f)} over return air at first and "
        f"{e.site.temperature_difference(last_f)} at the end"
    )
    sinks = first_f - last_f >= e.site.threshold("no_defrost_sink_f")
    return Weighed(Weight.STRONG if sinks else Weight.FITS, said)


def _dry(e: Episodes) -> Weighed:
    first_f, last_f = e.more["first_f"], e.more["last_f"]
    if first_f is None or last_f is None:
        return Weighed(Weight.OPEN, "humidity outdoors is not in this log")
    sinks = first_f - last_f >= e.site.threshold("no_defrost_sink_f")
    said = "the heat it gives did" + ("" if sinks else " not") + " sink meanwhile"
    return Weighed(Weight.AGAINST if sinks else Weight.OPEN, said)


FINDING = Declaration(
    title="No defrost in frost weather",
    question="Is the outdoor coil cleared of frost in frost weather?",
    needs_tables=("interval.defrost", "interval.source_response"),
    needs_roles=(("supply_temp", "outdoor_fan_run"), ("output_y1",), ("outdoor_temp",)),
    figure="outdoor",
    thresholds=(
        "frost_low_f",
        "frost_high_f",
        "no_defrost_s",
        "no_defrost_regular_s",
        "no_defrost_sink_f",
        "frost_min_runs",
    ),
    causes=(
        Cause(
            "the defrost control does not call for it: coil sensor, board, its wiring, reversing "
            "valve that does not move in defrost",
            "Raised when the heat it gives drops over these hours.",
            _control,
        ),
        Cause(
            "air so dry that little frost formed",
            "Lowered when the heat it gives sank.",
            _dry,
        ),
    ),
    check_next=(
        Check(
            "outdoor unit",
            "look at the coil after an hour of heat in this weather: how thick is the frost?",
            "thin, even, melted off now and then",
            "iced: heat pump off, let it thaw with the outdoor fan or by itself",
        ),
        Check(
            "outdoor unit",
            "force a defrost by the board's test pins as its instructions say and watch fan, valve "
            "and how it ends",
            "fan stops, coil steams, ends by a warm coil",
            "sensor, board or valve, in this order",
        ),
    ),
    cautions=(_cautions.ICE, _cautions.REFRIGERANT, _cautions.ELECTRICITY),
    confused_with=(
        "A dirty outdoor coil or low charge: there heat is short from the first minute.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the longest stretch of compressor heat in frost weather with no defrost in it."""
    if not site.equipment.get("has_heat_pump"):
        return CannotTell("there is no heat pump")
    table = site.table("interval.source_response")
    low_f, high_f = site.threshold("frost_low_f"), site.threshold("frost_high_f")
    runs = table[
        (table["source"] == "compressor")
        & (table["mode"] == "heating")
        & (table["outside_s"] > 0)
        & table["outdoor_f"].between(low_f, high_f)
    ]
    total_s = float(runs["outside_s"].sum())
    least_s = site.threshold("no_defrost_s")
    band = f"{site.temperature(low_f)} to {site.temperature(high_f)} outdoors"
    if total_s < least_s:
        ran = f"only {words.hours(total_s)} of" if total_s else "no"
        return CannotTell(f"{ran} compressor heat at {band}")
    defrosts = site.table("interval.defrost")
    longest, best = _stretches(records(runs.sort_values("start_ts")), records(defrosts))
    # where others are seen regularly, one that a call's end or strip heat hid is no fault
    n_seen = int(((defrosts["basis"] != "heat pulse") & ~flags(defrosts["in_visit"])).sum())
    is_regular = n_seen > 1 and n_seen * site.threshold("no_defrost_regular_s") >= total_s
    if longest < least_s or is_regular:
        return NotFound(
            f"{words.count(len(defrosts), 'defrost')}; never more than {words.hours(longest)} of "
            f"compressor heat between two at {band}"
        )
    row = SimpleNamespace(
        start_ts=int(best[0].start_ts),
        end_ts=int(best[-1].end_ts),
        outdoor_f=median(float(r.outdoor_f) for r in best),
    )
    overs = [float(r.over_return_f) for r in best if r.over_return_f is not None]
    part = max(1, len(overs) // 3)
    enough = len(overs) >= site.threshold("frost_min_runs")
    e = Episodes(
        site,
        (row,),
        state_s=total_s,
        state=f"compressor heat at {band}",
        more={
            "first_f": median(overs[:part]) if enough else None,
            "last_f": median(overs[-part:]) if enough else None,
            "n_defrost": int((~flags(defrosts["in_visit"])).sum()),
        },
    )
    return _episodes.found(
        e,
        severity="plan",
        certainty="likely",
        headline=(f"no defrost seen in {words.hours(longest)} of compressor heat on end at {band}"),
        aside="the outdoor coil is not seen to defrost",
        label="no defrost",
        say=lambda r: f"no defrost until {site.clock(r.end_ts)}",
        columns=(
            ("From", lambda r: site.clock(r.start_ts)),
            ("Until", lambda r: site.clock(r.end_ts)),
            *_episodes.outdoor_column(site),
        ),
    )


def _stretches(runs: list[Any], defrosts: list[Any]) -> tuple[float, list[Any]]:
    """The most compressor heat between two defrosts [s], and its runs."""
    longest, best = 0.0, list(runs[:1])
    current: list[Any] = []
    total = 0.0
    for run in runs:
        if any(d.start_ts < run.end_ts and d.end_ts > run.start_ts for d in defrosts) or (
            current and any(current[-1].end_ts <= d.start_ts < run.start_ts for d in defrosts)
        ):
            current, total = [], 0.0
            continue
        current, total = [*current, run], total + float(run.outside_s)
        if total > longest:
            longest, best = total, current
    return longest, best
