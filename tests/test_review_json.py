"""review.json against its JSON Schema, on a small result worked by hand."""

import json
import math
from dataclasses import replace

import jsonschema
import pandas as pd
import pytest

from pipeline.result import (
    EvidenceWindow,
    Finding,
    Judged,
    RankedCause,
    SiteInfo,
    SiteResult,
    Span,
    Verdict,
)
from pipeline.review_json import review_document, review_schema, review_text
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
        {"mode": "heating", "source": "burner", "stage": "first", "s": 4000.0},
        {"mode": "heating", "source": "compressor", "stage": "first", "s": 500.0},
        {"mode": "heating", "source": "burner", "stage": "second", "s": 1400.0},
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
            "max_inwc": 0.83,
            "n_excursion": 4,
            "n_relief": 2,
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


@pytest.fixture
def result():
    judged = [Judged("high-limit-trips", "High-limit trips", "Did it?", "found", "It did.")]
    return a_result(FRAMES, [a_finding()], judged)


def check(document):
    schema = review_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema, cls=jsonschema.Draft202012Validator)


def test_small_result_meets_the_schema(result):
    check(json.loads(review_text(result)))


def test_empty_result_meets_the_schema_and_claims_nothing():
    document = json.loads(review_text(a_result()))
    check(document)
    assert document["rows"]["read"] == 0
    assert document["static"]["above_target_s"] is None
    assert document["cycles"]["heat_output"]["starts"] is None
    assert document["stages"]["heating"]["first_s"] is None
    assert document["zones"][0]["calling_s"] is None


def test_head(result):
    document = review_document(result)
    assert document["schema"] == "zonetrail.review/1"
    assert (document["tool"], document["run"], document["site"]) == (
        "0.1.0",
        "0123abcd",
        "larch-14",
    )
    assert document["window"] == {"start": "2026-01-12T07:00:00Z", "end": "2026-01-13T07:00:00Z"}
    assert document["verdict"]["call"] == "act"


def test_rows_are_conserved(result):
    rows = review_document(result)["rows"]
    assert rows == {
        "read": 157,
        "loaded": 147,
        "rejected": 4,
        "repeated": 6,
        "bad_cells": 2,
        "conflicts": 1,
        "coverage": 0.916667,  # (24 + 18 + 24) / 72
        "resolution_s": 10.0,
    }
    assert rows["read"] == rows["loaded"] + rows["rejected"] + rows["repeated"]


def test_channels_carry_files_and_problems(result):
    supply = review_document(result)["channels"][1]
    assert supply["files"] == ["exports/b_1.csv", "exports/b_2.csv"]
    assert supply["file"] == "exports/b_1.csv"
    assert supply["coverage"] == 0.75
    assert supply["trusted"] is True
    assert supply["problems"] == [
        {"code": "gap", "start": "2026-01-12T08:00:00Z", "end": "2026-01-12T14:00:00Z"}
    ]


def test_distrust_is_not_a_gap(result):
    gaps = result.frames["trust.gap"].assign(reason="stuck at one value")
    result.frames["trust.gap"] = gaps
    supply = review_document(result)["channels"][1]
    assert supply["trusted"] is False
    assert supply["problems"][0]["code"] == "stuck-at-one-value"


def test_clocks_are_listed_file_by_file(result):
    clocks = review_document(result)["clocks"]
    assert [(c["file"], c["offset_s"], c["applied"]) for c in clocks] == [
        ("exports/a.csv", 0.0, False),
        ("exports/b_1.csv", 420.0, False),
        ("exports/b_2.csv", 420.0, False),
    ]


def test_runtime_and_stages(result):
    document = review_document(result)
    assert document["runtime"]["output_w1"] == {
        "seconds": 5400.0,
        "starts": 3,
        "open_runs": 1,
        "plus_minus_s": 5.0,
        "coverage": 0.95,
        "resolution_s": 1.0,
    }
    heating = document["stages"]["heating"]
    # burner 4000 s and compressor 500 s on first stage
    assert (heating["first_s"], heating["second_s"], heating["aux_s"]) == (4500.0, 1400.0, 0.0)
    assert document["stages"]["cooling"]["first_s"] == 0.0


def test_runs_are_in_order_and_keep_fractions(result):
    runs = review_document(result)["runs"]
    assert [r["start"] for r in runs] == [
        "2026-01-12T07:00:00Z",
        "2026-01-12T08:00:00Z",
        "2026-01-12T09:00:00Z",
    ]
    assert runs[2]["end"] == "2026-01-12T09:30:00.500000Z"
    assert [r["closed"] for r in runs] == [True, True, False]


