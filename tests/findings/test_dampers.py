"""Dampers that did not open or close, told by their rooms or by what was shown."""

import pytest

OPEN, CLOSE = "damper-did-not-open", "damper-did-not-close"
HOURS = {("heating", 1, "1"): 40.0, ("heating", 1, "2"): 10.0}  # 50 h of heat


def damper(zone=1, **changes):
    return {
        "zone": zone, "mode": "heating", "calling_s": 3600.0 * 45, "n_not_open": 0,
        "not_open_s": 0.0, "n_not_closed": 0, "not_closed_s": 0.0, "n_shut": 0,
        "n_calling": 30, "n_other": 20,
    } | changes  # fmt: skip


def response(zone=1, calling=True, pace=0.1, high=0.2, n=30, **changes):
    return {
        "zone": zone, "mode": "heating", "is_calling": calling, "damper": "open",
        "n_run": n, "warm_s": 3600.0, "slope_f_per_h": pace, "slope_low_f_per_h": pace - 0.1,
        "slope_high_f_per_h": high, "n_drift": 0, "n_night": 0,
    } | changes  # fmt: skip


def stretch(at, zone=1, clock="06:00", calling=True, shown="open", slope=0.1):
    return {
        "zone": zone, "mode": "heating", "start_ts": at(1, clock),
        "end_ts": at(1, clock) + 30 * 60_000_000, "is_calling": calling, "damper": shown,
        "warm_s": 1800.0, "slope_f_per_h": slope, "in_visit": False,
    }  # fmt: skip


@pytest.fixture
def shut(build, at):
    """Main floor calls 45 of 50 h of heat and gains 0.1 °F/h; Primary bedroom gains 2."""

    def make(first=None, second=None, own=None, hours=HOURS, rows=(), **how):
        return build(
            {
                "measure.damper": [damper(1, **(own or {})), damper(2, calling_s=36_000.0)],
                "measure.zone_response": [
                    response(**(first or {})),
                    response(**({"zone": 2, "pace": 2.0, "high": 2.2} | (second or {}))),
                ],
                "interval.zone_run": [stretch(at)],
                "interval.damper_disagreement": rows,
            },
            hours=hours,
            **how,
        )

    return make


def test_a_room_that_stands_still_while_its_zone_calls(shut, judge):
    judged, finding = judge(OPEN, shut())
    assert judged.result == "found"
    assert finding.severity == "plan"
    assert finding.certainty == "likely"
    assert "Main floor called 90 % of 50 hours of heat and hardly moved" in finding.summary
    assert "picks up 0.1 °F an hour over 30 stretches" in finding.summary
    assert "the others pick up 2.0 °F an hour" in finding.summary
    assert "told to open, didn't open" in finding.causes[0].because
    assert any("stay at the unit" in c for c in finding.checks)


@pytest.mark.parametrize(
    ("change", "result"),
    [
        # short of one number it is not shown; but a room that gains so little does not pick up
        ({"first": {"pace": 0.3}}, "found"),  # 0.15 of 2.0
        # the other room hardly calls, but moves on the air that relief lets into it
        ({"second": {"is_calling": False, "damper": "open"}}, "found"),
        ({"second": {"is_calling": False, "damper": "closed"}}, "cannot tell"),
        ({"first": {"pace": 0.301}}, "cannot tell"),
        ({"first": {"high": 0.6}}, "found"),
        ({"first": {"high": 0.601}}, "cannot tell"),
        ({"first": {"pace": 0.1}, "second": {"pace": 1.0}}, "found"),
        ({"first": {"pace": 0.1}, "second": {"pace": 0.99}}, "cannot tell"),
        ({"own": {"calling_s": 40 * 3600.0}}, "found"),  # 0.8 of 50 h
        ({"own": {"calling_s": 39.9 * 3600.0}}, "cannot tell"),
        ({"first": {"n": 10}}, "found"),
        ({"first": {"n": 9}}, "not found"),  # the other zone was judged
        ({"second": {"n": 9}}, "cannot tell"),  # nothing to compare with
        ({"first": {"n": 9}, "second": {"n": 9}}, "cannot tell"),
    ],
)
def test_each_number_at_its_edge(shut, judge, change, result):
    assert judge(OPEN, shut(**change))[0].result == result


