"""Short cycling: runs or rests too short, or more cycles an hour than the thermostats are set for.

What it says
    For each source of heat or cooling: how many runs and compressor rests were short, on which
    days, with which zones calling; and how many cycles an hour it makes at half load, against the
    set rate and against the calls themselves.

Why it matters
    Each start costs wear and each short run ends before the air is warm. A compressor that rests
    too briefly starts against pressure.

What looks like it but is not
    Runs that a limit ended (they belong to the limit). Rests at the length of the minimum-off
    timer: the timer doing its job. Stage changes, which are not starts. Staggered calls: the
    equipment then starts no more often than the calls do. A burner run of 2.5 min in mild weather
    with a thermostat set to 6 an hour.

Source
    Rate of one thermostat: N = 4 x Nmax x X x (1 - X), Henderson and Rengarajan 1996, as used in
    the EnergyPlus engineering reference. What counts as short: common practice, no source; there
    is no standard definition.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, high_limit_trips, low_limit_trips
from pipeline.findings._base import (
    MAX_TABLE_ROWS,
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._cycling import (
    Cycling,
    equipment_rates,
    fitted_rate,
    is_too_doubtful,
    of_cycle,
    rate_words,
    what_ran,
    why_doubtful,
    zone_rates,
)
from pipeline.findings._site import SiteFrames, flags, numbers, records
from pipeline.findings._standing import why_blind
from pipeline.findings._windows import Event, evidence, windows


def _after_trips(c: Cycling) -> Weighed | None:
    runs = c.rows[c.rows["what"] == "run"]
    if runs.empty:
        return None
    blind = _blind_to_trips(c)
    n = int(flags(runs["after_trip"]).sum())
    within = words.duration(c.site.threshold("after_trip_s"))
    said = f"{words.of_all(n, len(runs), 'short run')} began within {within} of a limit trip"
    if n == 0 and blind:
        return Weighed(Weight.OPEN, f"limit trips could not be judged in this log: {blind}")
    if n == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = c.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * len(runs) else Weight.OPEN, said)


def _blind_to_trips(c: Cycling) -> str:
    """Why limit trips may have been there unseen in the modes of these short runs; '' if not."""
    modes = set(c.rows["mode"].dropna())
    told = [
        why_blind(c.site, rule)
        for mode, rule in (
            ("heating", high_limit_trips.FINDING),
            ("cooling", low_limit_trips.FINDING),
        )
        if mode in modes or "unknown" in modes
    ]
    return "; ".join(dict.fromkeys(reason for reason in told if reason))


def _one_zone(c: Cycling) -> Weighed | None:
    runs = c.rows[(c.rows["what"] == "run") & c.rows["n_zones"].notna()]
    if runs.empty:
        return None
    alone = runs[runs["n_zones"] == 1]
    share = c.site.threshold("cause_share_min_frac")
    said = f"{words.of_all(len(alone), len(runs), 'short run')} came with one zone calling alone"
    if not alone.empty:
        sizes = alone["zones"].value_counts()
        zone, n = c.site.zones(str(sizes.index[0])), int(sizes.iloc[0])
        if n == len(runs):
            said = f"{words.of_all(n, n, 'short run')} came with {zone} calling alone"
        else:
            said += f", {n} of them {zone}"
    return Weighed(Weight.FITS if len(alone) >= share * len(runs) else Weight.AGAINST, said)


def _thermostat_rate(c: Cycling) -> Weighed:
    if not c.rates:
        fits = c.site.table("measure.cycle_fit")
        zones = fits[fits["what"].str.startswith("zone") & fits["nmax_per_h"].notna()]
        if zones.empty:
            return Weighed(Weight.OPEN, "too few hours near half load for the rate of any zone")
        highest = float(zones["nmax_per_h"].max())
        return Weighed(
            Weight.RULED_OUT,
            f"no zone's thermostat cycles too fast: the fastest about {highest:.1f} an hour at "
            "half load",
        )
    return Weighed(Weight.STRONG, words.joined(rate_words(c.site, r) for r in c.rates))


def _staggered(c: Cycling) -> Weighed:
    if c.equipment:
        return Weighed(Weight.RULED_OUT, words.joined(rate_words(c.site, r) for r in c.equipment))
    fits = c.site.table("measure.cycle_fit")
    told = []
    for r in c.sources:
        own, calls = fitted_rate(fits, r.source, r.mode), fitted_rate(fits, "any call", r.mode)
        if own is not None and calls is not None:
            told.append(
                f"{words.source(r.source)} starts about {own:.1f} times an hour at half load, the "
                f"calls of all zones together {calls:.1f}"
            )
    if not told:
        return Weighed(Weight.OPEN, "too few hours near half load to compare with the calls")
    return Weighed(Weight.FITS, f"{words.joined(told)}: the panel adds no starts")


def _rest_timer(c: Cycling) -> Weighed | None:
    if not c.n_rest:
        return None
    given = c.site.setting("compressor_min_off_min")
    limit = max(float(r.short_rest_limit_s or 0.0) for r in c.sources)
    rests = numbers(c.rows.loc[c.rows["what"] == "rest", "length_s"])
    said = f"{words.count(c.n_rest, 'rest')} of {words.durations(rests)}"
    if given is None:
        return Weighed(
            Weight.FITS,
            f"{said}, under {words.duration(limit)}; the site file gives no minimum-off",
        )
    return Weighed(Weight.STRONG, f"{said}; the site file says {words.duration(given * 60)}")


FINDING = Declaration(
    title="Short cycling",
    question="Does the equipment start too often, or run or rest too briefly?",
    needs_tables=(
        "measure.cycle",
        "measure.short_cycle",
        "measure.cycle_fit",
        "measure.condition_time",
        "run.zone",
    ),
    needs_roles=(("output_w1", "output_y1", "output_aux", "inferred_heat", "inferred_cool"),),
    figure="outputs",
    thresholds=(
        "short_run_burner_max_s",
        "short_run_compressor_max_s",
        "compressor_min_off_unknown_s",
        "short_rest_allowance_s",
        "short_cycling_min_share",
        "short_cycling_min_starts",
        "short_cycling_per_day",
        "short_cycling_days",
        "short_cycling_plan_share",
        "short_rest_plan_min",
        "cycle_fit_low_frac",
        "cycle_fit_high_frac",
        "cycle_fit_min_hours",
        "cycle_rate_excess_ratio",
        "cycles_per_hour_gas",
        "cycles_per_hour_compressor",
        "cycles_per_hour_electric",
        "after_trip_s",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the compressor's minimum-off timer is short, off or passed by",
            "Raised by compressor rests under the minimum-off, most where one was given.",
            _rest_timer,
            replays="compressor_min_off_min",
        ),
        Cause(
            "limit trips: the call is still there, so heat comes back for what little is left",
            "Raised when most short runs begin within a quarter of an hour of a trip. Ruled out "
            "when none does, in a log that could have shown trips.",
            _after_trips,
            not_it="limit trips",
        ),
        Cause(
            "a zone's thermostat cycles faster than it should: its cycle setting, its place in "
            "the air stream",
            "Raised when a zone's own rate is in excess of its setting, or of what its equipment "
            "is usually set to. Ruled out when no zone's is.",
            _thermostat_rate,
            not_it="a thermostat's cycle rate",
        ),
        Cause(
            "one small zone calls alone and is satisfied within minutes",
            "Raised when most short runs come with one zone calling alone.",
            _one_zone,
        ),
        Cause(
            "zones call one after the other: each is in order, together they start it often",
            "Raised when the equipment starts no more often than the calls taken together. Ruled "
            "out when it starts more often.",
            _staggered,
            not_it="zones calling one after the other",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "cycle setting of each zone; is it in the supply air stream or over a wall hole?",
            "as the equipment asks (gas 3 to 6 an hour, compressor up to 3 to 4), out of the air "
            "stream, hole sealed",
            "write down the old value and set it, seal the hole or move it",
        ),
        Check(
            "panel",
            "read the minimum-off, minimum-run and stage-up settings; photograph them",
            "minimum-off 5 min or as the equipment asks",
            "write down the old value and correct it, never to a shorter rest than the "
            "equipment asks",
        ),
        Check(
            "unit",
            "call each zone alone and time the run: is first stage on its own long enough?",
            "a run of several minutes for each zone",
            "the zone is too small for the stage: ask how it may be joined with another zone, or "
            "kept to first stage",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.ELECTRICITY, _cautions.GAS, _cautions.LIMIT),
    confused_with=(
        "High-limit trips: the panel ends the run, not the thermostat.",
        "Output chatter: off for seconds, not minutes.",
    ),
    symptom_of=("high-limit-trips", "low-limit-trips"),
    source=(
        "Cycle curve: Henderson and Rengarajan 1996, as in the EnergyPlus engineering reference. "
        "What counts as short: common practice, no source."
    ),
)


def judge(site: SiteFrames) -> Outcome:
    """Found by share of starts, by days, or by a fitted rate in excess."""
    if site.equipment.get("staged_by") == "modulating":
        return CannotTell("the equipment modulates: length of runs says nothing about cycling")
    short = site.table("measure.short_cycle")
    short = short[~flags(short["by_limit"])].sort_values("start_ts")
    cycles = records(site.table("measure.cycle"))
    doubtful = [r for r in cycles if is_too_doubtful(site, r)]
    if doubtful and len(doubtful) == len(cycles):
        return CannotTell(why_doubtful(doubtful))
    cycles = [r for r in cycles if r not in doubtful]
    if not any(r.n_start for r in cycles):
        return CannotTell("no start was seen outside visits")
    sources = [r for r in cycles if _by_number(site, r, of_cycle(short, r))]
    rates, equipment = zone_rates(site), equipment_rates(site)
    if not sources and not rates and not equipment:
        return _not_found(site, cycles)
    told = sources or cycles
    rows = pd.concat([of_cycle(short, r) for r in told]).sort_values("start_ts")
    c = Cycling(site, told, rows.reset_index(drop=True), rates, equipment)
    events = [_event(site, row) for row in records(c.rows)]
    trips = _after_trips(c)
    by_trips = trips is not None and trips.weight == Weight.STRONG
    return Found(
        severity=_severity(c, bool(sources)),
        certainty="likely" if any(r.is_at_least for r in told) else "shown",
        summary=_summary(c, bool(sources)),
        headline=_headline(c, bool(sources)),
        facts=c,
        evidence=evidence(events),
        windows=windows(site, events),
        linked=("high-limit-trips", "low-limit-trips") if by_trips else (),
        table=_table(c),
    )


def _by_number(site: SiteFrames, cycle: Any, short: pd.DataFrame) -> bool:
    n_start, n = int(cycle.n_start), len(short)
    if n_start >= site.threshold("short_cycling_min_starts") and n >= n_start * site.threshold(
        "short_cycling_min_share"
    ):
        return True
    per_day = short.groupby("day").size()
    busy = int((per_day >= site.threshold("short_cycling_per_day")).sum())
    return busy >= site.threshold("short_cycling_days")


def _severity(c: Cycling, by_number: bool) -> str:
    site = c.site
    if c.n_rest >= site.threshold("short_rest_plan_min"):
        return "plan"
    share = len(c.rows) / c.n_start if by_number and c.n_start else 0.0
    return "plan" if share >= site.threshold("short_cycling_plan_share") else "watch"


def _counts(c: Cycling) -> str:
    parts = []
    for r in c.sources:
        of = of_cycle(c.rows, r)
        runs, rests = int((of["what"] == "run").sum()), int((of["what"] == "rest").sum())
        at_least = "at least " if r.is_at_least else ""
        if runs:
            parts.append(
                f"{at_least}{runs} of {words.count(int(r.n_start), 'run')} of {what_ran(r)} lasted "
                f"less than {words.duration(float(r.short_run_limit_s))}"
            )
        if rests:
            parts.append(
                f"{what_ran(r)} rested for less than "
                f"{words.duration(float(r.short_rest_limit_s))} {at_least}{words.times(rests)}"
            )
    return words.joined(parts)


def _headline(c: Cycling, by_number: bool) -> str:
    said = _counts(c) if by_number else ""
    rates = words.joined(rate_words(c.site, r) for r in (*c.equipment, *c.rates))
    return "; ".join(part for part in (said, rates) if part)


def _summary(c: Cycling, by_number: bool) -> str:
    site = c.site
    if not by_number or c.rows.empty:
        return words.sentences(_headline(c, by_number))
    days = int(c.rows["day"].nunique())
    first = site.clock(int(c.rows["start_ts"].iloc[0]))
    last = site.clock(int(c.rows["start_ts"].iloc[-1]))
    limit = sum(int(r.n_short_run_by_limit) for r in c.sources)
    return words.sentences(
        f"{_headline(c, by_number)}: on {words.count(days, 'day')}, first {first}, last {last}",
        f"{words.count(limit, 'more short run')} ended in a limit trip and is not counted here"
        if limit == 1
        else f"{limit} more short runs ended in a limit trip and are not counted here"
        if limit
        else "",
    )


def _not_found(site: SiteFrames, cycles: list[Any]) -> Outcome:
    told = [
        words.count(
            int(r.n_short_run) + int(r.n_short_rest), "short run or rest", "short runs or rests"
        )
        + f" in {words.count(int(r.n_start), 'run')} of {what_ran(r)}"
        for r in cycles
        if r.n_start
    ]
    if any(r.is_at_least for r in cycles):
        return CannotTell(
            f"logged too seldom to see every short run; at least {words.joined(told)}"
        )
    enough = site.threshold("short_cycling_min_starts")
    few = all(int(r.n_start) < enough for r in cycles)
    note = f", fewer than the {enough:.0f} runs it takes to judge" if few else ""
    return NotFound(f"{words.joined(told)}{note}")


def _event(site: SiteFrames, r: Any) -> Event:
    start, length = int(r.start_ts), words.duration(float(r.length_s))
    did = "ran for only" if r.what == "run" else "rested for only"
    limit_s = float(r.length_s)
    return Event(
        start_ts=start,
        end_ts=int(r.end_ts),
        worth=-limit_s,
        say=(
            f"{site.clock(start)}, {site.calling(r.zones)}, {words.source(r.source)} {did} {length}"
        ),
        label=f"short {r.what}",
    )


def _table(c: Cycling) -> tuple[tuple[str, tuple[str, ...]], ...]:
    site, rows = c.site, records(c.rows.head(MAX_TABLE_ROWS))
    return (
        ("When", tuple(site.clock(int(r.start_ts)) for r in rows)),
        ("What", tuple(f"short {r.what} of {words.source(r.source)}" for r in rows)),
        ("Length", tuple(words.duration(float(r.length_s)) for r in rows)),
        ("Calling", tuple(site.zones(r.zones) for r in rows)),
        ("After a trip", tuple("yes" if r.after_trip else "no" for r in rows)),
    )
