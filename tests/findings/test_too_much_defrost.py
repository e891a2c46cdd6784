"""Too much defrost: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import MINUTE

CODE = "too-much-defrost"
PUMP = {"kind": "heat_pump", "has_burner": False, "has_heat_pump": True}
ROLES = ["supply_temp", "output_y1", "outdoor_temp"]


def hours(h):
    return {("cooling", 1, "1"): 0.0, ("heating", 1, "1"): h}


def defrosts(at, n, run_s=1500.0, length_s=600.0, first=0, **changes):
    made = []
    for k in range(first, first + n):
        ts = at(k % 7, "00:00") + (k // 7) * 60 * MINUTE
        made.append(
            {
                "start_ts": ts,
                "end_ts": ts + int(length_s * 1e6),
                "length_s": length_s,
                "basis": "supply",
                "outdoor_f": 30.0,
                "run_s": run_s,
                "is_long": length_s > 900,
                "is_closed": True,
                "in_visit": False,
            }
            | changes
        )
    return made


def site(build, rows, heat_h=30.0, **more):
    rows = sorted(rows, key=lambda r: r["start_ts"])
    if rows:  # how long before the first one is not known
        rows[0] = rows[0] | {"run_s": 9999.0, "is_long": False}
    time = [
        {
            "class": "heating",
            "source": "compressor",
            "stage": 1,
            "n_zones": 1,
            "zones": "1",
            "s": heat_h * 3600,
            "outside_visit_s": heat_h * 3600,
        }
    ]
    tables = {"interval.defrost": rows, "measure.condition_time": time}
    return build(tables, equipment=more.pop("equipment", PUMP), roles=ROLES, **more)


# five of them besides the first, of which nothing is known
@pytest.mark.parametrize(("n", "result"), [(5, "not found"), (6, "found")])
def test_at_the_least_number(build, judge, at, n, result):
    assert judge(CODE, site(build, defrosts(at, n)))[0].result == result


@pytest.mark.parametrize(("run_s", "result"), [(2099.0, "found"), (2100.0, "not found")])
def test_too_soon(build, judge, at, run_s, result):
    assert judge(CODE, site(build, defrosts(at, 8, run_s)))[0].result == result


@pytest.mark.parametrize(("length_s", "result"), [(900.0, "not found"), (901.0, "found")])
def test_too_long(build, judge, at, length_s, result):
    assert judge(CODE, site(build, defrosts(at, 8, 5400.0, length_s)))[0].result == result


# 6 bad ones in 40 h are 0.15 an hour
@pytest.mark.parametrize(("heat_h", "result"), [(40.0, "found"), (40.1, "not found")])
def test_rate(build, judge, at, heat_h, result):
    assert judge(CODE, site(build, defrosts(at, 7), heat_h))[0].result == result


# 6 bad ones of 30 seen are a fifth, of 31 less
@pytest.mark.parametrize(("n_fine", "result"), [(23, "found"), (24, "not found")])
def test_share(build, judge, at, n_fine, result):
    rows = defrosts(at, 7) + defrosts(at, n_fine, 5400.0, first=7)
    assert judge(CODE, site(build, rows))[0].result == result


@pytest.mark.parametrize("changes", [{"basis": "heat pulse"}, {"in_visit": True}])
def test_what_does_not_count(build, judge, at, changes):
    assert judge(CODE, site(build, defrosts(at, 9, **changes)))[0].result == "not found"


# 20 whole ones, each after one that a call's end cut off, and some after a whole one: of these
# too soon are none, four of ten, five of ten
@pytest.mark.parametrize(("n_soon", "result"), [(0, "not found"), (4, "not found"), (5, "found")])
def test_the_next_after_one_that_was_cut_off_counts_if_others_come_as_soon(
    build, judge, at, n_soon, result
):
    rows = sorted(defrosts(at, 50), key=lambda r: r["start_ts"])
    # 30 alternate, cut off and whole; then 10 whole ones in a row after the last whole one
    for k, r in enumerate(rows):
        r["is_closed"] = k % 2 == 1 or k >= 40
        if k >= 40:
            r["run_s"] = 1500.0 if k < 40 + n_soon else 9000.0
    assert judge(CODE, site(build, rows, heat_h=30.0))[0].result == result


def test_one_clock_is_named_first(build, judge, at):
    judged, finding = judge(CODE, site(build, defrosts(at, 8)))
    assert "8 defrosts in 30 hours of compressor heat, 7 after less than 35 min" in judged.why
    assert finding.causes[0].because == (
        "All 7 early defrosts came about 25 min of compressor heat after the last."
    )
    assert "they end by the clock" in finding.causes[1].because
    assert (finding.severity, finding.certainty) == ("plan", "likely")


@pytest.mark.parametrize("more", [{"equipment": {}}, {"heat_h": 0.1}, {"coverage": 0.4}])
def test_cannot_tell(build, judge, at, more):
    assert judge(CODE, site(build, defrosts(at, 9), **more))[0].result == "cannot tell"
