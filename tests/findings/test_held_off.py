"""Float switch and leak control: found, not found, cannot tell, at each threshold, told apart."""

import pytest

from tests.findings.conftest import MINUTE

FLOAT, LEAK = "float-switch", "leak-control"
ROLES = ["output_y1", "zone_call_y1", "zone_damper"]


def held(build, at, minutes=60, fan_min=None, open_min=0, spans=((1, "15:00"),), **more):
    """Main floor calls in vain from 15:00; fan on for fan_min; Basement's damper open open_min."""
    calls, condition, dampers = [], [], []
    for day, clock in spans:
        ts, end = at(day, clock), at(day, clock) + minutes * MINUTE
        fan = ts + (minutes if fan_min is None else fan_min) * MINUTE
        opened = ts + int(open_min * MINUTE)
        calls.append(
            {
                "mode": "cooling",
                "call_ts": ts,
                "until_ts": end,
                "start_ts": ts,
                "end_ts": end,
                "length_s": minutes * 60.0,
                "is_unanswered": True,
                "zones": "1",
                "in_visit": False,
            }
        )
        base = {"n_cool": 1, "n_heat": 0, "cool_zones": "1", "in_visit": False}
        parts = [(ts - MINUTE, ts, "cooling", True), (ts, fan, "waiting", True)]
        parts.append((fan, end, "off", False))
        condition += [
            base | {"start_ts": a, "end_ts": b, "class": cls, "fan_on": on}
            for a, b, cls, on in parts
            if b > a
        ]
        dampers += [
            {"role": "zone_damper", "zone": 4, "start_ts": a, "end_ts": b, "is_on": on}
            for a, b, on in ((ts, opened, True), (opened, end, False))
            if b > a
        ]
    tables = {
        "interval.call_unanswered": calls,
        "interval.condition": condition,
        "signal.state": dampers + list(more.pop("states", ())),
    }
    return build(tables, roles=more.pop("roles", ROLES), **more)


@pytest.mark.parametrize(("minutes", "result"), [(19, "not found"), (20, "found")])
def test_longer_than_any_wait(build, judge, at, minutes, result):
    assert judge(FLOAT, held(build, at, minutes))[0].result == result


# 80 % of an hour is 48 min
@pytest.mark.parametrize(("fan_min", "result"), [(47, "not found"), (48, "found")])
def test_the_fan_stays_on(build, judge, at, fan_min, result):
    assert judge(FLOAT, held(build, at, fan_min=fan_min))[0].result == result


@pytest.mark.parametrize(("open_min", "is_leak"), [(47.9, False), (48, True)])
def test_open_dampers_tell_them_apart(build, judge, at, open_min, is_leak):
    site = held(build, at, open_min=open_min)
    assert (judge(LEAK, site)[0].result == "found") is is_leak
    assert (judge(FLOAT, site)[0].result == "found") is not is_leak


@pytest.mark.parametrize(("minutes", "severity"), [(119, "plan"), (120, "act")])
def test_hours_without_cooling(build, judge, at, minutes, severity):
    assert judge(FLOAT, held(build, at, minutes))[1].severity == severity


def test_float_sentence(build, judge, at):
    judged, finding = judge(FLOAT, held(build, at, spans=((1, "15:00"), (2, "15:00"))))
    assert judged.why == (
        "Cooling was held off with zones calling, as a float switch does on a full pan, twice, "
        "60 min each, 2 hours in all, fan on."
    )
    assert (finding.certainty, finding.causes[0].because) == (
        "likely",
        "Cooling went off twice with zones still calling and the fan on, both times in the middle "
        "of a run, "
        "and came back by itself.",
    )
    assert any(text.startswith("Not leak control") for text in finding.ruled_out)


@pytest.mark.parametrize(("length_s", "result"), [(4, "not found"), (5, "found")])
def test_a_logged_switch_is_shown(build, judge, at, length_s, result):
    ts = at(3, "12:00")
    switch = {"role": "float_switch", "start_ts": ts, "end_ts": ts + length_s * 1_000_000}
    site = held(build, at, spans=(), states=[switch | {"is_on": True}])
    judged, finding = judge(FLOAT, site)
    assert judged.result == result
    if finding:
        assert finding.certainty == "shown"
        assert judged.why.startswith("The float switch opened once, 5 s, fan on")


def test_leak_control_is_always_act(build, judge, at):
    judged, finding = judge(LEAK, held(build, at, open_min=60))
    assert finding.severity == "act"
    assert judged.why == (
        "Cooling was held off with the fan on and every damper open, as a leak control does, once, "
        "60 min."
    )
    assert any(text.startswith("Not a float switch") for text in finding.ruled_out)


@pytest.mark.parametrize("code", [FLOAT, LEAK])
def test_cannot_tell(build, judge, at, code):
    no_cooling = {("heating", 1, "1"): 40.0}
    assert judge(code, held(build, at, spans=(), hours=no_cooling))[0].result == "cannot tell"
    assert judge(code, held(build, at, coverage=0.4))[0].result == "cannot tell"
    assert judge(LEAK, held(build, at, roles=ROLES[:2]))[0].result == "cannot tell"
