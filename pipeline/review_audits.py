"""The audits in review.json that may not be possible: balance points, second stage that never came.

What was not given or not logged stands as null with its reason: an empty list or a zero would be a
claim.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pipeline.findings._site import number
from pipeline.review_values import Block, iso, rounded
from pipeline.words import zone_numbers

Rows = Callable[[str], list[Any]]
NO_PUMP = "the compressor cannot heat here"
NO_OUTDOOR = "outputs or outdoor air not logged"
NO_STAGE2 = "the outputs of both stages, and the calls, are not logged"
NO_MINIMUM = "stage2_min_zones is not given"
NO_COMFORT = "zone temperature or setpoint not logged where it mattered"
SECOND_STAGES = ("output_w2", "output_y2")


def balance(rows: Rows, quality: Block) -> Block:
    """The `balance` block: heat on the wrong side of a point, and what else the fuels did.

    rows : the records of a table by its name
    quality : coverage and resolution of outputs and outdoor air
    Seconds of whole runs that began out of order, visits left out; null with its reason under
    `not_measured` where a point was not given, or nobody logged what it takes.
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

    wrong = [r for r in starts if r.result in ("below the low point", "above the high point")]
    wrong.sort(key=lambda r: (int(r.start_ts), r.source))
    seen = next((r for r in rows("measure.setting_seen") if r.name == "changeover_f"), None)
    both = [r for r in rows("interval.both_fuels") if not r.in_visit]
    days = rows("measure.heat_day")
    made: Block = {
        "compressor_below_low_s": seconds(
            "compressor_below_low_s", "low_balance_f", "below the low point"
        ),
        "furnace_above_high_s": seconds(
            "furnace_above_high_s", "high_balance_f", "above the high point"
        ),
        "starts": len(starts),
        "out_of_order": [
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
        "both_fuels_s": sum(float(r.length_s) for r in both),
        "both_fuels_too_long": sum(bool(r.is_over) for r in both),
        "emergency_heat_days": sum(bool(r.is_emergency_heat) for r in days),
        "defrosts": sum(not r.in_visit for r in rows("interval.defrost")),
        **quality,
    }
    if why:
        made["not_measured"] = why
    return made


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
