"""Opposing calls: one zone calls for heat while another calls for cooling.

What it says
    How often and how long heat and cool calls stood together, which zones, and who waited.

Why it matters
    A panel serves one mode at a time: the other zone waits, the equipment changes over again and
    again, and each heats away what the other cooled.

What looks like it but is not
    A few minutes at a change of season or of schedule. A sunny room on a cold morning, now and
    then.

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
from pipeline.findings._site import SiteFrames, flags


def _setpoints(e: Episodes) -> Weighed:
    pairs = [(r.heat_zones or "", r.cool_zones or "") for r in e.rows]
    top = max(sorted(set(pairs)), key=pairs.count)
    n = pairs.count(top)
    said = (
        f"in {words.of_all(n, e.n, 'case')} it was {e.site.zones(top[0])} calling for heat against "
        f"{e.site.zones(top[1])} for cooling"
    )
    share = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * e.n else Weight.FITS, said)


def _sun(e: Episodes) -> Weighed:
    by_day = [r for r in e.rows if SUN_HOURS[0] <= _hour(e, r) < SUN_HOURS[1]]
    hours = words.in_units("10 am and 5 pm", e.site.units)
    said = f"{words.of_all(len(by_day), e.n, 'case')} began between {hours}"
    share = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.FITS if len(by_day) >= share * e.n else Weight.AGAINST, said)


def _changeover(e: Episodes) -> Weighed:
    waits = sum(float(r.heat_waits_s) + float(r.cool_waits_s) for r in e.rows)
    return Weighed(
        Weight.FITS if waits >= e.total_s / 2 else Weight.OPEN,
        f"one of the two waited for the other mode for {words.hours_of(waits, e.total_s)}",
    )


def _hour(e: Episodes, row: Any) -> int:
    return words.local(int(row.start_ts), e.site.site.timezone).hour


SUN_HOURS = (10, 17)
FINDING = Declaration(
    title="Heat and cooling called for at once",
    question="Do zones call for heat and for cooling against each other?",
    needs_tables=("interval.opposing_call", "interval.condition", "measure.condition_time"),
    needs_roles=(("zone_call_w1", "zone_call_y1"), ("zone_call_y1",)),
    figure="calls",
    thresholds=(
        "opposing_max_s",
        "mode_flips_per_day",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "setpoints of neighbours overlap, or their dead band is under 3 °F",
            "Raised when it is mostly the same two zones.",
            _setpoints,
        ),
        Cause(
            "sun in one room while another needs heat",
            "Raised when most begin by day, else lowered.",
            _sun,
        ),
        Cause(
            "the panel's changeover wait or priority lets one mode wait for long",
            "Raised when the waiting is half of the time or more.",
            _changeover,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "read heat and cool setpoints, dead band and mode of {heat_zone} and {cool_zone}",
            "3 degrees F or more between the heat setpoint of one and the cool setpoint of the "
            "other",
            "talk with the people in the house, then move the setpoints apart, or one of the two "
            "out "
            "of automatic mode",
        ),
        Check(
            "panel",
            "read changeover wait and priority",
            "as designed",
            "write down the old value, then set it by the instructions",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.ELECTRICITY, _cautions.SYMPTOMS),
    confused_with=("Crossed wires or dampers: there a zone moves when another one calls.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from one stretch longer than opposing calls may stand; plan where they persist."""
    run_s = site.seconds_in(["heating", "cooling"])
    table = site.table("interval.opposing_call")
    flips = _flips(site)
    often = site.threshold("mode_flips_per_day")
    busy = [day for day, n in flips.items() if n > often]
    # mode to and fro all day: each stretch of both calls counts, however short
    to_and_fro = len(busy) >= site.threshold("episodes_plan_days")
    keep = flags(table["is_long"]) | to_and_fro
    e = _episodes.episodes(site, table[keep], state_s=run_s, state="heat and cooling")
    if not e.n:
        if run_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(run_s, "heat and cooling"))
        return NotFound(
            f"never for longer than {words.duration(site.threshold('opposing_max_s'))} together"
        )
    top = e.rows[max(range(e.n), key=lambda n: e.lengths_s[n])]
    return _episodes.found(
        e,
        severity="plan" if e.is_persistent() else "watch",
        headline=(
            f"zones called for heat and cooling against each other {words.times(e.n)}, "
            f"{e.how_long}, the longest {site.zones(top.heat_zones)} against "
            f"{site.zones(top.cool_zones)}"
        ),
        aside="zones call for heat and cooling at once",
        detail=[
            f"on {words.count(len(busy), 'day')} it changed between heat and cooling more than "
            f"{often:.0f} times, {max(flips.values())} times at most"
        ]
        if to_and_fro
        else [],
        label="opposing calls",
        say=lambda r: (
            f"{site.zones(r.heat_zones)} for heat, {site.zones(r.cool_zones)} for cooling, "
            f"{words.duration(r.length_s)}"
        ),
        columns=(
            *_episodes.span_columns(site),
            ("Heat", lambda r: site.zones(r.heat_zones)),
            ("Cooling", lambda r: site.zones(r.cool_zones)),
            ("Heat waited", lambda r: words.duration(r.heat_waits_s)),
            ("Cooling waited", lambda r: words.duration(r.cool_waits_s)),
        ),
        fill={"heat_zone": site.zones(top.heat_zones), "cool_zone": site.zones(top.cool_zones)},
    )


def _flips(site: SiteFrames) -> dict[str, int]:
    """Changes between heating and cooling by local day, visits left out."""
    rows = site.table("interval.condition")
    rows = rows[rows["class"].isin(["heating", "cooling"]) & ~flags(rows["in_visit"])]
    rows = rows.sort_values("start_ts")
    changes = rows[rows["class"] != rows["class"].shift(1)].iloc[1:]
    days = [site.local_day(int(ts)) for ts in changes["start_ts"]]
    return {day: days.count(day) for day in days}
