"""Coil icing: inside long cooling runs split and air fade together, slowly.

What it says
    In how many runs the split sank over twenty minutes or more with calls and stage unchanged, and
    supply static sank with it: less cooling and less air, as ice leaves it.

Why it matters
    Ice shuts the air off, liquid can reach the compressor, and the melt water runs where nobody
    wants it.

What looks like it but is not
    A compressor that stops: the split is gone within minutes and static stays. A relief damper
    that opens: static falls at once, the split hardly. A house that cools down: a few per cent.

Source
    Common practice, no source.
"""

from __future__ import annotations

from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _occurrences, _split
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


def _charge(e: Occurrences) -> Weighed:
    first = e.values("split_first_f")
    said = f"the split was {e.site.temperatures(first)} before it faded"
    weak = e.site.threshold("cooling_split_least_f")
    if max(first) < weak:
        return Weighed(Weight.STRONG, f"{said}: weak already, so it is not just air")
    return Weighed(Weight.OPEN, said)


def _little_air(e: Occurrences) -> Weighed:
    cold = min(e.values("supply_min_f"))
    said = f"supply air was {e.site.temperature(cold)} at its coldest"
    if cold <= e.site.threshold("icing_supply_f"):
        return Weighed(Weight.STRONG, said)
    return Weighed(Weight.AGAINST, f"{said}: warmer than a coil starved of air")


FINDING = Declaration(
    title="Coil icing",
    question="Do split and air fade together inside long cooling runs?",
    needs_tables=("interval.cooling_split", "measure.condition_time"),
    needs_roles=(("supply_temp",), ("return_temp",), ("static_pressure",), ("output_y1",)),
    figure="rise",
    thresholds=(
        "icing_fade_frac",
        "icing_static_frac",
        "icing_after_s",
        "icing_supply_f",
        "cooling_split_least_f",
        "cooling_dead_split_f",
        "judged_min_h",
        "icing_min_stretches",
    ),
    causes=(
        Cause(
            "little refrigerant, or a circuit that starves the coil",
            "Raised when the split was weak before it faded.",
            _charge,
        ),
        Cause(
            "too little air over the coil: filter, coil, blower, too few zones",
            "Raised when supply air came close to freezing; lowered when it did not.",
            _little_air,
        ),
    ),
    check_next=(
        Check(
            "unit",
            "after an hour of cooling look at the coil and the suction line",
            "wet, no frost",
            "compressor off, fan on until it is clear; filter, blower and coil first, then the "
            "refrigerant side by a certified technician",
        ),
        Check(
            "ducts",
            "supply and return with two matched probes at the start of a run and an hour later, "
            "static beside them",
            "split and static the same an hour later",
            "it ices again: leave cooling off until the cause is mended",
        ),
    ),
    cautions=(_cautions.ICE, _cautions.REFRIGERANT, _cautions.LOW_LIMIT, _cautions.SYMPTOMS),
    confused_with=(
        "Compressor stops in a call: gone within minutes, static unchanged.",
        "A relief damper that opens: static falls at once and the split stays.",
    ),
    symptom_of=("cooling-does-not-cool",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from so many such fades; plan, as it returns with every long run."""
    rows = _split.bins(site)
    seconds = float(rows["s"].sum())
    looked = _split.fades(site, rows)
    if looked.empty or seconds < site.threshold("judged_min_h") * 3600:
        return CannotTell("no cooling run was long enough with calls unchanged")
    e = _occurrences.load(
        site, _split.icing(site, rows), seconds, "cooling past its first ten minutes"
    )
    if e.n < site.threshold("icing_min_stretches"):
        long = words.count(len(looked), "long cooling stretch", "long cooling stretches")
        return NotFound(f"{e.n} of {long} faded as a coil ices")
    weak = max(e.values("split_first_f")) < site.threshold("cooling_split_least_f")
    return _occurrences.found(
        e,
        severity="plan",
        certainty="likely",
        headline=(
            f"the coil seems to ice up: split and static fade together in "
            f"{words.of_all(e.n, len(looked), 'long cooling stretch', 'long cooling stretches')}"
        ),
        details=(
            f"the split lost up to {words.share(max(e.values('fade')))} and static up to "
            f"{words.share(max(e.values('static_fade')))}, calls and stage unchanged",
        ),
        label="split and air fade",
        say=lambda r: _say(site, r),
        worth=lambda r: float(r.fade),
        columns=(
            ("Calling", lambda r: site.zones(r.zones)),
            ("Split at first", lambda r: site.temperature_difference(float(r.split_first_f))),
            ("At last", lambda r: site.temperature_difference(float(r.split_last_f))),
            ("Static lost", lambda r: words.share(float(r.static_fade))),
        ),
        linked=("cooling-does-not-cool",) if weak else (),
    )


def _say(site: SiteFrames, r: Any) -> str:
    return (
        f"split down from {site.temperature_difference(float(r.split_first_f))} to "
        f"{site.temperature_difference(float(r.split_last_f))}, static down by "
        f"{words.share(float(r.static_fade))}"
    )