def test_cycles(result):
    cycles = review_document(result)["cycles"]
    heat = cycles["heat_output"]
    assert (heat["starts"], heat["starts_outside_visits"], heat["short_runs"]) == (3, 2, 1)
    assert heat["fitted_nmax_per_h"] is None
    assert cycles["compressor_output"]["starts"] is None  # Y1 was not logged


def test_trips_and_cut_outs_stand_together_by_time(result):
    trips = review_document(result)["trips"]
    assert [(t["opened_by"], t["stage"], t["zones_calling"]) for t in trips] == [
        ("equipment", 1, [1, 3]),
        ("panel", 2, [3]),
    ]
    assert trips[0]["in_visit"] is True
    assert trips[0]["certain"] is True  # 300 s is over two intervals of 10 s
    assert trips[1]["drop"] == "2026-01-12T07:30:00Z"


def test_static_and_staging(result):
    document = review_document(result)
    assert document["static"] == {
        "fan_s": 6000.0,
        "above_target_s": 600.25,
        "max_inwc": 0.83,
        "excursions": 4,
        "relief_actions": 2,
        "coverage": 0.9,
        "resolution_s": 5.0,
    }
    staging = document["staging"]
    # visits are left out; stayed in counts from 120 s
    assert [len(staging[k]) for k in ("too_few_zones", "early", "stayed_in")] == [1, 1, 1]
    assert staging["starts"] == 3


def test_what_is_not_measured_is_null_with_its_reason(result):
    document = review_document(result)
    for block, key in (
        (document["balance"], "compressor_below_low_s"),
        (document["balance"], "furnace_above_high_s"),
        (document["staging"], "never_came_on"),
        (document["zones"][0], "not_keeping_up_s"),
    ):
        assert block[key] is None
        assert block["not_measured"][key] == "not measured in this version"


def test_zones_add_both_modes(result):
    zones = review_document(result)["zones"]
    assert [(z["zone"], z["calling_s"], z["calls"]) for z in zones] == [
        (1, None, None),
        (3, 2000.0, 4),
    ]


def test_finding_and_judged(result):
    document = review_document(result)
    finding = document["findings"][0]
    assert finding["causes"] == [
        {"cause": "Too much heat.", "because": "All trips came with one zone."}
    ]
    assert finding["evidence"] == [
        {"start": "2026-01-12T07:00:00Z", "end": "2026-01-12T07:01:00Z", "label": "high limit"}
    ]
    assert finding["thresholds"] == {"trip_days": 2.0}
    assert document["judged"][0]["coverage"] == 0.95  # of the rule's figure, trips


def test_every_block_carries_coverage_and_resolution(result):
    document = review_document(result)
    single = [
        document["verdict"],
        document["rows"],
        document["static"],
        document["staging"],
        document["balance"],
        *document["stages"].values(),
        *document["cycles"].values(),
        *document["runtime"].values(),
    ]
    listed = [
        block
        for key in ("channels", "clocks", "runs", "trips", "zones", "judged", "findings")
        for block in document[key]
    ]
    assert len(listed) == 3 + 3 + 3 + 2 + 2 + 1 + 1
    for block in single + listed:
        assert "coverage" in block
        assert "resolution_s" in block


def test_same_bytes_whatever_the_order_of_rows(result):
    shuffled = replace(
        result,
        frames={
            name: f.sample(frac=1, random_state=7).reset_index(drop=True)
            for name, f in result.frames.items()
        },
    )
    assert review_text(shuffled) == review_text(result)


def test_no_nan_ever(result):
    assert "NaN" not in review_text(result)
    broken = replace(result, findings=(a_finding(coverage=math.inf),))
    with pytest.raises(ValueError, match="JSON compliant"):
        review_text(broken)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.pop("trips"),
        lambda d: d.update(extra=1),
        lambda d: d["findings"][0].update(severity="urgent"),
        lambda d: d["window"].update(start="2026-01-12 07:00"),
        lambda d: d["runs"][0].pop("coverage"),
        lambda d: d["judged"][0].update(result="maybe"),
        lambda d: d["rows"].update(read=-1),
    ],
)
def test_schema_refuses_what_is_not_in_the_contract(result, spoil):
    document = json.loads(review_text(result))
    spoil(document)
    with pytest.raises(jsonschema.ValidationError):
        check(document)