@pytest.mark.parametrize(
    ("change", "why"),
    [
        # 32.5 of 50 h are 65 %: it calls most of the time, and yet not all of it
        (
            {"own": {"calling_s": 32.5 * 3600}},
            "it calls 65 % of 50 hours of heat and a room without air hardly ever stops calling",
        ),
        ({"second": {"pace": 0.9}}, "the other rooms move little too (0.9 °F an hour)"),
        ({"second": {"n": 9}}, "no other room could be set beside it"),
        ({"first": {"high": 0.7}}, "in some of its calls it may gain up to 0.7 °F an hour"),
    ],
)
def test_what_is_missing_is_the_condition_that_failed(shut, judge, change, why) -> None:
    assert judge(OPEN, shut(**change))[0].why == (
        f"Main floor hardly moves when it calls (0.1 °F an hour in heat), but {why}: that no air "
        "reaches it is not shown."
    )


@pytest.mark.parametrize(("pace", "result"), [(0.6, "cannot tell"), (0.61, "not found")])
def test_a_room_that_hardly_moves_is_not_said_to_pick_up(shut, judge, pace, result):
    judged, _ = judge(OPEN, shut(first={"pace": pace, "high": 1.0}))
    assert judged.result == result
    said = (
        "Main floor hardly moves when it calls"
        if pace == 0.6
        else "every zone that called picks up"
    )
    assert said.lower() in judged.why.lower()


@pytest.mark.parametrize(
    ("n", "seconds", "result"),
    [(5, 0.5, "found"), (4, 0.5, "not found"), (5, 0.49, "not found")],
)
def test_a_damper_shown_closed_while_its_zone_calls(shut, judge, at, n, seconds, result):
    own = {"n_not_open": n, "calling_s": 36_000.0, "not_open_s": 36_000.0 * seconds}
    rows = [
        {
            "zone": 1, "kind": "did not open", "mode": "heating", "start_ts": at(2, f"0{k}:00"),
            "end_ts": at(2, f"0{k}:40"), "length_s": 2400.0, "in_visit": False,
        }
        for k in range(n)
    ]  # fmt: skip
    judged, finding = judge(OPEN, shut(first={"pace": 2.0, "high": 2.2}, own=own, rows=rows))
    assert judged.result == result
    if finding:
        assert finding.certainty == "shown"
        assert "with its damper shown closed 5 times" in finding.summary
        assert len(finding.evidence) == 5


def test_without_dampers_it_is_said(shut, judge):
    roles = ("supply_temp", "output_w1", "zone_call_w1", "zone_temp")
    _, finding = judge(OPEN, shut(roles=roles))
    assert "Its damper was not logged" in finding.causes[0].because


# ------------------------------------------------------------------------------- did not close


@pytest.fixture
def leaking(build, at):
    """Gains 2 °F/h calling and 1.2 of 3.4 °F/h over its drift of -1.1 when only others call."""

    def make(shut=None, first=None, own=None, rows=(), other=None, **how):
        sinks = {"zone": 2, "is_calling": False, "damper": "closed", "pace": -1.0}
        closed = {
            "calling": False, "damper": "closed", "pace": -0.2, "n_drift": 20, "n": 20,
            "beyond_drift_f_per_h": 1.2, "beyond_low_f_per_h": 1.2, "n_night": 6,
            "beyond_night_f_per_h": 0.7,
        } | (shut or {})  # fmt: skip
        return build(
            {
                "measure.damper": [damper(1, calling_s=36_000.0, **(own or {}))],
                "measure.zone_response": [
                    response(**({"pace": 2.0, "high": 2.2} | (first or {}))),
                    response(**closed),
                    *([] if other is None else [response(**(sinks | other))]),
                ],
                "interval.zone_run": [
                    stretch(at, calling=False, shown="closed", clock=f"0{k}:00") for k in range(3)
                ]
                + [stretch(at, calling=False, shown="open", clock="08:00")],
                "interval.damper_disagreement": rows,
            },
            hours=HOURS,
            **how,
        )  # fmt: skip

    return make


