"""Compressor stops in a call: Y on, fan on, and the cooling collapses and comes back.

What it says
    How often supply air went warm within minutes with Y still on, how long it stayed so, whether
    it came back, and how hot it was outdoors.

Why it matters
    The compressor protects itself: a pressure switch, its overload, a timer. Each stop is a hard
    one, rooms fall behind in the hottest hours, and in the end it stays off.

What looks like it but is not
    Icing: the split fades over half an hour or more. A defrost (heating). A damper or a call that
    changes the air. The panel's low limit: Y goes off.

Source
    Common practice, no source: 3 to 10 min off points to a pressure switch or timer, 20 to 90 min
    to the compressor's overload.
"""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import _cautions, _occurrences
from pipeline.findings._base import Cause, Check, Declaration, Outcome, Weighed, Weight
from pipeline.findings._occurrences import Occurrences
from pipeline.findings._site import SiteFrames
from pipeline.units import MICROSECONDS


def _back_after(e: Occurrences) -> list[float]:
    back = e.where(e.rows["is_back"].astype("boolean").fillna(False))
    return [float(v) for v in (back.rows["end_ts"] - back.rows["start_ts"]) / MICROSECONDS]


def _heat_rejection(e: Occurrences) -> Weighed:
    outdoors = e.values("outdoor_f")
    if not outdoors:
        return Weighed(Weight.OPEN, "outdoor air was not logged")
    said = f"it was {e.site.temperatures(outdoors)} outdoors when it stopped"
    usual = e.more["outdoor_f"]
    if usual is None:
        return Weighed(Weight.FITS, said)
    said += f", {e.site.temperature(usual)} on average over the log"
    return Weighed(Weight.STRONG if median(outdoors) > usual else Weight.AGAINST, said)


def _short(e: Occurrences) -> Weighed:
    back = _back_after(e)
    if not back:
        return Weighed(Weight.OPEN, "it was not seen to come back inside a call")
    said = f"it came back after {words.durations(back)}"
    quick = median(back) < e.site.threshold("icing_after_s")
    return Weighed(Weight.FITS if quick else Weight.AGAINST, said)


def _overload(e: Occurrences) -> Weighed:
    back = _back_after(e)
    if not back:
        return Weighed(Weight.FITS, "it was not seen to come back inside a call")
    said = f"it came back after {words.durations(back)}"
    slow = median(back) >= e.site.threshold("icing_after_s")
    return Weighed(Weight.FITS if slow else Weight.AGAINST, said)


FINDING = Declaration(
    title="Compressor stops inside a call",
    question="Does the compressor stop by itself while Y is still on?",
    needs_tables=("interval.compressor_stop", "interval.weather", "measure.condition_time"),
    needs_roles=(("supply_temp",), ("output_y1",)),
    figure="cut_outs",
    thresholds=("compressor_stop_min_events", "icing_after_s", "judged_min_h", "trip_days"),
    causes=(
        Cause(
            "the outdoor unit cannot get rid of its heat: coil dirty or boxed in, fan weak",
            "Raised when it was hotter outdoors at the stops than over the window.",
            _heat_rejection,
        ),
        Cause(
            "a pressure switch or a timer cuts in and lets go: air over a coil, charge",
            "Raised when it comes back within 20 min; lowered when it takes longer.",
            _short,
        ),
        Cause(
            "the compressor's overload opens: contactor, capacitor, voltage, the motor itself",
            "Raised when it takes 20 min or more to come back, or does not.",
            _overload,
        ),
    ),
    check_next=(
        Check(
            "unit",
            "filter and indoor coil by eye; airflow in the calls in which it happens",
            "clean, airflow as in other calls",
            "airflow first: it can trip the low-pressure switch too",
        ),
        Check(
            "outdoor unit",
            "at an hour like those in the table: is it running? Coil and clearances, fan and its "
            "direction; amps and voltage by a qualified technician",
            "runs through the call, coil clean, amps under the plate",
            "clean the coil; fan motor, capacitor or contactor by a qualified technician; "
            "refrigerant side last",
        ),
    ),
    cautions=(
        _cautions.REFRIGERANT,
        _cautions.ICE,
        _cautions.ELECTRICITY,
        _cautions.OWN_LIMIT,
        _cautions.CODES_FIRST,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "An icing coil: its split fades over half an hour, not within minutes.",
        "The panel's low limit or a float switch: there Y goes off.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the first that came back, or so many; plan from so many on two days."""
    e = _occurrences.load(
        site,
        site.table("interval.compressor_stop"),
        site.seconds_in(["cooling"]),
        "cooling",
        outdoor_f=_mean_outdoor(site),
    )
    if not e.n:
        return _occurrences.none(e)
    least = site.threshold("compressor_stop_min_events")
    many = e.n >= least * site.weeks and e.days >= site.threshold("trip_days")
    back = _back_after(e)
    outdoors = e.values("outdoor_f")
    return _occurrences.found(
        e,
        severity="plan" if many else "watch" if e.n > 1 else "note",
        certainty="shown" if back and many else "likely",
        headline=f"the compressor stopped with Y on and the fan running {e.often()}",
        details=(
            f"supply air went from {site.temperatures(e.values('low_f'))} to "
            f"{site.temperatures(e.values('high_f'))}",
            f"it came back in its call after {words.of_all(len(back), e.n, 'stop')}, in "
            f"{words.durations(back)}"
            if back
            else "it was not seen to come back inside its call",
            f"{site.temperatures(outdoors)} outdoors" if outdoors else "",
        ),
        label="compressor stopped",
        say=lambda r: (
            f"supply air up from {site.temperature(float(r.low_f))} to "
            f"{site.temperature(float(r.high_f))} with Y on"
        ),
        worth=lambda r: float(r.high_f) - float(r.low_f),
        columns=(
            ("Supply air before", lambda r: _occurrences.or_dash(r.low_f, site.temperature)),
            ("Warmest", lambda r: _occurrences.or_dash(r.high_f, site.temperature)),
            ("Came back", lambda r: "yes" if r.is_back else "no"),
            ("Outdoor air", lambda r: _occurrences.or_dash(r.outdoor_f, site.temperature)),
        ),
    )


def _mean_outdoor(site: SiteFrames) -> float | None:
    rows = site.table("interval.weather")
    known = rows[rows["outdoor_f"].notna()]
    if known.empty:
        return None
    length = known["end_ts"] - known["start_ts"]
    return float((known["outdoor_f"].astype(float) * length).sum() / length.sum())
