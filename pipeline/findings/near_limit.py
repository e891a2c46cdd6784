"""Near limit: supply air comes within a few degrees of the panel's limit, without a trip.

What it says
    In how many runs supply air came that close to the high (or low) limit, how close, with which
    zones calling.

Why it matters
    A dirtier filter, a colder morning or one more closed register makes trips of it. It is a
    reserve that is used up, not a fault by itself.

What looks like it but is not
    Trips: a limit that did act is told there. A limit set needlessly low, with supply air inside
    the plate: found at the panel.

Source
    Common practice, no source.
"""

from __future__ import annotations

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
from pipeline.findings._site import SiteFrames

MODES = {"high": ("heating", "heat"), "low": ("cooling", "cooling")}


def _few_zones(e: Occurrences) -> Weighed:
    n = e.alone()
    said = f"{words.of_all(n, e.n, 'such run')} came with one zone calling alone"
    if n >= e.site.threshold("cause_share_min_frac") * e.n:
        return Weighed(Weight.FITS, said)
    return Weighed(Weight.AGAINST, said)


def _altogether(e: Occurrences) -> Weighed:
    n = e.n - e.alone()
    said = f"{words.of_all(n, e.n, 'such run')} came with two or more zones calling"
    if n >= e.site.threshold("cause_share_min_frac") * e.n:
        return Weighed(Weight.FITS, said)
    return Weighed(Weight.OPEN, said)


FINDING = Declaration(
    title="Near the limit",
    question="Does supply air come close to the panel's limit without a trip?",
    needs_tables=("measure.limit_approach", "measure.trip_context", "measure.condition_time"),
    needs_roles=(("supply_temp",), ("output_w1", "output_y1", "output_aux")),
    figure="trips",
    thresholds=(
        "near_limit_f",
        "near_limit_min_events",
        "near_limit_watch_share",
        "cause_share_min_frac",
        "judged_min_h",
        "trip_days",
    ),
    causes=(
        Cause(
            "one small zone takes little air",
            "Raised when most of these runs came with one zone calling alone.",
            _few_zones,
        ),
        Cause(
            "too little air altogether, or over-fired: filter, coil, blower, gas input",
            "Raised when most came with two or more zones calling.",
            _altogether,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the limit and photograph it; compare with the plate's highest outlet temperature",
            "as on the site sheet, not above the plate; it stays where it is",
            "write it down and correct it in the safer direction only",
        ),
        Check(
            "unit",
            "filter and coil by eye, then temperature rise (split) with all zones calling against "
            "the rating plate",
            "inside the plate's band",
            "airflow first; gas input by a licensed technician",
        ),
    ),
    cautions=(_cautions.LIMIT, _cautions.LOW_LIMIT, _cautions.GAS, _cautions.SYMPTOMS),
    confused_with=("Limit trips: there the panel took the heat or cooling away.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from so many runs near a limit that never acted; never more than watch."""
    if site.setting("high_limit_f") is None and site.setting("low_limit_f") is None:
        return CannotTell("the site file gives no limit")
    rows = site.table("measure.limit_approach")
    rows = rows[rows["kind"] == "near limit"]
    told = []
    for kind, (mode, what) in MODES.items():
        mine = rows[rows["limit_kind"] == kind]
        e = _occurrences.load(site, mine, site.seconds_in([mode]), what, kind=kind)
        if _acted(site, kind):
            continue
        if e.n >= site.threshold("near_limit_min_events") and e.days >= site.threshold("trip_days"):
            told.append(e)
    if not told:
        both = site.seconds_in(["heating", "cooling"])
        if both < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(both, "heat or cooling"))
        return NotFound(
            "supply air came near a limit without a trip seldom or never, in "
            f"{words.hours(both)} of heat and cooling"
        )
    e = max(told, key=lambda one: one.n)
    kind = e.more["kind"]
    peaks = e.values("peak_f")
    closest = max(peaks) if kind == "high" else min(peaks)
    limit = e.values("limit_f")[-1]
    often = e.lasted_s >= site.threshold("near_limit_watch_share") * e.seconds
    return _occurrences.found(
        e,
        severity="watch" if often else "note",
        certainty="shown",
        headline=(
            f"supply air came within {site.temperature_difference(site.threshold('near_limit_f'))} "
            f"of the panel's {kind} limit {e.often()}, without a trip{e.mostly()}"
        ),
        details=(f"closest {site.temperature(closest)}, limit set to {site.temperature(limit)}",),
        label=f"near the {kind} limit",
        say=lambda r: (
            f"{site.calling(r.zones)}, supply air at {site.temperature(float(r.peak_f))} with the "
            f"limit at {site.temperature(float(r.limit_f))}"
        ),
        worth=lambda r: float(r.peak_f) * (1 if kind == "high" else -1),
        columns=(
            ("Calling", lambda r: site.zones(r.zones)),
            ("Closest", lambda r: _occurrences.or_dash(r.peak_f, site.temperature)),
            ("Limit", lambda r: _occurrences.or_dash(r.limit_f, site.temperature)),
        ),
        settings=(f"{kind}_limit_f",),
    )


def _acted(site: SiteFrames, kind: str) -> bool:
    """Whether the limit itself acted outside visits: the trips then say it all."""
    trips = site.table("measure.trip_context")
    mine = trips[(trips["kind"] == kind) & ~trips["in_visit"].astype("boolean").fillna(False)]
    return not mine.empty
