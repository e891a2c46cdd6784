"""Low-limit trips: the mirror in cooling."""

import pytest

CODE = "low-limit-trips"
HOURS = {("cooling", 1, "1"): 30.0, ("cooling", 1, "3"): 4.0}


def cold(trip, ts, **changes):
    low = {
        "kind": "low",
        "source": "compressor",
        "peak_f": 41.0,
        "limit_f": 42.0,
        "stage": 1,
        "stage2_before_s": None,
        "outdoor_f": 85.0,
    }
    return trip(ts, **(low | changes))


def test_found_with_sentence(build, judge, trip, at):
    rows = [cold(trip, at(d, "15:10")) for d in range(3)]
    judged, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    assert judged.result == "found"
    assert finding.severity == "plan"  # 3 on three days; 8.8 per 100 hours
    assert finding.summary == (
        "The panel's low limit shut the cooling off 3 times in 34 hours of cooling, every time "
        "with Bedroom over garage calling alone on first stage: on 3 days, first Mon 3:10 pm, last "
        "Wed 3:10 pm. Supply air was down to 41 °F (limit set to 42 °F), static 0.80 in. w.c."
    )
    assert finding.causes[0].cause.startswith("Too little air over the coil")
    assert "Not cold weather: outdoor air at the trips was 85 °F." in finding.ruled_out
    assert finding.causes[-1].cause == "Refrigerant side."


def test_heating_trips_are_not_low_limit_trips(build, judge, trip, at):
    judged, _ = judge(CODE, build({"measure.trip_context": [trip(at(1, "06:42"))]}, hours=HOURS))
    assert judged.result == "not found"
    assert judged.why == "No trip in 34 hours of cooling."


def test_no_cooling_cannot_tell(build, judge):
    judged, _ = judge(CODE, build(hours={("heating", 1, "1"): 60.0}))
    assert judged.result == "cannot tell"


def test_cooling_calls_not_logged_cannot_tell(build, judge):
    judged, _ = judge(CODE, build(roles=["supply_temp", "output_y1", "zone_call_w1"]))
    assert judged.result == "cannot tell"
    assert judged.why == "Not logged: the zones' cooling or compressor calls."


@pytest.mark.parametrize(("outdoor_f", "first"), [(59.9, True), (60.0, False)])
def test_cold_weather_at_its_threshold(build, judge, trip, at, outdoor_f, first):
    # 3 trips in 30 h of Main floor alone: in the 4 other hours 0.4 was to be expected, so that the
    # state tells nothing
    rows = [cold(trip, at(d, "15:10"), outdoor_f=outdoor_f, zones="1") for d in range(3)]
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    assert (finding.causes[0].cause == "Cooling in cold weather.") is first


def test_a_clock_that_is_off_cannot_tell(build, judge):
    clock = {"logger": "plenum", "offset_s": -90.0, "confidence": "likely", "applied_s": 0.0}
    site = build({"trust.clock_offset": [clock]}, hours=HOURS)
    assert judge(CODE, site)[0].result == "cannot tell"


def unheard(at, trip, standing="4", answered_h=0.0, stands_s=30):
    """Basement's call stands for days; every evening a drop with Bedroom over garage satisfied."""
    drops = [cold(trip, at(d, "15:10")) for d in range(3)]
    calls = [
        {
            "zone": 3,
            "mode": "cooling",
            "start_ts": r["drop_ts"] - 600_000_000,
            "end_ts": r["drop_ts"] + stands_s * 1_000_000 - 1,
        }
        for r in drops
    ]
    calls.append(
        {"zone": 4, "mode": "cooling", "start_ts": at(0, "00:00"), "end_ts": at(6, "00:00")}
    )
    vain = {"mode": "cooling", "zones": standing, "is_unanswered": True, "length_s": 36000.0}
    rows = {
        "measure.trip_context": drops,
        "interval.call": calls,
        "interval.call_unanswered": [vain],
    }
    return rows, HOURS | {("cooling", 1, "4"): answered_h}


@pytest.mark.parametrize(
    ("changes", "result"),
    [
        ({}, "not found"),
        ({"stands_s": 31}, "found"),  # Bedroom over garage called on as well
        ({"answered_h": 1.9}, "not found"),  # minutes after other zones' calls: under a fifth
        ({"answered_h": 2.1}, "found"),  # Basement alone was answered at other times
        ({"standing": "3+4"}, "found"),  # not the one zone
    ],
)
def test_the_end_of_a_run_beside_a_call_that_nobody_answers_is_no_trip(
    build, judge, trip, at, changes, result
):
    rows, hours = unheard(at, trip, **changes)
    assert judge(CODE, build(rows, hours=hours))[0].result == result
