"""The balance and never-came-on parts of review.json, from rows worked by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from pipeline.review_audits import balance, never_came_on, stage_starts

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


PUMP_ROLES = ("output_y1", "output_w1", "supply_temp", "outdoor_temp")


def dual_fuel(
    *settings: str, roles: tuple[str, ...] = PUMP_ROLES, **given: list[dict[str, Any]]
) -> Any:
    return tables(
        run__site=[{"has_heat_pump": True}],
        signal__coverage=[{"role": role, "valid_s": 86_400.0} for role in roles],
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


COUNTS = ("starts", "out_of_order", "both_fuels_s", "both_fuels_too_long", "emergency_heat_days",
          "defrosts")  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "coverage", "told", "whys"),
    [
        # supply and return air alone: 855 inferred starts are no starts that could be audited
        (
            dual_fuel(roles=("supply_temp", "return_temp"), measure__balance=[START] * 855),
            0.0,
            set(),
            {
                "starts": "outputs or outdoor air not logged",
                "both_fuels_s": "not logged: W1 out; Y1 out",
                "emergency_heat_days": "not logged: Y1 out; W1 out or aux out",
                "defrosts": "not logged: Y1 out; outdoor air",
            },
        ),
        # both outputs, no outdoor air: both fuels at once show, defrosts do not
        (
            dual_fuel(roles=("supply_temp", "output_w1", "output_y1")),
            0.0,
            {"both_fuels_s", "both_fuels_too_long", "emergency_heat_days"},
            {"defrosts": "not logged: outdoor air"},
        ),
        (dual_fuel(), 0.95, set(COUNTS), {}),
        (
            tables(run__site=[{"has_heat_pump": False}]),
            0.95,
            set(),
            dict.fromkeys(COUNTS, "the compressor cannot heat here"),
        ),
    ],
)
def test_a_count_is_zero_only_where_one_could_have_been_seen(
    rows: Any, coverage: float, told: set[str], whys: dict[str, str]
) -> None:
    made = balance(rows, {"coverage": coverage, "resolution_s": 10.0})
    assert {name for name in COUNTS if made[name] is not None} == told
    assert not any(made[name] for name in told)  # nothing happened where it was looked for
    assert set(made["not_measured"]).isdisjoint(told)
    assert set(COUNTS) <= told | set(made["not_measured"])
    assert {name: made["not_measured"][name] for name in whys} == whys


def test_second_stage_starts_are_told_kind_by_kind() -> None:
    kinds = ("early", "too_few_zones", "stayed_in")
    follows = {"name": "stage2_release", "value_text": "follows"}
    delay = {"name": "stage_up_delay_min", "value_text": None}
    logged = [
        {"role": "output_w2", "is_primary": True},
        {"role": "zone_call_w1", "is_primary": True},
    ]

    def made(roles: list[dict[str, Any]], *settings: dict[str, Any]) -> tuple[Any, Any]:
        return stage_starts(tables(channel__channel=roles, run__setting=list(settings)), [])

    # neither second stage nor calls in the log: nothing could be seen
    block, why = made([{"role": "supply_temp", "is_primary": True}], delay, follows)
    assert block == dict.fromkeys((*kinds, "starts"))
    assert set(why) == {*kinds, "starts"}
    # both: an empty list is a claim, made only of what the settings let be judged
    block, why = made(logged, delay, follows)
    assert block == {"early": [], "too_few_zones": None, "stayed_in": [], "starts": 0}
    assert why == {"too_few_zones": "stage2_min_zones is not given"}
    block, why = made(logged, delay, follows | {"value_text": "until_satisfied"})
    assert block["stayed_in"] is None
    assert "stayed_in" in why


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
