"""No heat: found, not found, cannot tell, and at each threshold."""

import pytest

from pipeline.findings._judge import judge_rules
from tests.findings.conftest import MINUTE

CODE = "no-heat"


def run(at, day, clock, cold_s, judged_s=7200.0, **changes):
    ts = at(day, clock)
    return {
        "source": "burner",
        "start_ts": ts,
        "end_ts": ts + 125 * MINUTE,
        "on_s": 7500.0,
        "judged_s": judged_s,
        "cold_s": cold_s,
        "to_heat_s": None,
        "outdoor_f": 40.0,
        "in_visit": False,
    } | changes


def site(build, rows, **more):
    return build({"interval.source_response": rows, **more.pop("tables", {})}, **more)


# half an hour, and a tenth of the furnace's judged time
@pytest.mark.parametrize(
    ("cold_s", "judged_s", "result"),
    [
        (1799.0, 7200.0, "not found"),
        (1800.0, 7200.0, "found"),
        (1800.0, 18000.0, "found"),
        (1800.0, 18001.0, "not found"),
    ],
)
def test_at_each_threshold(build, judge, at, cold_s, judged_s, result):
    rows = [run(at, 0, "06:00", cold_s, judged_s)]
    assert judge(CODE, site(build, rows))[0].result == result


@pytest.mark.parametrize(("cold_s", "severity"), [(7199.0, "plan"), (7200.0, "act")])
def test_two_hours_are_not_left_to_the_next_visit(build, judge, at, cold_s, severity):
    _, finding = judge(CODE, site(build, [run(at, 0, "06:00", cold_s)]))
    assert finding.severity == severity


def test_sentence_and_frost(build, judge, at):
    judged, finding = judge(CODE, site(build, [run(at, 0, "06:00", 7200.0, outdoor_f=32.0)]))
    assert judged.why == (
        "No heat: W was on at the furnace and supply air stayed cold for all 2 hours, in "
        "1 run, outdoor air 32 °F."
    )
    assert "It froze outside: people and pipes first, by phone, today." in finding.summary
    assert (
        judge(CODE, site(build, [run(at, 0, "06:00", 7200.0, outdoor_f=32.1)]))[1].summary.count(
            "froze"
        )
        == 0
    )


def test_heat_in_between_points_to_a_lockout(build, judge, at):
    _, finding = judge(CODE, site(build, [run(at, 0, "06:00", 3600.0)]))
    assert finding.causes[0].cause.startswith("It does not light")


def test_the_fault_contact_is_named(build, judge, at):
    fault = {
        "role": "fault_contact",
        "is_on": True,
        "start_ts": at(0, "07:00"),
        "end_ts": at(0, "07:30"),
    }
    roles = ["supply_temp", "return_temp", "output_w1", "fault_contact"]
    rows = [run(at, 0, "06:00", 7200.0)]
    _, finding = judge(CODE, site(build, rows, tables={"signal.state": [fault]}, roles=roles))
    safety = next(c for c in finding.causes if c.cause.startswith("A safety"))
    assert "the only such run" in safety.because


@pytest.mark.parametrize(
    "more", [{"equipment": {"has_burner": False}}, {"roles": ["output_w1"]}, {"coverage": 0.4}]
)
def test_cannot_tell(build, judge, at, more):
    rows = [run(at, 0, "06:00", 7200.0)]
    assert judge(CODE, site(build, rows, **more))[0].result == "cannot tell"
    assert judge(CODE, site(build, [run(at, 0, "06:00", 0.0, 1799.0)]))[0].result == "cannot tell"


def test_where_nothing_burns_second_stage_is_no_headline_of_its_own(build, rule, at):
    steps = [
        {
            "source": "burner", "mode": "heating", "n_zones": 1, "zones": "1",
            "start_ts": at(k, "07:00"), "end_ts": at(k, "07:07"), "in_visit": False,
            "static_before_inwc": 0.2, "static_step_inwc": 0.1, "supply_before_f": 70.0,
            "supply_step_f": -2.0, "is_step": True,
        }
        for k in range(4)
    ]  # fmt: skip
    frames = build(
        {
            "interval.source_response": [run(at, 0, "06:00", 7000.0)],
            "measure.stage_step": steps,
        },
        hours={("heating", 1, "1"): 40.0, ("heating", 2, "1"): 10.0},
    )
    findings, judged = judge_rules(frames, [rule(CODE), rule("second-stage-no-effect")])
    assert [f.code for f in findings] == [CODE]
    assert {j.code: j.result for j in judged}["second-stage-no-effect"] == "found"
