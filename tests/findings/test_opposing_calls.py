"""Heat and cooling called for at once: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "opposing-calls"


def both(at, day, clock, minutes=30, **changes):
    ts = at(day, clock)
    return {
        "start_ts": ts,
        "end_ts": ts + minutes * MINUTE,
        "length_s": minutes * 60.0,
        "is_long": minutes > 20,
        "heat_zones": "1",
        "cool_zones": "3",
        "heat_waits_s": 0.0,
        "cool_waits_s": minutes * 60.0,
        "in_visit": False,
    } | changes


def flips(at, per_day, days):
    """Heating and cooling in turn from noon: so many changes on each of the days."""
    return [
        {
            "start_ts": at(d, "12:00") + n * 10 * MINUTE,
            "end_ts": at(d, "12:00") + (n + 1) * 10 * MINUTE,
            "class": "cooling" if n % 2 else "heating",
            "in_visit": False,
        }
        for d in days
        for n in range(per_day + 1)
    ]


@pytest.mark.parametrize(
    ("days", "severity"), [((0,), "watch"), ((0, 0, 0), "watch"), ((0, 0, 1), "plan")]
)
def test_severity(build, judge, at, days, severity):
    rows = [both(at, d, f"0{n}:00") for n, d in enumerate(days)]
    assert judge(CODE, build({"interval.opposing_call": rows}))[1].severity == severity


def test_sentence_and_causes(build, judge, at):
    rows = [both(at, d, "11:00") for d in range(3)]
    judged, finding = judge(CODE, build({"interval.opposing_call": rows}))
    assert judged.why == (
        "Zones called for heat and cooling against each other 3 times, 30 min each, 1.5 hours in "
        "all, the "
        "longest Main floor against Bedroom over garage."
    )
    assert finding.causes[0].cause.startswith("Setpoints of neighbours overlap")
    sun = next(c for c in finding.causes if c.cause.startswith("Sun"))
    assert sun.because == "All 3 cases began between 10 am and 5 pm."


# mode to and fro: more than 6 changes on each of two days makes short ones count
@pytest.mark.parametrize(
    ("per_day", "days", "result"),
    [(6, (0, 1), "not found"), (7, (0, 1), "found"), (7, (0,), "not found")],
)
def test_to_and_fro(build, judge, at, per_day, days, result):
    tables = {
        "interval.opposing_call": [both(at, 0, "12:00", 5)],
        "interval.condition": flips(at, per_day, days),
    }
    judged, finding = judge(CODE, build(tables))
    assert judged.result == result
    if finding:
        assert "On 2 days it changed between heat and cooling more than 6 times" in finding.summary


@pytest.mark.parametrize("changes", [{"is_long": False}, {"in_visit": True}])
def test_not_found(build, judge, at, changes):
    judged, _ = judge(CODE, build({"interval.opposing_call": [both(at, 0, "06:00", **changes)]}))
    assert judged.why == "Never for longer than 20 min together."


def test_cannot_tell(build, judge):
    assert judge(CODE, build(hours={("heating", 1, "1"): 0.1}))[0].result == "cannot tell"
    assert judge(CODE, build(coverage=0.4))[0].result == "cannot tell"
