"""Compressor does the opposite: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "heating-with-cooling"
PUMP = {"kind": "heat_pump", "has_burner": False, "has_heat_pump": True}
ROLES = ["supply_temp", "return_temp", "output_y1", "output_ob", "zone_call_y1"]


def run(at, day, clock, over_f, minutes=60, **changes):
    ts = at(day, clock)
    return {
        "source": "compressor",
        "mode": "heating",
        "called": "heating",
        "start_ts": ts,
        "end_ts": ts + minutes * MINUTE,
        "on_s": minutes * 60.0,
        "outside_s": minutes * 60.0,
        "over_return_f": over_f,
        "outdoor_f": 35.0,
        "in_defrost": False,
        "in_visit": False,
    } | changes


def site(build, rows, **more):
    equipment = more.pop("equipment", PUMP)
    return build({"interval.source_response": rows}, equipment=equipment, roles=ROLES, **more)


def test_cold_air_with_heat_called_for(build, judge, at):
    rows = [run(at, d, "06:00", -15.0) for d in range(3)]
    judged, finding = judge(CODE, site(build, rows))
    assert finding.severity == "act"
    assert judged.why == (
        "The compressor does the opposite: with heat called for, supply air was 15 °F colder than "
        "return air in all 3 hours of compressor runs."
    )
    assert finding.causes[0].cause.startswith("The reversing valve does not move")
    assert any("panel's O/B output" in text for text in finding.ruled_out)


def test_an_output_against_the_call_points_to_the_setting(build, judge, at):
    rows = [run(at, d, "06:00", -15.0, mode="cooling") for d in range(3)]
    _, finding = judge(CODE, site(build, rows))
    assert finding.causes[0].cause.startswith("The panel or a thermostat is set")


def test_strip_heat_colder_than_return_means_probes(build, judge, at):
    rows = [run(at, d, "06:00", -15.0) for d in range(3)]
    rows.append(run(at, 4, "06:00", -20.0, source="strip"))
    _, finding = judge(CODE, site(build, rows))
    probes = next(c for c in finding.causes if "probes" in c.cause)
    assert probes.because.endswith("the probes are swapped.")


def test_warm_air_in_cooling(build, judge, at):
    rows = [run(at, d, "15:00", 12.0, called="cooling", mode="cooling") for d in range(3)]
    assert (
        "with cooling called for, supply air was 12 °F warmer"
        in judge(CODE, site(build, rows))[0].why
    )


# 4 °F on the wrong side, for half an hour, in half of the judged time
@pytest.mark.parametrize(
    ("over_f", "minutes", "right_minutes", "result"),
    [
        (-3.9, 60, 0, "not found"),
        (-4.0, 60, 0, "found"),
        (-9.0, 29, 0, "cannot tell"),
        (-9.0, 30, 0, "found"),
        (-9.0, 29, 29, "not found"),
        (-9.0, 30, 30, "found"),
        (-9.0, 30, 31, "not found"),
    ],
)
def test_at_each_threshold(build, judge, at, over_f, minutes, right_minutes, result):
    rows = [run(at, 0, "06:00", over_f, minutes)]
    if right_minutes:
        rows.append(run(at, 1, "06:00", 20.0, right_minutes))
    assert judge(CODE, site(build, rows))[0].result == result


@pytest.mark.parametrize(
    ("changes", "more"),
    [
        ({"in_defrost": True}, {}),
        ({"outside_s": 0.0}, {}),
        ({"called": None}, {}),
        ({}, {"equipment": {}}),
        ({}, {"coverage": 0.4}),
    ],
)
def test_cannot_tell(build, judge, at, changes, more):
    rows = [run(at, d, "06:00", -15.0, **changes) for d in range(3)]
    assert judge(CODE, site(build, rows, **more))[0].result == "cannot tell"


def test_no_defrost_is_no_headline_of_its_own(rule):
    """Called for heat the compressor cools the house: the outdoor coil is hot and never frosts."""
    assert "no-defrost" in rule(CODE).declaration.suppresses
