"""Airflow low: less air goes over exchanger or coil than the equipment needs.

What it says
    In which steady state the air is short, by what: a rise above the plate together with little
    supply static, little air per ton in compressor heat, or a wide split in cooling.

Why it matters
    Little air overheats the exchanger and freezes the coil. It is the road to limit trips on both
    sides, and a filter may be all there is to it.

What looks like it but is not
    Too much fire: the rise is high and supply static as ever. Few zones open: static is then high,
    not low. Dry air: a wide split with static as ever is healthy up to a point.

Source
    1.08 x CFM x rise = output; 300 CFM per ton as least: common practice, no source. A dirty filter
    or coil lowers supply static, it does not raise it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings import _air, _cautions
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
from pipeline.findings._rooms import row_of
from pipeline.findings._site import SiteFrames, number

BTUH_PER_TON = 12000


@dataclass(frozen=True)
class Little:
    """The state in which air is short, what says so, and static with most zones calling."""

    site: SiteFrames
    row: Any
    said: str
    static_inwc: float | None


def _static(x: Little) -> str:
    if x.static_inwc is None:
        return "supply static was not logged"
    return f"supply static with most zones calling is {x.site.static(x.static_inwc)}"


def _return_side(x: Little) -> Weighed:
    low = x.static_inwc is not None and x.static_inwc < x.site.threshold("airflow_static_low_inwc")
    return Weighed(Weight.STRONG if low else Weight.FITS, _static(x))


def _blower(x: Little) -> Weighed:
    return Weighed(Weight.OPEN, f"{_static(x)}; a weak blower reads the same as a dirty filter")


def _supply_side(x: Little) -> Weighed:
    if x.static_inwc is None:
        return Weighed(Weight.OPEN, _static(x))
    low = x.static_inwc < x.site.threshold("airflow_static_low_inwc")
    return Weighed(Weight.RULED_OUT if low else Weight.FITS, _static(x))


FINDING = Declaration(
    title="Airflow low",
    question="Does less air go over the heat exchanger or the coil than the equipment needs?",
    needs_tables=(
        "measure.rise",
        "measure.airflow",
        "measure.static_by_calling",
        "interval.steady_air",
        "run.plate",
        "run.zone",
    ),
    needs_roles=(("supply_temp",), ("return_temp",), ("output_w1", "output_y1", "output_aux")),
    figure="rise",
    thresholds=(
        "airflow_min_steady_s",
        "airflow_static_low_inwc",
        "static_low_inwc",
        "airflow_rise_over_f",
        "airflow_per_ton_low_cfm",
        "split_wide_f",
        "split_over_usual_f",
        "split_far_f",
        "split_static_low_inwc",
        "airflow_plan_f",
    ),
    causes=(
        Cause(
            "the return side: filter, return duct or grilles, coil before the tap",
            "Raised when supply static is low with most zones calling.",
            _return_side,
        ),
        Cause(
            "the blower: speed setting, wheel, capacitor, belt",
            "Supply static and rise cannot tell it from a dirty filter; static on the return side "
            "can.",
            _blower,
        ),
        Cause(
            "the supply side: dampers, registers, ducts",
            "Ruled out when supply static is low.",
            _supply_side,
            not_it="the supply side",
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "filter first; then static on both sides of filter and coil, blower running",
            "no more across filter and coil than their data say",
            "change the filter, have the coil cleaned, then measure the rise again",
        ),
        Check(
            "unit",
            "blower speed, wheel and motor current; rise or split with all zones calling",
            "current and speed as on the plate, rise inside the band",
            "weak motor or capacitor, dirty wheel, wrong speed tap",
        ),
    ),
    cautions=(
        _cautions.ICE,
        _cautions.LIMIT,
        _cautions.LOW_LIMIT,
        _cautions.ELECTRICITY,
        _cautions.GAS,
        _cautions.REFRIGERANT,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Over-fired: the rise is as high, but supply static is as usual.",
        "Low charge: the split gets narrower, not wider.",
    ),
    symptom_of=("rise-outside-plate",),
    source="q = 1.08 x CFM x rise; bounds: common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by rise and static together, by air per ton, or by the split."""
    if site.equipment.get("staged_by") == "modulating":
        return CannotTell("the equipment modulates: its rise says nothing about airflow")
    least_s = site.threshold("airflow_min_steady_s")
    rows = [r for r in _air.totals(site) if float(r.steady_s or 0.0) >= least_s]
    if not rows:
        return CannotTell("the rise was never steady for 10 min in all")
    told = [(r, _short(site, r)) for r in rows]
    found = [(r, said) for r, said in told if said]
    if not found:
        seen = [
            f"{_air.RISE[r.mode]} with {_air.state(site, r)} "
            f"{site.temperature_difference(float(r.rise_f))}"
            for r in rows
        ]
        return NotFound(f"no sign of too little air: {words.joined(seen)}")
    row, said = max(found, key=lambda pair: float(pair[0].steady_s))
    x = Little(site, row, said, _air.static_at(site, row))
    over_f = float(row.rise_f) - site.threshold("airflow_plan_f")
    spans, drawn = _air.shown(
        site, _air.steady_spans(site, row, None, float(row.rise_p05_f) - 1, "little air")
    )
    head = f"{_air.state(site, row)} gets too little air: {said}"
    return Found(
        severity="plan" if row.mode == "heating" or over_f >= 0 else "watch",
        certainty="likely",
        summary=words.sentences(head, _static(x)),
        headline=head,
        aside="too little air reaches the equipment",
        facts=x,
        evidence=spans,
        windows=drawn,
    )


