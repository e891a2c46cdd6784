"""A small site result made by hand: two zones, two local days, one trip, one gap.

Every number is invented and chosen so that what a page must say can be worked out in the head.
America/Denver in January is UTC-7: 6:00 am local is 13:00 UTC.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pandas as pd

from pipeline.result import (  # fmt: skip
    EvidenceWindow,
    Finding,
    Judged,
    Mark,
    RankedCause,
    SiteInfo,
    SiteResult,
    Span,
    Verdict,
)
from pipeline.tables import tables
from pipeline.thresholds import values_for

SECOND = 1_000_000
HOUR = 3600 * SECOND


def at(day: int, hour: int, minute: int = 0, second: int = 0) -> int:
    """UTC microseconds of a clock time of January 2026 in America/Denver (UTC-7)."""
    local = dt.datetime(
        2026, 1, day, hour, minute, second, tzinfo=dt.timezone(dt.timedelta(hours=-7))
    )
    return round(local.timestamp()) * SECOND


START, END = at(13, 0), at(15, 0)
CODE = "high-limit-trips"


def frame(table: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Rows as the table's frame; a column they leave out is empty, an unknown one is an error."""
    declared = tables()[table]
    names = [c.name for c in declared.with_site]
    unknown = {k for r in rows for k in r} - set(names)
    assert declared.is_open or not unknown, f"{table} has no column {sorted(unknown)}"
    return pd.DataFrame([{"site_id": "larch-1"} | r for r in rows], columns=names)


def sample_result(**changes: Any) -> SiteResult:
    """The result; keyword arguments replace its fields."""
    return replace(_RESULT, **changes)


def empty_result(**changes: Any) -> SiteResult:
    """A site of which nothing is known but its name."""
    bare = replace(
        _RESULT,
        site=replace(_RESULT.site, zones={}, settings=(), visits=(), complaint=None),
        verdict=Verdict("cannot judge", "Nothing was logged.", "There is no data behind it."),
        findings=(),
        judged=(),
        frames={},
    )
    return replace(bare, **changes)


def _channels() -> list[dict[str, Any]]:
    named = [
        (1, "plenum", "Supply air (°F)", "supply_temp", None, "analog", True, 10.0),
        (2, "plenum", "Static", "static_pressure", None, "analog", True, 10.0),
        (3, "rooms", "Main", "zone_temp", 1, "analog", True, 120.0),
        (4, "panel", "Z1", "zone_call_w1", 1, "state", False, 1.0),
        (5, "panel", "W1", "output_w1", None, "state", False, 1.0),
        (6, "panel", "W2", "output_w2", None, "state", False, 1.0),
    ]
    keys = "channel_id logger column_name role zone kind is_sampled interval_s".split()
    more = {"is_primary": True, "offset_s": 0.0}
    return [dict(zip(keys, row, strict=True)) | more for row in named]


def _readings() -> list[dict[str, Any]]:
    """Supply climbs 1 °F a reading from 120 °F at 6:00:00 am to 150 °F at 6:05:00 am, a gap of
    5 min, then 130 °F at 6:10:00 and 6:10:10; static stands at 0.5 in. w.c. at both ends."""
    supply = [(at(13, 6) + i * 10 * SECOND, 120.0 + i, i == 30) for i in range(31)]
    supply += [(at(13, 6, 10), 130.0, False), (at(13, 6, 10, 10), 130.0, False)]
    static = [(at(13, 6) + i * 10 * SECOND, 0.5, False) for i in range(62)]
    room = [(at(13, 6) + i * 120 * SECOND, 68.0, False) for i in range(6)]
    rows = []
    for channel, values in ((1, supply), (2, static), (3, room)):
        rows += [
            {"channel_id": channel, "ts": ts, "value": value, "gap_after": gap}
            for ts, value, gap in values
        ]
    return rows


def _states() -> list[dict[str, Any]]:
    """Zone 1 calls throughout; W1 runs 6:00:00-6:05:00, then off; W2 is not known before 6:02."""
    base = {"code": CODE, "n": 1}
    w1, w2, call = (
        base | {"channel_id": i, "role": r, "zone": z}
        for i, r, z in ((5, "output_w1", None), (6, "output_w2", None), (4, "zone_call_w1", 1))
    )
    return [
        call | {"start_ts": at(13, 6), "end_ts": at(13, 6, 10, 20), "is_on": True},
        w1 | {"start_ts": at(13, 6), "end_ts": at(13, 6, 5), "is_on": True},
        w1 | {"start_ts": at(13, 6, 5), "end_ts": at(13, 6, 10, 20), "is_on": False},
        w2 | {"start_ts": at(13, 6, 2), "end_ts": at(13, 6, 5), "is_on": True},
        w2 | {"start_ts": at(13, 6, 5), "end_ts": at(13, 6, 10, 20), "is_on": False},
    ]


