"""High-limit trips: found, not found, cannot tell; severity at its thresholds; causes in order."""

import pytest

CODE = "high-limit-trips"
# 40 h of first stage with Main floor, 14 h of second stage with two zones, 4 h of Bedroom over
# garage alone on second stage: 58 h of heat
HOURS = {("heating", 1, "1"): 40.0, ("heating", 2, "1+3"): 14.0, ("heating", 2, "3"): 4.0}


def many(trip, at, per_day, days, **changes):
    """Trips every half hour from 6:00 on, on each of the days."""
    return [
        trip(at(d, f"{6 + i // 2:02d}:{30 * (i % 2):02d}"), trip_id=10 * d + i, **changes)
        for d in range(days)
        for i in range(per_day)
    ]


def test_no_trip_is_not_found(build, judge):
    judged, _ = judge(CODE, build(hours=HOURS))
    assert judged.result == "not found"
    assert judged.why == "No trip in 58 hours of heat."


def test_too_little_heat_cannot_tell(build, judge):
    # threshold judged_min_h is 2 h
    assert judge(CODE, build(hours={("heating", 1, "1"): 1.99}))[0].result == "cannot tell"
    assert judge(CODE, build(hours={("heating", 1, "1"): 2.0}))[0].result == "not found"


def test_without_supply_air_cannot_tell(build, judge):
    judged, _ = judge(CODE, build(roles=["output_w1", "zone_call_w1"]))
    assert judged.result == "cannot tell"
    assert judged.why == "Not logged: supply air."


@pytest.mark.parametrize(("coverage", "result"), [(0.49, "cannot tell"), (0.5, "not found")])
def test_thin_coverage_cannot_tell(build, judge, coverage, result):
    assert judge(CODE, build(hours=HOURS, coverage=coverage))[0].result == result


def test_thin_coverage_is_said(build, judge):
    assert judge(CODE, build(hours=HOURS, coverage=0.89))[0].why.endswith(
        "(logged 89 % of the time)."
    )


def test_clock_times_are_those_of_the_drop(build, judge, trip, at):
    # supply reached the limit at 6:42:50, heat dropped out at 6:43:10
    row = trip(at(1, "06:42:50"), drop_ts=at(1, "06:43:10"))
    _, finding = judge(CODE, build({"measure.trip_context": [row]}, hours=HOURS))
    assert "second stage: Tue 6:43 am." in finding.summary
    assert finding.windows[0].title.startswith("Tue 6:43 am, ")
    assert dict(finding.table)["Dropped out"] == ("Tue 6:43 am",)


def test_second_stage_is_not_ruled_out_where_it_was_not_logged(build, judge, trip, at):
    rows = many(trip, at, 2, 3, stage=1)
    roles = ["supply_temp", "output_w1", "zone_call_w1"]
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS, roles=roles))
    assert not any("second stage" in text for text in finding.ruled_out)
    roles.append("output_w2")
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS, roles=roles))
    assert "Not second stage: no trip of 6 came on second stage." in finding.ruled_out


def test_trip_inside_a_visit_is_left_out(build, judge, trip, at):
    site = build({"measure.trip_context": [trip(at(1, "06:42"), in_visit=True)]}, hours=HOURS)
    assert judge(CODE, site)[0].result == "not found"


@pytest.mark.parametrize(
    ("per_day", "days", "heat_h", "severity"),
    [
        (1, 2, 58, "note"),  # 2 a week
        (3, 1, 58, "watch"),  # 3, but on one day
        (1, 3, 58, "plan"),  # 3 on three days; 5.2 per 100 h
        (1, 3, 30.1, "plan"),  # 9.97 per 100 h of heat: just under
        (1, 3, 30, "act"),  # 10 per 100 h of heat
        (2, 3, 70, "plan"),  # 2 a day never makes 3 a day on two days; 8.6 per 100 h
        (3, 2, 70, "act"),  # 3 a day on two days
        (1, 2, 10, "note"),  # 20 per 100 h, but two trips are no rate
    ],
)
def test_severity(build, judge, trip, at, per_day, days, heat_h, severity):
    rows = many(trip, at, per_day, days)
    hours = {("heating", 2, "3"): 4.0, ("heating", 1, "1"): heat_h - 4.0}
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=hours))
    assert finding.severity == severity


def test_unsure_trips_do_not_raise_severity(build, judge, trip, at):
    rows = many(trip, at, 3, 2, is_certain=False)
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    assert (finding.severity, finding.certainty) == ("note", "likely")
    assert "All 6 trips lasted less than two readings" in finding.summary


def test_two_weeks_halve_the_weekly_number(build, judge, trip, at):
    # 4 trips on 4 days: 4 in one week is a plan, 2 a week is a note
    rows = many(trip, at, 1, 4)
    for days, severity in ((7, "plan"), (14, "note")):
        site = build({"measure.trip_context": rows}, hours=HOURS, days=days)
        assert judge(CODE, site)[1].severity == severity


