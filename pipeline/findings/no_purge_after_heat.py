"""No purge after heat: the blower stops on a hot exchanger.

What it says
    After how many heating runs the blower was off within half a minute, how hot supply air was as
    the heat went off, and how far it climbed after.

Why it matters
    The heat that is still in the exchanger goes nowhere: its own limit may open after every run,
    the exchanger is stressed, and heat that was paid for stays in the furnace.

What looks like it but is not
    A heat pump's coil, which cools by itself. A start that follows at once. A reading of static
    that falls as the blower slows to its purge speed.

Source
    Common practice, no source: fan-off delays of gas furnaces are set to 90 to 180 s.
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
from pipeline.findings._site import SiteFrames, number, numbers
from pipeline.units import MICROSECONDS


def _setting(e: Occurrences) -> Weighed:
    lasted = e.values("purge_fan_s")
    spread = max(lasted) - min(lasted)
    said = f"the blower stops {words.durations(lasted)} after the burner"
    return Weighed(
        Weight.STRONG if spread <= e.site.threshold("purge_short_s") else Weight.FITS, said
    )


def _by_panel(e: Occurrences) -> Weighed:
    told = e.site.table("run_state.fan_output")
    if told["covers_gas_heat"].any():
        return Weighed(Weight.FITS, "the panel's fan output covers gas heat here")
    if told["is_overruled"].any():
        return Weighed(
            Weight.AGAINST,
            "site.toml says the panel's fan output covers gas heat, but static was up in gas heat "
            "with G off",
        )
    return Weighed(Weight.AGAINST, "the furnace runs its own blower in gas heat here")


FINDING = Declaration(
    title="No purge after heat",
    question="Does the blower stop as soon as the burner does?",
    needs_tables=("measure.purge", "measure.condition_time", "run_state.fan_output"),
    needs_roles=(
        ("output_w1",),
        ("blower_run", "static_pressure", "output_g"),
        ("supply_temp",),
    ),
    figure="fan",
    thresholds=(
        "purge_short_s",
        "purge_short_share",
        "purge_warm_f",
        "purge_climb_f",
        "judged_min_h",
        "cause_share_min_frac",
        "trips_plan_per_week",
    ),
    causes=(
        Cause(
            "the furnace's fan-off delay is set to nothing, or its board does not keep it",
            "Raised when the blower stops at one and the same short time after every run.",
            _setting,
        ),
        Cause(
            "the panel takes the fan away at the end of the call, with no purge of its own",
            "Raised when the panel's fan output covers gas heat; lowered when the furnace runs its "
            "own blower.",
            _by_panel,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the purge setting, and whether the panel switches the fan in gas heat",
            "purge as long as the furnace's fan-off delay, or left to the furnace",
            "write down the old value and set it as the furnace's instructions ask",
        ),
        Check(
            "unit",
            "end a heat call and time the blower; read the fan-off delay on the board",
            "90 to 180 s, or as the equipment's instructions say",
            "set the delay by the instructions; board or blower wiring if it is not kept",
        ),
    ),
    cautions=(
        _cautions.OWN_LIMIT,
        _cautions.CARBON_MONOXIDE,
        _cautions.SETTINGS,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Equipment without fan: there the blower is stopped while the burner is on.",
        "Dampers closed on a hot plenum: there the blower runs on, against shut dampers.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when so many burner runs end with the blower off at once and the plenum hot."""
    if not site.equipment.get("has_burner"):
        return CannotTell("there is no burner: a coil needs no purge")
    rows = site.table("measure.purge")
    rows = rows[(rows["mode"] == "heating") & rows["off_supply_f"].notna()]
    heat_s = site.seconds_in(["heating"], sources=["burner", "both"])
    short_s = site.threshold("purge_short_s")
    covered = site.coverage("fan")
    if covered and (covered.resolution_s or 0.0) >= short_s:
        # the blower's stop is seen half an interval late on the mean
        short_s += (covered.resolution_s or 0.0) / 2
    every = _occurrences.load(
        site, rows.assign(is_short=rows["purge_fan_s"] < short_s), heat_s, "heat"
    )
    every = every.where(
        (every.rows["purge_until_ts"] - every.rows["end_ts"]) / MICROSECONDS >= short_s
    )
    if not every.can_judge or every.n < site.threshold("trips_plan_per_week"):
        return CannotTell(words.only(heat_s, "gas heat"))
    warm = every.rows["off_supply_f"].astype(float) >= site.threshold("purge_warm_f")
    e = every.where(every.rows["is_short"] & warm)
    seen = f"{words.of_all(e.n, every.n, 'heating run')}"
    if e.n < site.threshold("purge_short_share") * every.n:
        usual = words.duration(median(numbers(every.rows["purge_fan_s"])))
        return NotFound(f"after {seen} the blower was off at once; mostly it runs on for {usual}")
    off = e.values("off_supply_f")
    climb = max(r - o for r, o in zip(e.values("purge_supply_max_f"), off, strict=True))
    return _occurrences.found(
        e,
        severity="plan",
        certainty="shown" if "blower_run" in site.logged_roles else "likely",
        headline=(
            f"the blower stops {words.duration(median(e.values('purge_fan_s')))} after the burner, "
            f"on a hot furnace, after {seen}"
        ),
        details=(
            f"supply air was {site.temperatures(off)} as the burner went off",
            f"it climbed another {site.temperature_difference(climb)} after that"
            if climb >= site.threshold("purge_climb_f")
            else "",
        ),
        label="blower off at once",
        say=lambda r: (
            f"the blower off {words.duration(float(r.purge_fan_s))} after the burner with supply "
            f"air at {site.temperature(float(r.off_supply_f))}"
        ),
        worth=lambda r: number(r.purge_supply_max_f) or 0.0,
        columns=(
            ("Blower ran on for", lambda r: words.duration(float(r.purge_fan_s))),
            ("Supply air", lambda r: _occurrences.or_dash(r.off_supply_f, site.temperature)),
        ),
    )
