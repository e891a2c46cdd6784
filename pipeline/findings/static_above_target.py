"""Static above target: the ducts that are open cannot take the blower's air.

What it says
    How long supply static stood over the panel's target while the blower ran, how often, how
    high, with which zones calling and on which stage, and whether relief dampers answered.

Why it matters
    High static is noise at the registers, little air over exchanger and coil, and a blower working
    at its cap. It is the usual road to limit trips. The state in which it comes points to the
    cause: one small zone is a question of relief and stage, all zones open one of target or ducts.

What looks like it but is not
    Damper movement in the first minute after a call changes (left out here). A fan-speed step.
    With a constant-airflow blower and an unchanged rise it is the blower doing its job: noise, not
    low airflow. A dirty filter or return side, which lowers supply static.

Source
    Common practice, no source.
"""

from __future__ import annotations

from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _static_causes
from pipeline.findings._base import (
    MAX_TABLE_ROWS,
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
)
from pipeline.findings._site import SiteFrames, number, records
from pipeline.findings._static import Static, answer_s, load, relief_by_name
from pipeline.findings._windows import Event, evidence, lines, windows

FINDING = Declaration(
    title="Static above target",
    question="Is supply static over the panel's target while the blower runs?",
    needs_tables=(
        "measure.static_total",
        "measure.static_by_calling",
        "interval.static_above_target",
        "interval.relief",
        "run.zone",
    ),
    needs_roles=(("static_pressure",),),
    compares=("output_g", "output_w1", "output_y1", "zone_call_w1", "zone_call_y1"),
    figure="static",
    thresholds=(
        "static_finding_over_inwc",
        "static_share_watch_frac",
        "static_share_plan_frac",
        "static_state_share",
        "static_state_min_h",
        "static_min_excursions",
        "static_excursion_min_s",
        "relief_missing_min_events",
        "linked_min_share",
        "damper_travel_unknown_s",
        "relief_wait_unknown_s",
        "cause_share_min_frac",
        "cause_other_min_h",
        "cause_rate_ratio_min",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "relief does not answer: order, setting, actuator or wire",
            "Raised when relief dampers stay shut through five or more long stretches over target. "
            "Ruled out when one stands open every time.",
            _static_causes.relief_missing,
            not_it="missing relief",
        ),
        Cause(
            "relief is held back: fewer dampers may open, or less far, than are free to",
            "Raised when static stays over target with a relief damper open and others, free to "
            "relieve, shut. Lowered when every free one stands open.",
            _static_causes.relief_limited,
        ),
        Cause(
            "one zone alone cannot take the blower's air: duct too small, registers shut, damper "
            "not fully open",
            "Raised when most of the time over target comes with one zone calling, most when two "
            "or more zones called for hours and were seldom over.",
            _static_causes.one_zone,
        ),
        Cause(
            "second stage brings more air than the open ducts take",
            "Raised when most of the time over target comes on second stage. Ruled out when none "
            "does.",
            _static_causes.second_stage,
            not_it="second stage",
            replays="stage2_min_zones",
        ),
        Cause(
            "the target is lower than these ducts need, or the blower is set too high for them",
            "Raised when static is over target most of the time with every zone calling. Ruled out "
            "when it then hardly ever is.",
            _static_causes.target,
            not_it="a target lower than the ducts need",
            replays="static_target_inwc",
        ),
        Cause(
            "the pressure tap or the transducer's zero",
            "Static over target alone cannot tell.",
            _static_causes.zero,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the static target, the relief order and wait and the minimum zones for second "
            "stage; photograph them",
            "as designed for these ducts",
            "write down the old values, then correct them by the panel's instructions",
        ),
        Check(
            "dampers",
            "call {zone} alone and watch its damper travel, then which relief damper opens. If "
            f"second stage comes on: {_cautions.WATCHED}",
            "its own damper fully open; a relief damper opens within {wait}",
            "actuator, linkage, wire or relief setting",
        ),
        Check(
            "ducts",
            "open every register of {zone}; two-tube manometer in the supply trunk before the "
            "first takeoff, on each stage. With one zone on second stage: "
            f"{_cautions.WATCHED}",
            "at or under {target}",
            "crushed or undersized duct: measure where the pressure drops",
        ),
        Check(
            "unit",
            "zero the manometer, compare with the panel's and the logger's reading at the same "
            "tap; blower speed setting and temperature rise against the plate",
            "readings agree within 0.03 in. w.c., rise inside the band",
            "tap, tube or transducer first; blower speed only within the rating plate",
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
        "A dirty filter or coil before the tap: supply static falls and the rise goes up.",
        "Static that passes the target for less than a minute after a call changes: dampers "
        "moving.",
    ),
    symptom_of=("second-stage-too-few-zones",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by share of fan time, or by one calling state that is over target most of its time."""
    target = site.setting("static_target_inwc")
    total = records(site.table("measure.static_total"))
    if not total or not total[0].fan_outside_visit_s:
        return CannotTell("the blower was never seen running with static logged outside visits")
    fan_s = float(total[0].fan_outside_visit_s)
    highest = number(total[0].max_inwc) or 0.0
    if target is None:
        return CannotTell(
            "the site file gives no static target to hold it against; highest static with the "
            "blower on "
            f"was {site.static(highest)}"
        )
    static = load(site, target, fan_s, total[0], highest)
    if not _is_found(static):
        if fan_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(fan_s, "blower time"))
        return NotFound(
            f"over {site.static(target)} {words.share(static.over_s / fan_s)} of "
            f"{words.hours(fan_s)} of blower time, "
            f"{words.times(len(static.rows))} for a minute or more, highest "
            f"{site.static(highest)}"
        )
    events = [_event(static, row) for row in records(static.rows)]
    plan = static.margin_share >= site.threshold("static_share_plan_frac")
    zone, zone_part = static.zone_alone
    alone = zone_part >= site.threshold("static_state_share")
    few = static.part((static.states["stage"] == 2) & (static.states["n_zones"] == 1))
    return Found(
        severity="plan" if plan else "watch",
        certainty="shown",
        summary=_summary(static),
        headline=_headline(static),
        aside=_aside(static),
        facts=static,
        evidence=evidence(events),
        windows=windows(site, events),
        ruled_out=(
            "Not the filter or the return side: they lower supply static, they do not raise it",
        ),
        fill={
            "zone": site.zones(zone) if alone else "each zone in turn",
            "target": site.static(target),
            "wait": words.duration(answer_s(site)),
        },
        linked=(
            ("second-stage-too-few-zones",) if few >= site.threshold("linked_min_share") else ()
        ),
        table=_table(static),
    )


def _is_found(s: Static) -> bool:
    site = s.site
    if len(s.rows) < site.threshold("static_min_excursions"):
        return False
    if s.margin_share >= site.threshold("static_share_watch_frac"):
        return True
    long = s.states[s.states["settled_s"] >= site.threshold("static_state_min_h") * 3600]
    share = long["above_margin_s"] / long["settled_s"]
    return bool((share > site.threshold("static_state_share")).any())


def _state_words(s: Static) -> str:
    """', 84 % of that time with Den calling alone', or ''."""
    zone, part = s.zone_alone
    if part < s.site.threshold("static_state_share"):
        return ""
    s_alone = part * s.running_margin_s
    return f", {words.hours(s_alone)} of it with {s.site.zones(zone)} calling alone"


def _headline(s: Static) -> str:
    return (
        f"supply static was over its target of {s.site.static(s.target_inwc)} for "
        f"{words.hours_of(s.over_s, s.fan_s)} of blower time, "
        f"up to {_peak(s)}"
    )


def _peak(s: Static) -> str:
    """The highest reading with its time, where a stretch over target holds it."""
    at = "" if s.max_ts is None else f" ({s.site.clock(s.max_ts)})"
    return f"{s.site.static(s.max_inwc)}{at}"


def _idle_words(s: Static) -> str:
    """How much of the time over target came with no zone calling; '' if little did."""
    part = s.idle_over_s / s.over_s if s.over_s else 0.0
    if part < s.site.threshold("static_share_plan_frac"):
        return ""
    return (
        f"{words.hours(s.idle_over_s)} of the {words.hours(s.over_s)} over target "
        f"({words.share(part)}) came with no zone calling: the blower ran on after the last call, "
        "or for the fan alone"
    )


def _aside(s: Static) -> str:
    return (
        f"static then goes up to {s.site.static(s.max_inwc)} against a target of "
        f"{s.site.static(s.target_inwc)}"
    )


def _summary(s: Static) -> str:
    site = s.site
    first = site.clock(int(s.rows["start_ts"].iloc[0]))
    return words.sentences(
        _headline(s),
        f"it went over {words.times(len(s.rows))} for a minute or more, first {first}",
        f"leaving out dampers on the move, it was more than {_static_causes.over(s)} over target "
        f"for {words.hours_of(s.margin_s, s.settled_s)} of blower time "
        f"({words.share(s.margin_share)}){_state_words(s)}",
        _idle_words(s),
        relief_by_name(s),
    )


def _event(s: Static, r: Any) -> Event:
    site = s.site
    start, end = int(r.start_ts), int(r.end_ts)
    on = f" on {words.stage(int(r.stage))}" if r.stage in (1, 2) else ""
    return Event(
        start_ts=start,
        end_ts=end,
        worth=float(r.max_inwc),
        say=(
            f"{site.clock(start)}, {site.calling(r.zones)}{on}, over target for "
            f"{words.duration(float(r.length_s))}, up to {site.static(float(r.max_inwc))}"
        ),
        label="over target",
        lines=lines(site, start, "static_target_inwc", "high_limit_f"),
    )


def _table(s: Static) -> tuple[tuple[str, tuple[str, ...]], ...]:
    site, rows = s.site, records(s.rows.head(MAX_TABLE_ROWS))
    return (
        ("When", tuple(site.clock(int(r.start_ts)) for r in rows)),
        ("For", tuple(words.duration(float(r.length_s)) for r in rows)),
        ("Highest", tuple(site.static(float(r.max_inwc)) for r in rows)),
        ("Calling", tuple(site.zones(r.zones) for r in rows)),
        ("Stage", tuple("–" if r.stage is None else str(int(r.stage)) for r in rows)),
        ("Relief dampers opened", tuple(str(int(r.n_relief or 0)) for r in rows)),
    )
