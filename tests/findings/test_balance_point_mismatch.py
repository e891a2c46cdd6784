"""Wrong fuel for the weather: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import HOUR, local_date

CODE = "balance-point-mismatch"
DUAL = {"kind": "dual_fuel", "has_heat_pump": True}
POINTS = {"low_balance_f": 30.0, "high_balance_f": 45.0}
ROLES = ["output_y1", "output_w1", "outdoor_temp"]


def start(at, day, clock, source, outdoor_f, **changes):
    ts = at(day, clock)
    return {
        "source": source,
        "start_ts": ts,
        "end_ts": ts + HOUR // 2,
        "on_s": 1800.0,
        "is_first": True,
        "outdoor_f": outdoor_f,
        "outdoor_low_f": outdoor_f,
        "outdoor_high_f": outdoor_f,
        "low_balance_f": 30.0,
        "high_balance_f": 45.0,
        "result": "in order",
        "day": local_date(ts),
        "in_visit": False,
    } | changes


def site(build, rows, settings=POINTS, **more):
    tables = {"measure.balance": rows, **more.pop("tables", {})}
    return build(
        tables, settings=settings, equipment=more.pop("equipment", DUAL), roles=ROLES, **more
    )


def mild_gas(at, n, outdoor_f=36.0):
    """Gas beginning at 36 °F on two days, compressor heat at 38 °F."""
    gas = [start(at, d % 2, f"0{d}:00", "burner", outdoor_f) for d in range(n)]
    return gas + [start(at, 3, f"1{d}:00", "compressor", 38.0) for d in range(5)]


def test_gas_in_mild_weather_tells_where_it_changes_over(build, judge, at):
    judged, finding = judge(CODE, site(build, mild_gas(at, 5)))
    assert finding.severity == "plan"
    assert (
        "gas began the heating 5 times at 36 °F outdoors, when the heat pump should" in judged.why
    )
    assert "changes over at 38 °F by the logger" in finding.causes[0].because
    assert "the site sheet says 30 °F; all 10 starts fit that" in finding.causes[0].because
    assert any("sun" in text for text in finding.ruled_out)


@pytest.mark.parametrize(("n", "result"), [(4, "not found"), (5, "found")])
def test_at_the_least_number_of_starts(build, judge, at, n, result):
    assert judge(CODE, site(build, mild_gas(at, n)))[0].result == result


# low point 30, margin 2 and sensor 1: gas is wrong above 33
@pytest.mark.parametrize(("outdoor_f", "result"), [(33.0, "not found"), (33.1, "found")])
def test_at_the_margin(build, judge, at, outdoor_f, result):
    assert judge(CODE, site(build, mild_gas(at, 5, outdoor_f)))[0].result == result


# gas 120 s after the compressor takes over from it; 121 s after it begins anew
@pytest.mark.parametrize(("gap_s", "result"), [(120, "not found"), (121, "found")])
def test_backup_that_takes_over_begins_nothing(build, judge, at, gap_s, result):
    rows = []
    for n in range(5):
        pump = start(at, n % 2, f"0{n}:00", "compressor", 36.0)
        gas = start(at, n % 2, f"0{n}:00", "burner", 36.0)
        gas["start_ts"] = pump["end_ts"] + gap_s * 1_000_000
        gas["end_ts"] = gas["start_ts"] + HOUR // 2
        rows += [pump, gas]
    assert judge(CODE, site(build, rows))[0].result == result


def test_one_fuel_only_is_a_lockout(build, judge, at):
    rows = [start(at, d % 2, f"0{d}:00", "burner", 40.0) for d in range(6)]
    _, finding = judge(CODE, site(build, rows))
    assert finding.causes[0].cause.startswith("One fuel is locked out")
    assert "gas began all 6 heating runs" in finding.causes[0].because.lower()


def test_heat_pump_below_its_point_by_day_may_be_sun(build, judge, at):
    rows = [
        start(at, d % 2, f"1{d}:00", "compressor", 20.0, result="below the low point")
        for d in range(5)
    ]
    rows.append(start(at, 4, "05:00", "burner", 20.0))
    _, finding = judge(CODE, site(build, rows))
    sun = next(c for c in finding.causes if c.cause.startswith("Sun"))
    assert sun.because.startswith("All 5 such starts came between 9 am and 6 pm")


def test_days_on_emergency_heat_are_left_out(build, judge, at):
    day = {"day": local_date(at(0, "00:00")), "is_called": True}
    other = {"day": local_date(at(1, "00:00")), "is_emergency_heat": True}
    frames = {"measure.heat_day": [day, other]}
    assert judge(CODE, site(build, mild_gas(at, 6), tables=frames))[0].result == "not found"


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (
            {"settings": {}},
            "The site file gives no balance point to hold the fuels against; gas began around",
        ),
        ({"equipment": {}}, "There is no heat pump"),
        ({"coverage": 0.4}, "The channels it needs were logged together only 40 %"),
    ],
)
def test_cannot_tell(build, judge, at, more, why):
    judged, _ = judge(CODE, site(build, mild_gas(at, 6), **more))
    assert judged.result == "cannot tell"
    assert judged.why.startswith(why)
