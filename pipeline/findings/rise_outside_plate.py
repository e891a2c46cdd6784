"""Rise outside the plate: air leaves the furnace hotter, or cooler, than its plate allows.

What it says
    For each source and stage: the steady temperature rise, the band on the rating plate, how much
    of the steady time lay outside it, and with which zones calling.

Why it matters
    Above the band the exchanger runs hot and limits open; below it exhaust can condense where it
    must not. Above with every zone calling is a matter of blower, return side or fire; above with
    few zones only is a matter of zoning.

What looks like it but is not
    The first minutes of a run, before the rise is steady. A rise that looks healthy because supply
    air comes back to the return. A probe in sight of the exchanger, or one near a coil. Equipment
    that modulates: it has no one rise.

Source
    The band is the rating plate's. What share of the time is found: ours.
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
from pipeline.findings._rooms import columns
from pipeline.findings._site import SiteFrames, number


@dataclass(frozen=True)
class Outside:
    """The state that lies furthest outside its band, and what stands beside it.

    row : of measure.rise; is_above : its median side
    parts : rows by calling zones with enough steady time; n_zones : zones of the site
    static_inwc : median with most zones calling; stages : all rows found
    """

    site: SiteFrames
    row: Any
    is_above: bool
    parts: list[Any]
    n_zones: int
    static_inwc: float | None
    stages: list[Any]

    @property
    def share(self) -> float:
        """Share of the state's steady time outside the band."""
        return outside_share(self.row)

    @property
    def wide_open(self) -> list[Any]:
        """Of the parts, those with two or more zones calling."""
        return [p for p in self.parts if (p.n_zones or 0) >= 2]


def outside_share(r: Any) -> float:
    """Share of a row's steady time above or below the plate's band."""
    out_s = float(number(r.above_s) or 0.0) + float(number(r.below_s) or 0.0)
    return out_s / float(r.steady_s) if r.steady_s else 0.0


def _by_zones(o: Outside) -> str:
    told = []
    for few, noun in ((True, "one zone calling"), (False, "two or more")):
        some = [p for p in o.parts if ((p.n_zones or 0) == 1) == few]
        steady_s = sum(float(p.steady_s) for p in some)
        if steady_s:
            out_s = sum(outside_share(p) * float(p.steady_s) for p in some)
            told.append(
                f"{words.share(out_s / steady_s)} of {words.hours(steady_s)} steady with {noun}"
            )
    return f"outside the band {words.joined(told)}" if told else "calls were not logged"


def _wide_share(o: Outside) -> float | None:
    steady_s = sum(float(p.steady_s) for p in o.wide_open)
    if not steady_s:
        return None
    return sum(outside_share(p) * float(p.steady_s) for p in o.wide_open) / steady_s


def _few_zones(o: Outside) -> Weighed | None:
    if not o.is_above:
        return None
    wide, most = _wide_share(o), o.site.threshold("rise_outside_share")
    said = _by_zones(o)
    if wide is None:
        return Weighed(Weight.OPEN, f"{said}; more zones never ran long enough to compare")
    return Weighed(Weight.STRONG if wide < most / 2 else Weight.RULED_OUT, said)


def _static_words(o: Outside) -> str:
    if o.static_inwc is None:
        return "static was not logged"
    return f"supply static with most zones calling is {o.site.static(o.static_inwc)}"


def _little_air(o: Outside) -> Weighed | None:
    if not o.is_above:
        return None
    said = f"{_by_zones(o)}; {_static_words(o)}"
    wide = _wide_share(o)
    if wide is not None and wide < o.site.threshold("rise_outside_share") / 2:
        return Weighed(Weight.AGAINST, said)
    if o.static_inwc is None:
        return Weighed(Weight.FITS, said)
    low = o.static_inwc < o.site.threshold("rise_static_low_inwc")
    return Weighed(Weight.STRONG if low else Weight.OPEN, said)


