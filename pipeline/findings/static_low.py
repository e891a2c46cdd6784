"""Static low: with heat or cooling on, supply static hardly rises above nothing.

What it says
    In which state, with most zones calling, supply static lay lower than a working blower makes.

Why it matters
    Little static is little air, or air that goes astray: a weak blower, a blocked return, a duct
    come apart, a bypass that stands open.

What looks like it but is not
    Fan-only speed. A tube that has come off: static then does not move at the blower's starts. A
    transducer whose zero is off. Large ducts, where static was low from the first day.

Source
    Under 0.1 in. w.c. with the blower on: common practice, no source; set lower here, because a
    house with every zone open may stand at 0.1.
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
from pipeline.findings._rooms import columns, row_of
from pipeline.findings._site import SiteFrames, number, records


@dataclass(frozen=True)
class Low:
    """States with low static, the longest first; `step_inwc` at the blower's starts."""

    site: SiteFrames
    rows: list[Any]
    step_inwc: float | None


def _rise_words(x: Low) -> tuple[bool | None, str]:
    """Whether rise or split speaks of little air, and how it is said."""
    site = x.site
    known = [r for r in _air.totals(site) if number(r.rise_f) is not None]
    if not known:
        return None, "rise and split were not steady or not logged"
    r = max(known, key=lambda row: float(row.steady_s))
    said = (
        f"{_air.RISE[r.mode]} with {_air.state(site, r)} "
        f"{site.temperature_difference(float(r.rise_f))}"
    )
    high = number(r.high_f)
    if high is not None:
        return float(r.rise_f) > high, f"{said}, {site.temperature_difference(high)} is the most"
    if r.mode == "cooling":
        return float(r.rise_f) >= site.threshold("split_wide_f"), said
    return None, said


def _blower(x: Low) -> Weighed:
    wide, said = _rise_words(x)
    if wide is None:
        return Weighed(Weight.FITS, said)
    return Weighed(Weight.STRONG if wide else Weight.FITS, said)


def _astray(x: Low) -> Weighed:
    wide, said = _rise_words(x)
    return Weighed(Weight.AGAINST if wide else Weight.OPEN, said)


def _tap(x: Low) -> Weighed:
    if x.step_inwc is None:
        return Weighed(Weight.OPEN, "static at the blower's starts is not known")
    return Weighed(
        Weight.AGAINST, f"it moves by {x.site.static(x.step_inwc)} at the blower's starts"
    )


FINDING = Declaration(
    title="Static low",
    question="Is supply static too low with the blower on?",
    needs_tables=(
        "measure.static_by_calling",
        "measure.static_zero",
        "measure.rise",
        "run.zone",
    ),
    needs_roles=(("static_pressure",), ("zone_call_w1", "zone_call_y1")),
    figure="static",
    thresholds=(
        "static_low_inwc",
        "static_low_few_inwc",
        "static_low_min_s",
        "static_low_own_s",
        "static_flat_inwc",
        "split_wide_f",
    ),
    causes=(
        Cause(
            "too little air: blower speed, wheel, capacitor, filter or return side",
            "Raised when the rise is above the plate's band or the split is wide.",
            _blower,
        ),
        Cause(
            "air gets lost: duct apart, bypass standing open, plenum leaking",
            "Lowered when the rise is above the band or the split is wide.",
            _astray,
        ),
        Cause(
            "the tap or the tube: plugged, leaking, half off",
            "Lowered when static moves at the blower's starts.",
            _tap,
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "your own manometer at the same tap, blower on and off; then look at filter, coil, "
            "bypass and the first joints",
            "readings agree within 0.03 in. w.c.; nothing apart",
            "tube or tap first; then close what is open or apart",
        ),
        Check(
            "unit",
            "blower speed, motor current and capacitor; rise or split with all zones calling",
            "as on the plate",
            "weak blower: find why before any speed is changed",
        ),
    ),
    cautions=(
        _cautions.ELECTRICITY,
        _cautions.ICE,
        _cautions.LIMIT,
        _cautions.SETTINGS,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "A tube that has come off: static does not move at the blower's starts.",
        "A zero that has moved: it reads off nothing at rest too.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by a state's median static, a lower bound where one zone alone calls."""
    rows = site.table("measure.static_by_calling")
    rows = rows[rows["class"].isin(["heating", "cooling"])]
    long = _seen_enough(
        site,
        [r for r in records(rows) if number(r.p50_inwc) is not None and (r.n_zones or 0) > 0],
    )
    if not long:
        return CannotTell(
            "static was not logged for half an hour with the same zones calling on the same stage"
        )
    zero = row_of(site, "measure.static_zero")
    step = None if zero is None else number(zero.fan_step_inwc)
    if step is not None and abs(step) <= site.threshold("static_flat_inwc"):
        return CannotTell("static does not move at the blower's starts: tube or transducer first")
    low = [r for r in long if float(r.p50_inwc) < _bound(site, r)]
    if not low:
        least = min(long, key=lambda r: float(r.p50_inwc))
        return NotFound(
            f"supply static was lowest at {site.static(float(least.p50_inwc))}, "
            f"{site.calling(least.zones)} calling on "
            f"{words.stage(int(least.stage))}"
        )
    low.sort(key=lambda r: -float(r.settled_s))
    x = Low(site, low, step)
    s = sum(float(r.settled_s) for r in low)
    all_s = sum(float(r.settled_s) for r in long)
    worst = min(low, key=lambda r: float(r.p50_inwc))
    head = (
        f"supply static is only {site.static(float(worst.p50_inwc))} with "
        f"{site.zones(worst.zones)} calling on {words.stage(int(worst.stage))}, and too low in "
        f"{words.hours_of(s, all_s)} of heating and cooling"
    )
    return Found(
        severity="plan" if len(low) * 2 >= len(long) else "watch",
        certainty="likely",
        summary=words.sentences(head, _rise_words(x)[1]),
        headline=head,
        aside="supply static is low",
        facts=x,
        table=columns(
            low,
            ("Calling", (site.zones(r.zones) for r in low)),
            ("Stage", (str(int(r.stage)) for r in low)),
            ("Static", (site.static(float(r.p50_inwc)) for r in low)),
            ("Seen", (words.hours(float(r.settled_s)) for r in low)),
        ),
    )


def _seen_enough(site: SiteFrames, rows: list[Any]) -> list[Any]:
    """Rows of states seen for long: alone, or with others of as many zones on the same stage.

    Which four zones of five call hardly moves static, and no four may call for long.
    """
    alike: dict[tuple[Any, ...], float] = {}
    for r in rows:
        key = (r.__dict__["class"], r.stage, r.n_zones)
        if r.settled_s and float(r.settled_s) >= site.threshold("static_low_own_s"):
            alike[key] = alike.get(key, 0.0) + float(r.settled_s)
    return [
        r
        for r in rows
        if float(r.settled_s or 0.0) >= site.threshold("static_low_own_s")
        and alike[(r.__dict__["class"], r.stage, r.n_zones)] >= site.threshold("static_low_min_s")
    ]


def _bound(site: SiteFrames, r: Any) -> float:
    return site.threshold("static_low_few_inwc" if int(r.n_zones) == 1 else "static_low_inwc")
