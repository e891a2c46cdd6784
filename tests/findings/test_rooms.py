"""Rooms past their setpoint when they don't call, and thermostats that feel the supply air."""

import pytest

HEAT, COOL, STREAM = "zone-overheats", "zone-overcools", "thermostat-in-air-stream"
ROLES = (
    "supply_temp", "output_w1", "output_y1", "zone_call_w1", "zone_call_y1", "zone_temp",
    "zone_heat_setpoint", "zone_cool_setpoint", "zone_damper",
)  # fmt: skip


@pytest.fixture
def over(build, at):
    """Main floor, relief open 20 h while others called, 2 °F on average past the band in 100 h."""

    def make(mode="heating", degree_h=200.0, gain=1.2, roles=ROLES, comfort=None, shut=None):
        rows = [
            {
                "zone": 1, "mode": mode, "is_calling": False, "damper": "open", "n_run": 12,
                "warm_s": 72_000.0, "slope_f_per_h": 0.7, "n_drift": 8, "n_night": 0,
                "beyond_drift_f_per_h": gain,
            },
        ]  # fmt: skip
        if shut is not None:
            rows.append(rows[0] | {"damper": "closed", "beyond_drift_f_per_h": shut})
        return build(
            {
                "measure.zone_comfort": [
                    {
                        "zone": 1, "mode": mode, "rule": "setpoint", "known_s": 400_000.0,
                        "judged_s": 360_000.0, "short_degree_h": 0.0, "over_degree_h": degree_h,
                        "not_keeping_up_s": 0.0,
                    }
                    | (comfort or {}),
                ],
                "measure.zone_response": rows,
                "interval.zone_run": [
                    {
                        "zone": 1, "mode": mode, "is_calling": False, "damper": "open",
                        "start_ts": at(1, "06:00"), "end_ts": at(1, "06:40"),
                        "slope_f_per_h": slope, "in_visit": False,
                    }
                    for slope in (0.9, -0.4)
                ],
            },
            roles=roles,
        )  # fmt: skip

    return make


@pytest.mark.parametrize(("code", "mode", "verb"), [(HEAT, "heating", "overheats"),
                                                    (COOL, "cooling", "overcools")])  # fmt: skip
def test_a_room_that_takes_what_others_asked_for(over, judge, code, mode, verb):
    judged, finding = judge(code, over(mode))
    assert judged.result == "found"
    assert finding.severity == "watch"
    assert f"Main floor {verb} when it isn't calling: 2.0 °F past the comfort band" in (
        finding.summary
    )
    assert "With its damper open for 20 hours while only others called" in finding.causes[0].because
    assert len(finding.evidence) == 1  # the stretch in which it moved on
    other = HEAT if code == COOL else COOL
    assert judge(other, over(mode))[0].result == "cannot tell"


@pytest.mark.parametrize(
    ("change", "result"),
    [
        ({"degree_h": 150.0}, "found"),  # 1.5 °F
        ({"degree_h": 149.0}, "not found"),
        ({"gain": 0.8}, "found"),
        ({"gain": 0.79}, "not found"),  # sun, not air
        ({"gain": 0.0, "shut": 0.8}, "found"),
        ({"comfort": {"rule": "long call", "over_degree_h": None}}, "cannot tell"),
        ({"comfort": {"judged_s": 3600.0}}, "cannot tell"),
    ],
)
def test_each_number_at_its_edge(over, judge, change, result):
    assert judge(HEAT, over(**change))[0].result == result


def test_three_degrees_are_planned(over, judge):
    assert judge(HEAT, over(degree_h=300.0))[1].severity == "plan"
    assert judge(HEAT, over(degree_h=299.0))[1].severity == "watch"


def test_a_shut_damper_rules_relief_out(over, judge, build):
    site = over(gain=None, shut=1.0)
    _, finding = judge(HEAT, site)
    assert finding.causes[0].cause == "Its damper does not shut tight."
    assert any(text.startswith("Not relief") for text in finding.ruled_out)


# --------------------------------------------------------------------------- air stream


