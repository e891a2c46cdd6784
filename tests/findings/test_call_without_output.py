"""Call with no output: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "call-without-output"


def call(at, day, clock, minutes=15, **changes):
    ts = at(day, clock)
    end = ts + minutes * MINUTE
    return {
        "mode": "heating",
        "call_ts": ts,
        "until_ts": end,
        "start_ts": ts,
        "end_ts": end,
        "length_s": minutes * 60.0,
        "is_unanswered": True,
        "zones": "3",
        "in_visit": False,
    } | changes


def site(build, rows, **more):
    return build({"interval.call_unanswered": rows, **more.pop("tables", {})}, **more)


@pytest.mark.parametrize(("n", "result"), [(2, "not found"), (3, "found")])
def test_at_the_least_number(build, judge, at, n, result):
    rows = [call(at, d, "06:00") for d in range(n)]
    assert judge(CODE, site(build, rows))[0].result == result


def test_one_zone_alone_points_to_its_wire(build, judge, at):
    judged, finding = judge(CODE, site(build, [call(at, d, "06:00") for d in range(3)]))
    assert finding.severity == "plan"
    assert judged.why == (
        "3 calls for heat went unanswered for longer than any normal wait, 15 min each, 45 min in "
        "all, "
        "every time with Bedroom over garage alone calling."
    )
    assert finding.causes[0].because == (
        "All 3 unanswered calls came with Bedroom over garage alone calling, and its call alone "
        "was never answered, "
        "while other zones had 60 hours of heat and cooling."
    )
    assert any("as a whole" in text for text in finding.ruled_out)
    assert any(text.startswith("Not a float switch") for text in finding.ruled_out)


# several zones in frost: two hours in all (3 x 40 min), 32 °F
@pytest.mark.parametrize(
    ("minutes", "outdoor_f", "severity"),
    [(40, 32.0, "act"), (39, 32.0, "plan"), (40, 32.1, "plan")],
)
def test_several_zones_in_frost(build, judge, at, minutes, outdoor_f, severity):
    rows = [call(at, d, "06:00", minutes, zones="1+2") for d in range(3)]
    weather = [{"start_ts": at(0, "00:00"), "end_ts": at(6, "00:00"), "outdoor_f": outdoor_f}]
    _, finding = judge(CODE, site(build, rows, tables={"interval.weather": weather}))
    assert finding.severity == severity


@pytest.mark.parametrize("changes", [{"is_unanswered": False}, {"in_visit": True}])
def test_waits_and_visits_are_left_out(build, judge, at, changes):
    rows = [call(at, d, "06:00", **changes) for d in range(3)]
    assert judge(CODE, site(build, rows))[0].result == "not found"


def test_what_a_float_holds_off_is_left_to_it(build, judge, at):
    rows = [call(at, d, "15:00", 60, mode="cooling", zones="1") for d in range(3)]
    fan = [
        {
            "start_ts": r["call_ts"],
            "end_ts": r["until_ts"],
            "class": "waiting",
            "fan_on": True,
            "n_cool": 1,
            "cool_zones": "1",
        }
        for r in rows
    ]
    cooled = [
        {"start_ts": r["until_ts"], "end_ts": r["until_ts"] + MINUTE, "class": "cooling"}
        for r in rows
    ]
    tables = {"interval.condition": fan + cooled}
    assert judge(CODE, site(build, rows, tables=tables))[0].result == "not found"


def test_cannot_tell(build, judge, at):
    assert judge(CODE, site(build, [], hours={("heating", 1, "1"): 0.1}))[0].result == "cannot tell"
    rows = [call(at, d, "06:00") for d in range(3)]
    assert judge(CODE, site(build, rows, coverage=0.4))[0].result == "cannot tell"