def test_a_room_that_gains_with_its_damper_shut(leaking, judge):
    """Full gain 2.0 - (-0.2 - 1.2) = 3.4 °F/h; 1.2 / 3.4 = 0.353; damper_leak_share is 0.35."""
    judged, finding = judge(CLOSE, leaking())
    assert judged.result == "found"
    assert finding.severity == "watch"
    assert "Main floor is heated with its damper shut and only others calling: 35 %" in (
        finding.summary
    )
    assert "told to close, didn't close" in finding.causes[0].because
    assert any(text.startswith("Not relief") for text in finding.ruled_out)
    assert len(finding.evidence) == 3  # the stretch with it shown open is relief's


@pytest.mark.parametrize(
    ("change", "result"),
    [
        ({"shut": {"beyond_low_f_per_h": 1.18}}, "not found"),
        ({"shut": {"beyond_low_f_per_h": None}}, "cannot tell"),
        ({"first": {"n": 10}}, "found"),
        ({"first": {"n": 9}}, "cannot tell"),
        ({"shut": {"n_drift": 10}}, "found"),
        ({"shut": {"n_drift": 9}}, "cannot tell"),
        ({"shut": {"damper": None}}, "found"),
        ({"shut": {"damper": "open"}}, "cannot tell"),
        # by day only, and it does not come nearer to its setpoint: sun does as much
        ({"shut": {"n_night": 5}}, "found"),
        ({"shut": {"n_night": 4}}, "not found"),
        ({"shut": {"n_night": 0, "pace": 0.101}}, "found"),
        ({"shut": {"n_night": 0, "pace": 0.1}}, "not found"),  # 0.0 at least
        # its drift is hardly known, but other rooms with their dampers shut lose 1 °F/h
        ({"shut": {"n_drift": 9, "pace": 0.4}, "other": {"n": 10}}, "found"),  # 1.3 of 3.0
        ({"shut": {"n_drift": 9, "pace": 0.1}, "other": {"n": 10}}, "not found"),
        ({"shut": {"n_drift": 9, "pace": 0.4}, "other": {"n": 9}}, "cannot tell"),
        ({"shut": {"n_drift": 9, "pace": 0.4, "n": 9}, "other": {"n": 10}}, "cannot tell"),
        ({"shut": {"n_drift": 9, "pace": 0.4, "damper": None}, "other": {}}, "cannot tell"),
    ],
)
def test_each_number_of_the_leak_at_its_edge(leaking, judge, change, result):
    assert judge(CLOSE, leaking(**change))[0].result == result


def test_what_a_room_alone_says_sends_nobody(leaking, judge):
    most = {"pace": 0.6, "beyond_drift_f_per_h": 1.9, "beyond_low_f_per_h": 1.5}
    assert judge(CLOSE, leaking(shut=most))[1].severity == "watch"


@pytest.mark.parametrize(
    ("n", "n_other", "n_shut", "result"),
    [
        (18, 2, 0, "found"), (17, 2, 0, "not found"), (4, 0, 0, "not found"),
        (18, 0, 2, "found"), (17, 1, 2, "not found"),
    ],
)  # fmt: skip
def test_a_damper_shown_open_while_only_others_call(leaking, judge, at, n, n_other, n_shut, result):
    rows = [
        {
            "zone": 1, "kind": "did not close", "mode": "heating", "start_ts": at(2, f"{k:02d}:00"),
            "end_ts": at(2, f"{k:02d}:40"), "length_s": 2400.0, "in_visit": False,
        }
        for k in range(n)
    ]  # fmt: skip
    site = leaking(
        own={"n_not_closed": n, "n_other": n_other, "n_shut": n_shut},
        shut={"beyond_low_f_per_h": 0.0},
        rows=rows,
    )
    judged, finding = judge(CLOSE, site)
    assert judged.result == result  # n of n + the most of n_other and n_shut
    if finding:
        assert (finding.severity, finding.certainty) == ("watch", "possible")
        assert "shown open 18 times while only other zones called" in finding.summary
