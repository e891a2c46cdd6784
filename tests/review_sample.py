"""A small result worked by hand, of which review.json is made in the tests."""

from dataclasses import replace

import pandas as pd

from pipeline.result import (
    EvidenceWindow,
    Finding,
    RankedCause,
    SiteInfo,
    SiteResult,
    Span,
    Verdict,
)
from pipeline.tables import tables
from pipeline.thresholds import values_for

# 2026-01-12T07:00:00Z, Monday midnight in Denver
T0 = 1768201200_000_000
S = 1_000_000
DAY = 86_400 * S


def frame(name, rows):
    columns = [c.name for c in tables()[name].columns]
    assert all(set(row) <= set(columns) for row in rows), name
    return pd.DataFrame(rows, columns=columns)


def figures(*names, coverage=0.95, resolution_s=10.0):
    return [
        {
            "figure": name,
            "window_s": 86_400.0,
            "valid_s": 86_400.0 * coverage,
            "coverage": coverage,
            "resolution_s": resolution_s,
            "missing": "",
        }
        for name in names
    ]


def a_finding(**changes):
    f = Finding(
        code="high-limit-trips",
        title="High-limit trips",
        severity="act",
        about="installation",
        certainty="shown",
        summary="It tripped.",
        evidence=(Span(T0, T0 + 60 * S, "high limit"),),
        windows=(EvidenceWindow(1, T0, T0 + 3600 * S, "First: it tripped."),),
        ruled_out=("Not the filter: static was high.",),
        causes=(RankedCause("Too much heat.", "All trips came with one zone."),),
        checks=("At the panel: look. Good: two. If not: one.",),
        cautions=("Do not raise a limit.",),
        source="Common practice, no source.",
        coverage=0.95,
        resolution_s=10.0,
        thresholds=("trip_days",),
    )
    return replace(f, **changes)


def a_result(frames=None, findings=(), judged=()):
    return SiteResult(
        run_id="0123abcd",
        tool_version="0.1.0",
        site=SiteInfo(
            site_id="larch-14",
            name="14 Larch Lane",
            timezone="America/Denver",
            complaint=None,
            kind="furnace_ac",
            zones={1: "Main floor", 3: "Den"},
            settings=(),
            visits=(),
        ),
        window=Span(T0, T0 + DAY),
        verdict=Verdict("act", "It tripped.", "Shown by the log.", ("Not the filter.",), ()),
        findings=tuple(findings),
        judged=tuple(judged),
        frames={name: frame(name, rows) for name, rows in (frames or {}).items()},
        thresholds=values_for({}),
    )


def file_row(file_id, path, logger, **counts):
    base = {"n_read": 0, "n_loaded": 0, "n_rejected": 0, "n_repeated": 0, "n_bad_cells": 0}
    return {"file_id": file_id, "path": path, "logger": logger, **base, **counts}


