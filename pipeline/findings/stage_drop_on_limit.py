"""Stage drop on limit: second stage alone was dropped because supply air got near the limit.

What it says
    How often the panel let second stage go while first stayed on and the calls stood, at what
    supply temperature, with which zones calling.

Why it matters
    The panel does what it should: it sheds heat before the limit has to. But it says that second
    stage makes more than these zones can carry, and a cold house then waits on first stage.

What looks like it but is not
    A thermostat that lets its second-stage call go. A zone that is satisfied. A furnace that drops
    its own stage: there W2 stays on.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import _cautions, _occurrences
from pipeline.findings._base import Cause, Check, Declaration, Outcome, Weighed, Weight
from pipeline.findings._occurrences import Occurrences
from pipeline.findings._site import SiteFrames


def _too_much_for_few(e: Occurrences) -> Weighed:
    n = e.alone()
    said = f"{words.of_all(n, e.n, 'drop')} came with one zone calling alone"
    least = e.site.setting("stage2_min_zones")
    if least is not None:
        said += f"; second stage is set to wait for {words.count(int(least), 'zone')}"
    if n >= e.site.threshold("cause_share_min_frac") * e.n:
        return Weighed(Weight.STRONG, said)
    return Weighed(Weight.FITS if n else Weight.AGAINST, said)


def _little_air(e: Occurrences) -> Weighed:
    n = e.n - e.alone()
    said = f"{words.of_all(n, e.n, 'drop')} came with two or more zones calling"
    if not n:
        return Weighed(Weight.AGAINST, said)
    return Weighed(
        Weight.STRONG if n >= e.site.threshold("cause_share_min_frac") * e.n else Weight.OPEN, said
    )


def _set_low(e: Occurrences) -> Weighed:
    limits, drop_f = e.values("limit_f"), median(e.values("peak_f"))
    said = f"it drops out around {e.site.temperature(drop_f)}"
    if not limits:
        return Weighed(Weight.OPEN, f"{said}; the limit's setting is not known")
    said += f", the limit is set to {e.site.temperature(limits[-1])}"
    far = abs(limits[-1] - drop_f) >= e.site.threshold("stage_drop_far_f")
    return Weighed(Weight.STRONG if far else Weight.AGAINST, said)


FINDING = Declaration(
    title="Second stage dropped on the limit",
    question="Did the panel drop second stage alone because supply air got near its limit?",
    needs_tables=("measure.limit_approach", "measure.condition_time"),
    needs_roles=(
        ("supply_temp",),
        ("output_w2", "output_y2"),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="trips",
    thresholds=(
        "stage_drop_far_f",
        "stage_drop_plan_events",
        "trip_days",
        "judged_min_h",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the temperature at which the panel drops it is set far under the limit",
            "Raised when it drops out 10 °F or more under the limit; lowered when at the limit "
            "itself.",
            _set_low,
        ),
        Cause(
            "second stage makes more heat (cold) than the ducts of so few zones can carry",
            "Raised when the drops come with one zone calling alone.",
            _too_much_for_few,
            replays="stage2_min_zones",
        ),
        Cause(
            "too little air altogether: filter, coil, return side, blower",
            "Raised when the drops come with two or more zones calling.",
            _little_air,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the minimum zones and delay for second stage, the limit and the temperature at "
            "which second stage is let go; photograph them",
            "as on the site sheet. They stay where they are, or go in the safer direction",
            "second stage comes on with too few zones: write down the old value, then correct it",
        ),
        Check(
            "dampers",
            f"call {{zone}} alone and let second stage come; {_cautions.WATCHED}",
            "its damper fully open, supply air settles well under the limit",
            "look at damper, registers and duct of that zone; then at the minimum zones",
        ),
        Check(
            "unit",
            "all zones calling, two matched probes: temperature rise on second stage against the "
            "plate",
            "inside the plate's band",
            "airflow for all zones: filter, coil, return, blower speed; gas by a licensed "
            "technician",
        ),
    ),
    cautions=(
        _cautions.LIMIT,
        _cautions.LOW_LIMIT,
        _cautions.GAS,
        _cautions.REPRODUCE,
        _cautions.SETTINGS,
        _cautions.RELIEF,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "High-limit trips: there all heat is dropped.",
        "Second stage that never came on: there it did not come at all.",
    ),
    suppresses=("near-limit",),
    symptom_of=("second-stage-too-few-zones", "second-stage-early", "second-stage-stayed-in"),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the first; plan from so many on two days."""
    rows = site.table("measure.limit_approach")
    rows = rows[rows["kind"] == "stage drop"]
    mode = ["cooling"] if len(rows) and (rows["limit_kind"] == "low").all() else ["heating"]
    what = "second-stage heat" if mode == ["heating"] else "second-stage cooling"
    e = _occurrences.load(site, rows, site.seconds_in(mode, stage=2), what)
    if not e.n:
        running = site.seconds_in(["heating", "cooling"])
        return _occurrences.none(_occurrences.load(site, rows, running, "heating and cooling"))
    days = site.threshold("trip_days")
    often = e.n >= site.threshold("stage_drop_plan_events") * site.weeks and e.days >= days
    at_limit = (e.rows["basis"] == "at the limit").any()
    zones = e.rows["zones"].dropna()
    alone = zones[e.rows.loc[zones.index, "n_zones"] == 1]
    return _occurrences.found(
        e,
        severity="plan" if often else "watch" if e.n > 1 else "note",
        certainty="shown" if at_limit else "likely",
        headline=(
            f"second stage was dropped around {site.temperature(median(e.values('peak_f')))} with "
            f"zones still calling {e.often()}{e.mostly()}"
        ),
        details=(f"supply air had reached {site.temperatures(e.values('peak_f'))}",),
        label="second stage dropped",
        say=lambda r: (
            f"{site.calling(r.zones)}, second stage dropped at "
            f"{site.temperature(float(r.peak_f))}, first stage stayed on"
        ),
        worth=lambda r: float(r.peak_f) * (1 if r.limit_kind == "high" else -1),
        columns=(
            ("Calling", lambda r: site.zones(r.zones)),
            ("Supply air", lambda r: _occurrences.or_dash(r.peak_f, site.temperature)),
            ("Limit", lambda r: _occurrences.or_dash(r.limit_f, site.temperature)),
        ),
        settings=("high_limit_f" if mode == ["heating"] else "low_limit_f",),
        fill={
            "zone": site.zones(str(alone.mode()[0])) if len(alone) else "each small zone in turn"
        },
    )
