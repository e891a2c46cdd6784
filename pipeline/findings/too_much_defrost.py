"""Too much defrost: the heat pump defrosts too often, or too long.

What it says
    How many defrosts began after less compressor heat than any coil needs, how many lasted too
    long, and in what weather.

Why it matters
    Every defrost takes heat out of the house and is paid for twice; too many of them bring strip
    heat and rooms that do not hold.

What looks like it but is not
    A call that ends and begins again: the control's clock counts compressor heat, not hours. The
    fall of supply air when strip heat or second stage goes off. Wet weather near freezing, where a
    defrost every three quarters of an hour is in order.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median

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


def _timer(e: Episodes) -> Weighed:
    runs = [float(r.run_s) for r in e.rows if r.is_short]
    if not runs:
        return Weighed(
            Weight.RULED_OUT, f"{words.of_all(0, e.n, 'defrost')} in question came too soon"
        )
    middle = median(runs)
    near = sum(abs(s - middle) <= e.site.threshold("defrost_alike_s") for s in runs)
    said = (
        f"{words.of_all(near, len(runs), 'early defrost')} came about {words.duration(middle)} of "
        "compressor heat after the last"
    )
    share = e.site.threshold("defrost_clock_share")
    return Weighed(Weight.STRONG if near >= share * len(runs) else Weight.FITS, said)


def _ends_by_time(e: Episodes) -> Weighed:
    lengths = e.more["lengths_s"]
    middle = median(lengths)
    near = sum(abs(s - middle) <= e.site.threshold("defrost_alike_s") for s in lengths)
    said = f"{words.of_all(near, len(lengths), 'defrost')} lasted about {words.duration(middle)}"
    alike = near >= e.site.threshold("defrost_alike_share") * len(lengths)
    long = middle >= e.site.threshold("defrost_usual_max_s")
    if alike and long:
        return Weighed(Weight.STRONG, f"{said}: they end by the clock, not by a warm coil")
    return Weighed(Weight.FITS if alike else Weight.AGAINST, said)


def _outdoor_air(e: Episodes) -> Weighed:
    return Weighed(
        Weight.OPEN, "the outdoor coil, its fan and the charge are not in this log: look first"
    )


FINDING = Declaration(
    title="Too much defrost",
    question="Does the heat pump defrost more often or longer than frost asks for?",
    needs_tables=("interval.defrost", "measure.condition_time"),
    needs_roles=(("supply_temp", "outdoor_fan_run"), ("output_y1",), ("outdoor_temp",)),
    figure="outdoor",
    thresholds=(
        "defrost_max_s",
        "defrost_often_s",
        "defrost_soon_share",
        "defrost_usual_max_s",
        "defrost_min_events",
        "defrost_share",
        "defrost_per_h",
        "defrost_alike_s",
        "defrost_alike_share",
        "defrost_clock_share",
        "episodes_plan_days",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the defrost control runs by its clock: interval set short, or its coil sensor open or "
            "off the coil",
            "Raised when the early ones come at one length of compressor heat. Ruled out when none "
            "came early.",
            _timer,
            not_it="a clock that is set short",
        ),
        Cause(
            "the coil sensor does not end it: it runs to its longest time",
            "Raised when nearly all last equally long, most when that is over ten minutes.",
            _ends_by_time,
        ),
        Cause(
            "too little air or charge at the outdoor coil: dirt, leaves, fan, refrigerant",
            "Such a log cannot tell.",
            _outdoor_air,
        ),
    ),
    check_next=(
        Check(
            "outdoor unit",
            "look at the coil in heating: even frost, clear of leaves and snow, fan at full speed",
            "thin even frost that clears in a defrost",
            "clean it, give it room; frost in one place only is the refrigerant side",
        ),
        Check(
            "outdoor unit",
            "read the defrost board's interval setting; coil sensor clipped on, its ohms against "
            "the maker's table",
            "interval as the maker asks, sensor tight and right",
            "refit or replace the sensor, set the interval by the instructions",
        ),
        Check(
            "outdoor unit",
            "charge in heating by a certified technician, after air and sensor are right",
            "as the data sheet gives it",
            "refrigerant work by a certified technician",
        ),
    ),
    cautions=(_cautions.ICE, _cautions.REFRIGERANT, _cautions.ELECTRICITY),
    confused_with=(
        "Strip heat or second stage going off: supply falls there too, at the output's edge.",
        "Compressor stops: there supply stays down for longer and no frost weather is needed.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from five defrosts too soon or too long that are a share of all that were seen."""
    if not site.equipment.get("has_heat_pump"):
        return CannotTell("there is no heat pump")
    heat_s = site.seconds_in(["heating"], sources=["compressor", "both"])
    if heat_s < site.threshold("judged_min_h") * 3600:
        return CannotTell(words.only(heat_s, "compressor heat"))
    table = site.table("interval.defrost")
    # a pulse of heat alone may be backup; one that was not seen to end tells no length
    seen = table[(table["basis"] != "heat pulse") & ~flags(table["in_visit"])]
    seen = seen.sort_values("start_ts")
    is_closed = flags(seen["is_closed"])
    closed = seen[is_closed]
    first = seen["start_ts"] == seen["start_ts"].min()
    short = is_closed & (seen["run_s"] < site.threshold("defrost_often_s")) & ~first
    # one that a call's end cut off left frost behind: the next comes sooner, and is no fault unless
    # most of those that follow a whole one come as soon
    after_whole = is_closed.shift(fill_value=False)
    n_after_whole = int((is_closed & after_whole).sum())
    if (short & after_whole).sum() < site.threshold("defrost_soon_share") * n_after_whole:
        short &= after_whole
    rows = seen.assign(is_short=short)
    rows = rows[rows["is_short"] | flags(rows["is_long"])]
    few = len(rows) < site.threshold("defrost_min_events")
    rare = len(rows) * 3600 < site.threshold("defrost_per_h") * heat_s
    if few or rare or len(rows) < site.threshold("defrost_share") * len(seen):
        return NotFound(
            f"{words.count(len(seen), 'defrost')} in {words.hours(heat_s)} of compressor heat, "
            f"{len(rows) or 'none'} of them too soon or too long"
        )
    e = _episodes.episodes(
        site,
        rows,
        state_s=heat_s,
        state="compressor heat",
        more={"lengths_s": [float(s) for s in closed["length_s"]] or [0.0]},
    )
    soon = sum(bool(r.is_short) for r in e.rows)
    long = sum(bool(r.is_long) for r in e.rows)
    told = []
    if soon:
        often = words.duration(site.threshold("defrost_often_s"))
        told.append(f"{soon} after less than {often} of compressor heat")
    if long:
        told.append(f"{long} longer than {words.duration(site.threshold('defrost_max_s'))}")
    return _episodes.found(
        e,
        severity="plan" if e.n_days >= site.threshold("episodes_plan_days") else "watch",
        certainty="shown" if bool((seen["basis"] == "logged").all()) else "likely",
        headline=(
            f"it defrosts too much: {words.count(len(seen), 'defrost')} in "
            f"{words.hours(heat_s)} of compressor heat, {words.joined(told)}{e.outdoor()}"
        ),
        aside="the heat pump defrosts too much",
        label="defrost",
        say=lambda r: (
            f"defrost for {words.duration(r.length_s)}, {words.duration(r.run_s)} of compressor "
            "heat after the last"
        ),
        columns=(
            *_episodes.span_columns(site, "Defrost"),
            ("Compressor heat before", lambda r: words.duration(r.run_s)),
            *_episodes.outdoor_column(site),
        ),
    )