def test_unknown_limit_is_never_more_than_a_note(build, judge, trip, at):
    rows = many(trip, at, 4, 5, opened_by="unknown", limit_f=None, peak_f=146.0)
    site = build({"measure.trip_context": rows}, hours=HOURS, settings={"high_limit_f": None})
    _, finding = judge(CODE, site)
    assert finding.severity == "note"
    assert finding.certainty == "likely"
    assert finding.summary.startswith(
        "Heat drops out around 146 °F, limit setting not known, 20 times in 58 hours of heat"
    )


def test_sentence_names_zone_stage_and_clock(build, judge, trip, at):
    rows = many(trip, at, 3, 2)
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    assert finding.summary == (
        "The panel's high limit shut the heat off 6 times in 58 hours of heat, every time with "
        "Bedroom over garage calling alone on second stage: on 2 days, first Mon 6:00 am, last "
        "Tue 7:00 am. Supply air had reached 151 °F (limit set to 150 °F), static 0.80 in. w.c."
    )


def test_one_zone_on_second_stage_puts_too_much_heat_first(build, judge, trip, at):
    rows = many(trip, at, 3, 2)
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    assert finding.causes[0].cause.startswith("Second stage makes more heat")
    # 14 h of second stage with other zones and no trip; it alone on first stage: no time at all
    assert finding.causes[0].because == (
        "All 6 trips came with Bedroom over garage calling alone on second stage, in 4 hours of "
        "that; none in 14 hours of second stage with other zones calling."
    )
    ruled_out = " ".join(finding.ruled_out)
    assert "filter" in ruled_out  # static 0.80 over a target of 0.40: a filter lowers it
    assert "return air was 69 °F" in ruled_out
    assert "Not supply air coming back to the return" in ruled_out


def test_trips_with_all_zones_put_airflow_first(build, judge, trip, at):
    rows = many(trip, at, 2, 3, zones="1+2+3+4", n_zones=4, static_max_inwc=0.25)
    hours = {("heating", 2, "1+2+3+4"): 20.0}
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=hours))
    assert finding.causes[0].cause.startswith("Too little air altogether")
    assert not any("filter" in text for text in finding.ruled_out)


# one zone alone leaves the high static of a narrow way out; under the target the way is open
@pytest.mark.parametrize(("static", "first"), [(0.40, True), (0.41, False)])
def test_static_under_its_target_puts_airflow_first(build, judge, trip, at, static, first):
    rows = many(trip, at, 2, 3, stage=1, stage2_before_s=None, static_max_inwc=static)
    hours = {("heating", 1, "3"): 10.0, ("heating", 1, "1"): 60.0}
    _, finding = judge("high-limit-trips", build({"measure.trip_context": rows}, hours=hours))
    assert finding.causes[0].cause.startswith("Too little air altogether") is first


def test_warm_return_puts_recirculation_up(build, judge, trip, at):
    for return_f, expected in ((79.9, False), (80.0, True)):
        rows = many(trip, at, 2, 3, return_f=return_f)
        _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
        first_two = [c.cause for c in finding.causes[:2]]
        assert any("comes back" in cause for cause in first_two) is expected


def test_windows_are_worst_typical_first(build, judge, trip, at):
    rows = many(trip, at, 1, 5)
    for n, row in enumerate(rows):
        row["peak_f"] = 150.0 + (n * 3) % 5  # 150, 153, 151, 154, 152
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    assert [w.title.split(":")[0] for w in finding.windows] == ["Worst", "Typical", "First"]
    worst, typical, first = finding.windows
    assert worst.title == (
        "Worst: Thu 6:00 am, Bedroom over garage alone on second stage, heat dropped out at "
        "154 °F and 0.80 in. w.c., back on after 4 min."
    )
    # heat drops out 10 s after supply reaches the limit; drawn from 30 min before that
    late = 10_000_000
    assert (typical.start_ts, first.start_ts) == (at(4, "05:30") + late, at(0, "05:30") + late)
    # heat is back 4 min after the limit was reached, drawn to 20 min after: 54 min less the 10 s
    assert first.end_ts - first.start_ts == 54 * 60_000_000 - late
    assert [m.label for m in first.marks] == ["second stage on", "trip"]
    assert ("supply_temp", 150.0, "high limit 150 °F") in first.lines
    assert ("static_pressure", 0.40, "target 0.40 in. w.c.") in first.lines


def test_table_has_one_row_per_trip(build, judge, trip, at):
    rows = [trip(at(1, "06:42")), trip(at(2, "06:42"), recovery_s=None, static_max_inwc=None)]
    _, finding = judge(CODE, build({"measure.trip_context": rows}, hours=HOURS))
    table = dict(finding.table)
    assert table["Dropped out"] == ("Tue 6:42 am", "Wed 6:42 am")
    assert table["Back on after"] == ("4 min", "–")
    assert table["Highest static before"] == ("0.80 in. w.c.", "–")
    assert [s.start_ts for s in finding.evidence] == [
        at(1, "06:42") + 10_000_000,  # from the drop
        at(2, "06:42") + 10_000_000,
    ]


