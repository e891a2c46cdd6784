"""No defrost: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "no-defrost"
PUMP = {"kind": "heat_pump", "has_burner": False, "has_heat_pump": True}
ROLES = ["supply_temp", "output_y1", "outdoor_temp"]


def runs(at, n=8, hours=1.0, over=(20.0, 12.0), **changes):
    """One run every two hours from Monday midnight; supply over return from first to last."""
    made = []
    for k in range(n):
        ts = at(0, "00:00") + k * 120 * MINUTE
        made.append(
            {
                "source": "compressor",
                "mode": "heating",
                "start_ts": ts,
                "end_ts": ts + int(hours * 60 * MINUTE),
                "outside_s": hours * 3600,
                "over_return_f": over[0] if k < n / 2 else over[1],
                "outdoor_f": 30.0,
            }
            | changes
        )
    return made


def defrost(at, clock, **changes):
    ts = at(0, clock)
    return {
        "start_ts": ts,
        "end_ts": ts + 5 * MINUTE,
        "basis": "supply",
        "in_visit": False,
    } | changes


def site(build, rows, defrosts=(), **more):
    tables = {"interval.source_response": rows, "interval.defrost": list(defrosts)}
    return build(tables, equipment=more.pop("equipment", PUMP), roles=ROLES, **more)


# 8 runs: six hours of compressor heat
@pytest.mark.parametrize(("hours", "result"), [(0.749, "cannot tell"), (0.75, "found")])
def test_at_the_time(build, judge, at, hours, result):
    assert judge(CODE, site(build, runs(at, hours=hours)))[0].result == result


@pytest.mark.parametrize(
    ("outdoor_f", "result"),
    [(19.9, "cannot tell"), (20.0, "found"), (38.0, "found"), (38.1, "cannot tell")],
)
def test_at_the_edges_of_frost_weather(build, judge, at, outdoor_f, result):
    assert judge(CODE, site(build, runs(at, outdoor_f=outdoor_f)))[0].result == result


def test_a_defrost_between_is_seen(build, judge, at):
    # 8 h of such heat, one defrost after 4 h
    judged, _ = judge(CODE, site(build, runs(at), [defrost(at, "07:30")]))
    assert judged.result == "not found"
    assert judged.why.startswith("1 defrost; never more than 4 hours of compressor heat between")


def test_where_defrosts_are_seen_regularly_a_missed_one_is_none(build, judge, at):
    # 12 h with one at the start: 11 h follow with none; two are one in six hours, as often as asked
    rows = runs(at, 12)
    assert judge(CODE, site(build, rows, [defrost(at, "00:10")]))[0].result == "found"
    two = [defrost(at, "00:10"), defrost(at, "00:30")]
    assert judge(CODE, site(build, rows, two))[0].result == "not found"
    # a control that waits for frost: one in twelve hours will do, one in thirteen will not
    assert judge(CODE, site(build, runs(at, 24), two))[0].result == "not found"
    assert judge(CODE, site(build, runs(at, 26), two))[0].result == "found"


def test_sinking_heat_speaks_against_dry_air(build, judge, at):
    for last_f, sinks in ((17.0, True), (17.1, False)):  # 3 °F is the least
        _, finding = judge(CODE, site(build, runs(at, over=(20.0, last_f))))
        dry = next(c for c in finding.causes if c.cause.startswith("Air so dry"))
        assert ("did sink" in dry.because) is sinks


def test_sentence(build, judge, at):
    judged, finding = judge(CODE, site(build, runs(at)))
    assert judged.why == (
        "No defrost seen in 8 hours of compressor heat on end at 20 °F to 38 °F outdoors."
    )
    assert (finding.severity, finding.certainty) == ("plan", "likely")
    assert "20 °F over return air at first and 12 °F at the end" in finding.causes[0].because


def test_cannot_tell(build, judge, at):
    assert judge(CODE, site(build, runs(at), equipment={}))[0].result == "cannot tell"
    assert judge(CODE, site(build, runs(at), coverage=0.4))[0].result == "cannot tell"
