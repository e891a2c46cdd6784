"""Logging gap: from ten minutes inside a logger's own log."""

import pytest

CODE = "logging-gap"
CHANNEL = {"supply_temp": 1, "return_temp": 2, "static_pressure": 3, "output_w1": 4}


def gap(at, day, start, end, role="supply_temp", **changes):
    row = {
        "channel_id": CHANNEL[role],
        "role": role,
        "start_ts": at(day, start),
        "end_ts": at(day, end),
        "position": "inside",
        "reason": "not logged",
    }
    return row | changes


@pytest.mark.parametrize(("end", "result"), [("11:09:59", "not found"), ("11:10", "found")])
def test_ten_minutes(build, judge, at, end, result):
    assert judge(CODE, build({"trust.gap": [gap(at, 4, "11:00", end)]}))[0].result == result


@pytest.mark.parametrize("position", ["before", "after"])
def test_before_and_after_the_log_is_no_gap(build, judge, at, position):
    rows = [gap(at, 0, "00:00", "09:00", position=position)]
    assert judge(CODE, build({"trust.gap": rows}))[0].result == "not found"


def test_channels_that_stop_together_are_one_gap(build, judge, at):
    rows = [gap(at, 4, "11:02:40", "14:03:10", role) for role in ("supply_temp", "return_temp")]
    runs = [
        {
            "output": "output_w1",
            "start_ts": at(4, "10:50"),
            "end_ts": at(4, "11:32:40"),
            "is_closed": True,
        }
    ]
    _, finding = judge(CODE, build({"trust.gap": rows, "interval.output_run": runs}))
    assert finding.summary == (
        "Logger plenum stopped for 3 h 1 min, Fri 11:02 am to 2:03 pm. Last reading Fri 11:02:40 "
        "am, next Fri 2:03:10 pm. Not seen then: temperature rise, limit trips and cut-outs. "
        "Meanwhile the panel had W1 on for 30 min."  # from 11:02:40 to 11:32:40
    )
    assert len(finding.evidence) == 1
    assert finding.severity == "note"
    # the window shows the whole gap, 30 min before and 20 min after
    assert finding.windows[0].start_ts == at(4, "10:32:40")
    assert finding.windows[0].end_ts == at(4, "14:23:10")


@pytest.mark.parametrize(
    ("also", "unseen"),
    [
        ((), "return air, supply air"),
        (("inferred_heat",), "return air, supply air, when heat or cooling ran"),
        # a cut-out shows beside W1, a limit trip only beside who calls as well
        (("output_w1",), "temperature rise, cut-outs"),
        (("output_w1", "zone_call_w1"), "temperature rise, limit trips and cut-outs"),
        (("output_y1", "zone_call_y1"), "return air, limit trips"),
    ],
)
def test_only_what_the_log_could_have_shown_is_missing(build, judge, at, also, unseen):
    rows = [gap(at, 4, "11:00", "14:00", role) for role in ("supply_temp", "return_temp")]
    logged = ["supply_temp", "return_temp", *also]
    _, finding = judge(CODE, build({"trust.gap": rows}, roles=logged))
    assert f"Not seen then: {unseen}." in finding.summary
    assert dict(finding.table)["Not seen"] == (unseen,)


def test_watch_by_share_of_the_window(build, judge, at):
    # 5 % of 168 h is 8.4 h = 8 h 24 min
    for end, severity in (("16:23", "note"), ("16:24", "watch")):
        _, finding = judge(CODE, build({"trust.gap": [gap(at, 4, "08:00", end)]}))
        assert finding.severity == severity


def test_watch_by_coverage(build, judge, at):
    rows = [gap(at, 4, "08:00", "09:00")]
    for coverage, severity in ((0.9, "note"), (0.89, "watch")):
        _, finding = judge(CODE, build({"trust.gap": rows}, coverage=coverage))
        assert finding.severity == severity


def test_others_that_logged_on_rule_out_a_power_cut(build, judge, at):
    _, finding = judge(CODE, build({"trust.gap": [gap(at, 4, "11:00", "12:00")]}))
    assert finding.ruled_out == ("Not a power cut: panel, rooms and static logged on through it.",)
    roles = ["supply_temp", "return_temp", "static_pressure"]
    rows = [gap(at, 4, "11:00", "12:00"), gap(at, 4, "11:00", "12:01", "static_pressure")]
    _, finding = judge(CODE, build({"trust.gap": rows}, roles=roles))
    assert finding.causes[0].cause.startswith("Power or the site")
    assert finding.summary.startswith("Loggers plenum and static stopped twice, 2 h 1 min in all")


def test_distrust_is_named(build, judge, at):
    rows = [gap(at, 4, "11:00", "12:00", reason="stuck at one value")]
    _, finding = judge(CODE, build({"trust.gap": rows}))
    assert finding.causes[0].because == "Stuck at one value."


def test_visit_is_left_out(build, judge, at):
    rows = [gap(at, 4, "11:00", "12:00")]
    visits = [(at(4, "11:30"), at(4, "11:40"))]
    assert judge(CODE, build({"trust.gap": rows}, visits=visits))[0].result == "not found"


def test_no_channel_cannot_tell(build, judge):
    assert judge(CODE, build(roles=[]))[0].result == "cannot tell"
