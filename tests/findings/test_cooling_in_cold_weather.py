"""Cooling in cold weather: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "cooling-in-cold-weather"
ROLES = ["output_y1", "outdoor_temp", "zone_call_y1"]


def run(at, day, minutes=60, outdoor_f=50.0, **changes):
    ts = at(day, "14:00")
    return {
        "source": "compressor",
        "mode": "cooling",
        "called": "cooling",
        "start_ts": ts,
        "end_ts": ts + minutes * MINUTE,
        "on_s": minutes * 60.0,
        "outdoor_f": outdoor_f,
        "in_visit": False,
    } | changes


def site(build, at, rows, **more):
    calls = [{"start_ts": at(0, "00:00"), "end_ts": at(6, "00:00"), "cool_zones": "3"}]
    tables = {"interval.source_response": rows, "interval.condition": calls}
    return build(tables | more.pop("tables", {}), roles=ROLES, **more)


@pytest.mark.parametrize(("minutes", "result"), [(59, "not found"), (60, "found")])
def test_an_hour(build, judge, at, minutes, result):
    assert judge(CODE, site(build, at, [run(at, 0, minutes)]))[0].result == result


# 60 °F less the sensor's 1 °F
@pytest.mark.parametrize(("outdoor_f", "result"), [(58.9, "found"), (59.0, "not found")])
def test_at_the_temperature(build, judge, at, outdoor_f, result):
    assert judge(CODE, site(build, at, [run(at, 0, 60, outdoor_f)]))[0].result == result


def test_sentence_and_opposed_zones(build, judge, at):
    opposed = [{"start_ts": at(d, "13:00"), "end_ts": at(d, "16:00")} for d in range(2)]
    rows = [run(at, d) for d in range(2)]
    tables = {"interval.opposing_call": opposed}
    judged, finding = judge(CODE, site(build, at, rows, tables=tables))
    assert judged.why == (
        "The compressor cooled in cold weather twice in 2 hours of cooling, 60 min each, 2 hours "
        "in all, outdoor air 50 °F."
    )
    assert finding.severity == "watch"
    assert finding.causes[0].cause.startswith("Setpoints of neighbours overlap")
    assert "every time with Bedroom over garage alone calling" in finding.causes[1].because


@pytest.mark.parametrize(
    "changes", [{"in_visit": True}, {"mode": "heating"}, {"outdoor_f": None}, {"called": "heating"}]
)
def test_cannot_tell(build, judge, at, changes):
    assert judge(CODE, site(build, at, [run(at, 0, **changes)]))[0].result == "cannot tell"
