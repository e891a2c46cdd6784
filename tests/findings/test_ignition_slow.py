"""Slow or failed ignition: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "ignition-slow"


def run(at, day, n, to_heat_s, **changes):
    """A quarter of an hour of W, one of many on a day; logged every 10 s."""
    ts = at(day, "00:00") + n * 25 * MINUTE
    return {
        "source": "burner",
        "start_ts": ts,
        "end_ts": ts + 15 * MINUTE,
        "on_s": 900.0,
        "has_start": True,
        "known_s": 900.0,
        "to_heat_s": to_heat_s,
        "outdoor_f": 20.0,
        "in_visit": False,
    } | changes


def starts(at, n_slow, n_quick, slow_s=300.0, **changes):
    slow = [run(at, 0, n, slow_s, **changes) for n in range(n_slow)]
    return slow + [run(at, 1 + n // 50, n % 50, 90.0, outdoor_f=30.0) for n in range(n_quick)]


def site(build, rows, **more):
    return build({"interval.source_response": rows}, **more)


# three starts; 3 of 100 are 3 %, 3 of 101 are less
@pytest.mark.parametrize(
    ("n_slow", "n_quick", "result"),
    [(2, 10, "not found"), (3, 97, "found"), (3, 98, "not found")],
)
def test_at_least_number_and_share(build, judge, at, n_slow, n_quick, result):
    assert judge(CODE, site(build, starts(at, n_slow, n_quick)))[0].result == result


# 180 s and one reading of 10 s
@pytest.mark.parametrize(("slow_s", "result"), [(190.0, "not found"), (190.1, "found")])
def test_at_the_time(build, judge, at, slow_s, result):
    assert judge(CODE, site(build, starts(at, 3, 10, slow_s)))[0].result == result


# supply air has no step to show while the plenum is warm from a run that ended under 5 min ago
@pytest.mark.parametrize(("rest_s", "result"), [(299, "not found"), (300, "found")])
def test_a_start_soon_after_the_last_run_is_not_judged(build, judge, at, rest_s, result):
    quick = starts(at, 0, 30)
    slow = [
        run(at, 1 + n // 50, n % 50, 300.0)
        | {
            "start_ts": r["end_ts"] + rest_s * MINUTE // 60,
            "end_ts": r["end_ts"] + 20 * MINUTE,
        }
        for n, r in enumerate(quick[:4])
    ]
    assert judge(CODE, site(build, quick + slow))[0].result == result


# W for 5 min and no warm air is a failed start
@pytest.mark.parametrize(("on_s", "result"), [(299.0, "not found"), (300.0, "found")])
def test_a_start_that_never_warms(build, judge, at, on_s, result):
    rows = starts(at, 3, 10, None, on_s=on_s)
    judged, _ = judge(CODE, site(build, rows))
    assert judged.result == result
    if result == "found":
        assert "three of them never while W was on" in judged.why


@pytest.mark.parametrize(("n_quick", "severity"), [(12, "plan"), (13, "watch")])
def test_a_fifth_is_planned_for(build, judge, at, n_quick, severity):
    # 3 of 15 are a fifth, 3 of 16 are less
    _, finding = judge(CODE, site(build, starts(at, 3, n_quick)))
    assert finding.severity == severity


def test_reasons(build, judge, at):
    judged, finding = judge(CODE, site(build, starts(at, 3, 12)))
    assert judged.why == (
        "3 of 15 furnace starts were slow: more than 3 min from W to warm air, usually 1.5 min."
    )
    assert finding.causes[0].cause.startswith("Tries that fail")
    # 20 °F at these starts, 30 °F at all: colder by more than 5
    cold = next(c for c in finding.causes if c.cause.startswith("Cold or wind"))
    assert "typically 20 °F, at all starts 30 °F" in cold.because


@pytest.mark.parametrize(
    ("rows_of", "more"),
    [
        ({"in_visit": True}, {}),
        ({"has_start": False}, {}),
        ({}, {"equipment": {"has_burner": False}}),
        ({}, {"resolution_s": 91.0}),
    ],
)
def test_cannot_tell(build, judge, at, rows_of, more):
    rows = starts(at, 3, 0, **rows_of)
    assert judge(CODE, site(build, rows, **more))[0].result == "cannot tell"


# supply that never fell enough to rise: as hot as lit starts bring it, or not
@pytest.mark.parametrize(("over_f", "result"), [(25.0, "not found"), (24.9, "found")])
def test_a_start_under_hot_supply_was_lit(build, judge, at, over_f, result):
    dark = [run(at, 0, n, None, over_return_f=over_f) for n in range(4)]
    lit = [run(at, 1 + n // 50, n % 50, 90.0, over_return_f=50.0) for n in range(30)]
    assert judge(CODE, site(build, dark + lit))[0].result == result
