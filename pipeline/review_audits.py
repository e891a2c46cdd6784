"""The audits in review.json that may not be possible: balance points, second stage that never came.

What was not given or not logged stands as null with its reason: an empty list or a zero would be a
claim.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from pipeline import words
from pipeline.findings import both_fuels, emergency_heat_left_on, no_defrost
from pipeline.findings._site import number, role_words
from pipeline.review_values import Block, iso, rounded
from pipeline.words import zone_numbers

Rows = Callable[[str], list[Any]]
NO_PUMP = "the compressor cannot heat here"
NO_OUTDOOR = "outputs or outdoor air not logged"
NO_STAGE2 = "the outputs of both stages, and the calls, are not logged"
NO_MINIMUM = "stage2_min_zones is not given"
NO_RELEASE = "nothing says that second stage goes when the calls do"
NO_COMFORT = "zone temperature or setpoint not logged where it mattered"
SECOND_STAGES = ("output_w2", "output_y2")
SEEN_BY = {
    "both_fuels_s": both_fuels.FINDING.needs_roles,
    "both_fuels_too_long": both_fuels.FINDING.needs_roles,
    "emergency_heat_days": emergency_heat_left_on.FINDING.needs_roles,
    "defrosts": no_defrost.FINDING.needs_roles,
}
"""What a heat pump's log must hold for each figure: what the finding on it needs."""


def not_logged(rows: Rows, groups: Sequence[Sequence[str]]) -> str | None:
    """Of which groups nothing trusted was logged, 'not logged: Y1 out'; None if of none.

    rows : the records of a table by its name
    """
    roles = {r.role for r in rows("signal.coverage") if (r.valid_s or 0) > 0}
    absent = [
        words.joined([role_words(role) for role in group], last="or")
        for group in groups
        if not roles & set(group)
    ]
    return f"not logged: {'; '.join(absent)}" if absent else None


def balance(rows: Rows, quality: Block) -> Block:
    """The `balance` block: heat on the wrong side of a point, and what else the fuels did.

    rows : the records of a table by its name
    quality : coverage and resolution of outputs and outdoor air
    Seconds of whole runs that began out of order, visits left out; null with its reason under
    `not_measured` where a point was not given, or nobody logged what it takes. So do the counts:
    none seen is no zero where none could be seen.
    """
    starts = [r for r in rows("measure.balance") if not r.in_visit]
    heats = any(bool(r.has_heat_pump) for r in rows("run.site"))
    given = {r.name for r in rows("run.setting")}
    why: dict[str, str] = {}

    def seconds(name: str, setting: str, result: str) -> float | None:
        if not heats:
            why[name] = NO_PUMP
        elif not quality["coverage"]:
            why[name] = NO_OUTDOOR
        elif setting not in given:
            why[name] = f"{setting} is not given"
        else:
            return float(sum(float(r.on_s) for r in starts if r.result == result))
        return None

    def seen_by(name: str, figure: float) -> float | None:
        reason = not_logged(rows, SEEN_BY[name]) if heats else NO_PUMP
        if reason is None:
            return figure
        why[name] = reason
        return None

    points = {
        "compressor_below_low_s": seconds(
            "compressor_below_low_s", "low_balance_f", "below the low point"
        ),
        "furnace_above_high_s": seconds(
            "furnace_above_high_s", "high_balance_f", "above the high point"
        ),
    }
    audited = heats and bool(quality["coverage"])
    if not audited:
        why |= dict.fromkeys(("starts", "out_of_order"), NO_OUTDOOR if heats else NO_PUMP)
    wrong = [r for r in starts if r.result in ("below the low point", "above the high point")]
    wrong.sort(key=lambda r: (int(r.start_ts), r.source))
    seen = next((r for r in rows("measure.setting_seen") if r.name == "changeover_f"), None)
    both = [r for r in rows("interval.both_fuels") if not r.in_visit]
    days = rows("measure.heat_day")
    made: Block = {
        **points,
        "starts": len(starts) if audited else None,
        "out_of_order": None
        if not audited
        else [
            {
                "start": iso(r.start_ts),
                "end": iso(r.end_ts),
                "source": r.source,
                "outdoor_f": rounded(number(r.outdoor_f)),
                "past_by_f": rounded(number(r.past_by_f)),
            }
            for r in wrong
        ],
        "changeover_f": None if seen is None or not seen.is_steady else rounded(number(seen.value)),
        "both_fuels_s": seen_by("both_fuels_s", sum(float(r.length_s) for r in both)),
        "both_fuels_too_long": seen_by("both_fuels_too_long", sum(bool(r.is_over) for r in both)),
        "emergency_heat_days": seen_by(
            "emergency_heat_days", sum(bool(r.is_emergency_heat) for r in days)
        ),
        "defrosts": seen_by("defrosts", sum(not r.in_visit for r in rows("interval.defrost"))),
        **quality,
    }
    if why:
        made["not_measured"] = why
    return made