def _conditions() -> list[dict[str, Any]]:
    """Day 1: off but for heat 6:00-8:00 am, of which second stage 7:00-7:30; day 2: not known
    0:00-1:00 am, heat 1:00-2:00 am, then off."""
    spans = [
        (at(13, 0), at(13, 6), "off", None, 0),
        (at(13, 6), at(13, 7), "heating", "burner", 1),
        (at(13, 7), at(13, 7, 30), "heating", "burner", 2),
        (at(13, 7, 30), at(13, 8), "heating", "burner", 1),
        (at(13, 8), at(14, 0), "off", None, 0),
        (at(14, 0), at(14, 1), "unknown", None, 0),
        (at(14, 1), at(14, 2), "heating", "burner", 1),
        (at(14, 2), at(15, 0), "off", None, 0),
    ]
    keys = ("start_ts", "end_ts", "class", "source", "stage")
    return [dict(zip(keys, s, strict=True)) | {"zones": "1", "n_zones": 1} for s in spans]


def _frames() -> dict[str, pd.DataFrame]:
    basis = {"coverage": 0.98, "resolution_s": 10.0}
    trip = {
        "trip_id": 1, "kind": "high", "opened_by": "panel", "start_ts": at(13, 6, 4, 50),
        "drop_ts": at(13, 6, 5), "end_ts": at(13, 6, 10), "peak_f": 150.0,
        "peak_ts": at(13, 6, 5), "limit_f": 150.0, "is_certain": True, "in_visit": False,
    }  # fmt: skip
    context = {
        "day": dt.date(2026, 1, 13), "stage": 2, "source": "burner", "n_zones": 1, "zones": "1",
        "run_before_s": 300.0, "static_max_inwc": 0.5, "outdoor_f": 20.0, "recovery_s": 300.0,
    }  # fmt: skip
    rows: dict[str, list[dict[str, Any]]] = {
        "store.file": [
            {
                "file_id": 1, "path": "exports/plenum.csv", "logger": "plenum",
                "encoding": "utf-8", "delimiter": ",", "decimal_sign": ".", "kind": "sampled",
                "timezone": "America/Denver", "timezone_source": "assumed", "n_read": 1003,
                "n_loaded": 1000, "n_rejected": 2, "n_repeated": 1, "n_bad_cells": 1,
                "first_ts": START, "last_ts": END, "is_present": True,
            }
        ],
        "store.reject": [
            {"file_id": 1, "line": 12, "text": "2026-01-1", "reason": "row cut short"},
            {"file_id": 1, "line": 40, "text": "OL", "reason": "not a number"},
            {"file_id": 1, "line": 77, "column_name": "Static", "text": "--", "reason": "blank"},
        ],
        "run.window": [{"start_ts": START, "end_ts": END, "timezone": "America/Denver"}],
        "run.day": [
            {"day": dt.date(2026, 1, d), "start_ts": at(d, 0), "end_ts": at(d + 1, 0)}
            for d in (13, 14)
        ],
        "run.setting": [
            {"name": "static_target_inwc", "value": 0.4, "start_ts": 0, "end_ts": END * 2}
        ],
        "run.zone": [
            {"zone": 1, "name": "Main floor", "is_relief": True},
            {"zone": 2, "name": "Loft", "is_relief": False},
        ],
        "channel.channel": _channels(),
        "signal.coverage": [
            {"channel_id": i, "coverage": c} for i, c in ((1, 0.98), (2, 1.0), (3, 0.8), (5, 1.0))
        ],
        "trust.gap": [
            {
                "channel_id": 1, "role": "supply_temp", "start_ts": at(13, 6, 5),
                "end_ts": at(13, 6, 10), "position": "inside", "reason": "not logged",
            },
            {
                "channel_id": 5, "role": "output_w1", "start_ts": at(14, 0),
                "end_ts": at(14, 1), "position": "inside", "reason": "not logged",
            },
        ],
        "trust.clock_offset": [
            {"logger": "panel", "confidence": "reference", "applied_s": 0.0, "why": "Outputs."},
            {
                "logger": "plenum", "reference_logger": "panel", "offset_s": 240.0,
                "plus_minus_s": 10.0, "confidence": "shown", "applied_s": 0.0, "why": "Edges.",
            },
        ],
        "interval.condition": _conditions(),
        "interval.output_run": [
            {"output": "output_w1", "start_ts": at(13, 6), "end_ts": at(13, 8), "on_s": 7200.0}
        ],
        "interval.call": [
            {"zone": 1, "mode": "heating", "start_ts": at(13, 6), "end_ts": at(13, 8)}
        ],
        "interval.trip": [trip],
        "measure.coverage": [
            {"figure": f, "window_s": 172800.0, "missing": ""} | basis
            for f in ("trips", "static", "staging", "calls", "conditions", "output_w1")
        ],
        "measure.runtime": [
            {
                "output": "output_w1", "on_s": 10800.0, "n_start": 2, "n_run": 2, "n_open_run": 0,
                "n_chatter": 0, "plus_minus_s": 2.0,
            } | basis
        ],
        "measure.runtime_day": [
            {
                "day": dt.date(2026, 1, d), "output": "output_w1", "on_s": s, "n_start": 1,
                "valid_s": v, "day_s": 86400.0,
            }
            for d, s, v in ((13, 7200.0, 86400.0), (14, 3600.0, 43200.0))
        ],
        "measure.condition_time": [
            {
                "class": "heating", "source": "burner", "stage": 2, "n_zones": 1, "zones": "1",
                "s": 7200.0, "outside_visit_s": 7200.0,
            }
        ],
        "measure.stage_time": [
            {
                "mode": "heating", "source": "burner", "stage": "first", "s": 9000.0,
                "plus_minus_s": 30.0,
            } | basis,
            {
                "mode": "heating", "source": "burner", "stage": "second", "s": 1800.0,
                "plus_minus_s": 30.0,
            } | basis,
        ],
        "measure.cycle": [
            {
                "source": "burner", "mode": "heating", "n_start": 12, "n_closed_run": 10,
                "n_short_run": 3, "n_short_run_by_limit": 1, "is_at_least": False,
                "short_run_limit_s": 180.0, "median_run_s": 400.0, "fitted_nmax_per_h": 5.0,
                "n_fit_hour": 9,
            } | basis
        ],
        "measure.cycle_hour": [
            {
                "what": "burner", "mode": "heating", "hour_ts": at(13, h), "runtime_frac": 0.5,
                "n_start": 5,
            }
            for h in range(9)
        ],
        "measure.cycle_fit": [
            {"what": "burner", "mode": "heating", "nmax_per_h": 5.0, "n_hour": 9},
            {"what": "zone 1", "mode": "heating", "nmax_per_h": 4.0, "n_hour": 9, "set_per_h": 3.0},
        ],
        "measure.short_cycle": [
            {
                "source": "burner", "mode": "heating", "what": "run", "start_ts": at(13, 9),
                "end_ts": at(13, 9, 2), "length_s": 120.0, "zones": "1", "by_limit": False,
                "after_trip": True,
            }
        ],
        "measure.trip_context": [trip | context],
        "measure.static_by_calling": [
            {
                "class": "heating", "stage": 2, "n_zones": 1, "zones": "1", "fan_s": 7200.0,
                "settled_s": 7000.0, "above_target_s": 3600.0, "above_margin_s": 3000.0,
                "mean_inwc": 0.5, "p50_inwc": 0.5, "p95_inwc": 0.6, "max_inwc": 0.7,
            }
        ],
        "measure.static_total": [
            {
                "fan_s": 7200.0, "above_target_s": 3600.0, "fan_outside_visit_s": 7200.0,
                "above_target_outside_visit_s": 3600.0, "max_inwc": 0.7, "n_excursion": 2,
                "n_relief": 1, "fan_source": "static_pressure",
            } | basis
        ],
        "measure.static_day": [
            {
                "day": dt.date(2026, 1, 13), "fan_s": 7200.0, "above_target_s": 3600.0,
                "max_inwc": 0.7,
            }
        ],
        "measure.zones_calling": [
            {"mode": "heating", "n_zones": 1, "zones": "1", "s": 5400.0},
            {"mode": "heating", "n_zones": 2, "zones": "1+2", "s": 1800.0},
        ],
        "measure.zone_call": [
            {
                "zone": z, "mode": "heating", "calling_s": 7200.0 / z, "n_call": 4,
                "median_call_s": 600.0,
            } | basis
            for z in (1, 2)
        ],
        "measure.stage_up": [
            {
                "source": "burner", "mode": "heating", "start_ts": at(13, 7),
                "end_ts": at(13, 7, 30), "length_s": 1800.0, "n_zones": 1, "zones": "1",
                "longest_call_s": 3600.0, "run_before_s": 3600.0, "delay_setting_s": 600.0,
                "min_zones_setting": 2.0, "result": "too few zones", "clock_used": "zone_call",
                "stayed_in_s": 0.0, "is_stayed_in": False, "in_visit": False,
            }
        ],
        "view.log_reading": _readings(),
        "view.window_state": _states(),
    }  # fmt: skip
    return {name: frame(name, given) for name, given in rows.items()}


