"""Furnace and heat pump heating at once: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "both-fuels"
DUAL = {"kind": "dual_fuel", "has_heat_pump": True}


def both(at, day, clock, minutes=5, **changes):
    ts = at(day, clock)
    return {
        "start_ts": ts,
        "end_ts": ts + minutes * MINUTE,
        "length_s": minutes * 60.0,
        "is_changeover": True,
        "in_defrost": False,
        "is_over": True,
        "outdoor_f": 28.0,
        "zones": "1",
        "in_visit": False,
    } | changes


def site(build, rows, **more):
    return build({"interval.both_fuels": rows}, equipment=more.pop("equipment", DUAL), **more)


# 3 a week on 2 days are planned for
@pytest.mark.parametrize(
    ("days", "severity"), [((0,), "watch"), ((0, 0, 0), "watch"), ((0, 0, 1), "plan")]
)
def test_severity(build, judge, at, days, severity):
    rows = [both(at, d, f"0{n}:00") for n, d in enumerate(days)]
    _, finding = judge(CODE, site(build, rows))
    assert finding.severity == severity


def test_says_how_often_and_points_to_the_timer(build, judge, at):
    rows = [both(at, d, "06:00") for d in range(3)]
    judged, finding = judge(CODE, site(build, rows))
    assert judged.why == (
        "Furnace and heat pump heated together 3 times in 40 hours of heat, 5 min each, 15 min in "
        "all, outdoor air 28 °F."
    )
    assert finding.causes[0].because == (
        "All 3 overlaps came where one fuel took over from the other, each 5 min long, as a timer "
        "makes "
        "them."
    )
    assert any("defrost control" in text for text in finding.ruled_out)


def test_together_whenever_gas_heats_is_a_wire(build, judge, at):
    # 40 h of gas; 8 of 10 h each on four days together
    rows = [both(at, d, "00:00", 600, is_changeover=False) for d in range(4)]
    _, finding = judge(CODE, site(build, rows))
    wire = next(c for c in finding.causes if c.cause.startswith("W and Y joined"))
    assert wire.because.endswith("whenever the furnace heats.")


def test_defrosts_point_to_the_defrost_control(build, judge, at):
    rows = [both(at, d, "06:00", 20, in_defrost=True) for d in range(3)]
    _, finding = judge(CODE, site(build, rows))
    assert finding.causes[0].cause.startswith("The defrost control")


@pytest.mark.parametrize("changes", [{"is_over": False}, {"in_visit": True}])
def test_not_found(build, judge, at, changes):
    judged, _ = judge(CODE, site(build, [both(at, 0, "06:00", **changes)]))
    assert (judged.result, judged.why) == (
        "not found",
        "Never together for longer than a changeover takes, in 40 hours of heat.",
    )


@pytest.mark.parametrize(
    "more", [{"equipment": {}}, {"hours": {("cooling", 1, "1"): 20.0}}, {"coverage": 0.4}]
)
def test_cannot_tell(build, judge, more):
    assert judge(CODE, site(build, [], **more))[0].result == "cannot tell"
