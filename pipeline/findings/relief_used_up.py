"""Relief used up: static stays over target with every relief damper that was free standing open.

What it says
    How often, and for how long, supply static stood over its target by a margin with all free
    relief dampers open, and with which zones calling.

Why it matters
    The panel has done all it can: what is left is the blower's air, the stage, the ducts or the
    target. Opening more of the same is not to be had.

What looks like it but is not
    Relief still travelling. A relief damper open to a zone with shut registers. Static over target
    with every zone calling: there nothing is left to open, and the target is the question.

Source
    Three minutes over target plus 0.05 in. w.c.: common practice, no source.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings import _cautions, _relief
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
from pipeline.findings._relief import Relief
from pipeline.findings._rooms import row_of
from pipeline.findings._site import SiteFrames, number
from pipeline.findings._windows import evidence, windows


def _second(f: Relief) -> Weighed:
    known = [r.over for r in f.mine if r.over is not None and r.over.stage is not None]
    if not known:
        return Weighed(Weight.OPEN, "the stage at those times is not known")
    n = sum(int(r.stage) == 2 for r in known)
    said = f"{words.of_all(n, len(known), 'such stretch', 'such stretches')} came on second stage"
    if n == 0 and not {"output_w2", "output_y2"} & f.site.logged_roles:
        return Weighed(Weight.OPEN, "second stage was not logged")
    if n == 0:
        return Weighed(Weight.RULED_OUT, said)
    return Weighed(
        Weight.STRONG
        if n >= f.site.threshold("cause_share_min_frac") * len(known)
        else Weight.OPEN,
        said,
    )


def _target(f: Relief) -> Weighed:
    row = row_of(f.site, "measure.relief")
    n_hour = int(row.n_hour or 0) if row is not None else 0
    if not n_hour:
        return Weighed(Weight.OPEN, "all zones never called together for long enough")
    n = int(row.n_hour_above or 0)
    said = (
        f"in {words.of_all(n, n_hour, 'hour')} with all zones calling static was over target most "
        "of the time"
    )
    if n > n_hour / 2:
        return Weighed(Weight.STRONG, said)
    return Weighed(Weight.AGAINST if n else Weight.RULED_OUT, said)


def _few(f: Relief) -> Weighed:
    free = [int(r.n_free) for r in f.mine if r.n_free is not None]
    most = max(free, default=0)
    dampers = words.count(most, "relief damper")
    return Weighed(
        Weight.FITS, f"{dampers} at most had to take the air that the calling zones did not"
    )


FINDING = Declaration(
    title="Relief used up",
    question="Does static stay over target with every free relief damper open?",
    needs_tables=(
        "measure.relief",
        "interval.relief_answer",
        "interval.relief",
        "interval.static_above_target",
        "measure.condition_time",
        "run.zone",
    ),
    needs_roles=(
        ("static_pressure",),
        ("zone_damper",),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="static",
    thresholds=(
        "relief_used_up_min_events",
        "relief_used_up_plan_share",
        "relief_used_up_s",
        "cause_share_min_frac",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the target is lower than these ducts need, or the blower is set too high for them",
            "Raised when static is over target in most hours with every zone calling. Ruled out "
            "when it never is.",
            _target,
            not_it="a target lower than the ducts need",
        ),
        Cause(
            "second stage brings more air than calling and relief zones take",
            "Raised when most of it came on second stage. Ruled out when none did.",
            _second,
            not_it="second stage",
        ),
        Cause(
            "too little relief: too few zones allowed, their dampers opened part way, their ducts "
            "or registers small",
            "Fits whenever relief was used up; the log cannot tell how far a damper opened.",
            _few,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the static target, how many relief dampers may open and how far, and the minimum "
            "zones for second stage; photograph them",
            "as designed for these ducts",
            "write down the old values, then correct them by the panel's instructions",
        ),
        Check(
            "dampers",
            "during relief look at each relief damper and its registers",
            "fully open, registers open",
            "opened part way: setting or stop; registers shut: open them",
        ),
        Check(
            "unit",
            "blower speed for one zone and for each stage against the plate, rise at the same time",
            "rise inside the band at the lowest speed the plate allows",
            "blower speed only within the rating plate",
        ),
    ),
    cautions=(_cautions.RELIEF, _cautions.LIMIT, _cautions.SETTINGS, _cautions.SYMPTOMS),
    confused_with=(
        "Relief missing: dampers that were free stay shut.",
        "A target below what the ducts need: over target with every zone calling too.",
    ),
    symptom_of=("second-stage-too-few-zones",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by stretches over target with every free relief damper open."""
    if site.setting("static_target_inwc") is None:
        return CannotTell("the site file gives no static target to hold relief against")
    row = row_of(site, "measure.relief")
    f = _relief.load(site, "used up")
    if f.n < site.threshold("relief_used_up_min_events"):
        run_s = site.seconds_in(["heating", "cooling"])
        if run_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(run_s, "heating or cooling"))
        return NotFound(
            f"relief was used up in {words.of_all(f.n, len(f.rows), 'stretch', 'stretches')} over "
            "target"
        )
    used_s = number(row.used_up_s) or 0.0 if row is not None else 0.0
    run_s = site.seconds_in(["heating", "cooling"])
    plan = used_s >= site.threshold("relief_used_up_plan_share") * run_s
    drawn = _relief.events(f)
    return Found(
        severity="plan" if plan else "watch",
        certainty="shown",
        summary=words.sentences(_headline(f, used_s, run_s), f.others),
        headline=_headline(f, used_s, run_s),
        aside=f"relief was used up {words.times(f.n)}",
        facts=f,
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        table=_relief.table(f),
    )


def _headline(f: Relief, used_s: float, run_s: float) -> str:
    return (
        f"static stayed over target with every free relief damper open {words.times(f.n)}, "
        f"{words.hours(used_s)} in {words.hours(run_s)} of heating and cooling"
    )