_WINDOW = EvidenceWindow(
    n=1,
    start_ts=at(13, 6),
    end_ts=at(13, 6, 10, 20),
    title="Supply reached 150 °F at 6:05 am and the heat dropped out.",
    spans=(Span(at(13, 6, 4, 50), at(13, 6, 10), "high limit"),),
    marks=(Mark(at(13, 6, 5), "trip"),),
    lines=(
        ("supply_temp", 150.0, "high limit 150 °F"),
        ("static_pressure", 0.4, "target 0.40 in. w.c."),
    ),
)

_FINDINGS = (
    Finding(
        code=CODE,
        title="High-limit trips",
        severity="act",
        about="installation",
        certainty="shown",
        summary="The panel's high limit shut the heat off once, Tue 6:05 am.",
        evidence=(Span(at(13, 6, 4, 50), at(13, 6, 10), "trip"),),
        windows=(_WINDOW,),
        ruled_out=("Not the filter: static did not fall.",),
        causes=(
            RankedCause("Second stage too large for one zone.", "It came with one zone calling."),
        ),
        checks=(
            "At the panel: read the minimum zones. Good: 2. If not: set it.",
            "At the dampers: call zone 1 alone. Good: it opens. If not: see its wire.",
        ),
        cautions=("Do not raise, jumper or bypass a limit.",),
        source="Common practice, no source.",
        coverage=0.98,
        resolution_s=10.0,
        table=(("When", ("Tue 6:05 am",)), ("Peak", ("150 °F",))),
        thresholds=("limit_sensor_tolerance_f", "coverage_warn_frac"),
    ),
    Finding(
        code="clock-offset",
        title="Clocks that disagree",
        severity="watch",
        about="log",
        certainty="shown",
        summary="The plenum logger runs 4 min ahead.",
        evidence=(Span(START, END),),
        windows=(),
        ruled_out=(),
        causes=(RankedCause("Set by hand.", "One offset serves the whole log."),),
        checks=("At the loggers: put the offset into the site file.",),
        cautions=(),
        source="Ours.",
        coverage=None,
        resolution_s=None,
    ),
)

_RESULT = SiteResult(
    run_id="0123abcd",
    tool_version="0.1.0",
    site=SiteInfo(
        site_id="larch-1",
        name="1 Larch Lane",
        timezone="America/Denver",
        complaint="it keeps shutting off",
        kind="furnace_ac",
        zones={1: "Main floor", 2: "Loft"},
        settings=(("high_limit_f", "150 °F", ""), ("static_target_inwc", "0.40 in. w.c.", "")),
        visits=(Span(at(13, 0), at(13, 1), "loggers set in Mrs Rowan's attic"),),
    ),
    window=Span(START, END),
    verdict=Verdict(
        "act",
        "The panel's high limit shut the heat off once.",
        "Shown by the log: 2 days, 3 hours of heat.",
        ("Equipment cut-outs: none seen.",),
        ("Gas pressure was not logged.",),
    ),
    findings=_FINDINGS,
    judged=(
        Judged(CODE, "High-limit trips", "Did the limit open?", "found", "1 trip."),
        Judged("short-cycling", "Short cycling", "Are runs short?", "not found", "3 of 12."),
        Judged("low-limit-trips", "Low-limit trips", "In cooling?", "cannot tell", "No cooling."),
    ),
    frames=_frames(),
    thresholds=values_for({}),
)