def test_unapplied_clock_offset_makes_it_possible_at_most(build, judge, trip, at):
    clock = {
        "logger": "plenum",
        "reference_logger": "panel",
        "offset_s": 240.0,
        "plus_minus_s": 10.0,
        "n_edge": 50,
        "edge": "W1 off to supply",
        "confidence": "shown",
        "applied_s": 0.0,
        "why": "",
    }
    tables = {"trust.clock_offset": [clock]}
    assert judge(CODE, build(tables, hours=HOURS))[0].result == "cannot tell"
    _, finding = judge(
        CODE, build(tables | {"measure.trip_context": many(trip, at, 3, 3)}, hours=HOURS)
    )
    assert (finding.severity, finding.certainty) == ("plan", "possible")
    applied = {"trust.clock_offset": [clock | {"applied_s": 240.0}]}
    assert judge(CODE, build(applied, hours=HOURS))[0].result == "not found"


def stage_row(start, **changes):
    row = {
        "source": "burner",
        "mode": "heating",
        "start_ts": start,
        "end_ts": start + 110_000_000,
        "length_s": 110.0,
        "n_zones": 1,
        "zones": "3",
        "longest_call_s": 600.0,
        "run_before_s": 600.0,
        "delay_setting_s": 600.0,
        "min_zones_setting": 2.0,
        "result": "too few zones",
        "clock_used": "zone_call",
        "in_visit": False,
    }
    return row | changes


def test_trips_are_linked_to_what_came_before_them(build, judge, rule, trip, at):
    from pipeline.findings._judge import judge_rules

    trips = [trip(at(d, "06:42")) for d in range(4)]
    # second stage had come on 100 s before each drop, which is 10 s after the trip's start
    starts = [stage_row(t["drop_ts"] - 100_000_000, n_zones=1) for t in trips]
    rules = [rule("second-stage-too-few-zones"), rule(CODE)]
    tables = {"measure.trip_context": trips, "measure.stage_up": starts}
    findings, _ = judge_rules(build(tables, hours=HOURS), rules)
    by_code = {f.code: f for f in findings}
    assert by_code[CODE].goes_with == ("second-stage-too-few-zones",)
    assert (
        "in all 4 trips second stage had come on with fewer than the 2 zones the panel is set to "
        "wait "
        "for" in by_code[CODE].causes[0].because
    )
    # one of four trips in order with two zones at its start, now down to one: stayed in
    starts[0] = stage_row(starts[0]["start_ts"], result="in order", n_zones=2, zones="1+3")
    tables = {"measure.trip_context": trips, "measure.stage_up": starts}
    findings, _ = judge_rules(build(tables, hours=HOURS), rules)
    because = {f.code: f for f in findings}[CODE].causes[0].because
    assert "in 3 of 4 trips second stage had come on with fewer" in because
    assert (
        "in 1 of 4 trips it had come on with enough zones and stayed in when fewer were left"
        in because
    )
    # second-stage starts an hour away from the trips have nothing to do with them
    far = [stage_row(t["drop_ts"] - 3_700_000_000) for t in trips]
    findings, _ = judge_rules(
        build({"measure.trip_context": trips, "measure.stage_up": far}, hours=HOURS), rules
    )
    assert {f.code: f for f in findings}[CODE].goes_with == ()


def test_static_on_a_clock_that_is_off_is_left_out(build, judge, trip, at):
    clock = {
        "logger": "static",
        "reference_logger": "panel",
        "offset_s": 240.0,
        "plus_minus_s": 10.0,
        "n_edge": 50,
        "confidence": "shown",
        "applied_s": 0.0,
    }
    rows = many(trip, at, 3, 3)
    tables = {"measure.trip_context": rows, "trust.clock_offset": [clock]}
    _, finding = judge(CODE, build(tables, hours=HOURS))
    assert (finding.severity, finding.certainty) == ("act", "shown")  # supply's clock is right
    assert "static" not in finding.summary


def test_trips_under_110_degrees_ask_for_the_sensor(build, judge, trip, at):
    for peak_f, expected in ((109.9, True), (110.0, False)):
        rows = many(trip, at, 2, 3, opened_by="unknown", limit_f=None, peak_f=peak_f)
        site = build({"measure.trip_context": rows}, hours=HOURS, settings={"high_limit_f": None})
        causes = [c.cause for c in judge(CODE, site)[1].causes]
        assert causes.index(next(c for c in causes if "own sensor" in c)) == (1 if expected else 2)


def test_relief_dampers_are_named_at_the_trips(build, judge, trip, at):
    rows = many(trip, at, 2, 3)
    relief = [
        {"zone": 4, "start_ts": r["start_ts"], "end_ts": r["end_ts"], "in_visit": False}
        for r in rows[:5]
    ]
    site = build({"measure.trip_context": rows, "interval.relief": relief}, hours=HOURS)
    path = next(c for c in judge(CODE, site)[1].causes if c.cause.startswith("Too little air re"))
    assert path.because.endswith(
        "Basement opened in 5 of 6 trips; Main floor and Primary bedroom, free to open, never did."
    )