def stage_starts(rows: Rows, starts: Sequence[Any]) -> tuple[Block, dict[str, str]]:
    """Second-stage starts that were out of order, and why those of a kind could not be told.

    rows : the records of a table by its name
    starts : records of measure.stage_up outside visits, by time
    Without second stage or calls in the log none can be told, and without its setting none of the
    kind that rests on it.
    """
    kinds = {
        "early": ("stage_up_delay_min", lambda r: r.result == "early"),
        "too_few_zones": ("stage2_min_zones", lambda r: r.result == "too few zones"),
        "stayed_in": ("stage2_release", lambda r: r.is_stayed_in is True),
    }
    roles = {r.role for r in rows("channel.channel") if r.is_primary}
    called = any(str(role).startswith("zone_call_") for role in roles)
    if not starts and not (called and roles & set(SECOND_STAGES)):
        names = (*kinds, "starts")
        return dict.fromkeys(names), dict.fromkeys(names, NO_STAGE2)
    given = {r.name for r in rows("run.setting")}
    why = {
        name: f"{setting} is not given"
        for name, (setting, _) in kinds.items()
        if setting not in given
    }
    release = {r.value_text for r in rows("run.setting") if r.name == "stage2_release"}
    if release and "follows" not in release:
        why["stayed_in"] = NO_RELEASE
    made: Block = {
        name: None if name in why else [stage_start(r) for r in starts if is_of(r)]
        for name, (_, is_of) in kinds.items()
    }
    return {**made, "starts": len(starts)}, why


def stage_start(r: Any) -> Block:
    """One second-stage start as staging lists it."""
    return {
        "start": iso(r.start_ts),
        "end": iso(r.end_ts),
        "source": r.source,
        "mode": r.mode,
        "zones_calling": list(zone_numbers(r.zones)),
        "longest_call_s": number(r.longest_call_s),
        "run_before_s": number(r.run_before_s),
        "early_by_s": number(r.early_by_s),
        "stayed_in_s": number(r.stayed_in_s),
    }


def never_came_on(rows: Rows) -> tuple[list[Block] | None, str | None]:
    """Stretches in which second stage was in order and never came on, visits left out; or why not.

    rows : the records of a table by its name
    """
    roles = {r.role for r in rows("channel.channel") if r.is_primary}
    called = any(str(role).startswith("zone_call_") for role in roles)
    if not (called and roles & set(SECOND_STAGES)):
        return None, NO_STAGE2
    if not any(r.name == "stage2_min_zones" for r in rows("run.setting")):
        return None, NO_MINIMUM
    found = [r for r in rows("measure.stage_up_missing") if not r.in_visit]
    if found and all(r.result == "not known" for r in found):
        return None, NO_COMFORT
    found.sort(key=lambda r: (int(r.start_ts), r.source))
    return [
        {
            "start": iso(r.start_ts),
            "end": iso(r.end_ts),
            "source": r.source,
            "mode": r.mode,
            "zones_calling": list(zone_numbers(r.zones)),
            "zone": int(r.zone),
            "off_f": rounded(number(r.off_f)),
            "closing_f_per_h": rounded(number(r.closing_f_per_h)),
        }
        for r in found
        if r.result == "never came on"
    ], None
