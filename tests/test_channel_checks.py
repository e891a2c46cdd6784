"""Each check of channels on cases made by hand: just under, at and just over its judgement number.

Tables are what the trust stages would have made of such a log; the working stands beside each.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pipeline.measures import (
    check_outdoor,
    check_probes,
    check_readings,
    check_states,
    check_zones,
)
from pipeline.measures.channel_problem import found
from tests.channel_cases import HOUR, MINUTE, START, codes, look, made, on_off, runs

NAN = float("nan")
Case = tuple[Any, bool]


# ---------------------------------------------------------------------- a channel by itself


def stuck(role: str, step: float, **row: Any) -> bool:
    constant = {"channel_id": 1, "start_ts": START, "end_ts": START + HOUR, "value": 71.0}
    constant |= {"covered_s": 1e6, "n_start": 2, "usual_s": 0.0} | row
    site = made(
        [(role, 1 if role == "zone_temp" else None, "degF")],
        trust_look=[look(step_value=step)],
        trust_constant=[constant],
        trust_run=[{"start_ts": START}],
    )
    return "stuck-sensor" in codes(check_readings.problems(site))


@pytest.mark.parametrize(
    ("role", "step", "row", "is_stuck"),
    [
        # duct probes: two hours
        ("supply_temp", 0.1, {"covered_s": 7199.0}, False),
        ("supply_temp", 0.1, {"covered_s": 7200.0}, True),
        ("supply_temp", 0.1, {"covered_s": 7201.0}, True),
        # rooms read to a quarter degree: four hours; more coarsely: eighteen
        ("zone_temp", 0.25, {"covered_s": 14399.0}, False),
        ("zone_temp", 0.25, {"covered_s": 14400.0}, True),
        ("zone_temp", 0.26, {"covered_s": 14401.0}, False),
        ("zone_temp", 0.26, {"covered_s": 64799.0}, False),
        ("zone_temp", 0.26, {"covered_s": 64800.0}, True),
        # eight times its ordinary stretches of 2000 s: 16,000 s
        ("zone_temp", 0.1, {"covered_s": 15999.0, "usual_s": 2000.0}, False),
        ("zone_temp", 0.1, {"covered_s": 16000.0, "usual_s": 2000.0}, True),
        # two starts of the equipment inside it
        ("supply_temp", 0.1, {"n_start": 1}, False),
        ("supply_temp", 0.1, {"n_start": 2}, True),
        ("supply_temp", 0.1, {"n_start": 3}, True),
    ],
)
def test_stuck(role: str, step: float, row: dict[str, Any], is_stuck: bool) -> None:
    assert stuck(role, step, **row) is is_stuck


def outlier(n: int, low: float, *, beyond: bool = True, at: int = 0) -> dict[str, Any]:
    start = START + at * HOUR
    return {
        "channel_id": 1, "start_ts": start, "end_ts": start + MINUTE, "n_reading": n,
        "low_value": low, "high_value": low, "is_beyond": beyond,
    }  # fmt: skip


@pytest.mark.parametrize(("n", "is_whole"), [(49, False), (50, True), (51, True)])
def test_half_of_all_readings_out_of_range_is_the_whole_channel(n: int, is_whole: bool) -> None:
    site = made(
        [("supply_temp", None, "degF")],
        trust_look=[look(n_reading=100)],
        trust_outlier=[outlier(n, -67.0)],
    )
    problem = next(iter(check_readings.problems(site)))
    assert problem.code == "sensor-out-of-range"
    assert (problem.end_ts == site.end_ts) is is_whole


@pytest.mark.parametrize(
    ("values", "code"),
    [
        # half of the lone ones at one value, two at the least: a broken circuit's rail
        ([-67.0, -60.0, -61.0, -62.0], "sensor-spikes"),
        ([-67.0, -67.0, -61.0, -62.0], "sensor-out-of-range"),
        ([-67.0, -67.0, -67.0, -62.0], "sensor-out-of-range"),
        ([-67.0, -67.0, -61.0, -62.0, -63.0], "sensor-spikes"),
        ([-67.0], "sensor-spikes"),
    ],
)
def test_lone_readings_at_one_value_are_a_broken_circuit(values: list[float], code: str) -> None:
    rows = [outlier(1, v, at=k) for k, v in enumerate(values)]
    site = made([("supply_temp", None, "degF")], trust_look=[look()], trust_outlier=rows)
    assert codes(check_readings.problems(site)) == {code}


@pytest.mark.parametrize(("lost", "is_found"), [(4, False), (5, True), (6, True)])
def test_one_reading_in_twenty_lacking(lost: int, is_found: bool) -> None:
    site = made([("zone_temp", 1, "degF")], trust_look=[look(n_reading=100 - lost, n_lost=lost)])
    assert ("missing-readings" in codes(check_readings.problems(site))) is is_found


@pytest.mark.parametrize(
    ("role", "step", "is_found"),
    [
        ("return_temp", 0.99, False), ("return_temp", 1.0, False), ("return_temp", 1.01, True),
        ("static_pressure", 0.0199, False), ("static_pressure", 0.02, False),
        ("static_pressure", 0.021, True), ("outdoor_temp", 5.0, False),
    ],
)  # fmt: skip
def test_steps_coarser_than_a_degree_or_two_hundredths(
    role: str, step: float, is_found: bool
) -> None:
    site = made([(role, None, "degF")], trust_look=[look(step_value=step)])
    assert ("log-too-coarse" in codes(check_readings.problems(site))) is is_found


# ---------------------------------------------------------------------- supply and return


@pytest.mark.parametrize(
    ("role", "median", "high", "line"),
    [
        # told °F: 44.9 would be 112.8 °F if it were °C, which supply air is
        ("supply_temp", 45.0, 60.0, None),
        ("supply_temp", 44.9, 60.0, 'unit = "degC"'),
        # over 80 now and then: heat in °F, and a median in a cold attic
        ("supply_temp", 44.9, 80.0, 'unit = "degC"'),
        ("supply_temp", 44.9, 80.1, None),
        # told °F: 22 is 71.6 °F in °C
        ("return_temp", 52.0, 55.0, None),
        ("return_temp", 22.0, 24.0, 'unit = "degC"'),
        ("zone_temp", 50.0, 55.0, None),
        ("zone_temp", 22.0, 24.0, 'unit = "degC"'),
        # 36 °F would be 96.8 °F: no room either way
        ("zone_temp", 36.0, 38.0, None),
    ],
)
def test_temperatures_that_make_sense_in_the_other_unit_only(
    role: str, median: float, high: float, line: str | None
) -> None:
    site = made(
        [(role, 1 if role == "zone_temp" else None, "degF")],
        trust_look=[look(median_value=median, high_value=high)],
    )
    lines = [p.correction for p in check_probes.problems(site) if p.code == "unit-mismatch"]
    assert lines == ([line] if line else [])


@pytest.mark.parametrize(
    ("n", "supply_f", "outdoor_f", "is_other_unit"),
    [
        # a week of cooling in °F: 44 under rooms of 74; in °C it would be 111 °F, which heats
        (6, 44.0, 90.0, False), (5, 44.0, 90.0, False),
        # too few runs to say so, or weather in which nothing asks for cooling: heat told in °C
        (4, 44.0, 90.0, True), (6, 44.0, 30.0, True), (6, 44.0, 65.0, True), (6, 44.0, 66.0, False),
        # cooling told in °C: 12 °C is 53.6 °F, which cools too
        (6, 12.0, 90.0, True),
    ],
)  # fmt: skip
def test_cold_supply_of_a_week_of_cooling_is_not_taken_for_heat_in_celsius(
    n: int, supply_f: float, outdoor_f: float, is_other_unit: bool
) -> None:
    # the highest, 72 °F, is at rest: nothing ever heats
    site = made(
        [("supply_temp", None, "degF")],
        trust_look=[look(median_value=44.0, high_value=72.0)],
        trust_run=runs(
            n, supply_f=supply_f, room_f=74.0, outdoor_f=outdoor_f, has_w=False, has_y=True
        ),
    )
    assert ("unit-mismatch" in codes(check_probes.problems(site))) is is_other_unit


def test_steps_in_an_unknown_unit_are_not_called_too_coarse() -> None:
    """22 told as °F is °C; steps of 1.8 would be 3.2 °F, or 1.8 °F, or 1 °C: not known yet."""
    site = made([("return_temp", None, "degF")], channel_state=[], trust_look=[
        look(median_value=22.0, high_value=24.0, step_value=1.8)])  # fmt: skip
    assert codes(found(site)) == {"unit-mismatch"}
    fine = made([("return_temp", None, "degF")], trust_look=[look(step_value=1.8)])
    assert codes(found(fine)) == {"log-too-coarse"}


PROBES = [("supply_temp", None, "degF"), ("return_temp", None, "degF")]
LOOKS = [look(1, median_value=90.0, high_value=120.0), look(2)]


@pytest.mark.parametrize(
    ("n", "of_n", "apart_f", "is_found"),
    [
        (4, 4, 30.0, False), (5, 5, 30.0, True), (6, 6, 30.0, True),
        # 7 of 10 is under four in five
        (7, 10, 30.0, False), (8, 10, 30.0, True), (9, 10, 30.0, True),
        # the probe told as return stands further from the rooms by more than 5 °F
        (6, 6, 4.9, False), (6, 6, 5.0, False), (6, 6, 5.1, True),
    ],
)  # fmt: skip
def test_swapped_probes(n: int, of_n: int, apart_f: float, is_found: bool) -> None:
    hot, room = [70.0 + apart_f] * n + [70.0] * (of_n - n), 70.0
    other = [70.0] * n + [70.0 + apart_f] * (of_n - n)
    site = made(PROBES, trust_look=LOOKS, trust_run=runs(
        of_n, supply_f=other, return_f=hot, room_f=room))  # fmt: skip
    found_ = [p for p in check_probes.problems(site) if p.code == "swapped-probes"]
    assert [p.correction for p in found_] == (
        ['role = "return_temp"', 'role = "supply_temp"'] if is_found else []
    )


@pytest.mark.parametrize(
    ("n", "outdoor_f", "is_found"),
    [
        (4, 30.0, False), (5, 30.0, True), (6, 30.0, True),
        # at 60 °F or warmer nobody says what the house wanted
        (6, 59.9, True), (6, 60.0, False), (6, 65.0, False),
    ],
)  # fmt: skip
def test_reversing_valve_sense(n: int, outdoor_f: float, is_found: bool) -> None:
    """O/B is told to be on in heating; it is off, which is cooling, and yet supply is warm."""
    site = made(
        [*PROBES, ("output_ob", None, "state")],
        site={"ob_energised_in": "heating", "has_heat_pump": True},
        trust_look=LOOKS,
        channel_state=on_off(3, [(168.0, False)]),
        trust_run=runs(
            n, supply_f=95.0, return_f=70.0, room_f=70.0, outdoor_f=outdoor_f,
            has_w=False, has_y=True,
        ),
    )  # fmt: skip
    found_ = [p for p in check_probes.problems(site) if p.code == "reversing-valve-sense"]
    assert [p.correction for p in found_] == (['ob_energised_in = "cooling"'] if is_found else [])


@pytest.mark.parametrize(
    ("n", "steepest_f", "is_found"),
    [(4, 1.0, False), (5, 1.0, True), (6, 1.0, True),
     (6, 1.85, True), (6, 1.84, True), (6, 1.86, False)],
)  # fmt: skip
def test_a_probe_that_creeps_all_the_way(n: int, steepest_f: float, is_found: bool) -> None:
    """Eight minutes, seven steps, 7 °F: mean pace 1 °F a minute, one step steeper than the others.

    The other six share the rest alike: (7 - s) / 6.
    """
    step = (7.0 - steepest_f) / 6
    rise = [70.0 + step * k + (steepest_f - step if k >= 4 else 0.0) for k in range(8)]
    site = made(PROBES, trust_look=LOOKS, trust_run=runs(
        n, supply_f=77.0, return_f=70.0, room_f=70.0, supply_rise_f=[rise] * n))  # fmt: skip
    assert ("sensor-lag" in codes(check_probes.problems(site))) is is_found


@pytest.mark.parametrize(
    ("minutes", "way_f", "is_found"),
    [(7, 7.0, False), (8, 7.0, True), (8, 2.9, False), (8, 3.0, True)],
)
def test_short_runs_and_still_air_say_nothing_of_the_probe(
    minutes: int, way_f: float, is_found: bool
) -> None:
    rise = [70.0 + way_f * k / (minutes - 1) for k in range(minutes)]
    site = made(PROBES, trust_look=LOOKS, trust_run=runs(
        6, supply_f=77.0, return_f=70.0, room_f=70.0, supply_rise_f=[rise] * 6))  # fmt: skip
    assert ("sensor-lag" in codes(check_probes.problems(site))) is is_found


# ---------------------------------------------------------------------- outdoor


@pytest.mark.parametrize(
    ("n", "answer_f", "is_found"),
    # a run needs the rest of the next one too: of 11 runs 10 count
    [(10, 3.0, False), (11, 3.0, True), (12, 3.0, True), (12, 0.99, False), (12, 1.0, True)],
)
def test_outdoor_that_follows_the_equipment(n: int, answer_f: float, is_found: bool) -> None:
    site = made([("outdoor_temp", None, "degF")], trust_run=runs(
        n, outdoor_f=30.0 + answer_f, outdoor_before_f=30.0))  # fmt: skip
    assert bool(codes(check_outdoor.problems(site))) is is_found


def test_weather_that_changes_by_itself_is_no_answer() -> None:
    """A morning that warms 4 °F an hour: 1.3 °F in each run of 20 minutes, and as fast between."""
    # before the k-th run 30 + 4 k, before the next one 34 + 4 k: halfway 32 + 4 k; the run's end
    # reads 31.33 + 4 k, which is 0.67 under it
    site = made([("outdoor_temp", None, "degF")], trust_run=runs(
        20, outdoor_f=[30.0 + 4 * k + 4 / 3 for k in range(20)],
        outdoor_before_f=[30.0 + 4 * k for k in range(20)]))  # fmt: skip
    assert not list(check_outdoor.problems(site))


def weather(value: Callable[[int, float], float], days: int = 4) -> list[dict[str, Any]]:
    """Ten-minute means of an outdoor sensor: value(day, hour of the day)."""
    return [
        {
            "channel_id": 1,
            "start_ts": START + (day * 144 + k) * 10 * MINUTE,
            "mean_value": value(day, k / 6),
        }
        for day in range(days)
        for k in range(144)
    ]


@pytest.mark.parametrize(
    ("days", "swing_f", "is_found"),
    [(1, 1.0, False), (2, 1.0, True), (3, 1.0, True), (4, 0.168, False), (4, 0.169, True)],
)
def test_sun_flickers_by_day(days: int, swing_f: float, is_found: bool) -> None:
    """Up and down by the swing every ten minutes: twice the swing off the neighbours' line.

    1.4826 x 2 x 0.1687 = 0.5 °F is the least.
    """

    def value(day: int, hour: float) -> float:
        flickers = day < days and 8.0 <= hour < 17.0
        return 30.0 + (swing_f * (-1) ** round(hour * 6) if flickers else 0.0)

    site = made([("outdoor_temp", None, "degF")], trust_bin=weather(value))
    assert bool(codes(check_outdoor.problems(site))) is is_found


@pytest.mark.parametrize(
    ("days", "leap_f", "is_found"),
    [(2, 12.0, False), (3, 12.0, True), (4, 12.0, True), (4, 9.9, False), (4, 10.0, True)],
)
def test_sun_comes_round_the_corner_at_one_time(days: int, leap_f: float, is_found: bool) -> None:
    def value(day: int, hour: float) -> float:
        return 30.0 + (leap_f if day < days and 10.0 <= hour < 15.0 else 0.0)

    site = made([("outdoor_temp", None, "degF")], trust_bin=weather(value))
    assert bool(codes(check_outdoor.problems(site))) is is_found


# ---------------------------------------------------------------------- on and off


@pytest.mark.parametrize(("both_h", "is_found"), [(26, False), (25, True), (24, True)])
def test_a_state_against_what_goes_with_it(both_h: float, is_found: bool) -> None:
    """Each on half of 200 h: together b h, apart 100 - b each. Correlation 4 b / 200 - 1.

    b = 25: -0.5, the least; 26: -0.48; 24: -0.52.
    """
    alone = 100 - both_h
    site = made(
        [("compressor_run", None, "state"), ("output_y1", None, "state")],
        hours=200,
        channel_state=[
            *on_off(1, [(both_h, True), (alone, True), (alone, False), (both_h, False)]),
            *on_off(2, [(both_h, True), (alone, False), (alone, True), (both_h, False)]),
        ],
    )
    found_ = [p for p in check_states.problems(site) if p.channel_id == 1]
    assert [p.correction for p in found_] == (["inverted = true"] if is_found else [])


@pytest.mark.parametrize(("hours", "is_found"), [(11.9, False), (12.0, True), (12.1, True)])
def test_half_a_day_must_be_known_of_both(hours: float, is_found: bool) -> None:
    half = hours / 2
    site = made(
        [("compressor_run", None, "state"), ("output_y1", None, "state")],
        hours=hours,
        channel_state=[
            *on_off(1, [(half, True), (half, False)]), *on_off(2, [(half, False), (half, True)])
        ],
    )  # fmt: skip
    assert ("state-inverted" in codes(check_states.problems(site))) is is_found


@pytest.mark.parametrize(
    ("alarm_h", "of_h", "is_found"),
    [(89.0, 100.0, False), (90.0, 100.0, True), (91.0, 100.0, True), (23.9, 23.9, False),
     (24.0, 24.0, True)],
)  # fmt: skip
def test_a_fault_contact_that_nearly_always_alarms(
    alarm_h: float, of_h: float, is_found: bool
) -> None:
    site = made(
        [("fault_contact", None, "state")],
        hours=of_h,
        channel_state=on_off(1, [(alarm_h, True), (of_h - alarm_h, False)]),
    )
    assert ("state-inverted" in codes(check_states.problems(site))) is is_found


@pytest.mark.parametrize(
    ("n_warm", "n", "is_found"),
    [(10, 20, True), (11, 20, True), (9, 20, False), (0, 20, False), (0, 1, False), (0, 0, True)],
)
def test_a_fault_contact_that_stands_while_nothing_heats(
    n_warm: int, n: int, is_found: bool
) -> None:
    """Over half of the runs without warm air (10 °F is an answer): believed; visited ones count."""
    some = runs(n, supply_f=[110.0] * n_warm + [75.0] * (n - n_warm), room_f=70.0)
    site = made(
        [("fault_contact", None, "state"), ("supply_temp", None, "degF")],
        channel_state=on_off(1, [(168.0, True)]),
        trust_run=some,
        run_visit=[{"start_ts": r["start_ts"], "end_ts": r["start_ts"] + 1} for r in some[:1]],
    )
    assert ("state-inverted" in codes(check_states.problems(site))) is is_found


@pytest.mark.parametrize(("before", "is_found"), [(0.0, True), (0.03, True), (0.031, False)])
def test_a_fan_that_stands_on_between_runs_is_not_inverted(before: float, is_found: bool) -> None:
    """G told on before every run: with the blower at rest then (15 % of the run's static)."""
    site = made(
        [("output_g", None, "state"), ("static_pressure", None, "inwc")],
        channel_state=on_off(1, [(168.0, True)]),
        trust_run=runs(20, static_inwc=0.20, static_before_inwc=before),
    )
    assert ("state-inverted" in codes(check_states.problems(site))) is is_found


def cycles(n: int, on_h: float = 0.5, off_h: float = 0.5) -> list[tuple[float, bool]]:
    return [(off_h, False), (on_h, True)] * n + [(off_h, False)]


@pytest.mark.parametrize(("n", "is_found"), [(9, False), (10, True), (11, True)])
def test_a_fan_output_that_never_comes_on(n: int, is_found: bool) -> None:
    site = made(
        [("output_g", None, "state"), ("output_y1", None, "state")],
        channel_state=[*on_off(1, [(168.0, False)]), *on_off(2, cycles(n))],
    )
    found_ = [p for p in check_states.problems(site) if p.channel_id == 1]
    assert [p.code for p in found_] == (["state-never-changes"] if is_found else [])


@pytest.mark.parametrize(("covers", "is_found"), [(True, True), (False, False)])
def test_a_fan_output_that_does_not_cover_gas_heat_may_rest_in_it(
    covers: bool, is_found: bool
) -> None:
    site = made(
        [("output_g", None, "state"), ("output_w1", None, "state")],
        site={"has_burner": True, "fan_output_in_gas_heat": True},
        covers_gas_heat=covers,
        channel_state=[*on_off(1, [(168.0, False)]), *on_off(2, cycles(20))],
    )
    found_ = [p.code for p in check_states.problems(site) if p.channel_id == 1]
    assert found_ == (["state-never-changes"] if is_found else [])


@pytest.mark.parametrize(("in_runs", "is_found"), [(0.91, True), (0.9, True), (0.89, False)])
def test_a_call_that_seldom_breaks_breaks_in_runs(in_runs: float, is_found: bool) -> None:
    """W rests 8 h and runs 8 h, ten times; the call breaks for 15 min, that much in the run.

    It stands in 0.997 of the rests and 0.972 of the runs: closer than the twentieth that would do.
    """
    before, after = 0.25 * (1 - in_runs), 0.25 * in_runs
    call = [(8.0 - before, True), *[(0.25, False), (15.75, True)] * 9, (0.25, False)]
    site = made(
        [("output_w1", None, "state"), ("zone_call_w1", 1, "state")],
        hours=160,
        channel_state=[
            *on_off(1, [(8.0, False), (8.0, True)] * 10),
            *on_off(2, [*call, (8.0 - after, True)]),
        ],
    )
    found_ = [p.code for p in check_states.problems(site) if p.channel_id == 2]
    assert found_ == (["state-inverted"] if is_found else [])


@pytest.mark.parametrize(
    ("share", "called_h", "low_f", "kind", "is_found"),
    [
        (0.9, 0.0, 62.0, {}, True), (0.91, 0.0, 62.0, {}, True), (0.89, 0.0, 62.0, {}, False),
        # a zone asked for it; the air showed it; a heat pump's Y also heats
        (1.0, 0.1, 62.0, {}, False), (1.0, 0.0, 61.9, {}, False),
        (1.0, 0.0, 62.0, {"has_heat_pump": True}, False),
    ],
)  # fmt: skip
def test_cooling_told_on_all_week_that_nobody_asked_for(
    share: float, called_h: float, low_f: float, kind: dict[str, bool], is_found: bool
) -> None:
    site = made(
        [("output_y1", None, "state"), ("zone_call_y1", 1, "state"), ("supply_temp", None, "degF")],
        hours=100,
        site=kind,
        trust_look=[look(3, low_value=low_f)],
        channel_state=[
            *on_off(1, [(100 * share, True), (100 - 100 * share, False)]),
            *on_off(2, [(called_h, True), (100 - called_h, False)]),
        ],
    )
    found_ = [p.code for p in check_states.problems(site) if p.channel_id == 1]
    assert found_ == (["state-inverted"] if is_found else [])


@pytest.mark.parametrize(("n", "is_found"), [(9, False), (10, True), (11, True)])
def test_a_second_stage_without_its_first(n: int, is_found: bool) -> None:
    """The furnace of a dual fuel: Y1 ran too, so warm air alone would not tell."""
    site = made(
        [("output_w1", None, "state"), ("output_w2", None, "state"), ("output_y1", None, "state")],
        channel_state=[*on_off(1, [(168.0, False)]), *on_off(2, cycles(n)), *on_off(3, cycles(20))],
    )
    found_ = [p.code for p in check_states.problems(site) if p.channel_id == 1]
    assert found_ == (["state-never-changes"] if is_found else [])


@pytest.mark.parametrize(
    ("role", "setpoint", "room_f", "is_found"),
    [
        ("zone_call_w1", "zone_heat_setpoint", 70.0, True),
        ("zone_call_w1", "zone_heat_setpoint", 69.1, True),
        ("zone_call_w1", "zone_heat_setpoint", 69.0, False),
        ("zone_call_w1", "zone_heat_setpoint", 68.9, False),
        ("zone_call_y1", "zone_cool_setpoint", 70.9, True),
        ("zone_call_y1", "zone_cool_setpoint", 71.0, False),
        ("zone_call_y1", "zone_heat_setpoint", 60.0, True),
    ],
)
def test_a_call_that_stands_for_a_room_in_need_is_no_dead_channel(
    role: str, setpoint: str, room_f: float, is_found: bool
) -> None:
    """Nobody answers it: that is for the findings to say, and they need the channel."""
    site = made(
        [("output_w1", None, "state"), ("output_y1", None, "state"), (role, 1, "state"),
         ("zone_temp", 1, "degF"), (setpoint, 1, "degF")],
        channel_state=[
            *on_off(1, cycles(20)), *on_off(2, cycles(20)), *on_off(3, [(168.0, True)])],
        trust_look=[look(4, median_value=room_f), look(5, median_value=70.0)],
    )  # fmt: skip
    found_ = [p.code for p in check_states.problems(site) if p.channel_id == 3]
    assert found_ == (["state-never-changes"] if is_found else [])


# ---------------------------------------------------------------------- zones


@pytest.mark.parametrize(("n", "is_found"), [(4, False), (5, True), (6, True)])
def test_zones_exchanged_from_five_calls_on(n: int, is_found: bool) -> None:
    """Every 12 h zone 1 calls from 1:00 to 3:00 and zone 2 from 6:00; each warms in the other's.

    2 °F an hour while it answers, and a fifth of that down in between.
    """
    calls = {
        1: [(1.0, False), (2.0, True), (9.0, False)],
        2: [(6.0, False), (2.0, True), (4.0, False)],
    }
    rng = np.random.default_rng(5)
    rows: list[dict[str, Any]] = []
    for channel, other in ((1, 2), (2, 1)):
        level = 68.0
        for k in range(n * 72):
            rows.append(
                {
                    "channel_id": channel,
                    "start_ts": START + k * 10 * MINUTE,
                    "mean_value": level + rng.normal(0, 0.02),
                }
            )
            hour = (k / 6) % 12 - 1 / 12  # five minutes' wait
            warms = 1 <= hour < 3 if other == 1 else 6 <= hour < 8
            level += (2.0 if warms else -0.4) / 6
    site = made(
        [("zone_temp", 1, "degF"), ("zone_temp", 2, "degF"), ("zone_call_w1", 1, "state"),
         ("zone_call_w1", 2, "state")],
        hours=12.0 * n,
        channel_state=[
            *on_off(3, calls[1] * n), *on_off(4, calls[2] * n),
        ],
        trust_bin=rows,
    )  # fmt: skip
    found_ = list(check_zones.problems(site))
    assert {(p.channel_id, p.figure) for p in found_} == (
        {(1, 2.0), (2, 1.0)} if is_found else set()
    )


# ---------------------------------------------------------------------- a house without heat


@pytest.mark.parametrize(
    ("rooms_f", "outdoor_f", "is_told"),
    [
        ((28.0, 29.0), 10.0, False),
        ((28.0, 45.1), 10.0, True),  # one room alone is a wire
        ((28.0, 29.0), 33.0, False),
        ((28.0, 29.0), 33.1, True),  # colder than the weather by over 5 °F
        ((150.0, 150.0), 10.0, True),
    ],
)
def test_every_room_cold_at_once_is_the_house(
    rooms_f: tuple[float, float], outdoor_f: float, is_told: bool
) -> None:
    rows = [
        {"channel_id": n, "start_ts": START, "end_ts": START + HOUR, "n_reading": 50,
         "low_value": value, "high_value": value, "is_beyond": True}
        for n, value in enumerate(rooms_f, start=1)
    ]  # fmt: skip
    site = made(
        [("zone_temp", 1, "degF"), ("zone_temp", 2, "degF"), ("outdoor_temp", None, "degF")],
        trust_look=[look(1), look(2), look(3, low_value=outdoor_f)],
        trust_outlier=rows,
    )
    assert ("sensor-out-of-range" in codes(found(site))) is is_told