FRAMES = {
    "store.file": [
        file_row(1, "exports/a.csv", "panel", n_read=100, n_loaded=90, n_rejected=4, n_repeated=6),
        file_row(2, "exports/b_1.csv", "plenum", n_read=50, n_loaded=50, n_bad_cells=2),
        file_row(3, "exports/b_2.csv", "plenum", n_read=7, n_loaded=7),
    ],
    "store.conflict": [{"channel_id": 2, "ts": T0}],
    "channel.channel": [
        {
            "channel_id": n,
            "logger": logger,
            "column_name": role,
            "role": role,
            "zone": zone,
            "kind": "analog",
            "is_sampled": True,
            "interval_s": interval_s,
            "is_primary": True,
            "offset_s": 0.0,
        }
        for n, logger, role, zone, interval_s in (
            (1, "panel", "output_w1", None, 1.0),
            (2, "plenum", "supply_temp", None, 10.0),
            (3, "panel", "zone_call_w1", 3, 1.0),
        )
    ],
    "run.setting": [
        {"name": "stage_up_delay_min", "value": 10.0},
        {"name": "stage2_min_zones", "value": 2.0},
        {"name": "stage2_release", "value_text": "follows"},
    ],
    "signal.coverage": [
        {
            "channel_id": n,
            "role": role,
            "interval_s": interval_s,
            "valid_s": valid_s,
            "window_s": 86_400.0,
            "coverage": valid_s / 86_400,
        }
        for n, role, interval_s, valid_s in (
            (1, "output_w1", 1.0, 86_400.0),
            (2, "supply_temp", 10.0, 64_800.0),  # 18 of 24 h
            (3, "zone_call_w1", 1.0, 86_400.0),
        )
    ],
    "trust.gap": [
        {
            "channel_id": 2,
            "role": "supply_temp",
            "start_ts": T0 + 3600 * S,
            "end_ts": T0 + 7 * 3600 * S,
            "position": "inside",
            "reason": "not logged",
        }
    ],
    "trust.clock_offset": [
        {
            "logger": "plenum",
            "reference_logger": "panel",
            "offset_s": 420.0,
            "plus_minus_s": 5.0,
            "n_edge": 40,
            "edge": "W1 off",
            "confidence": "shown",
            "applied_s": 0.0,
            "why": "w",
        },
        {
            "logger": "panel",
            "reference_logger": "panel",
            "offset_s": 0.0,
            "plus_minus_s": 0.0,
            "n_edge": 0,
            "edge": "",
            "confidence": "reference",
            "applied_s": 0.0,
            "why": "w",
        },
    ],
    "measure.coverage": figures(
        "trips", "cut_outs", "static", "staging", "outputs", "conditions", "output_w1", "calls"
    ),
    "measure.runtime": [
        {
            "output": "output_w1",
            "on_s": 5400.0,
            "n_start": 3,
            "n_run": 3,
            "n_open_run": 1,
            "n_chatter": 0,
            "plus_minus_s": 5.0,
            "coverage": 0.95,
            "resolution_s": 1.0,
        }
    ],
    "measure.stage_time": [
        {
            "mode": "heating",
            "source": "burner",
            "stage": "first",
            "s": 4000.0,
            "plus_minus_s": 30.0,
        },
        {
            "mode": "heating",
            "source": "compressor",
            "stage": "first",
            "s": 500.0,
            "plus_minus_s": 30.0,
        },
        {
            "mode": "heating",
            "source": "burner",
            "stage": "second",
            "s": 1400.0,
            "plus_minus_s": 30.0,
        },
    ],
    "interval.output_run": [
        {
            "output": "output_w1",
            "start_ts": T0 + k * 3600 * S,
            "end_ts": T0 + k * 3600 * S + 1800 * S + (500_000 if k == 2 else 0),
            "on_s": 1800.0,
            "has_start": True,
            "has_end": k != 2,
            "is_closed": k != 2,
            "n_chatter": 0,
        }
        for k in (2, 0, 1)
    ],
    "measure.cycle": [
        {
            "source": "burner",
            "mode": "heating",
            "n_start": 2,
            "n_start_all": 3,
            "n_closed_run": 2,
            "n_short_run": 1,
            "n_short_run_by_limit": 1,
            "n_short_rest": 0,
            "is_at_least": False,
            "median_run_s": 1800.0,
            "fitted_nmax_per_h": None,
            "n_fit_hour": 0,
        }
    ],
    "measure.trip_context": [
        {
            "trip_id": 1,
            "kind": "high",
            "opened_by": "panel",
            "start_ts": T0 + 1790 * S,
            "drop_ts": T0 + 1800 * S,
            "end_ts": T0 + 2040 * S,
            "peak_f": 151.2,
            "is_certain": True,
            "in_visit": False,
            "stage": 2,
            "zones": "3",
        }
    ],
    "interval.cut_out": [
        {
            "source": "burner",
            "start_ts": T0 + 600 * S,
            "low_ts": T0 + 700 * S,
            "end_ts": T0 + 900 * S,
            "peak_f": 140.0,
            "low_f": 90.0,
            "is_certain": True,
            "in_visit": True,
        }
    ],
    "interval.condition": [
        {
            "start_ts": T0,
            "end_ts": T0 + 3600 * S,
            "class": "heating",
            "source": "burner",
            "stage": 1,
            "n_zones": 2,
            "zones": "1+3",
        }
    ],
    "measure.static_total": [
        {
            "fan_s": 6000.0,
            "above_target_s": 600.25,
            "fan_outside_visit_s": 5400.0,
            "above_target_outside_visit_s": 540.5,
            "above_more_s": 60.0,
            "above_far_s": 0.0,
            "area_inwc_min": 1.5,
            "max_inwc": 0.83,
            "n_excursion": 4,
            "n_relief": 2,
            "coverage": 0.9,
            "resolution_s": 5.0,
        }
    ],
    "measure.relief": [
        {
            "n_excursion": 4,
            "n_answered": 2,
            "n_late": 1,
            "n_missing": 0,
            "n_no_fall_seen": 0,
            "n_used_up": 0,
            "n_not_possible": 0,
            "n_open_already": 0,
            "n_not_judged": 1,
            "all_calling_s": 3600.0,
            "all_calling_above_s": 30.0,
            "coverage": 0.9,
            "resolution_s": 5.0,
        }
    ],
    "measure.static_hunting": [
        {
            "start_ts": T0 + n * 7200 * S,
            "end_ts": T0 + n * 7200 * S + length_s * S,
            "n_turn": 9,
            "swing_inwc": 0.2,
            "is_hunting": is_hunting,
            "in_visit": in_visit,
            "coverage": 0.9,
            "resolution_s": 5.0,
        }
        for n, (length_s, is_hunting, in_visit) in enumerate(
            [(2400, True, False), (600, False, False), (2400, True, True)]
        )
    ],
    "measure.static_zero": [
        {
            "result": "in order",
            "n_occasion": 6,
            "zero_inwc": 0.01,
            "coverage": 0.9,
            "resolution_s": 5.0,
        }
    ],
    "measure.stage_up": [
        {
            "source": "burner",
            "mode": "heating",
            "start_ts": T0 + n * 3600 * S,
            "end_ts": T0 + n * 3600 * S + 600 * S,
            "zones": "3",
            "longest_call_s": 600.0,
            "result": result,
            "stayed_in_s": stayed_s,
            "is_stayed_in": None if stayed_s is None else stayed_s >= 120.0,
            "in_visit": in_visit,
        }
        for n, (result, stayed_s, in_visit) in enumerate(
            [
                ("too few zones", None, False),
                ("early", 119.0, False),
                ("in order", 120.0, False),
                ("early", 0.0, True),
            ]
        )
    ],
    "measure.zone_comfort": [
        {
            "zone": 3,
            "mode": mode,
            "rule": "setpoint",
            "not_keeping_up_s": off_s,
            "n_stretch": int(off_s > 0),
            "n_day": int(off_s > 0),
            "short_degree_h": 2.0,
            "over_degree_h": 0.0,
            "coverage": 0.9,
            "resolution_s": 60.0,
        }
        for mode, off_s in (("heating", 5400.0), ("cooling", 0.0))
    ],
    "measure.zone_response": [
        {
            "zone": 3,
            "mode": "heating",
            "is_calling": is_calling,
            "damper": "open",
            "slope_f_per_h": slope,
        }
        for is_calling, slope in ((False, -1.0), (True, 2.5))
    ],
    "measure.zone_call": [
        {
            "zone": 3,
            "mode": mode,
            "calling_s": 1000.0,
            "n_call": 2,
            "coverage": 0.95,
            "resolution_s": 1.0,
        }
        for mode in ("heating", "cooling")
    ],
}
