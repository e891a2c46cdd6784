"""Limit did not act: supply air far over the high limit with the heat still on."""

import pytest

from pipeline.findings import judge_site, verdict

CODE = "limit-did-not-act"
HOURS = {("heating", 1, "1"): 40.0, ("heating", 2, "3"): 3.0}


def stand(at, day=1, clock="07:00", **changes):
    """190 °F for 20 min with a limit of 150 °F, the fan on."""
    start = at(day, clock)
    row = {
        "start_ts": start,
        "end_ts": start + 1_200_000_000,
        "length_s": 1200.0,
        "peak_f": 190.0,
        "limit_f": 150.0,
        "is_fan_proven": True,
        "is_certain": True,
        "in_visit": False,
    }
    return row | changes


def tables(at, *rows, trips=()):
    condition = {
        "start_ts": at(0, "00:00"),
        "end_ts": at(6, "00:00"),
        "class": "heating",
        "source": "burner",
        "stage": 2,
        "n_zones": 1,
        "zones": "3",
    }
    return {
        "interval.supply_over_limit": rows,
        "interval.condition": [condition],
        "measure.trip_context": trips,
    }


def test_none_is_not_found(build, judge):
    judged, _ = judge(CODE, build(hours=HOURS))
    assert (judged.result, judged.why) == (
        "not found",
        "Supply air never stood far over the limit in 43 hours of heat.",
    )


def test_found_says_how_far_how_long_and_when(build, judge, at):
    _, finding = judge(CODE, build(tables(at, stand(at)), hours=HOURS))
    assert (finding.severity, finding.certainty) == ("act", "shown")
    # 190 less 150; 1200 s
    assert finding.summary == (
        "The high limit did not act: supply air stood up to 40 °F over it with the heat still on, "
        "for up to 20 min; Tue 7:00 am. Supply air reached 190 °F, limit set to 150 °F; supply air "
        "was logged 100 % of the time."
    )
    assert [s.start_ts for s in finding.evidence] == [at(1, "07:00")]
    assert ("supply_temp", 150.0, "high limit 150 °F") in finding.windows[0].lines
    table = dict(finding.table)
    assert table["Calling"] == ("Bedroom over garage",)
    assert table["Fan"] == ("on",)


def test_the_page_is_never_clear_over_it(build, at):
    quiet = build(hours=HOURS)
    assert verdict(*judge_site(quiet), quiet).call == "clear"
    site = build(tables(at, stand(at)), hours=HOURS)
    assert verdict(*judge_site(site), site).call == "act"


def test_heat_with_no_fan_is_not_silent(build, judge, at):
    rows = [stand(at, is_fan_proven=False)]
    _, finding = judge(CODE, build(tables(at, *rows), hours=HOURS))
    assert (finding.severity, finding.certainty) == ("act", "likely")
    assert "the fan was off or not known to be on" in finding.summary
    assert any(c.cause == "Heat with no fan." for c in finding.causes)
    _, blown = judge(CODE, build(tables(at, stand(at)), hours=HOURS))
    assert any(text.startswith("Not a fan that stopped") for text in blown.ruled_out)


def test_fan_never_known_is_judged_all_the_same(build, judge, at):
    """No figure with the fan in it may keep this from being said."""
    site = build(tables(at, stand(at, is_fan_proven=False)), hours=HOURS, coverage=0.3)
    assert judge(CODE, site)[0].result == "found"


def test_one_reading_alone_is_no_truck(build, judge, at):
    rows = [stand(at, is_certain=False, length_s=180.0)]
    _, finding = judge(CODE, build(tables(at, *rows), hours=HOURS))
    assert (finding.severity, finding.certainty) == ("plan", "possible")
    assert "one reading alone may be behind it" in finding.summary.lower()
    rows.append(stand(at, 2))
    _, finding = judge(CODE, build(tables(at, *rows), hours=HOURS))
    assert (finding.severity, finding.certainty) == ("act", "shown")


def test_in_visit_is_left_out_and_said(build, judge, at):
    judged, _ = judge(CODE, build(tables(at, stand(at, in_visit=True)), hours=HOURS))
    assert judged.result == "not found"
    assert judged.why == (
        "Supply air never stood far over the limit in 43 hours of heat outside visits; once in a "
        "visit, which may be a test."
    )


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"settings": {"high_limit_f": None}}, "The site file gives no high limit."),
        ({"hours": {("heating", 1, "1"): 1.9}}, "Only 1.9 hours of heat outside visits."),
        ({"coverage": 0.49}, "Supply air was logged only 49 % of the time."),
        ({"roles": ["output_w1"]}, "Not logged: supply air."),
    ],
)
def test_cannot_tell(build, judge, changes, why):
    judged, _ = judge(CODE, build(**({"hours": HOURS} | changes)))
    assert (judged.result, judged.why) == ("cannot tell", why)


def test_at_the_least_time_and_coverage_it_is_told(build, judge):
    for changes in ({"hours": {("heating", 1, "1"): 2.0}}, {"coverage": 0.5, "hours": HOURS}):
        assert judge(CODE, build(**changes))[0].result == "not found"


def test_the_probe_comes_first_unless_trips_agree_with_it(build, judge, trip, at):
    _, finding = judge(CODE, build(tables(at, stand(at)), hours=HOURS))
    assert finding.checks[0].startswith("At the loggers: hold a second thermometer")
    assert finding.causes[0].cause.startswith("The panel's limit does not see the air")
    agreeing = tables(at, stand(at), trips=[trip(at(2, "06:42"))])
    _, finding = judge(CODE, build(agreeing, hours=HOURS))
    assert "1 trip on this log probe and limit agreed" in finding.causes[1].because
    assert "did shut the heat off" in finding.causes[0].because


def test_cautions_say_to_leave_heat_off_and_never_to_change_the_limit(build, judge, at):
    _, finding = judge(CODE, build(tables(at, stand(at)), hours=HOURS))
    assert finding.cautions[0].startswith("Leave heat off at the unit")
    assert "kept warm another way" in finding.cautions[0]
    assert any("Do not raise, jumper, bypass" in text for text in finding.cautions)
