"""Static hunting: stretches that the measure calls so; severity by share of running time."""

import pytest

CODE = "static-hunting"
H = 3600.0


def stretch(at, day=0, hours=1.0, n_turn=40, **changes):
    start = at(day, "06:00")
    return {
        "start_ts": start,
        "end_ts": start + int(hours * H * 1e6),
        "length_s": hours * H,
        "n_turn": n_turn,
        "per_hour": n_turn / hours,
        "swing_inwc": 0.2,
        "class": "heating",
        "stage": 1,
        "zones": "3",
        "is_hunting": True,
        "in_visit": False,
    } | changes


def openings(at, n, day=0):
    return [
        {"zone": 1, "start_ts": at(day, f"06:{i:02d}"), "end_ts": at(day, f"06:{i:02d}:30")}
        for i in range(n)
    ]


def case(*rows, relief=()):
    return {"measure.static_hunting": rows, "interval.relief": relief}


def test_found_with_relief_moving(build, judge, at):
    # 40 turns: a relief damper that brings them about opens 20 times
    judged, finding = judge(CODE, build(case(stretch(at), relief=openings(at, 20))))
    assert judged.result == "found"
    assert finding.severity == "watch"
    assert "0.20 in. w.c. for 1 hour in 60 hours" in finding.summary
    assert "turning about 40 times an hour" in finding.summary
    assert finding.causes[0].cause.startswith("Relief opens and closes again")


def test_the_pace_is_of_all_and_the_span_of_the_longest(build, judge, at):
    # 40 + 20 turns in 1 + 3 hours; the longest begins at 06:00 on day 2, a Wednesday
    rows = [stretch(at), stretch(at, day=2, hours=3.0, n_turn=20, zones="2", per_hour=20 / 3)]
    _, finding = judge(CODE, build(case(*rows)))
    assert "for 4 hours" in finding.summary and "about 15 times an hour" in finding.summary
    assert "Longest Wed 6:00 am to 9:00 am, Primary bedroom alone" in finding.summary


@pytest.mark.parametrize(
    ("n_open", "cause"),
    # half of every second turn of 40 are 10
    [(9, "A bypass"), (10, "Relief opens"), (11, "Relief opens"), (0, "A bypass")],
)
def test_relief_openings(build, judge, at, n_open, cause):
    _, finding = judge(CODE, build(case(stretch(at), relief=openings(at, n_open))))
    assert finding.causes[0].cause.startswith(cause)
    assert bool(finding.ruled_out) == (n_open == 0)


@pytest.mark.parametrize(
    ("hours", "severity"),
    # a twentieth of 60 h
    [(2.9, "watch"), (3.0, "plan"), (3.1, "plan")],
)
def test_severity(build, judge, at, hours, severity):
    assert judge(CODE, build(case(stretch(at, hours=hours))))[1].severity == severity


# hunting is faster than 6 turns an hour
@pytest.mark.parametrize("left_out", [{"per_hour": 6.0}, {"in_visit": True}])
def test_not_found(build, judge, at, left_out):
    assert judge(CODE, build(case(stretch(at, **left_out))))[0].result == "not found"


@pytest.mark.parametrize(("n", "result"), [(9, "not found"), (10, "found"), (11, "found")])
def test_short_runs_add_up_to_half_an_hour(build, judge, at, n, result):
    runs = [stretch(at, day=i % 4, hours=0.05, n_turn=4, is_hunting=False) for i in range(n)]
    assert judge(CODE, build(case(*runs)))[0].result == result


@pytest.mark.parametrize(("h", "result"), [(1.9, "cannot tell"), (2.0, "not found")])
def test_too_little_time(build, judge, h, result):
    assert judge(CODE, build(hours={("heating", 1, "1"): h}))[0].result == result


def test_cannot_tell_without_static(build, judge):
    assert judge(CODE, build(roles=["output_w1", "zone_call_w1"]))[0].result == "cannot tell"
