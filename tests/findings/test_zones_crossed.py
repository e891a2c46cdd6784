"""Zones crossed in the house: by dampers, by rooms, what is not it, and at each threshold."""

import pytest

from tests.findings.conftest import HOUR, MINUTE

CODE = "zones-exchanged"


def call(ts, zone, minutes=15):
    return {
        "zone": zone,
        "mode": "heating",
        "start_ts": ts,
        "end_ts": ts + minutes * MINUTE,
        "has_start": True,
        "has_end": True,
    }


def damper(zone, stretches):
    return [
        {"role": "zone_damper", "zone": zone, "start_ts": a, "end_ts": b, "is_on": is_open}
        for a, b, is_open in stretches
    ]


def during(at, calls, until, *, is_open):
    """A damper that is open (or shut) in these calls and the other way between them."""
    last, out = at(0, "00:00"), []
    for c in calls:
        out += [(last, c["start_ts"], not is_open), (c["start_ts"], c["end_ts"], is_open)]
        last = c["end_ts"]
    return [*out, (last, until, not is_open)]


def by_dampers(at, n_wrong, n_right=0, third_open=False, runs="heating"):
    """Zone 1 calls; in the first calls zone 2's damper opens, in the others its own."""
    calls = [call(at(1, "00:00") + n * HOUR, 1) for n in range(n_wrong + n_right)]
    wrong, until = calls[:n_wrong], at(6, "00:00")
    right = calls[n_wrong:]
    other = during(at, wrong if third_open else [], until, is_open=True)
    return {
        "interval.call": calls,
        "interval.condition": [
            {"start_ts": at(0, "00:00"), "end_ts": until, "class": runs, "in_visit": False}
        ],
        "signal.state": [
            *damper(1, during(at, right, until, is_open=True)),
            *damper(2, during(at, wrong, until, is_open=True)),
            *damper(3, other),
        ],
    }


# five calls; a tenth of its calls
@pytest.mark.parametrize(
    ("n_wrong", "n_right", "result"),
    [(4, 0, "cannot tell"), (5, 0, "found"), (6, 0, "found"), (6, 54, "found"),
     (6, 55, "cannot tell")],
)  # fmt: skip
def test_a_call_that_opens_another_damper(build, judge, at, n_wrong, n_right, result):
    judged, finding = judge(CODE, build(by_dampers(at, n_wrong, n_right)))
    assert judged.result == result
    if finding:
        assert finding.severity == "plan"
        assert judged.why.startswith(
            "Main floor's call opens Primary bedroom's damper: its own stayed shut at the start of"
        )
        assert any(text.startswith("Not two dampers that stick") for text in finding.ruled_out)


def test_a_call_that_waits_for_the_other_mode_moves_no_damper(build, judge, at):
    assert judge(CODE, build(by_dampers(at, 8, runs="cooling")))[0].result == "cannot tell"


def test_where_two_dampers_open_it_is_no_exchange(build, judge, at):
    assert judge(CODE, build(by_dampers(at, 8, third_open=True)))[0].result == "cannot tell"


def test_a_zone_that_calls_beside_it_opens_its_damper_rightly(build, judge, at):
    rows = by_dampers(at, 8)
    rows["interval.call"] += [c | {"zone": 2} for c in rows["interval.call"]]
    assert judge(CODE, build(rows))[0].result != "found"


def by_rooms(at, short_f=3.0, past_f=6.0, calling=1.0, other_calling=0.0):
    """Zone 1 calls on and on and stays short; zone 2 stands past its setpoint."""
    rows, n = [], 40 * 60
    for zone, off_f, share in ((1, -short_f, calling), (2, past_f, other_calling)):
        for k in range(n):
            rows.append(
                {
                    "zone": zone,
                    "ts": at(1, "00:00") + k * MINUTE,
                    "temp_f": 70.0 + off_f,
                    "heat_setpoint_f": 70.0,
                    "call_mode": "heating" if k < share * n else "",
                    "in_visit": False,
                }
            )
    return rows


@pytest.mark.parametrize(
    ("changes", "result"),
    [
        ({}, "found"),
        ({"short_f": 1.4}, "cannot tell"),
        ({"short_f": 1.5}, "found"),
        ({"past_f": 2.9}, "cannot tell"),
        ({"past_f": 3.0}, "found"),
        ({"calling": 0.79}, "cannot tell"),
        ({"calling": 0.8}, "found"),
        ({"other_calling": 0.1}, "found"),
        ({"other_calling": 0.11}, "cannot tell"),
    ],
)
def test_one_calls_in_vain_and_the_other_gets_it(build, judge, at, changes, result):
    site = build({"interval.zone_minute": by_rooms(at, **changes)})
    judged, finding = judge(CODE, site)
    assert judged.result == result
    if finding:
        assert finding.certainty == "possible"
        assert "Main floor and Primary bedroom look crossed" in judged.why
        assert "registers" in finding.checks[0]


@pytest.mark.parametrize(("open_h", "result"), [(4.0, "found"), (5.0, "cannot tell")])
def test_a_damper_that_relief_opens_is_no_exchange(build, judge, at, open_h, result):
    start, end = at(1, "00:00"), at(1, "00:00") + 40 * HOUR
    middle = start + round(open_h * HOUR)
    rows = {
        "interval.zone_minute": by_rooms(at),
        "signal.state": damper(2, [(start, middle, True), (middle, end, False)]),
    }
    assert judge(CODE, build(rows))[0].result == result
