"""Fault contact closed: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import HOUR, MINUTE

CODE = "fault-contact"
SECOND = 1_000_000


def states(at, spans):
    """The contact over the week: closed in the spans (day, clock, seconds), open between."""
    rows, last = [], at(0, "00:00")
    for day, clock, length_s in spans:
        ts = at(day, clock)
        end = ts + int(length_s * SECOND)
        rows += [(last, ts, False), (ts, end, True)]
        last = end
    rows.append((last, at(0, "00:00") + 7 * 24 * HOUR, False))
    return [
        {"channel_id": 1, "role": "fault_contact", "start_ts": a, "end_ts": b, "is_on": on}
        for a, b, on in rows
        if b > a
    ]


def site(build, at, spans, **tables):
    frames = {"signal.state": states(at, spans)} | {
        name.replace("__", "."): rows for name, rows in tables.items()
    }
    return build(frames, roles=["fault_contact", "output_w1"])


@pytest.mark.parametrize(("length_s", "result"), [(4.9, "not found"), (5.0, "found")])
def test_debounced(build, judge, at, length_s, result):
    judged, _ = judge(CODE, site(build, at, [(1, "06:00", length_s)]))
    assert judged.result == result
    if result == "not found":
        assert judged.why == "Never closed for 5 s or more; 1 flash shorter than that."


# half an hour in all is planned for, or three a week on two days
@pytest.mark.parametrize(
    ("spans", "severity"),
    [
        ([(1, "06:00", 1799)], "watch"),
        ([(1, "06:00", 1800)], "plan"),
        ([(1, "06:00", 10), (1, "07:00", 10), (1, "08:00", 10)], "watch"),
        ([(1, "06:00", 10), (1, "07:00", 10), (2, "08:00", 10)], "plan"),
    ],
)
def test_severity(build, judge, at, spans, severity):
    assert judge(CODE, site(build, at, spans))[1].severity == severity


# calls with nothing running for two hours of it
@pytest.mark.parametrize(("minutes", "severity"), [(119, "plan"), (120, "act")])
def test_calls_that_go_without(build, judge, at, minutes, severity):
    ts = at(1, "06:00")
    waiting = [
        {"start_ts": ts, "end_ts": ts + minutes * MINUTE, "class": "off", "n_heat": 1, "n_cool": 0}
    ]
    _, finding = judge(CODE, site(build, at, [(1, "06:00", 3 * 3600)], interval__condition=waiting))
    assert finding.severity == severity
    assert finding.causes[0].because.startswith("Zones called and got no warm or cool air")


@pytest.mark.parametrize(("to_heat_s", "result"), [(90.0, "cannot tell"), (None, "found")])
def test_closed_while_all_is_well_is_normally_closed(build, judge, at, to_heat_s, result):
    run = {
        "source": "burner",
        "start_ts": at(2, "06:00"),
        "end_ts": at(2, "07:00"),
        "to_heat_s": to_heat_s,
        "judged_s": 3300.0,
        "cold_s": 0.0 if to_heat_s else 3300.0,
    }
    five_days = [(0, "01:00", 5 * 86400)]
    judged, _ = judge(CODE, site(build, at, five_days, interval__source_response=[run]))
    assert judged.result == result


def test_sentence(build, judge, at):
    judged, _ = judge(
        CODE, site(build, at, [(1, "06:00", 600), (2, "06:00", 600), (3, "06:00", 1)])
    )
    assert judged.why == (
        "The equipment's fault contact closed twice, 10 min each, 20 min in all; 1 flash shorter "
        "than that."
    )


def test_cannot_tell(build, judge):
    assert judge(CODE, build(roles=["output_w1"]))[0].result == "cannot tell"
