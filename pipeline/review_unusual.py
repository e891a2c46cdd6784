"""The block `unusual` of review.json: days against the site's own past, and changes that stayed."""

from __future__ import annotations

from pipeline.review_values import Block, iso, rounded
from pipeline.unusual.record import Change, DayJudged, Departure, Step, Unusual


def unusual_block(unusual: Unusual | None, quality: Block) -> Block:
    """The block; with None nothing was looked at, and it says so.

    quality : coverage and resolution_s of what ran, which most figures rest on
    """
    if unusual is None:
        nothing: Block = {"result": "cannot tell", "why": "Days were not looked at.", **_COUNTS}
        return {
            "days": nothing | {"false_flag_share": None, "flagged": []},
            "changes": nothing | {"false_share": None, "found": []},
            **quality,
        }
    days, changes = unusual.days, unusual.changes
    return {
        "days": {
            "result": days.result,
            "why": days.why,
            "judged_days": days.n_judged,
            "more_days": days.n_more,
            "false_flag_share": days.share,
            "flagged": [_day(d) for d in days.unusual],
        },
        "changes": {
            "result": changes.result,
            "why": changes.why,
            "judged_days": changes.n_judged,
            "more_days": changes.n_more,
            "false_share": changes.share,
            "found": [_change(c) for c in changes.changes],
        },
        **quality,
    }


_COUNTS: Block = {"judged_days": 0, "more_days": 0}


def _day(day: DayJudged) -> Block:
    return {
        "day": day.day.isoformat(),
        "start": iso(day.start_ts),
        "end": iso(day.end_ts),
        "score": rounded(day.score),
        "why": day.why,
        "departures": [_departure(d) for d in day.departures],
    }


def _departure(d: Departure) -> Block:
    return {
        "figure": d.feature,
        "value": rounded(d.value),
        "expected": rounded(d.expected),
        "low": rounded(d.low),
        "high": rounded(d.high),
        "unit": d.unit,
        "deviations": rounded(d.size),
        "given_others": d.given_others,
        "sentence": d.sentence,
    }


def _change(change: Change) -> Block:
    return {
        "day": change.day.isoformat(),
        "first_day": change.first_day.isoformat(),
        "last_day": change.last_day.isoformat(),
        "visit": change.visit,
        "why": change.why,
        "figures": [_step(s) for s in change.steps],
    }


def _step(s: Step) -> Block:
    return {
        "figure": s.feature,
        "kind": s.kind,
        "end_day": s.end_day.isoformat() if s.end_day else None,
        "before": rounded(s.before),
        "after": rounded(s.after),
        "size": rounded(s.size),
        "size_low": rounded(s.size_low),
        "size_high": rounded(s.size_high),
        "unit": s.unit,
        "days_before": s.n_before,
        "days_after": s.n_after,
        "sentence": s.sentence,
    }
