"""Cooling does not cool: Y on and the fan running, and supply air hardly colder than the return.

What it says
    In how much of the cooling time the split was next to nothing, or weak, from ten minutes after
    the compressor's output came on; how large it mostly was.

Why it matters
    Rooms do not cool, the output stays on for days, and a compressor that does run so is harmed.

What looks like it but is not
    The first minutes of a run. A damp house: 13 to 16 °F of split is healthy on a muggy pull-down.
    Swapped probes: the split is then less than nothing. Heating by a valve that is stuck.

Source
    Common practice, no source: 16 to 22 °F at ordinary indoor humidity, under 12 °F is weak in any.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _occurrences, _split
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


def _split_words(e: Occurrences) -> str:
    return f"the split is mostly {e.site.temperature_difference(e.more['split_f'])}"


def _not_running(e: Occurrences) -> Weighed:
    dead = e.site.threshold("cooling_dead_split_f")
    share = e.more["dead_share"]
    said = f"{_split_words(e)}, under {e.site.temperature_difference(dead)} in {words.share(share)}"
    if not share:
        return Weighed(
            Weight.RULED_OUT, f"{_split_words(e)} and never near nothing: the compressor runs"
        )
    most = e.site.threshold("cause_share_min_frac")
    if e.more["n_stop"]:
        return Weighed(Weight.OPEN, f"{said} of the cooling; at other times it does cool")
    return Weighed(Weight.STRONG if share >= most else Weight.OPEN, f"{said} of the cooling")


def _stops(e: Occurrences) -> Weighed:
    n = e.more["n_stop"]
    said = f"it was seen to stop with Y on {words.times(n)}" if n else "it was not seen to stop"
    return Weighed(Weight.STRONG if n else Weight.AGAINST, said)


def _charge(e: Occurrences) -> Weighed:
    most = e.site.threshold("cause_share_min_frac")
    if e.more["dead_share"] >= most:
        return Weighed(
            Weight.OPEN,
            f"{_split_words(e)}: it does not cool at all, so weak cooling cannot be told",
        )
    if e.more["n_stop"]:
        return Weighed(Weight.OPEN, f"{_split_words(e)}, with the stops in it")
    said = f"{_split_words(e)}: it does cool, but too little all the time"
    if e.more["n_icing"]:
        said += f"; {words.count(e.more['n_icing'], 'run')} faded as a coil ices"
    return Weighed(Weight.STRONG, said)


def _too_much_air(e: Occurrences) -> Weighed:
    if e.more["split_f"] < e.site.threshold("cooling_split_none_f"):
        return Weighed(
            Weight.RULED_OUT, f"{_split_words(e)}: no blower moves that much air over a sound coil"
        )
    return Weighed(Weight.OPEN, f"{_split_words(e)}; airflow itself was not logged")


FINDING = Declaration(
    title="Cooling does not cool",
    question="Is supply air cold enough with the compressor's output on?",
    needs_tables=(
        "interval.cooling_split",
        "interval.compressor_stop",
        "measure.condition_time",
    ),
    needs_roles=(("supply_temp",), ("return_temp",), ("output_y1",)),
    figure="rise",
    thresholds=(
        "cooling_split_none_f",
        "cooling_split_least_f",
        "cooling_split_share",
        "cooling_dead_split_f",
        "cooling_split_bin_s",
        "judged_min_h",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the compressor does not run: contactor, capacitor, breaker, its own control",
            "Raised most when the split is next to nothing in most of the time; lowered when it "
            "stops and comes back. Ruled out when something is cooled all the time.",
            _not_running,
            not_it="a compressor that does not run",
        ),
        Cause(
            "it runs and stops by itself inside calls",
            "Raised when supply air was seen to collapse and come back with Y on.",
            _stops,
        ),
        Cause(
            "it cools too little all the time: charge, metering, a valve that leaks, coil",
            "Raised when the split is steady and weak; open when it is nothing at all.",
            _charge,
        ),
        Cause(
            "more air than the coil is made for",
            "Ruled out when the split is under 8 °F.",
            _too_much_air,
            not_it="too much air",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "call cooling and wait ten minutes; supply and return with two matched probes",
            "supply 16 to 22 degrees F colder than return at ordinary humidity",
            "is the outdoor unit running? Go there next",
        ),
        Check(
            "unit",
            "filter, blower speed tap, coil by eye; ice on coil or suction line",
            "clean, no ice, speed as the plate asks",
            "ice: compressor off, fan on until it is gone, then airflow before anything else",
        ),
        Check(
            "outdoor unit",
            "is the fan turning and the compressor humming; 24 V at the contactor; breaker",
            "both run within the compressor's start delay",
            "contactor, capacitor, breaker; amps by a qualified technician, refrigerant side last",
        ),
    ),
    cautions=(
        _cautions.REFRIGERANT,
        _cautions.ELECTRICITY,
        _cautions.ICE,
        _cautions.CODES_FIRST,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Compressor stops in a call: it cools, and stops, and comes back.",
        "A damp house: 13 °F or more of split.",
        "Swapped probes or a stuck valve: supply air is warmer than return.",
    ),
    symptom_of=("compressor-stops-in-call",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when the split is weak in half of the cooling time; act when next to nothing."""
    every = _split.bins(site)
    seconds = float(every["s"].sum())
    what = "cooling past its first ten minutes"
    if seconds < site.threshold("judged_min_h") * 3600:
        return CannotTell(words.only(seconds, what))
    if _split.median_split(every) < -site.threshold("cooling_dead_split_f"):
        return CannotTell("supply air is warmer than return: probes swapped, or it heats")
    level, share = site.threshold("cooling_split_least_f"), site.threshold("cooling_split_share")
    split_f = _split.median_split(every)
    if _split.below(every, level) < share:
        return NotFound(
            f"the split was mostly {site.temperature_difference(split_f)} in "
            f"{words.hours(seconds)} of {what}"
        )
    stops = site.table("interval.compressor_stop")
    e = _occurrences.load(
        site,
        _runs(every, level),
        seconds,
        what,
        split_f=split_f,
        dead_share=_split.below(every, site.threshold("cooling_dead_split_f")),
        n_stop=int((~flags(stops["in_visit"])).sum()),
        n_icing=len(_split.icing(site, every)),
    )
    none_f = site.threshold("cooling_split_none_f")
    nothing = _split.below(every, none_f)
    act = nothing >= share and not e.more["n_stop"]
    return _occurrences.found(
        e,
        severity="act" if act else "plan",
        certainty="shown" if nothing >= share else "likely",
        headline=(
            f"supply air is mostly only {site.temperature_difference(split_f)} colder than the "
            f"return with Y on and the fan running, in {words.hours(seconds)} of {what}"
        ),
        details=(
            f"under {site.temperature_difference(level)} in "
            f"{words.share(_split.below(every, level))} of it, under "
            f"{site.temperature_difference(none_f)} in {words.share(nothing)}",
        ),
        label="weak cooling",
        say=lambda r: _say(site, r),
        worth=lambda r: -float(r.split_f),
        columns=(
            ("Split", lambda r: _occurrences.or_dash(r.split_f, site.temperature_difference)),
            ("Supply air", lambda r: _occurrences.or_dash(r.supply_f, site.temperature)),
        ),
        linked=("compressor-stops-in-call",) if e.more["n_stop"] else (),
    )


def _say(site: SiteFrames, r: Any) -> str:
    return (
        f"supply air at {site.temperature(float(r.supply_f))}, only "
        f"{site.temperature_difference(float(r.split_f))} under the return"
    )


def _runs(every: pd.DataFrame, level_f: float) -> pd.DataFrame:
    """The compressor's runs whose split was weak, one row each."""
    runs = every.groupby("run_ts", as_index=False).agg(
        start_ts=("start_ts", "min"),
        end_ts=("end_ts", "max"),
        split_f=("split_f", "median"),
        supply_f=("supply_f", "median"),
        in_visit=("in_visit", "any"),
    )
    return runs[runs["split_f"] < level_f]