@pytest.fixture
def streamed(build, at):
    """Busy calls of Main floor end 0.8 °F short, those after a rest begin 0.2 °F short."""

    def make(behind=(), **changes):
        row = {
            "zone": 1, "mode": "heating", "n_rested": 10, "rested_start_f": -0.2, "n_busy": 40,
            "busy_end_f": -0.8, "n_both": 60, "end_f": -0.3, "moved_f": 0.1,
        } | {k: v for k, v in changes.items() if not k.startswith("others_")}  # fmt: skip
        other = row | {"zone": 2, "n_busy": 0, "busy_end_f": None, "end_f": 0.0} | {
            "moved_f": changes.get("others_moved_f", 0.2)
        }  # fmt: skip
        return build(
            {
                "measure.call_offset": [row, other],
                "interval.not_keeping_up": [{"zone": z, "mode": m} for z, m in behind],
                "interval.call": [
                    {
                        "zone": z, "mode": "heating", "start_ts": at(1, f"0{k}:00"),
                        "end_ts": at(1, f"0{k}:{m:02d}"), "has_start": True, "has_end": True,
                    }
                    for k in range(3)
                    for z, m in ((1, 6), (2, changes.get("others_min", 9)))
                ],
            },
            roles=ROLES,
        )  # fmt: skip

    return make


def test_busy_calls_that_end_short_of_the_setpoint(streamed, judge):
    judged, finding = judge(STREAM, streamed())
    assert judged.result == "found"
    assert finding.severity == "watch"
    assert "Main floor's thermostat is satisfied with the room 0.8 °F short" in finding.summary
    assert "at half or more of 40 heat calls in busy hours" in finding.summary
    assert "0.6 °F more than where calls begin after a rest" in finding.causes[0].because
    assert "Half its calls are 6 min or shorter" in finding.causes[-1].because


@pytest.mark.parametrize(
    ("zones", "mode", "result"),
    [((1, 2), "heating", "found"), ((1, 2, 3), "heating", "cannot tell"),
     ((1, 2, 3), "cooling", "found")],
)  # fmt: skip
def test_where_most_zones_fall_behind_it_is_the_heat_that_lacks(
    streamed, judge, zones, mode, result
):
    judged, _ = judge(STREAM, streamed(behind=[(z, mode) for z in zones]))
    assert judged.result == result
    if result == "cannot tell":
        assert "Main floor, Primary bedroom and Bedroom over garage fell behind" in judged.why


@pytest.mark.parametrize(
    ("change", "result"),
    [
        ({"busy_end_f": -0.6}, "found"),
        ({"busy_end_f": -0.599}, "not found"),
        ({"rested_start_f": -0.64}, "found"),  # 0.16 more
        ({"rested_start_f": -0.66}, "not found"),  # a steady error: 0.14 more
        ({"rested_start_f": 1.5}, "found"),  # past it after a rest: as if it were none
        ({"busy_end_f": 0.3}, "not found"),
        ({"n_busy": 10}, "found"),
        ({"n_busy": 9}, "not found"),
        ({"n_busy": 9, "n_both": 39}, "cannot tell"),
        ({"n_rested": 5}, "found"),
        ({"n_rested": 4, "rested_start_f": None}, "not found"),
        ({"others_min": 6}, "found"),
        ({"others_min": 5}, "not found"),  # its calls are longer ones: it lags, it is not misled
    ],
)
def test_each_number_of_the_stream_at_its_edge(streamed, judge, change, result):
    assert judge(STREAM, streamed(**change))[0].result == result


STILL = {"n_busy": 0, "busy_end_f": None, "n_both": 40, "end_f": -0.2, "moved_f": 0.04}


def test_a_room_that_goes_nowhere_in_its_calls(streamed, judge):
    judged, finding = judge(STREAM, streamed(**STILL))
    assert judged.result == "found"
    assert "end with the room no warmer than as they began and 0.2 °F short" in finding.summary
    assert "Half its calls are 6 min or shorter, elsewhere 9 min" in finding.summary
    assert "the other rooms come 0.2 °F nearer" in finding.causes[0].because


@pytest.mark.parametrize(
    ("change", "result"),
    [
        ({"n_both": 39}, "cannot tell"),
        ({"moved_f": 0.05}, "not found"),
        ({"end_f": -0.19}, "not found"),
        ({"others_moved_f": 0.08}, "found"),
        ({"others_moved_f": 0.07}, "not found"),  # nobody's room moves: no heat comes
        ({"others_min": 5}, "not found"),
    ],
)
def test_each_number_of_the_room_that_goes_nowhere(streamed, judge, change, result):
    assert judge(STREAM, streamed(**(STILL | change)))[0].result == result
