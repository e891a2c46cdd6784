"""Fan on between cooling calls: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import HOUR, MINUTE

CODE = "fan-on-in-cooling"
ROLES = ["output_g", "output_y1", "zone_call_y1", "zone_call_g"]
SUMMER = {("cooling", 1, "1"): 20.0}


def site(build, at, fan_min, off_min, called=True, g_min=9 * 60, **more):
    """One night between calls: the fan on, then off; Main floor calls for the fan or nobody."""
    ts = at(0, "22:00")
    on, end = ts + fan_min * MINUTE, ts + (fan_min + off_min) * MINUTE
    base = {"n_cool": 0, "n_heat": 0, "in_visit": False}
    rows = [
        base | {"start_ts": a, "end_ts": b, "class": cls, "fan_on": cls == "fan_only"}
        for a, b, cls in ((ts, on, "fan_only"), (on, end, "off"))
        if b > a
    ]
    calls = [
        {"role": "zone_call_g", "zone": 1, "start_ts": ts, "end_ts": ts + 9 * HOUR, "is_on": True}
    ]
    g = {"role": "output_g", "start_ts": ts, "end_ts": ts + g_min * MINUTE, "is_on": True}
    tables = {"interval.condition": rows, "signal.state": [g, *(calls if called else [])]}
    more = {"roles": ROLES, "hours": SUMMER} | more
    return build(tables, **more)


@pytest.mark.parametrize(("fan_min", "result"), [(179, "not found"), (180, "found")])
def test_at_the_share(build, judge, at, fan_min, result):
    # 60 % of 5 h are 180 min
    assert judge(CODE, site(build, at, fan_min, 300 - fan_min))[0].result == result


@pytest.mark.parametrize(("fan_min", "result"), [(119, "cannot tell"), (120, "found")])
def test_at_the_least_time(build, judge, at, fan_min, result):
    assert judge(CODE, site(build, at, fan_min, 0))[0].result == result


@pytest.mark.parametrize(("g_min", "result"), [(149, "not found"), (150, "found")])
def test_g_asks_for_it(build, judge, at, g_min, result):
    # half of 5 h are 150 min; with G off the blower runs by itself
    assert judge(CODE, site(build, at, 300, 0, g_min=g_min))[0].result == result


def test_g_off_for_most_of_it_is_said(build, judge, at):
    # G is on for 1 of the 5 hours
    judged, _ = judge(CODE, site(build, at, 300, 0, g_min=60))
    assert "with G off for 80 % of that time" in judged.why


def test_a_thermostat_that_calls_comes_first(build, judge, at):
    judged, finding = judge(CODE, site(build, at, 300, 0))
    assert judged.why == (
        "The fan runs on between cooling calls: 100 % of 5 hours, up to 5 h at a stretch."
    )
    assert finding.severity == "watch"
    assert finding.causes[0].because == (
        "A thermostat called for the fan in 100 % of that time, most of all Main floor."
    )


def test_nobody_that_calls_points_to_the_panel(build, judge, at):
    _, finding = judge(CODE, site(build, at, 300, 0, called=False))
    assert finding.causes[0].cause.startswith("The panel, a humidistat")


@pytest.mark.parametrize(
    "more",
    [
        {"equipment": {"has_economizer": True}},
        {"hours": {("cooling", 1, "1"): 0.1}},
        {"hours": {("cooling", 1, "1"): 20.0, ("heating", 1, "1"): 21.0}},
        {"coverage": 0.4},
    ],
)
def test_cannot_tell(build, judge, at, more):
    assert judge(CODE, site(build, at, 300, 0, **more))[0].result == "cannot tell"
