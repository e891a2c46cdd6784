"""What was not logged and is inferred beside run states, as review.json lists it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pipeline.expected_error import damper_call_error, fan_error
from pipeline.findings._site import number
from pipeline.review_values import Block, rounded
from pipeline.units import MICROSECONDS


def calls_by_damper(rows: Callable[[str], list[Any]], zone: int) -> Block:
    """What a zone's damper says of its calls, marked inferred; empty where it says nothing.

    rows : the records of a table by its name
    """
    own = [r for r in rows("run_state.damper_call") if int(r.zone) == zone]
    if not own:
        return {}
    errors = [damper_call_error(mode) for mode in sorted({r.mode for r in own})]
    channels = [r for r in rows("signal.coverage") if r.role == "zone_damper" and r.zone == zone]
    return {
        "calling_s": sum(int(r.end_ts) - int(r.start_ts) for r in own) / MICROSECONDS,
        "calls": len(own),
        "inferred": True,
        "expected_error_frac": max(e.time_frac for e in errors),
        "starts_expected_error_frac": max(e.starts_frac for e in errors),
        "coverage": rounded(min((number(r.coverage) or 0.0 for r in channels), default=0.0)),
        "resolution_s": max(number(r.interval_s) or 0.0 for r in own),
    }


def second_stages(rows: Callable[[str], list[Any]], mode: str) -> list[Block]:
    """Second stage of each source of a mode that ran by inference; null where it cannot be told.

    Its error is a share of the source's time: where that is as much as the figure, it says nothing.
    """
    blocks = []
    for r in sorted(rows("run_state.inferred_stage"), key=lambda r: str(r.source)):
        if r.mode != mode:
            continue
        seconds, of_s, error = (number(v) for v in (r.second_s, r.run_s, r.second_error_frac))
        is_told = seconds is not None and (error or 0.0) * (of_s or 0.0) < seconds
        blocks.append(
            {
                "source": r.source,
                "seconds": seconds if is_told else None,
                "of_s": of_s,
                "expected_error_frac": error if is_told else None,
            }
        )
    return blocks


def fan_block(source: str | None) -> Block:
    """What says that the blower ran; marked where that was inferred, with its expected error.

    source : as run_state.fan names it; None: nothing told of the blower
    """
    if source in (None, "blower_run", "output_g"):
        return {"fan_from": source}
    error = fan_error(str(source))
    return {
        "fan_from": source,
        "fan_inferred": True,
        "fan_expected_error_frac": error.time_frac if error else None,
    }
