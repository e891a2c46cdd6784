"""Low-limit trips: the panel shut the cooling off because supply air got too cold.

What it says
    How often the panel's low limit stopped all cooling while a zone still called, at what supply
    temperature and static, with which zones calling, on which stage and in what weather.

Why it matters
    Supply air that cold means a coil near freezing: ice, water and liquid at the compressor come
    next. The state in which the trips come points to the cause: one zone calling is a zoning
    question, all zones an airflow question, cold weather a question of the equipment's fitness.

What looks like it but is not
    Second stage alone dropping. A float switch (supply air is not near the limit). The low supply
    reading of a probe in a cold attic or crawl space with the fan off. Slow icing over hours.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import _cautions, _trips
from pipeline.findings._base import (
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
from pipeline.findings._site import SiteFrames, numbers
from pipeline.findings._trips import Trips
from pipeline.findings._windows import evidence, windows


def _few_zones(t: Trips) -> Weighed:
    p = t.pattern
    because = p.text(t.site, "trip")
    if t.statics_inwc:
        because += f"; static before the trips {t.site.statics(t.statics_inwc)}"
    if not p.few_zones:
        return Weighed(Weight.AGAINST, because)
    return Weighed(Weight.STRONG if p.is_telling else Weight.FITS, because)


def _air_altogether(t: Trips) -> Weighed:
    p = t.pattern
    because = p.text(t.site, "trip")
    if not p.few_zones:
        weight = Weight.OPEN if p.is_telling else Weight.STRONG
        return Weighed(weight, f"{because}, not only with one zone calling")
    high = bool(
        t.statics_inwc and t.target_inwc is not None and median(t.statics_inwc) > t.target_inwc
    )
    if high:
        because += "; and supply static was high: a dirty filter or a weak blower lowers it"
    if p.is_telling and high:
        return Weighed(Weight.RULED_OUT, because)
    return Weighed(Weight.AGAINST if p.is_telling or high else Weight.OPEN, because)


def _cold_weather(t: Trips) -> Weighed:
    outdoor = numbers(t.rows["outdoor_f"])
    if not outdoor:
        return Weighed(Weight.OPEN, "outdoor air was not logged")
    low_f = t.site.threshold("low_ambient_cooling_f")
    n_cold = sum(v < low_f for v in outdoor)
    said = f"outdoor air at the trips was {t.site.temperatures(outdoor)}"
    if n_cold == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = t.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n_cold >= share * len(outdoor) else Weight.FITS, said)


def _limit_sensor(t: Trips) -> Weighed:
    site, lows = t.site, t.peaks_f
    said = f"supply air at the trips was {site.temperatures(lows)} by the logger's probe"
    if t.limit_f is None:
        return Weighed(Weight.OPEN, f"{said}; the limit's setting is not known")
    said += f", the limit is set to {site.temperature(t.limit_f)}"
    if abs(median(lows) - t.limit_f) <= site.threshold("limit_cluster_f"):
        return Weighed(Weight.RULED_OUT, said)
    return Weighed(Weight.FITS if median(lows) > t.limit_f else Weight.AGAINST, said)


def _refrigerant(t: Trips) -> Weighed:
    return Weighed(
        Weight.OPEN,
        "no pressures or line temperatures are in this log; airflow comes first, since too little "
        "air looks the same",
    )


FINDING = Declaration(
    title="Low-limit trips",
    question="Did the panel shut the cooling off because supply air got too cold?",
    needs_tables=(
        "measure.trip_context",
        "measure.condition_time",
        "measure.stage_up",
        "interval.relief",
        "interval.call",
        "interval.call_unanswered",
    ),
    needs_roles=(("supply_temp",), ("output_y1",), ("zone_call_y1",)),
    figure="trips",
    thresholds=(
        "trip_call_stands_s",
        "trips_plan_per_week",
        "trips_act_per_day",
        "trips_act_per_100_heat_h",
        "trip_days",
        "limit_sensor_tolerance_f",
        "limit_cluster_f",
        "low_ambient_cooling_f",
        "cause_share_min_frac",
        "cause_other_min_h",
        "cause_rate_ratio_min",
        "linked_min_share",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "too little air over the coil with so few zones calling",
            "Raised when the trips come with one zone calling, most when other states were logged "
            "for hours with several times fewer trips.",
            _few_zones,
        ),
        Cause(
            "too little air altogether: filter, coil, return side, blower",
            "Raised when the trips are not tied to few zones. Ruled out when they come with few "
            "zones only and supply static before them is high.",
            _air_altogether,
            not_it="the filter, coil, return side or blower",
        ),
        Cause(
            "cooling in cold weather",
            "Raised when most trips come with outdoor air under 60 °F. Ruled out when none does.",
            _cold_weather,
            not_it="cold weather",
        ),
        Cause(
            "the limit's own sensor reads colder than the air in the trunk: its place, its wiring",
            "Raised when supply air at the trips is well above the setting. Ruled out when supply "
            "air by the logger meets the setting.",
            _limit_sensor,
            not_it="the limit's own sensor",
        ),
        Cause(
            "refrigerant side",
            "Such a log cannot tell; comes after airflow.",
            _refrigerant,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the low limit, the minimum number of zones for second stage and the wait before "
            "cooling comes back; photograph them",
            "as designed for this equipment, low limit not under the equipment maker's value",
            "write down the old value, then correct it by the panel's instructions, never to a "
            "colder limit",
        ),
        Check(
            "dampers",
            "call {zone} alone for cooling and watch its damper travel and the relief",
            "its own damper fully open, relief opens once static passes {target}",
            "linkage, actuator wire or relief setting",
        ),
        Check(
            "unit",
            "filter, coil face and blower speed; two-tube manometer on both sides of the coil; "
            "temperature split with all zones calling",
            "pressure drop and split as the equipment's data sheet gives them, no ice",
            "clean and restore airflow first",
        ),
        Check(
            "outdoor unit",
            "if outdoor air is under 60 °F when it happens: look for the low-ambient control",
            "fitted and working, or cooling locked out in that weather",
            "ask what the equipment's instructions allow",
        ),
        Check(
            "outdoor unit",
            "after airflow is right: charge and metering by a certified technician",
            "superheat and subcooling as the data plate asks",
            "refrigerant work by a certified technician",
        ),
    ),
    cautions=(
        _cautions.LOW_LIMIT,
        _cautions.ICE,
        _cautions.REFRIGERANT,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "A float or condensate switch: there supply air is not near the limit when Y drops.",
        "Coil icing: there supply air sinks over hours, not in minutes.",
    ),
    symptom_of=(
        "second-stage-too-few-zones",
        "static-above-target",
        "second-stage-early",
        "second-stage-stayed-in",
    ),
    clears="cooling",
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found if a low-limit trip outside visits was seen; severity by number, days and rate."""
    cool_s = site.seconds_in(["cooling"])
    trips = _trips.load(site, "low")
    if trips is None:
        if cool_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(cool_s, "cooling"))
        return NotFound(f"no trip in {words.hours(cool_s)} of cooling")
    events = _trips.events(trips)
    return Found(
        severity=_trips.severity(trips),
        certainty=_trips.certainty(trips),
        summary=_summary(trips),
        headline=_headline(trips),
        facts=trips,
        evidence=evidence(events),
        windows=windows(site, events),
        fill=_trips.fill(trips),
        linked=_trips.linked(trips),
        table=_trips.table(trips),
    )


def _headline(t: Trips) -> str:
    spread = f"{words.times(t.n)} in {words.hours(t.pattern.all_s)} of cooling"
    if t.by_panel:
        return f"the panel's low limit shut the cooling off {spread}{_trips.state_clause(t)}"
    drop = t.site.temperature(median(t.peaks_f))
    return (
        f"cooling drops out around {drop}, limit setting not known, {spread}"
        f"{_trips.state_clause(t)}"
    )


def _summary(t: Trips) -> str:
    site = t.site
    limit = f" (limit set to {site.temperature(t.limit_f)})" if t.limit_f is not None else ""
    static = f", static {site.statics(t.statics_inwc)}" if t.statics_inwc else ""
    return words.sentences(
        f"{_headline(t)}: {_trips.when(t)}",
        f"supply air was down to {site.temperatures(t.peaks_f)}{limit}{static}",
        _trips.sure_of(t),
    )
