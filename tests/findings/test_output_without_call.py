"""Output on with no call: found, not found, cannot tell, and its severity."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "output-without-call"


def stretch(at, day, clock, minutes=15, **changes):
    ts = at(day, clock)
    return {
        "what": "cooling",
        "on_ts": ts,
        "start_ts": ts,
        "end_ts": ts + minutes * MINUTE,
        "length_s": minutes * 60.0,
        "is_uncalled": True,
        "in_visit": False,
    } | changes


def site(build, rows, ran=True, **more):
    """With `ran`, cooling ran with a call until each stretch began."""
    before = [
        {
            "start_ts": r["on_ts"] - MINUTE,
            "end_ts": r["on_ts"],
            "class": "cooling",
            "n_zones": 1,
        }
        for r in rows
        if ran
    ]
    return build({"interval.output_uncalled": rows, "interval.condition": before}, **more)


@pytest.mark.parametrize(
    ("days", "severity"), [((0,), "watch"), ((0, 0, 0), "watch"), ((0, 0, 1), "plan")]
)
def test_severity(build, judge, at, days, severity):
    rows = [stretch(at, d, f"1{n}:00") for n, d in enumerate(days)]
    assert judge(CODE, site(build, rows))[1].severity == severity


def test_lets_go_late(build, judge, at):
    judged, finding = judge(CODE, site(build, [stretch(at, d, "15:00") for d in range(3)]))
    assert judged.why == (
        "Cooling stayed on with no zone calling 3 times in 60 hours of heat and cooling, 15 min "
        "each, 45 min in all."
    )
    assert finding.causes[0].cause.startswith("A contactor or relay that sticks")
    assert any("fed past the panel" in text for text in finding.ruled_out)


def test_with_no_call_before_it_is_fed_by_something_else(build, judge, at):
    rows = [stretch(at, d, "15:00") for d in range(3)]
    _, finding = judge(CODE, site(build, rows, ran=False))
    assert any(c.cause.startswith("It is fed by something else") for c in finding.causes)


# 14 and 16 min lie 60 s from 15; 13 min lies 120 s away
@pytest.mark.parametrize(("first", "alike"), [(14, True), (13, False)])
def test_a_timer_makes_them_alike(build, judge, at, first, alike):
    rows = [stretch(at, d, "15:00", m) for d, m in enumerate((first, 15, 16))]
    _, finding = judge(CODE, site(build, rows))
    timer = next(c for c in finding.causes if c.cause.startswith("Something holds it"))
    assert ("all 3 such stretches lasted" in timer.because.lower()) is alike


@pytest.mark.parametrize("changes", [{"is_uncalled": False}, {"in_visit": True}, {"what": "fan"}])
def test_not_found(build, judge, at, changes):
    judged, _ = judge(CODE, site(build, [stretch(at, 0, "15:00", **changes)]))
    assert judged.why == "Never without a normal reason for it, in 60 hours of heat and cooling."


def test_cannot_tell(build, judge):
    assert judge(CODE, site(build, [], hours={("heating", 1, "1"): 0.1}))[0].result == "cannot tell"
    assert judge(CODE, site(build, [], coverage=0.4))[0].result == "cannot tell"
