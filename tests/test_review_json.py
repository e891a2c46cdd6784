"""review.json against its JSON Schema, on a small result worked by hand."""

import importlib.util
import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import pandas as pd
import pytest

from pipeline.expected_error import FAN
from pipeline.result import Judged
from pipeline.review_inferred import fan_block
from pipeline.review_json import review_document, review_schema, review_text
from pipeline.review_sampling import held_to_sampling
from pipeline.sampling import NOT_GIVEN, Standing
from pipeline.tables import tables


def _sample():
    """The module beside this one: tests are not a package, so it is loaded from its file."""
    spec = importlib.util.spec_from_file_location(
        "review_sample", Path(__file__).with_name("review_sample.py")
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


sample = _sample()
a_result, a_finding, FRAMES = sample.a_result, sample.a_finding, sample.FRAMES


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
    (gap,) = result.frames["trust.gap"].to_dict(orient="records")
    result.frames["trust.gap"] = result.frames["trust.gap"].assign(is_cut=True)
    columns = [c.name for c in tables()["trust.problem"].columns]
    problem = gap | {"code": "stuck-sensor", "figure": 113.4, "correction": None, "is_cut": True}
    result.frames["trust.problem"] = pd.DataFrame([problem], columns=columns)
    supply = review_document(result)["channels"][1]
    assert supply["trusted"] is False
    assert supply["problems"] == [
        {
            "code": "stuck-sensor",
            "start": "2026-01-12T08:00:00Z",
            "end": "2026-01-12T14:00:00Z",
            "left_out": True,
            "figure": 113.4,
            "correction": None,
        }
    ]


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
        "at_least": False,
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


@pytest.mark.parametrize(
    ("source", "is_inferred"),
    [("blower_run", False), ("output_g", False), ("static_pressure", True), ("outputs", True),
     ("supply_temp", True), (None, False)],
)  # fmt: skip
def test_a_blower_that_was_not_logged_is_marked_with_its_expected_error(source, is_inferred):
    block = fan_block(source)
    assert block["fan_from"] == source
    assert block.get("fan_inferred", False) == is_inferred
    declared = FAN.get(source)
    told = block.get("fan_expected_error_frac")
    assert told == (declared.time_frac if declared else None)


def test_trips_and_cut_outs_stand_together_by_time(result):
    trips = review_document(result)["trips"]
    assert [(t["opened_by"], t["stage"], t["zones_calling"]) for t in trips] == [
        ("equipment", 1, [1, 3]),
        ("panel", 2, [3]),
    ]
    assert trips[0]["in_visit"] is True
    assert trips[0]["certain"] is True  # 300 s is over two intervals of 10 s
    assert trips[1]["drop"] == "2026-01-12T07:30:00Z"


def test_an_empty_list_of_trips_says_whether_any_could_be_seen():
    """Supply air logged and not to be trusted: none is listed, and that is no sign of none."""
    why = "Logged and not to be trusted: supply air."
    judged = [
        Judged("high-limit-trips", "High-limit trips", "Did it?", "cannot tell", why),
        Judged("equipment-cut-outs", "Cut-outs", "Did it?", "not found", "None in 31 h."),
    ]
    document = review_document(a_result({}, [], judged))
    check(json.loads(json.dumps(document)))
    assert document["trips"] == []
    high, own = document["trips_told"]
    assert (high["kind"], high["opened_by"], high["result"]) == ("high", "panel", "cannot tell")
    assert high["why"] == why
    assert (own["opened_by"], own["result"]) == ("equipment", "told")
    assert {"coverage", "resolution_s"} <= set(high)


def test_time_over_target_is_given_with_visits_and_without_or_not_at_all(result):
    blocks = {"static": dict(review_document(result)["static"])}
    del blocks["static"]["at_least"]
    short = Standing("measure.static_total", NOT_GIVEN, 900.0, 150.0, "read every 15 min")
    everything = {
        "runtime": {}, "stages": {}, "cycles": {}, "staging": {"early": []}, "balance": {},
        "zones": [],
    }  # fmt: skip
    held = held_to_sampling(blocks | everything, {"measure.static_total": short})["static"]
    assert (held["above_target_s"], held["above_target_outside_visits_s"]) == (None, None)
    assert held["fan_outside_visits_s"] == 5400.0  # the blower's time does not rest on it


def test_static_and_staging(result):
    document = review_document(result)
    assert document["static"] == {
        "fan_from": None,
        "fan_s": 6000.0,
        "above_target_s": 600.25,
        # the page tells this one, beside the excursions: neither counts what a visit did
        "fan_outside_visits_s": 5400.0,
        "above_target_outside_visits_s": 540.5,
        "above_more_s": 60.0,
        "above_far_s": 0.0,
        "area_inwc_min": 1.5,
        "max_inwc": 0.83,
        "excursions": 4,
        "relief_actions": 2,
        "relief": {
            "answered": 2,
            "late": 1,
            "missing": 0,
            "no_fall_seen": 0,
            "used_up": 0,
            "not_possible": 0,
            "open_already": 0,
            "not_judged": 1,
            "all_zones_calling_s": 3600.0,
            "all_zones_calling_above_target_s": 30.0,
            "coverage": 0.9,
            "resolution_s": 5.0,
        },
        # the one of a visit is left out, and so is one too short to be called hunting
        "hunting": [
            {
                "start": "2026-01-12T07:00:00Z",
                "end": "2026-01-12T07:40:00Z",
                "turns": 9,
                "swing_inwc": 0.2,
                "coverage": 0.9,
                "resolution_s": 5.0,
            }
        ],
        "zero": {
            "result": "in order",
            "occasions": 6,
            "inwc": 0.01,
            "coverage": 0.9,
            "resolution_s": 5.0,
        },
        "coverage": 0.9,
        "resolution_s": 5.0,
        "at_least": False,
    }
    staging = document["staging"]
    # visits are left out; stayed in counts from 120 s
    assert [len(staging[k]) for k in ("too_few_zones", "early", "stayed_in")] == [1, 1, 1]
    assert staging["starts"] == 3


def test_what_is_not_measured_is_null_with_its_reason(result):
    document = review_document(result)
    for block, key, why in (
        (document["balance"], "compressor_below_low_s", "the compressor cannot heat here"),
        (document["balance"], "furnace_above_high_s", "the compressor cannot heat here"),
        (document["staging"], "never_came_on", "both stages"),
    ):
        assert block[key] is None
        assert why in block["not_measured"][key]
    zone = document["zones"][0]  # no temperature of zone 1
    assert zone["not_keeping_up_s"] is None
    assert "not logged" in zone["not_measured"]["not_keeping_up_s"]


def test_zones_that_do_not_keep_up(result):
    zone = review_document(result)["zones"][1]
    # 5,400 s in heating and nothing in cooling
    assert zone["not_keeping_up_s"] == 5400.0
    assert "not_measured" not in zone
    assert [
        (m["mode"], m["not_keeping_up_days"], m["pick_up_f_per_h"]) for m in zone["by_mode"]
    ] == [
        ("cooling", 0, None),
        ("heating", 1, 2.5),
    ]


def test_zones_add_both_modes(result):
    zones = review_document(result)["zones"]
    assert [(z["zone"], z["calling_s"], z["calls"]) for z in zones] == [
        (1, None, None),
        (3, 2000.0, 4),
    ]


def test_calls_read_off_a_damper_are_marked_where_none_were_logged(result):
    columns = [c.name for c in tables()["run_state.damper_call"].columns]
    rows = [
        (zone, mode, sample.T0 + start * sample.S, sample.T0 + end * sample.S, 10.0)
        for zone, mode, start, end in (
            (1, "heating", 0, 600),
            (1, "cooling", 3600, 3900),
            (3, "heating", 0, 60),  # its calls were logged: they stand
        )
    ]
    result.frames["run_state.damper_call"] = pd.DataFrame(rows, columns=columns)
    document = review_document(result)
    jsonschema.validate(document, review_schema())
    one, three = document["zones"]
    assert (one["calling_s"], one["calls"], one["inferred"]) == (900.0, 2, True)
    # the worse of the two modes' errors
    assert (one["expected_error_frac"], one["starts_expected_error_frac"]) == (0.06, 0.08)
    assert (three["calling_s"], "inferred" in three) == (2000.0, False)


def test_an_inferred_run_carries_the_expected_error_of_its_output(result):
    runs, runtime = result.frames["interval.output_run"], result.frames["measure.runtime"]
    for name, table, more in (
        ("interval.output_run", runs, {"output": "inferred_heat", "is_inferred": True}),
        (
            "measure.runtime",
            runtime,
            {"output": "inferred_heat", "is_inferred": True, "runtime_error_frac": 0.05},
        ),
    ):
        row = {c: table.iloc[0][c] for c in table.columns} | more
        result.frames[name] = pd.DataFrame(
            [*table.to_dict(orient="records"), row], columns=table.columns
        )
    document = review_document(result)
    jsonschema.validate(document, review_schema())
    errors = {r["output"]: r.get("expected_error_frac", "none") for r in document["runs"]}
    assert errors["inferred_heat"] == 0.05
    assert {e for output, e in errors.items() if output != "inferred_heat"} == {"none"}


def test_finding_and_judged(result):
    document = review_document(result)
    finding = document["findings"][0]
    assert finding["causes"] == [
        {"cause": "Too much heat.", "because": "All trips came with one zone.", "replay": None}
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
        for key in (
            "channels",
            "clocks",
            "runs",
            "trips",
            "trips_told",
            "zones",
            "judged",
            "findings",
        )
        for block in document[key]
    ]
    assert len(listed) == 3 + 3 + 3 + 2 + 1 + 2 + 1 + 1
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
