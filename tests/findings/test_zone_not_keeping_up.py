"""Zone not keeping up: by days, or by how much on one day; severity by share of the time."""

import pytest

CODE = "zone-not-keeping-up"
H = 3600.0


def behind(at, zone=3, day=1, hours=3.0, **changes):
    start = at(day, "06:00")
    return {
        "zone": zone,
        "mode": "heating",
        "rule": "setpoint",
        "start_ts": start,
        "end_ts": start + int(hours * H * 1e6),
        "length_s": hours * H,
        "mean_off_f": 3.0,
        "max_off_f": 4.2,
        "pick_up_f_per_h": 0.1,
        "calling_frac": 1.0,
        "warm_air_frac": 1.0,
        "outdoor_f": 20.0,
    } | changes


def comfort(zone=3, off_h=9.0, n_day=3, n_stretch=3, known_h=150.0, short=20.0):
    return {
        "zone": zone,
        "mode": "heating",
        "rule": "setpoint",
        "known_s": known_h * H,
        "judged_s": known_h * H,
        "short_degree_h": short,
        "not_keeping_up_s": off_h * H,
        "n_stretch": n_stretch,
        "n_day": n_day,
    }


def held(zone):
    return comfort(zone, off_h=0.0, n_day=0, n_stretch=0, short=0.0)


def case(at, comfort_rows=None, **changes):
    return {
        "interval.not_keeping_up": [behind(at, day=d, **changes) for d in range(3)],
        "measure.zone_comfort": comfort_rows or [held(1), comfort()],
    }


def test_found(build, judge, at):
    judged, finding = judge(CODE, build(case(at)))
    assert judged.result == "found"
    # 9 of 150 h are 6 %: over the twentieth that is worth a visit
    assert finding.severity == "plan"
    assert "Bedroom over garage can't hold its setpoint in heat" in finding.summary
    assert "4.2 °F under its setpoint" in finding.summary
    assert "Main floor kept up" in finding.summary
    assert finding.causes[0].cause.startswith("Too little air reaches that zone")
    assert any("Not the thermostat" in text for text in finding.ruled_out)
    assert len(finding.evidence) == 3


def test_the_thermostat_comes_first_where_it_does_not_call(build, judge, at):
    _, finding = judge(CODE, build(case(at, calling_frac=0.1, warm_air_frac=0.1)))
    assert finding.causes[0].cause.startswith("The thermostat does not ask")


def test_no_air_comes_first_where_it_calls_and_none_comes(build, judge, at):
    _, finding = judge(CODE, build(case(at, warm_air_frac=0.1)))
    assert finding.causes[0].cause.startswith("The equipment does not deliver")


@pytest.mark.parametrize(
    ("n_day", "short", "result"),
    [(1, 4.9, "not found"), (1, 5.0, "found"), (1, 5.1, "found"), (2, 0.5, "found")],
)
def test_days_and_degree_hours(build, judge, at, n_day, short, result):
    rows = [comfort(off_h=2.0, n_day=n_day, n_stretch=1, short=short)]
    assert judge(CODE, build(case(at, rows)))[0].result == result


@pytest.mark.parametrize(
    ("off_h", "severity"),
    # a twentieth of 150 h is 7.5 h
    [(7.4, "watch"), (7.5, "plan"), (7.6, "plan")],
)
def test_severity(build, judge, at, off_h, severity):
    assert judge(CODE, build(case(at, [comfort(off_h=off_h)])))[1].severity == severity


def test_not_found(build, judge, at):
    judged, _ = judge(CODE, build({"measure.zone_comfort": [held(1), held(2)]}))
    assert judged.result == "not found"
    assert "No zone was more than 2 °F off for 90 min" in judged.why


@pytest.mark.parametrize(
    ("known_h", "result"), [(1.9, "cannot tell"), (2.0, "not found"), (2.1, "not found")]
)
def test_too_little_time(build, judge, known_h, result):
    rows = [held(1) | {"known_s": known_h * H}]
    assert judge(CODE, build({"measure.zone_comfort": rows}))[0].result == result


def test_cannot_tell_without_rooms(build, judge):
    judged, _ = judge(CODE, build(roles=["output_w1", "zone_call_w1"]))
    assert judged.result == "cannot tell"


def test_without_setpoints_it_cannot_be_told(build, judge):
    row = comfort(n_stretch=4) | {"rule": "long call", "known_s": 0.0, "short_degree_h": None}
    judged, _ = judge(CODE, build({"measure.zone_comfort": [row]}))
    assert judged.result == "cannot tell"
    assert "Bedroom over garage called for hours and hardly moved 4 times" in judged.why