def _over_fired(o: Outside) -> Weighed | None:
    if not o.is_above or o.row.source != "burner":
        return None
    said = f"{_by_zones(o)}; {_static_words(o)}; gas input was not logged"
    wide = _wide_share(o)
    if wide is not None and wide < o.site.threshold("rise_outside_share") / 2:
        return Weighed(Weight.AGAINST, said)
    low = o.static_inwc is not None and o.static_inwc < o.site.threshold("rise_static_low_inwc")
    return Weighed(Weight.OPEN if low or o.static_inwc is None else Weight.FITS, said)


def _much_air(o: Outside) -> Weighed | None:
    if o.is_above:
        return None
    return Weighed(Weight.FITS, f"{_by_zones(o)}; {_static_words(o)}")


def _under_fired(o: Outside) -> Weighed | None:
    if o.is_above or o.row.source != "burner":
        return None
    return Weighed(Weight.OPEN, "gas input was not logged")


FINDING = Declaration(
    title="Rise outside the plate",
    question="Does the steady temperature rise lie outside the rating plate's band?",
    needs_tables=(
        "measure.rise",
        "interval.steady_air",
        "measure.static_by_calling",
        "run.plate",
        "run.zone",
    ),
    needs_roles=(
        ("supply_temp",),
        ("return_temp",),
        ("output_w1", "output_w2", "output_aux"),
    ),
    figure="rise",
    thresholds=(
        "rise_outside_min_s",
        "rise_outside_share",
        "rise_outside_plan_share",
        "rise_outside_plan_f",
        "rise_outside_doubt_f",
        "rise_no_fire_f",
        "rise_static_low_inwc",
    ),
    causes=(
        Cause(
            "more heat than the ducts of so few zones can carry",
            "Raised when the rise is outside the band with one zone calling and inside with more. "
            "Ruled out when it is outside with two or more as well.",
            _few_zones,
            not_it="few zones alone",
        ),
        Cause(
            "too little air altogether: filter, coil, return side, blower speed",
            "Raised when the rise is above the band with many zones calling and supply static is "
            "low with most of them open. Lowered when more zones bring it inside.",
            _little_air,
        ),
        Cause(
            "over-fired: more gas input than the plate says, orifices, or the wrong stage lit",
            "Raised when the rise is above the band with many zones calling and supply static is "
            "not low. Gas input is never in such a log.",
            _over_fired,
        ),
        Cause(
            "more air than the plate asks for: blower speed, or air that comes in after the coil",
            "Raised when the rise is below the band.",
            _much_air,
        ),
        Cause(
            "under-fired: less gas input than the plate says, or a stage that does not light",
            "Never told by the rise alone.",
            _under_fired,
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "return static and supply static at the unit, both sides of filter and coil",
            "no more across the filter or the coil than their data say",
            "dirty or too small: clean or change, then measure the rise again",
        ),
        Check(
            "unit",
            "two matched probes out of sight of the exchanger, all zones calling, ten minutes on "
            "each stage: the rise against the plate",
            "inside {band}",
            "blower speed within the plate first, then gas input by a licensed technician",
        ),
        Check(
            "panel",
            "where it is outside with one zone only: read the minimum zones for second stage and "
            "the relief settings, photograph them",
            "no second stage for a zone that cannot take its air",
            "write down the old values, then correct them by the panel's instructions",
        ),
    ),
    cautions=(
        _cautions.GAS,
        _cautions.CARBON_MONOXIDE,
        _cautions.LIMIT,
        _cautions.RELIEF,
        _cautions.SETTINGS,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Supply air coming back to the return: supply climbs, but the rise looks healthy.",
        "Too little air in cooling shows as a wide split, not as a rise.",
    ),
    symptom_of=("second-stage-too-few-zones", "static-above-target", "second-stage-stayed-in"),
    source="The rating plate's band; shares of time: ours.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by the share of steady time outside the plate's band, stage by stage."""
    if site.equipment.get("staged_by") == "modulating":
        return CannotTell("the equipment modulates: it has no one rise to compare with the plate")
    rows = [r for r in _air.totals(site) if number(r.high_f) is not None]
    if site.table("run.plate")["rise_high_f"].dropna().empty:
        return CannotTell("the site file does not give the plate's temperature rise")
    least_s = site.threshold("rise_outside_min_s")
    long = [r for r in rows if float(r.steady_s or 0.0) >= least_s]
    if not long:
        return CannotTell("the rise was never steady for half an hour in all")
    found = [r for r in long if _is_found(site, r)]
    if not found:
        told = [
            f"the {_air.RISE[r.mode]} with {_air.state(site, r)} is "
            f"{site.temperature_difference(float(r.rise_f))}, the plate says "
            f"{_air.between(site, r.low_f, r.high_f)}"
            for r in long
        ]
        return NotFound(words.joined(told))
    worst = max(found, key=lambda r: (_median_out(r) > 0, outside_share(r), _median_out(r)))
    o = Outside(
        site,
        worst,
        float(number(worst.above_s) or 0.0) >= float(number(worst.below_s) or 0.0),
        [p for p in _air.by_calls(site, worst) if float(p.steady_s or 0.0) > 0],
        len(site.table("run.zone")),
        _air.static_at(site, worst),
        found,
    )
    spans, drawn = _air.shown(
        site, _air.steady_spans(site, worst, worst.low_f, worst.high_f, "outside the band")
    )
    return Found(
        severity=_severity(site, found),
        certainty="shown",
        summary=_summary(o),
        headline=_headline(o),
        aside=f"the {_air.RISE[worst.mode]} is then {'above' if o.is_above else 'below'} the plate",
        facts=o,
        evidence=spans,
        windows=drawn,
        fill={"band": _air.between(site, worst.low_f, worst.high_f)},
        table=columns(
            o.parts,
            ("Calling", (site.zones(p.zones) for p in o.parts)),
            ("Steady", (words.hours(float(p.steady_s)) for p in o.parts)),
            ("Rise", (site.temperature_difference(float(p.rise_f)) for p in o.parts)),
            ("Outside", (words.share(outside_share(p)) for p in o.parts)),
        ),
    )


def _median_out(r: Any) -> float:
    """How far the median lies outside the band [°F]; below 0: inside."""
    high, low = float(r.high_f), number(r.low_f)
    rise = float(r.rise_f)
    return max(rise - high, (low - rise) if low is not None else rise - high)


def _is_found(site: SiteFrames, r: Any) -> bool:
    out_s = outside_share(r) * float(r.steady_s)
    far = max(
        float(r.rise_p95_f) - float(r.high_f),
        (number(r.low_f) or 0.0) - float(r.rise_p05_f),
    )
    if float(r.rise_f) < site.threshold("rise_no_fire_f"):
        return False  # no fire: a call that brings no heat, not a rise
    return (
        out_s >= site.threshold("rise_outside_min_s")
        and outside_share(r) >= site.threshold("rise_outside_share")
        and far >= site.threshold("rise_outside_doubt_f")
    )


def _severity(site: SiteFrames, found: list[Any]) -> str:
    bad = any(
        outside_share(r) >= site.threshold("rise_outside_plan_share")
        and _median_out(r) >= site.threshold("rise_outside_plan_f")
        for r in found
    )
    return "plan" if bad else "watch"


def _headline(o: Outside) -> str:
    site, r = o.site, o.row
    side = "above" if o.is_above else "below"
    return (
        f"the {_air.RISE[r.mode]} with {_air.state(site, r)} was {side} the plate's "
        f"{_air.between(site, r.low_f, r.high_f)} for {words.share(o.share)} of "
        f"{words.hours(float(r.steady_s))} steady, half the time at "
        f"{site.temperature_difference(float(r.rise_f))} or {'more' if o.is_above else 'less'}"
    )


def _summary(o: Outside) -> str:
    site, r = o.site, o.row
    others = [
        f"{_air.state(site, x)} {words.share(outside_share(x))} of {words.hours(float(x.steady_s))}"
        for x in o.stages
        if x is not r
    ]
    never = int(r.n_stretch or 0) - int(r.n_steady or 0)
    return words.sentences(
        _headline(o),
        _by_zones(o),
        f"highest supply air {site.temperature(float(r.supply_max_f))}"
        if number(r.supply_max_f) is not None
        else "",
        f"outside too: {words.joined(others)}" if others else "",
        f"in {words.of_all(never, int(r.n_stretch), 'stretch', 'stretches')} it never became steady"
        if never and r.n_stretch
        else "",
    )
