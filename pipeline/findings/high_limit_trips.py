"""High-limit trips: the panel shut the heat off because supply air got too hot.

What it says
    How often the panel's high limit stopped all heat while a zone still called, at what supply
    temperature and static, with which zones calling and on which stage.

Why it matters
    Every trip is a call that is not answered, a hot heat exchanger and a blast of hot air. The
    state in which the trips come points to the cause: one small zone on second stage is a
    zoning question, trips with every zone open are an airflow or firing question.

What looks like it but is not
    A drop at the end of the last call. Second stage alone dropping. The furnace's own limit (the
    output stays on: equipment cut-outs). Soak above the limit for a minute after the burner is
    off, and the probe reading the attic with the fan off.

Source
    Common practice, no source. The arithmetic behind the first cause: rise is proportional to
    heat over airflow, 60,000 Btu/h at 1200 CFM rises 46 °F and at 600 CFM 93 °F
    (q = 1.08 x CFM x rise, standard air).
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


def _too_much_heat(t: Trips) -> Weighed:
    p, on_second = t.pattern, int((t.rows["stage"] == 2).sum())
    if on_second == 0 and not {"output_w2", "output_y2"} & t.site.logged_roles:
        return Weighed(Weight.OPEN, "second stage was not logged")
    if on_second == 0:
        return Weighed(Weight.RULED_OUT, f"no trip of {t.n} came on second stage")
    because = p.text(t.site, "trip")
    least = f"the {t.min_zones or 0:.0f} zones the panel is set to wait for"
    if t.n_few:
        because += (
            f"; in {words.of_all(t.n_few, t.n, 'trip')} second stage had come on with fewer than "
            f"{least}"
        )
    if t.n_stayed:
        because += (
            f"; in {words.of_all(t.n_stayed, t.n, 'trip')} it had come on with enough zones and "
            "stayed in when "
            f"fewer {'were left' if t.n_few else f'than {least} were left'}"
        )
    if p.few_zones and p.on_second_stage:
        return Weighed(Weight.STRONG if p.is_telling else Weight.FITS, because)
    if p.on_second_stage:
        return Weighed(Weight.FITS, because)
    return Weighed(
        Weight.AGAINST, f"{words.of_all(on_second, t.n, 'trip')} came on second stage; {because}"
    )


def _zone_path(t: Trips) -> Weighed:
    p = t.pattern
    parts = []
    over = None
    if t.statics_inwc:
        against = f", target {t.site.static(t.target_inwc)}" if t.target_inwc is not None else ""
        parts.append(f"static before the trips {t.site.statics(t.statics_inwc)}{against}")
        if t.target_inwc is not None:
            over = median(t.statics_inwc) > t.target_inwc
    if t.n_relieved is not None:
        parts.append(
            t.relief_said
            or f"a relief damper was open at {words.of_all(t.n_relieved, t.n, 'trip')}"
        )
    said = "; ".join(parts) or "static was not logged, so the duct's share cannot be told"
    if not p.few_zones:
        lead = "the trips are not tied to one zone"
        return Weighed(Weight.AGAINST, f"{lead}; {said}")
    if over is False:
        return Weighed(Weight.AGAINST, said)
    if p.state is not None and p.state.stage == 1:
        return Weighed(Weight.STRONG, f"the trips come on first stage already; {said}")
    return Weighed(Weight.FITS if over else Weight.OPEN, said)


def _air_altogether(t: Trips) -> Weighed:
    p = t.pattern
    if not p.few_zones:
        if p.is_telling:
            return Weighed(Weight.OPEN, p.text(t.site, "trip"))
        return Weighed(Weight.STRONG, f"{p.text(t.site, 'trip')}, not only with one zone calling")
    because = p.text(t.site, "trip")
    known = bool(t.statics_inwc) and t.target_inwc is not None
    over = known and median(t.statics_inwc) > (t.target_inwc or 0.0)
    if known and not over:
        return Weighed(
            Weight.FITS,
            f"{because}; supply static before the trips was {t.site.statics(t.statics_inwc)}, "
            "under its target: the way to the rooms was open, so too little air comes altogether",
        )
    if over:
        because += (
            f"; and supply static before the trips was high "
            f"({t.site.statics(t.statics_inwc)}): a dirty filter or a weak blower lowers it"
        )
    if p.is_telling and over:
        return Weighed(Weight.RULED_OUT, because)
    return Weighed(Weight.AGAINST if p.is_telling or over else Weight.OPEN, because)


def _firing(t: Trips) -> Weighed | None:
    if not bool((t.rows["source"] == "burner").any()):
        return None
    if t.pattern.few_zones and t.pattern.is_telling:
        return Weighed(
            Weight.AGAINST,
            "an over-fired furnace would trip with more zones calling too; "
            f"{words.of_all(t.pattern.n, t.n, 'trip')} came "
            f"{t.pattern.state.text(t.site) if t.pattern.state else 'with one zone calling'}; gas "
            "input was not logged",
        )
    if t.pattern.few_zones:
        return Weighed(Weight.OPEN, "gas input was not logged")
    return Weighed(Weight.FITS, "the trips are not tied to few zones; gas input was not logged")


def _recirculation(t: Trips) -> Weighed:
    returns = numbers(t.rows["return_f"])
    if not returns:
        return Weighed(Weight.OPEN, "return air was not logged")
    warm_f = t.site.threshold("return_warm_f")
    n_warm = sum(r >= warm_f for r in returns)
    said = f"return air was {t.site.temperatures(returns)} at the trips"
    if n_warm == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = t.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n_warm >= share * len(returns) else Weight.FITS, said)


def _limit_sensor(t: Trips) -> Weighed:
    site, peaks = t.site, t.peaks_f
    said = f"supply air at the trips was {site.temperatures(peaks)} by the logger's probe"
    if median(peaks) < site.threshold("limit_trip_cool_air_f"):
        return Weighed(Weight.STRONG, said)
    if t.limit_f is None:
        return Weighed(Weight.OPEN, f"{said}; the limit's setting is not known")
    said += f", the limit is set to {site.temperature(t.limit_f)}"
    if abs(median(peaks) - t.limit_f) <= site.threshold("limit_cluster_f"):
        return Weighed(Weight.RULED_OUT, said)
    return Weighed(Weight.FITS if median(peaks) < t.limit_f else Weight.AGAINST, said)


FINDING = Declaration(
    title="High-limit trips",
    question="Did the panel shut the heat off because supply air got too hot?",
    needs_tables=(
        "measure.trip_context",
        "measure.condition_time",
        "measure.stage_up",
        "interval.relief",
        "interval.call",
        "interval.call_unanswered",
        "run.zone",
    ),
    needs_roles=(
        ("supply_temp",),
        ("output_w1", "output_y1", "output_aux"),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="trips",
    thresholds=(
        "trip_call_stands_s",
        "trips_plan_per_week",
        "trips_act_per_day",
        "trips_act_per_100_heat_h",
        "trip_days",
        "limit_sensor_tolerance_f",
        "limit_cluster_f",
        "cause_share_min_frac",
        "cause_other_min_h",
        "cause_rate_ratio_min",
        "return_warm_f",
        "limit_trip_cool_air_f",
        "linked_min_share",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "second stage makes more heat than the ducts of so few zones can carry",
            "Raised when the trips come on second stage with one zone calling, most when other "
            "states were logged for hours with several times fewer trips. Ruled out when no trip "
            "came on second stage.",
            _too_much_heat,
            not_it="second stage",
            replays="stage2_min_zones",
        ),
        Cause(
            "too little air reaches the zone that calls: damper not fully open, registers shut, "
            "duct small or crushed, or no relief",
            "Raised when the trips are tied to one zone and static before them is over target, "
            "most when they come on first stage already. Lowered when static is under target or "
            "the trips are spread over zones.",
            _zone_path,
        ),
        Cause(
            "supply air comes back to the return: bypass open, or a leak between supply and return",
            "Raised when return air at the trips is 80 °F or more. Ruled out when it never is.",
            _recirculation,
            not_it="supply air coming back to the return",
        ),
        Cause(
            "too little air altogether: filter, coil, return side, blower",
            "Raised when the trips are not tied to few zones. Ruled out when they come with few "
            "zones only and supply static before them is high: a filter or weak blower lowers it.",
            _air_altogether,
            not_it="the filter, coil, return side or blower",
        ),
        Cause(
            "the limit's own sensor reads hotter than the air in the trunk: its place, its wiring",
            "Raised when trips come with supply air under 110 °F or well under the setting. Ruled "
            "out when supply air by the logger meets the setting.",
            _limit_sensor,
            not_it="the limit's own sensor",
        ),
        Cause(
            "over-fired: more gas input than the plate says, or the wrong stage lit",
            "Raised when the trips are not tied to few zones; lowered when they are. Gas input is "
            "never in such a log.",
            _firing,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the minimum number of zones for second stage, the stage-up delay and the high "
            "limit; photograph them",
            "as on the site sheet. Do not raise the limit, even if the plate allows more",
            "second stage comes on too easily: write down the old value, then correct it by the "
            "panel's instructions",
        ),
        Check(
            "dampers",
            "call {zone} alone and watch its damper travel; then watch which relief damper opens "
            f"when static passes the target. If second stage comes on: {_cautions.WATCHED}",
            "its own damper fully open within its travel time, relief opens within a few minutes",
            "linkage, actuator wire or relief setting",
        ),
        Check(
            "ducts",
            "with {zone} calling alone, two-tube manometer in the supply trunk before the first "
            "takeoff; then open every register of that zone. If second stage comes on: "
            f"{_cautions.WATCHED}",
            "static at or under {target}",
            "the path is too small for the blower's air: registers, duct size, relief, blower "
            "settings for one zone",
        ),
        Check(
            "unit",
            "all zones calling, two matched probes: temperature rise on each stage against the "
            "rating plate",
            "inside the plate's band on both stages",
            "airflow or gas input is off whoever calls: filter, coil, return, blower speed; gas "
            "input by a licensed technician",
        ),
    ),
    cautions=(
        _cautions.LIMIT,
        _cautions.CARBON_MONOXIDE,
        _cautions.GAS,
        _cautions.REPRODUCE,
        _cautions.SETTINGS,
        _cautions.CODES_FIRST,
        _cautions.ELECTRICITY,
        _cautions.RELIEF,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Equipment cut-outs: there W stays on while the supply air falls.",
        "The normal end of a call: there no zone calls any more.",
    ),
    symptom_of=(
        "second-stage-too-few-zones",
        "static-above-target",
        "second-stage-early",
        "second-stage-stayed-in",
    ),
    clears="heating",
    source="Common practice, no source; rise against airflow by q = 1.08 x CFM x rise.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found if a high-limit trip outside visits was seen; severity by number, days and rate."""
    heat_s = site.seconds_in(["heating"])
    trips = _trips.load(site, "high")
    if trips is None:
        if heat_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(heat_s, "heat"))
        return NotFound(f"no trip in {words.hours(heat_s)} of heat")
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
    spread = f"{words.times(t.n)} in {words.hours(t.pattern.all_s)} of heat"
    if t.by_panel:
        return f"the panel's high limit shut the heat off {spread}{_trips.state_clause(t)}"
    drop = t.site.temperature(median(t.peaks_f))
    return (
        f"heat drops out around {drop}, limit setting not known, {spread}{_trips.state_clause(t)}"
    )


def _summary(t: Trips) -> str:
    site = t.site
    limit = f" (limit set to {site.temperature(t.limit_f)})" if t.limit_f is not None else ""
    static = f", static {site.statics(t.statics_inwc)}" if t.statics_inwc else ""
    return words.sentences(
        f"{_headline(t)}: {_trips.when(t)}",
        f"supply air had reached {site.temperatures(t.peaks_f)}{limit}{static}",
        _trips.sure_of(t),
    )
