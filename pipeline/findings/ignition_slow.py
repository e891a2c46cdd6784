"""Ignition slow: the furnace takes far longer than usual to give heat, or gives none at first.

What it says
    How many furnace starts needed more than three minutes from W to the first warm supply air, and
    how many ran on without any.

Why it matters
    A furnace that needs several tries will lock out one cold night. Late flame can also be a
    hazard.

What looks like it but is not
    Ignition and fan delay, about a minute or two. A start on a plenum still hot. A coarse log:
    at five minutes' interval nothing is said.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median

import numpy as np
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
from pipeline.findings._site import SiteFrames, flags, numbers
from pipeline.units import MICROSECONDS


def _retries(e: Episodes) -> Weighed:
    slow = e.numbers("to_heat_s")
    usual_s = e.more["usual_s"]
    said = f"usually supply air is warm {words.duration(usual_s)} after W"
    if slow:
        said += f", in these starts {words.durations(slow)} after"
    never = e.n - len(slow)
    if never:
        said += f", and in {words.number(never)} never while W was on"
    return Weighed(Weight.STRONG, f"{said}: each failed try adds a wait")


def _cold(e: Episodes) -> Weighed:
    mine, all_f = e.numbers("outdoor_f"), e.more["outdoors"]
    if not mine or not all_f:
        return Weighed(Weight.OPEN, "outdoor air was not logged")
    apart = median(all_f) - median(mine)
    said = (
        f"outdoor air at these starts was typically {e.site.temperature(median(mine))}, at all "
        f"starts {e.site.temperature(median(all_f))}"
    )
    return Weighed(
        Weight.FITS if apart >= e.site.threshold("ignition_colder_f") else Weight.AGAINST, said
    )


def _gas(e: Episodes) -> Weighed:
    return Weighed(
        Weight.OPEN, "gas pressure is not in this log; look at it after flame, igniter and drain"
    )


FINDING = Declaration(
    title="Slow or failed ignition",
    question="How long does the furnace take from W to the first warm air?",
    needs_tables=("interval.source_response", "channel.channel"),
    needs_roles=(("supply_temp",), ("output_w1",)),
    figure="cut_outs",
    thresholds=(
        "response_least_f",
        "ignition_slow_s",
        "ignition_rest_s",
        "ignition_slow_share",
        "ignition_slow_min_starts",
        "ignition_plan_share",
        "ignition_fail_s",
        "ignition_lit_share",
        "ignition_colder_f",
        "count_min_intervals",
    ),
    causes=(
        Cause(
            "tries that fail before one holds: flame sensing, igniter, pressure switch, drain",
            "Raised when most starts are quick and some wait as tries that fail would.",
            _retries,
        ),
        Cause(
            "cold or wind: vent, drain or gas valve that sticks when cold",
            "Raised when these starts come in clearly colder weather than the others.",
            _cold,
        ),
        Cause("gas supply", "Never told by the log.", _gas),
    ),
    check_next=(
        Check(
            "unit",
            "read and photograph the board's code history before power is cycled",
            "no ignition or flame codes",
            "start with what the code names",
        ),
        Check(
            "unit",
            "watch five starts with the door switch as it is meant to be: inducer, pressure "
            "switch, igniter, flame, blower; flame signal at each",
            "lights at the first try, flame signal as the maker gives it",
            "flame sensor, igniter, pressure tube, drain and vent ends, in this order",
        ),
        Check(
            "unit",
            "inlet and manifold pressure with everything on: licensed technician",
            "as the plate says",
            "gas side by a licensed technician",
        ),
    ),
    cautions=(
        _cautions.GAS,
        _cautions.CARBON_MONOXIDE,
        _cautions.OWN_LIMIT,
        _cautions.CODES_FIRST,
        _cautions.ELECTRICITY,
    ),
    confused_with=(
        "Flame lost later in the run: an equipment cut-out.",
        "A blower that starts late: there the delay is the same at every start.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three slow starts that are a share of all; plan where they are a fifth."""
    if not site.equipment.get("has_burner"):
        return CannotTell("there is no furnace")
    slow_s = site.threshold("ignition_slow_s")
    channels = site.table("channel.channel")
    roles = channels["role"].isin(["supply_temp", "output_w1"]) & flags(channels["is_primary"])
    slowest_s = max(numbers(channels.loc[roles, "interval_s"]), default=0.0)
    if slowest_s * site.threshold("count_min_intervals") > slow_s:
        return CannotTell(
            f"sampled every {words.duration(slowest_s)}: {words.duration(slow_s)} from W to warm "
            "air falls between two readings"
        )
    table = site.table("interval.source_response")
    runs = table[
        (table["source"] == "burner")
        & flags(table["has_start"])
        & ~flags(table["in_visit"])
        & (table["known_s"] > 0)
    ]
    gas_s = float(runs["on_s"].sum())
    runs = runs[_rested(site, table, runs)]
    lit = runs[runs["to_heat_s"].notna()]
    # supply nearly as hot as lit starts bring was lit: it never fell enough to rise
    hot_f = lit["over_return_f"].median() * site.threshold("ignition_lit_share")
    dark = (
        runs["to_heat_s"].isna()
        & (runs["on_s"] >= site.threshold("ignition_fail_s"))
        & ~(runs["over_return_f"] >= hot_f)
    )
    n_judged = len(lit) + int(dark.sum())
    least = int(site.threshold("ignition_slow_min_starts"))
    if n_judged < least:
        return CannotTell(
            f"{words.count(n_judged, 'furnace start')} outside visits; {least} are needed"
        )
    rows = runs[(runs["to_heat_s"] > slow_s + slowest_s) | dark]
    share = len(rows) / n_judged
    if len(rows) < least or share < site.threshold("ignition_slow_share"):
        return NotFound(
            f"{words.of_all(len(rows), n_judged, 'furnace start')} took longer than "
            f"{words.duration(slow_s)} from W to warm air"
        )
    quick = numbers(lit.loc[lit["to_heat_s"] <= slow_s, "to_heat_s"])
    usual_s = median(quick or numbers(lit["to_heat_s"]) or [slow_s])
    e = _episodes.episodes(
        site,
        rows,
        state_s=gas_s,
        state="gas heat",
        more={"usual_s": usual_s, "outdoors": numbers(runs["outdoor_f"])},
    )
    never = sum(r.to_heat_s is None for r in e.rows)
    failed = f", {words.number(never)} of them never while W was on" if never else ""
    return _episodes.found(
        e,
        severity="plan" if share >= site.threshold("ignition_plan_share") else "watch",
        certainty="likely",
        headline=(
            f"{e.n} of {n_judged} furnace starts were slow: more than "
            f"{words.duration(slow_s)} from W to warm air, usually {words.duration(usual_s)}"
            f"{failed}"
        ),
        aside="the furnace lights late or needs several tries",
        label="slow start",
        say=lambda r: (
            f"no warm air in {words.duration(r.on_s)} of W"
            if r.to_heat_s is None
            else f"warm air {words.duration(r.to_heat_s)} after W"
        ),
        columns=(
            *_episodes.span_columns(site, "W on"),
            ("Warm after", lambda r: _episodes.dash(r.to_heat_s, words.duration)),
            *_episodes.outdoor_column(site),
        ),
        worth=lambda r: float(r.on_s if r.to_heat_s is None else r.to_heat_s),
    )


def _rested(site: SiteFrames, table: pd.DataFrame, runs: pd.DataFrame) -> pd.Series:
    """Whether supply air had time to fall before each start: else it has no step to show."""
    ends = table.loc[table["source"] == "burner", "end_ts"].sort_values().to_numpy("int64")
    starts = runs["start_ts"].to_numpy("int64")
    n = np.searchsorted(ends, starts, side="right") - 1
    before = np.where(n >= 0, ends[np.maximum(n, 0)], np.iinfo("int64").min // 2)
    rest_us = site.threshold("ignition_rest_s") * MICROSECONDS
    return pd.Series(starts - before >= rest_us, index=runs.index)