def _short(site: SiteFrames, r: Any) -> str:
    """What says that this state is short of air; '' if nothing does."""
    rise = site.temperature_difference(float(r.rise_f))
    static = _air.static_at(site, r)
    if r.mode == "cooling":
        return _by_split(site, r, static, rise)
    # high static is air held back by few zones or shut ducts: another finding's matter
    if static is None or static >= site.threshold("airflow_static_low_inwc"):
        return ""
    if r.source == "compressor":
        return _by_tons(site, r)
    high = number(r.high_f)
    if high is None:
        return ""
    # where static alone says so already, any rise above the plate's band agrees with it
    is_sure = static < site.threshold("static_low_inwc")
    over_f = float(r.rise_f) - high
    if over_f < site.threshold("airflow_rise_over_f") and not (is_sure and over_f > 0):
        return ""
    limit = site.temperature_difference(high)
    return f"the rise is {rise}, the plate allows {limit}, and supply static is low"


def _by_split(site: SiteFrames, r: Any, static: float | None, rise: str) -> str:
    split = float(r.rise_f)
    if split >= site.threshold("split_far_f"):
        return f"the split is {rise}"
    low = static is not None and static < site.threshold("split_static_low_inwc")
    # where static alone says so already, any split over the usual agrees with it
    is_sure = static is not None and static < site.threshold("static_low_inwc")
    if (low and split >= site.threshold("split_wide_f")) or (
        is_sure and split > site.threshold("split_over_usual_f")
    ):
        return f"the split is {rise} and supply static is low"
    return ""


def _by_tons(site: SiteFrames, r: Any) -> str:
    air = row_of(
        site, "measure.airflow", mode=r.mode, source=r.source, stage=r.stage, is_total=True
    )
    cooling = row_of(site, "run.plate", mode="cooling", source="compressor", stage=r.stage)
    if air is None or cooling is None or number(air.cfm) is None:
        return ""
    output = number(cooling.output_btuh)
    if not output:
        return ""
    per_ton = float(air.cfm) / (output / BTUH_PER_TON)
    least = site.threshold("airflow_per_ton_low_cfm")
    if per_ton >= least:
        return ""
    return f"about {per_ton:.0f} CFM a ton, usual is {least:.0f} or more"
