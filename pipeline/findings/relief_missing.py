"""Relief missing: static stays over target and no damper opens to relieve it.

What it says
    How often supply static stayed over its target with a relief zone free and none opened (or,
    where dampers are not logged, static did not fall) within twice the time relief may take.

Why it matters
    The panel has a way to hold static down and does not use it: noise, little air and limit trips
    follow with one zone calling.

What looks like it but is not
    Stretches shorter than relief may take. No relief zone free: then nothing could open. Relief
    open and used up. Dampers closing on a running purge. A bypass that holds static down by itself.

Source
    Travel, wait and half a minute: common practice, no source; the panel's own where given.
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
from pipeline.findings._site import SiteFrames
from pipeline.findings._windows import evidence, windows


def _panel(f: Relief) -> Weighed:
    said = f"{f.by_name or 'dampers were not logged'}"
    n_answered = f.count(*_relief.ANSWERED)
    if n_answered:
        return Weighed(
            Weight.AGAINST,
            f"it answered in {words.count(n_answered, 'other stretch', 'other stretches')}; {said}",
        )
    return Weighed(
        Weight.STRONG if f.has_dampers else Weight.FITS,
        f"it never answered in {words.count(len(f.rows), 'stretch', 'stretches')} over target; "
        f"{said}",
    )


def _one_damper(f: Relief) -> Weighed:
    if not f.has_dampers:
        return Weighed(Weight.OPEN, "dampers were not logged")
    n_answered = f.count(*_relief.ANSWERED)
    said = f.by_name
    if n_answered:
        return Weighed(
            Weight.FITS,
            f"relief came in {words.count(n_answered, 'other stretch', 'other stretches')}, so it "
            f"is not off altogether; {said}",
        )
    return Weighed(Weight.OPEN, said or "no relief damper opened")


def _commanded(f: Relief) -> Weighed:
    if f.has_dampers:
        return Weighed(
            Weight.OPEN,
            "nobody said whether the log shows the panel's command or the damper itself",
        )
    return Weighed(Weight.OPEN, "dampers were not logged: one may have opened and changed nothing")


FINDING = Declaration(
    title="Relief missing",
    question="Does a relief damper open when static stays over its target?",
    needs_tables=(
        "measure.relief",
        "interval.relief_answer",
        "interval.relief",
        "interval.static_above_target",
        "measure.condition_time",
        "run.zone",
    ),
    needs_roles=(("static_pressure",), ("zone_call_w1", "zone_call_y1")),
    compares=("zone_damper",),
    figure="static",
    thresholds=(
        "relief_missing_min_events",
        "relief_missing_share",
        "relief_missing_plan_per_day",
        "relief_allowance_s",
        "damper_travel_unknown_s",
        "relief_wait_unknown_s",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "relief is switched off at the panel, limited to none, or no zone is set to relieve",
            "Raised when relief never answered in any stretch over target; lowered when it did.",
            _panel,
        ),
        Cause(
            "a relief damper's actuator, linkage or wire",
            "Raised when relief answered at other times, with other dampers.",
            _one_damper,
        ),
        Cause(
            "the damper is told to open and does not, or opens into shut registers",
            "Commanded positions alone cannot tell.",
            _commanded,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the static target, relief on or off, its order, most dampers and wait; "
            "photograph them",
            "relief on, at least one zone free for every zone that may call alone",
            "write down the old values, then set relief by the panel's instructions",
        ),
        Check(
            "dampers",
            "call one zone alone and watch which relief damper opens once static passes the "
            f"target. If second stage comes on: {_cautions.WATCHED}",
            "one opens within {due}",
            "24 V at its actuator, then linkage and blade",
        ),
        Check(
            "ducts",
            "registers of the relief zones",
            "open",
            "open them: relief into shut registers relieves nothing",
        ),
    ),
    cautions=(
        _cautions.RELIEF,
        _cautions.LIMIT,
        _cautions.REPRODUCE,
        _cautions.SETTINGS,
        _cautions.ELECTRICITY,
    ),
    confused_with=(
        "Relief used up: dampers stand open and static is still over target.",
        "No relief zone free: every other zone calls, or none may relieve.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by stretches over target that nothing answered, a relief zone being free."""
    if site.setting("static_target_inwc") is None:
        return CannotTell("the site file gives no static target to hold relief against")
    if not site.table("run.zone")["is_relief"].astype("boolean").fillna(False).any():
        return CannotTell("the site file names no relief zone")
    f = _relief.load(site, *_relief.MISSING)
    judged = f.n + f.count(*_relief.ANSWERED, "used up", "open already")
    if f.n < site.threshold("relief_missing_min_events") or f.n < judged * site.threshold(
        "relief_missing_share"
    ):
        return _not_found(f, judged)
    per_day = f.n / f.days
    plan = per_day >= site.threshold("relief_missing_plan_per_day")
    drawn = _relief.events(f)
    return Found(
        severity="plan" if plan else "watch",
        certainty="shown" if f.has_dampers else "possible",
        summary=words.sentences(_headline(f, judged), f.by_name, f.others),
        headline=_headline(f, judged),
        aside=f"no relief damper opened {words.times(f.n)}"
        if f.has_dampers
        else f"static did not fall {words.times(f.n)}",
        facts=f,
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        fill={"due": _relief.due(site)},
        table=_relief.table(f),
    )


def _not_found(f: Relief, judged: int) -> Outcome:
    run_s = f.site.seconds_in(["heating", "cooling"])
    if run_s < f.site.threshold("judged_min_h") * 3600:
        return CannotTell(words.only(run_s, "heating or cooling"))
    if not judged:
        return NotFound(
            f"static never stayed over target long enough to need relief in {words.hours(run_s)} "
            "of heating and cooling"
        )
    return NotFound(
        f"relief was missing in {words.of_all(f.n, judged, 'stretch', 'stretches')} over target "
        "that needed it"
    )


def _headline(f: Relief, judged: int) -> str:
    site = f.site
    target = "" if f.target_inwc is None else f" of {site.static(f.target_inwc)}"
    what = "no relief damper opened" if f.has_dampers else "nothing brought it down"
    return (
        f"static stayed over its target{target} and {what} within {_relief.due(site)} "
        f"in {words.of_all(f.n, judged, 'stretch', 'stretches')} that needed relief"
    )
