"""The balance and never-came-on parts of review.json, from rows worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pipeline.review_audits import balance, never_came_on

T0 = 1_768_201_200_000_000  # 2026-01-12T07:00:00Z
MINUTE = 60_000_000
QUALITY = {"coverage": 0.95, "resolution_s": 60.0}

START = {
    "source": "compressor",
    "start_ts": T0,
    "end_ts": T0 + 20 * MINUTE,
    "on_s": 1200.0,
    "outdoor_f": 24.0,
    "past_by_f": 6.0,
    "result": "below the low point",
    "in_visit": False,
}
STRETCH = {
    "source": "burner",
    "mode": "heating",
    "start_ts": T0,
    "end_ts": T0 + 30 * MINUTE,
    "zones": "1+3",
    "zone": 3,
    "off_f": 3.5,
    "closing_f_per_h": 0.5,
    "result": "never came on",
    "in_visit": False,
}


def tables(**given: list[dict[str, Any]]) -> Any:
    """A lookup of records by table name, `__` for the dot."""
    made = {name.replace("__", "."): rows for name, rows in given.items()}
    return lambda name: [SimpleNamespace(**row) for row in made.get(name, [])]


def dual_fuel(*settings: str, **given: list[dict[str, Any]]) -> Any:
    return tables(
        run__site=[{"has_heat_pump": True}],
        run__setting=[{"name": name} for name in settings],
        **given,
    )


def test_whole_runs_that_began_past_a_point_are_added_up_visits_left_out() -> None:
    rows = dual_fuel(
        "low_balance_f",
        "high_balance_f",
        measure__balance=[
            START,
            START | {"start_ts": T0 + 60 * MINUTE, "on_s": 600.0},
            START | {"start_ts": T0 + 90 * MINUTE, "in_visit": True},
            START | {"start_ts": T0 + 120 * MINUTE, "result": "in order"},
            START | {"start_ts": T0 + 150 * MINUTE, "result": "excused"},
        ],
        interval__both_fuels=[
            {"length_s": 90.0, "is_over": True, "in_visit": False},
            {"length_s": 30.0, "is_over": False, "in_visit": False},
            {"length_s": 500.0, "is_over": True, "in_visit": True},
        ],
        measure__heat_day=[{"is_emergency_heat": True}, {"is_emergency_heat": None}],
        interval__defrost=[{"in_visit": False}, {"in_visit": True}],
        measure__setting_seen=[{"name": "changeover_f", "is_steady": True, "value": 19.0}],
    )
    made = balance(rows, QUALITY)
    # 1200 s and 600 s; the visit's, the one in order and the excused one do not count
    assert made["compressor_below_low_s"] == 1800.0
    assert made["furnace_above_high_s"] == 0.0
    assert made["starts"] == 4
    assert [r["start"] for r in made["out_of_order"]] == [
        "2026-01-12T07:00:00Z",
        "2026-01-12T08:00:00Z",
    ]
    assert (made["both_fuels_s"], made["both_fuels_too_long"]) == (120.0, 1)
    assert (made["emergency_heat_days"], made["defrosts"]) == (1, 1)
    assert made["changeover_f"] == 19.0
    assert "not_measured" not in made


def test_a_point_that_nobody_gave_is_null_with_its_reason_and_the_other_is_told() -> None:
    made = balance(dual_fuel("low_balance_f", measure__balance=[START]), QUALITY)
    assert made["compressor_below_low_s"] == 1200.0
    assert made["furnace_above_high_s"] is None
    assert made["not_measured"] == {"furnace_above_high_s": "high_balance_f is not given"}
    assert made["changeover_f"] is None


@pytest.mark.parametrize(
    ("rows", "coverage", "why"),
    [
        (tables(run__site=[{"has_heat_pump": False}]), 0.95, "the compressor cannot heat here"),
        (dual_fuel("low_balance_f"), 0.0, "outputs or outdoor air not logged"),
        (dual_fuel("low_balance_f"), None, "outputs or outdoor air not logged"),
    ],
)
def test_where_nothing_can_be_audited_both_are_null(rows: Any, coverage: Any, why: str) -> None:
    made = balance(rows, {"coverage": coverage, "resolution_s": None})
    assert made["compressor_below_low_s"] is None
    assert made["not_measured"]["compressor_below_low_s"] == why


def two_stages(*settings: str, **given: list[dict[str, Any]]) -> Any:
    return tables(
        channel__channel=[
            {"role": "output_w2", "is_primary": True},
            {"role": "zone_call_w1", "is_primary": True},
        ],
        run__setting=[{"name": name} for name in settings],
        **given,
    )


def test_second_stage_that_never_came_on_is_listed_visits_left_out() -> None:
    rows = two_stages(
        "stage2_min_zones",
        measure__stage_up_missing=[
            STRETCH | {"start_ts": T0 + MINUTE, "in_visit": True},
            STRETCH | {"start_ts": T0 + 2 * MINUTE, "result": "closing"},
            STRETCH | {"start_ts": T0 + 3 * MINUTE, "result": "not known", "zone": None},
            STRETCH,
        ],
    )
    assert never_came_on(rows) == (
        [
            {
                "start": "2026-01-12T07:00:00Z",
                "end": "2026-01-12T07:30:00Z",
                "source": "burner",
                "mode": "heating",
                "zones_calling": [1, 3],
                "zone": 3,
                "off_f": 3.5,
                "closing_f_per_h": 0.5,
            }
        ],
        None,
    )


def test_none_found_is_an_empty_list_only_where_it_could_be_audited() -> None:
    assert never_came_on(two_stages("stage2_min_zones")) == ([], None)
    assert never_came_on(two_stages()) == (None, "stage2_min_zones is not given")
    unlogged = tables(channel__channel=[{"role": "output_w2", "is_primary": True}])
    assert never_came_on(unlogged)[0] is None
    unseen = two_stages(
        "stage2_min_zones", measure__stage_up_missing=[STRETCH | {"result": "not known"}]
    )
    found, why = never_came_on(unseen)
    assert found is None
    assert "zone temperature or setpoint" in str(why)
