"""Second stage never came on: it was in order, a zone fell behind, and it did not come.

What it says
    How often second stage was in order for minutes (zones enough, delay over) and did not come on
    while a calling zone was off its setpoint and not on its way back; or came much later.

Why it matters
    On the cold days the house lives on first stage and cannot hold setpoint, though the equipment
    could.

What looks like it but is not
    A zone near its setpoint, or closing on it: first stage is enough. A drop on the limit in the
    same run. Emergency heat and defrost. A panel that leaves stages to the equipment.

Source
    Common practice, no source.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings import _cautions, _occurrences, _staging
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

BAD = ("never came on", "late")


def _of(n: int, e: Occurrences) -> str:
    return words.of_all(n, e.n, "such stretch", "such stretches")


def _panel(e: Occurrences) -> Weighed:
    came = e.more["n_came"]
    said = f"{_came(came)} in the whole log"
    if not came:
        return Weighed(Weight.STRONG, said)
    return Weighed(Weight.OPEN, f"{said}, so output and wire can do it")


def _came(n: int) -> str:
    return f"second stage came on {words.times(n)}" if n else "second stage never came on"


def _waits_longer(e: Occurrences) -> Weighed:
    late = e.rows[e.rows["result"] == "late"]
    if late.empty:
        return Weighed(
            Weight.AGAINST,
            f"it came on later in {_of(0, e)}",
        )
    lengths = [float(v) for v in late["length_s"]]
    said = f"in {_of(len(late), e)} it came {words.durations(lengths)} late"
    most = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if len(late) >= most * e.n else Weight.OPEN, said)


def _lockout(e: Occurrences) -> Weighed:
    if "outdoor_temp" not in e.site.logged_roles:
        return Weighed(Weight.OPEN, "outdoor air was not logged")
    return Weighed(Weight.OPEN, "a lockout by outdoor air or by the thermostat is not in the log")


FINDING = Declaration(
    title="Second stage never came on",
    question="Did second stage stay away when it was due and a zone fell behind?",
    needs_tables=("measure.stage_up_missing", "measure.stage_up", "measure.condition_time"),
    needs_roles=(
        ("output_w2", "output_y2"),
        ("zone_call_w1", "zone_call_y1"),
        ("zone_temp",),
    ),
    figure="staging",
    thresholds=(
        "never_came_on_plan_events",
        "judged_min_h",
        "cause_share_min_frac",
        "zone_off_f",
    ),
    causes=(
        Cause(
            "second stage is off at the panel, or its output does not come: setting, output, "
            "outdoor lockout",
            "Raised when second stage never came on in the whole log.",
            _panel,
        ),
        Cause(
            "the panel waits longer, or for more zones, than the site sheet says",
            "Raised when it came on later in the same stretch.",
            _waits_longer,
        ),
        Cause(
            "a thermostat or an outdoor lockout holds it off on purpose",
            "Open: neither is in the log.",
            _lockout,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "stages and outdoor lockouts in each zone's setup",
            "second stage allowed",
            "write down the old value and set it as the customer's equipment asks",
        ),
        Check(
            "panel",
            "read minimum zones, stage-up delay and who decides on second stage; photograph them, "
            "then call every zone and wait out the delay",
            "as on the site sheet, and second stage comes on after the delay",
            "correct the site sheet, or the setting by the panel's instructions",
        ),
        Check(
            "unit",
            "with second stage called at the panel, 24 V at the unit's second-stage terminal",
            "there",
            "no 24 V: output or wire; 24 V there and no second stage: the equipment's own board",
        ),
    ),
    cautions=(
        _cautions.SETTINGS,
        _cautions.LIMIT,
        _cautions.GAS,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Second stage dropped on the limit: it came, and was let go.",
        "A zone that cannot hold on both stages: there second stage runs.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from two stretches outside visits; watch from one."""
    cannot = _staging.not_applicable(site)
    if cannot is not None:
        return cannot
    table = site.table("measure.stage_up_missing")
    running = site.seconds_in(["heating", "cooling"])
    every = _occurrences.load(site, table, running, "heating and cooling")
    came = site.table("measure.stage_up")
    came = came[~came["in_visit"].astype("boolean").fillna(False).astype(bool)]
    e = _occurrences.load(
        site,
        table[table["result"].isin(BAD)],
        running,
        "heating and cooling",
        n_came=len(came),
    )
    if not e.n:
        if site.setting("stage2_min_zones") is None:
            return CannotTell("the site file does not give the minimum zones for second stage")
        unknown = int((every.rows["result"] == "not known").sum())
        if every.n and unknown == every.n:
            return CannotTell("no setpoint was logged beside the zones' temperatures")
        if not e.can_judge:
            return CannotTell(words.only(running, "heating or cooling"))
        if not every.n:
            return NotFound("it came on whenever it was due for long enough")
        return NotFound(
            f"it stayed off {words.times(every.n)} though due for minutes, but no zone fell "
            "behind meanwhile"
        )
    off = e.values("off_f")
    many = e.n >= site.threshold("never_came_on_plan_events")
    lengths = e.values("length_s")
    return _occurrences.found(
        e,
        severity="plan" if many else "watch",
        certainty="shown" if many else "likely",
        headline=(
            f"second stage never came on, or came late, {words.times(e.n)} with enough "
            f"zones calling, the delay over and a zone up to "
            f"{site.temperature_difference(max(off))} off its setpoint"
        ),
        details=(
            f"it was due for {words.durations(lengths)}{' each time' if e.n > 1 else ''}",
            f"{_came(len(came))} in the whole log",
        ),
        label="second stage due",
        say=lambda r: (
            f"{site.calling(r.zones)} calling, second stage due for "
            f"{words.duration(float(r.length_s))}, {site.zones(str(int(r.zone)))} "
            f"{site.temperature_difference(float(r.off_f))} off"
        ),
        worth=lambda r: float(r.off_f) * float(r.length_s),
        columns=(
            ("Calling", lambda r: site.zones(r.zones)),
            ("Furthest off", lambda r: _occurrences.or_dash(r.off_f, site.temperature_difference)),
            ("Came later", lambda r: "yes" if r.is_late else "no"),
        ),
    )
