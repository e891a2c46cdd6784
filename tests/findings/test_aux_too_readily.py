"""Strip heat in mild weather: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "aux-too-readily"
PUMP = {"kind": "heat_pump", "has_burner": False, "has_heat_pump": True}
NO_TEMPER = {**PUMP, "defrost_heat_from": "none"}
ROLES = ["output_y1", "output_aux", "outdoor_temp"]
SECOND = 1_000_000


def build_site(build, at, waits, on_s=300.0, equipment=NO_TEMPER, result=None, **more):
    """Strip heat that many seconds after the compressor, day by day, at 40 °F outdoors."""
    starts, runs = [], []
    for n, wait in enumerate(waits):
        y = at(n % 7, f"{6 + n // 7:02d}:00")
        runs.append({"source": "compressor", "start_ts": y, "end_ts": y + 50 * MINUTE})
        starts.append(
            {
                "source": "strip",
                "start_ts": y + int(wait * SECOND),
                "end_ts": y + int((wait + on_s) * SECOND),
                "on_s": on_s,
                "outdoor_f": 40.0,
                "result": result or "above the high point",
                "in_visit": False,
            }
        )
    tables = {"measure.balance": starts, "interval.source_run": runs}
    settings = more.pop("settings", {"high_balance_f": 30.0})
    return build(tables, equipment=equipment, roles=ROLES, settings=settings, **more)


@pytest.mark.parametrize(("n", "result"), [(2, "not found"), (3, "found")])
def test_at_the_least_number(build, judge, at, n, result):
    assert judge(CODE, build_site(build, at, [60] * n))[0].result == result


def test_says_what_the_point_is(build, judge, at):
    judged, finding = judge(CODE, build_site(build, at, [60, 120, 200]))
    assert judged.why == (
        "Strip heat came on above the high balance point 3 times in 40 hours of heat, 5 min each, "
        "15 min in all, outdoor air 40 °F."
    )
    assert finding.causes[0].because == (
        "Strip heat came on up to 40 °F outdoors, the high balance point is 30 °F."
    )
    assert "all 3 starts came within 5 min of the compressor" in finding.causes[1].because.lower()


@pytest.mark.parametrize(("wait", "late"), [(1200, False), (1201, True)])
def test_a_weak_heat_pump_runs_long_before(build, judge, at, wait, late):
    _, finding = judge(CODE, build_site(build, at, [wait] * 3))
    weak = next(c for c in finding.causes if c.cause.startswith("A heat pump"))
    assert ("all 3" in weak.because) is late


# where strip heat may temper a defrost, short starts count only if a quarter of them, three at
# least, lie within 30 s of each other
@pytest.mark.parametrize(
    ("waits", "result"),
    [
        ([100, 115, 130], "found"),
        ([100, 115, 131], "not found"),
        ([100, 115, 130, *range(200, 1100, 100)], "found"),  # 3 of 12
        ([100, 115, 130, *range(200, 1200, 100)], "not found"),  # 3 of 13
    ],
)
def test_tempering_a_defrost_comes_at_any_age(build, judge, at, waits, result):
    assert judge(CODE, build_site(build, at, waits, equipment=PUMP))[0].result == result


# longer than a defrost may last it tempers none
@pytest.mark.parametrize(("on_s", "result"), [(900.0, "not found"), (901.0, "found")])
def test_longer_than_a_defrost(build, judge, at, on_s, result):
    site = build_site(build, at, [100, 400, 700], on_s, equipment=PUMP)
    assert judge(CODE, site)[0].result == result


def test_in_order_is_not_found(build, judge, at):
    judged, _ = judge(CODE, build_site(build, at, [60] * 5, result="in order"))
    assert judged.why == "None of 5 strip-heat starts came above the high balance point."


@pytest.mark.parametrize("more", [{"settings": {}}, {"equipment": {}}, {"coverage": 0.4}])
def test_cannot_tell(build, judge, at, more):
    assert judge(CODE, build_site(build, at, [60] * 5, **more))[0].result == "cannot tell"
    assert judge(CODE, build_site(build, at, []))[0].result == "cannot tell"
