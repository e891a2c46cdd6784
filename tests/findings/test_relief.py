"""Relief missing and relief used up: stretches over target and what relief did about them."""

import pytest

MISSING = "relief-missing"
USED_UP = "relief-used-up"


def stretch(at, i, outcome="missing", above_s=700.0, zones="3", **changes):
    """The i-th stretch over target, 12 min long, every half hour from Monday 6:00 on."""
    start = at(i // 20, f"{6 + (i % 20) // 2:02d}:{30 * (i % 2):02d}")
    end = start + 720_000_000
    answer = {
        "start_ts": start,
        "end_ts": end,
        "n_free": 3,
        "n_open": 0,
        "outcome": outcome,
        "in_visit": False,
    } | changes
    over = {
        "start_ts": start,
        "end_ts": end,
        "length_s": 720.0,
        "above_s": above_s,
        "max_inwc": 0.7,
        "target_inwc": 0.4,
        "class": "heating",
        "stage": 1,
        "zones": zones,
        "counts": True,
    }
    return answer, over


def case(*pairs):
    return {
        "interval.relief_answer": [a for a, _ in pairs],
        "interval.static_above_target": [o for _, o in pairs],
    }


def some(at, n_missing, n_answered=0, **changes):
    rows = [stretch(at, i, **changes) for i in range(n_missing)]
    rows += [stretch(at, n_missing + i, "answered") for i in range(n_answered)]
    return case(*rows)


def test_found(build, judge, at):
    judged, finding = judge(MISSING, build(some(at, 25)))
    assert judged.result == "found"
    # 25 in seven days are more than three a day
    assert finding.severity == "plan"
    assert finding.certainty == "shown"
    assert "in all 25 stretches that needed relief" in finding.summary
    assert "Main floor, Primary bedroom and Basement, free to open, never did" in finding.summary
    assert finding.causes[0].cause.startswith("Relief is switched off")


def test_an_actuator_where_it_answers_at_other_times(build, judge, at):
    _, finding = judge(MISSING, build(some(at, 10, 4)))
    assert finding.causes[0].cause.startswith("A relief damper's actuator")


def test_without_dampers_it_is_possible_only(build, judge, at):
    roles = ["static_pressure", "zone_call_w1", "output_w1", "output_g"]
    rows = some(at, 10, outcome="no fall seen", n_open=None)
    _, finding = judge(MISSING, build(rows, roles=roles))
    assert finding.certainty == "possible"
    assert "nothing brought it down" in finding.summary


@pytest.mark.parametrize(("n", "result"), [(4, "not found"), (5, "found"), (6, "found")])
def test_number(build, judge, at, n, result):
    assert judge(MISSING, build(some(at, n)))[0].result == result


@pytest.mark.parametrize(
    ("n_answered", "result"),
    # half of those that needed it
    [(11, "not found"), (10, "found"), (9, "found")],
)
def test_share(build, judge, at, n_answered, result):
    assert judge(MISSING, build(some(at, 10, n_answered)))[0].result == result


@pytest.mark.parametrize(("n", "severity"), [(20, "watch"), (21, "plan"), (22, "plan")])
def test_severity(build, judge, at, n, severity):
    # three a day in seven days are 21
    assert judge(MISSING, build(some(at, n)))[1].severity == severity


@pytest.mark.parametrize(
    ("above_s", "result"),
    # travel 75 s, wait 60 s, half a minute
    [(164.0, "not found"), (165.0, "found"), (166.0, "found")],
)
def test_barely_over_target_needs_no_relief(build, judge, at, above_s, result):
    site = build(some(at, 10, above_s=above_s))
    due_s = site.threshold("damper_travel_unknown_s") + site.threshold("relief_wait_unknown_s") + 30
    assert due_s == 165
    assert judge(MISSING, site)[0].result == result


def test_visits_are_left_out(build, judge, at):
    assert judge(MISSING, build(some(at, 10, in_visit=True)))[0].result == "not found"


def test_cannot_tell(build, judge, at):
    judged, _ = judge(MISSING, build(some(at, 10), settings={"static_target_inwc": None}))
    assert judged.result == "cannot tell"
    assert judge(MISSING, build(hours={("heating", 1, "1"): 1.9}))[0].result == "cannot tell"
    assert judge(MISSING, build(hours={("heating", 1, "1"): 2.0}))[0].result == "not found"
    zones = [{"zone": 1, "name": "Main floor", "is_relief": False}]
    judged, _ = judge(MISSING, build(some(at, 10) | {"run.zone": zones}))
    assert "names no relief zone" in judged.why.lower()


def measure(used_h=4.0, n_hour=10, n_hour_above=0):
    return {
        "measure.relief": [
            {
                "n_excursion": 10,
                "used_up_s": used_h * 3600,
                "n_hour": n_hour,
                "n_hour_above": n_hour_above,
            }
        ]
    }


def used_up(at, n, stage=1, **changes):
    rows = [stretch(at, i, "used up", n_free=2, n_open=2) for i in range(n)]
    for _, over in rows:
        over["stage"] = stage
    return case(*rows) | measure(**changes)


def test_used_up_found(build, judge, at):
    judged, finding = judge(USED_UP, build(used_up(at, 10)))
    assert judged.result == "found"
    # 4 of 60 h of heating and cooling are over a twentieth
    assert finding.severity == "plan"
    assert "10 times, 4 hours in 60 hours of heating and cooling" in finding.summary
    assert any("Not second stage" in text for text in finding.ruled_out)
    assert any("Not a target lower" in text for text in finding.ruled_out)
    assert finding.causes[0].cause.startswith("Too little relief")


@pytest.mark.parametrize(
    ("n_hour_above", "cause"),
    [(5, "Too little relief"), (6, "The target is lower")],
)
def test_target(build, judge, at, n_hour_above, cause):
    _, finding = judge(USED_UP, build(used_up(at, 10, n_hour_above=n_hour_above)))
    assert finding.causes[0].cause.startswith(cause)


def test_second_stage_first(build, judge, at):
    _, finding = judge(USED_UP, build(used_up(at, 10, stage=2)))
    assert finding.causes[0].cause.startswith("Second stage brings")


@pytest.mark.parametrize(("n", "result"), [(2, "not found"), (3, "found"), (4, "found")])
def test_used_up_number(build, judge, at, n, result):
    assert judge(USED_UP, build(used_up(at, n)))[0].result == result


@pytest.mark.parametrize(
    ("used_h", "severity"),
    # a twentieth of 60 h
    [(2.9, "watch"), (3.0, "plan"), (3.1, "plan")],
)
def test_used_up_severity(build, judge, at, used_h, severity):
    assert judge(USED_UP, build(used_up(at, 10, used_h=used_h)))[1].severity == severity


def test_used_up_cannot_tell(build, judge, at):
    judged, _ = judge(USED_UP, build(used_up(at, 10), settings={"static_target_inwc": None}))
    assert judged.result == "cannot tell"
    assert judge(USED_UP, build(hours={("heating", 1, "1"): 1.9}))[0].result == "cannot tell"
    assert judge(USED_UP, build(hours={("heating", 1, "1"): 2.0}))[0].result == "not found"
