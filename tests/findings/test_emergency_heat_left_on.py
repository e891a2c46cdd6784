"""Emergency heat left on: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import local_date

CODE = "emergency-heat-left-on"
PUMP = {"kind": "heat_pump", "has_burner": False, "has_heat_pump": True}
ROLES = ["output_y1", "output_aux", "outdoor_temp"]


def day(at, n, **changes):
    """Ten hours of strip heat alone in mild weather."""
    return {
        "day": local_date(at(n, "00:00")),
        "heat_s": 36000.0,
        "compressor_s": 0.0,
        "both_s": 0.0,
        "burner_s": 0.0,
        "strip_s": 36000.0,
        "outdoor_f": 40.0,
        "alone_above_low_s": 36000.0,
        "is_emergency_heat": True,
        "is_called": None,
    } | changes


def site(build, at, days, first_f=40.0, roles=ROLES, **more):
    starts = [
        {
            "source": "strip",
            "start_ts": at(n, "01:00"),
            "is_first": True,
            "outdoor_f": first_f,
            "low_balance_f": 20.0,
            "day": local_date(at(n, "00:00")),
        }
        for n in range(7)
    ]
    run_days = [
        {
            "day": local_date(at(n, "00:00")),
            "start_ts": at(n, "00:00"),
            "end_ts": at(n + 1, "00:00"),
        }
        for n in range(7)
    ]
    tables = {"measure.heat_day": days, "measure.balance": starts, "run.day": run_days}
    return build(tables, roles=roles, equipment=more.pop("equipment", PUMP), **more)


@pytest.mark.parametrize(("n", "result"), [(1, "not found"), (2, "found")])
def test_without_calls_two_days_are_needed(build, judge, at, n, result):
    judged, finding = judge(CODE, site(build, at, [day(at, d) for d in range(n)]))
    assert judged.result == result
    if finding:
        assert (finding.severity, finding.certainty) == ("plan", "likely")
        assert "strip heat did the heating on both days with heat, 20 hours" in judged.why


# low point 20 and margin 5: a run that began under 25 is one that began in the cold
@pytest.mark.parametrize(("first_f", "result"), [(24.9, "not found"), (25.0, "found")])
def test_a_run_that_began_in_the_cold_is_no_switch(build, judge, at, first_f, result):
    judged, _ = judge(CODE, site(build, at, [day(at, d) for d in range(3)], first_f))
    assert judged.result == result


def test_a_call_for_it_is_shown_on_one_day(build, judge, at):
    called = day(at, 0, is_called=True, is_emergency_heat=False, alone_above_low_s=0.0)
    roles = [*ROLES, "zone_call_emergency"]
    judged, finding = judge(CODE, site(build, at, [called], roles=roles))
    assert (finding.severity, finding.certainty) == ("watch", "shown")
    assert judged.why.startswith("Emergency heat is on: strip heat did the heating on the only day")
    assert finding.causes[0].because.startswith("A zone called for emergency heat")


# backup must do 80 % of the day's heating
@pytest.mark.parametrize(("strip_s", "result"), [(28799.0, "not found"), (28800.0, "found")])
def test_share_of_a_day_that_is_called(build, judge, at, strip_s, result):
    called = day(at, 0, is_called=True, is_emergency_heat=False, strip_s=strip_s)
    assert judge(CODE, site(build, at, [called]))[0].result == result


def test_no_call_where_calls_are_logged_rules_the_switch_out(build, judge, at):
    days = [day(at, d, is_called=False) for d in range(2)]
    _, finding = judge(CODE, site(build, at, days, roles=[*ROLES, "zone_call_emergency"]))
    assert any(text.startswith("Not a thermostat's emergency heat") for text in finding.ruled_out)
    assert finding.causes[0].cause.startswith("The compressor is locked out")


@pytest.mark.parametrize(
    ("days_of", "more"),
    [
        ({"heat_s": 3599.0}, {}),
        ({"is_emergency_heat": None}, {}),
        ({}, {"equipment": {}}),
    ],
)
def test_cannot_tell(build, judge, at, days_of, more):
    days = [day(at, d, **days_of) for d in range(3)]
    assert judge(CODE, site(build, at, days, **more))[0].result == "cannot tell"
