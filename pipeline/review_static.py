"""The parts of review.json's static block: relief, hunting, the zero."""

from __future__ import annotations

from typing import Any

from pipeline.findings._site import number
from pipeline.review_values import Block, iso, rounded


def relief_block(r: Any) -> Block:
    """What relief did about the excursions, and how often the target was out of reach."""
    return {
        "answered": int(r.n_answered),
        "late": int(r.n_late),
        "missing": int(r.n_missing),
        "no_fall_seen": int(r.n_no_fall_seen),
        "used_up": int(r.n_used_up),
        "not_possible": int(r.n_not_possible),
        "open_already": int(r.n_open_already),
        "not_judged": int(r.n_not_judged),
        "all_zones_calling_s": rounded(number(r.all_calling_s)),
        "all_zones_calling_above_target_s": rounded(number(r.all_calling_above_s)),
        "coverage": rounded(number(r.coverage)),
        "resolution_s": number(r.resolution_s),
    }


def hunting_block(r: Any) -> Block:
    """One stretch of hunting static."""
    return {
        "start": iso(r.start_ts),
        "end": iso(r.end_ts),
        "turns": int(r.n_turn),
        "swing_inwc": rounded(number(r.swing_inwc)),
        "coverage": rounded(number(r.coverage)),
        "resolution_s": number(r.resolution_s),
    }


def zero_block(r: Any) -> Block:
    """What static reads at rest."""
    return {
        "result": r.result,
        "occasions": int(r.n_occasion),
        "inwc": rounded(number(r.zero_inwc)),
        "coverage": rounded(number(r.coverage)),
        "resolution_s": number(r.resolution_s),
    }
