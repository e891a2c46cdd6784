"""Power dropout: found, not found, cannot tell, and at each threshold."""

import pytest

from tests.findings.conftest import HOUR, MINUTE, frame

CODE = "power-dropout"
SECOND = 1_000_000
NAMES = ("output_y1", "output_g", "zone_call_y1:1", "zone_call_y1:2", "zone_call_y1:3")


def runs(at, n_purged, purge_s=60):
    """(name, on, off) of runs for Main floor, a day apart, each with its purge."""
    made = []
    for d in range(n_purged):
        ts = at(d, "06:00")
        made += [
            ("output_y1", ts, ts + HOUR),
            ("zone_call_y1:1", ts, ts + HOUR),
            ("output_g", ts, ts + HOUR + purge_s * SECOND),
        ]
    return made


def usual(at, purge_s=60):
    """Twelve runs, two a day, each with its purge: with the dropout 12 of 13, over 90 %."""
    evenings = []
    for d in range(6):
        ts = at(d, "18:00")
        evenings += [
            ("output_y1", ts, ts + HOUR),
            ("output_g", ts, ts + HOUR + purge_s * SECOND),
            ("zone_call_y1:1", ts, ts + HOUR),
        ]
    return runs(at, 6, purge_s) + evenings


def dropout(at, n_calls=1, fan_late_s=0, quiet_s=400, day=6, late_s=0):
    """Everything off at 15:00 in the middle of a run, and back after a while.

    late_s : how much later than the first zone the others call again
    """
    ts, off = at(day, "14:00"), at(day, "15:00")
    made = [("output_y1", ts, off), ("output_g", ts, off + fan_late_s * SECOND)]
    for zone in range(1, n_calls + 1):
        made.append((f"zone_call_y1:{zone}", ts, off))
    back = off + quiet_s * SECOND
    made.append(("zone_call_y1:1", back, back + HOUR))
    for zone in range(2, n_calls + 1):
        made.append((f"zone_call_y1:{zone}", back + late_s * SECOND, back + HOUR))
    return made


def site(build, at, on, until=None, names=NAMES, **more):
    """All channels known over the week; `until`: what is known of output_g ends there."""
    start, end = at(0, "00:00"), at(0, "00:00") + 7 * 24 * HOUR
    rows = []
    for n, name in enumerate(names, start=1):
        role, _, zone = name.partition(":")
        last = start
        stop = until if until and role == "output_g" else end
        for _, a, b in sorted(r for r in on if r[0] == name):
            rows += [(n, role, zone, last, a, False), (n, role, zone, a, b, True)]
            last = b
        rows.append((n, role, zone, last, stop, False))
    states = [
        {
            "channel_id": n,
            "role": role,
            "zone": int(zone) if zone else None,
            "start_ts": a,
            "end_ts": b,
            "is_on": on_,
        }
        for n, role, zone, a, b, on_ in rows
        if b > a
    ]
    roles = more.pop("roles", ["output_y1", "output_g", "zone_call_y1"])
    return build({"signal.state": states}, roles=roles, **more)


def test_everything_off_without_the_usual_purge(build, judge, at):
    judged, finding = judge(CODE, site(build, at, usual(at) + dropout(at), resolution_s=1.0))
    assert (finding.severity, finding.certainty) == ("watch", "likely")
    assert judged.why == (
        "Panel and thermostats lost their power: every call and output went off in the same "
        "instant, "
        "once, 6.5 min until something came back."
    )


# the dropout is one of the runs' ends: purges in 9 of 10 are 90 %, in 8 of 9 less
@pytest.mark.parametrize(("n_more", "result"), [(0, "not found"), (1, "found")])
def test_purges_must_be_usual(build, judge, at, n_more, result):
    on = runs(at, 6)
    for d in range(2 + n_more):
        ts = at(d, "18:00")
        on += [("output_y1", ts, ts + HOUR), ("output_g", ts, ts + HOUR + MINUTE)]
        on.append(("zone_call_y1:1", ts, ts + HOUR))
    on += dropout(at)
    assert judge(CODE, site(build, at, on, resolution_s=1.0))[0].result == result


@pytest.mark.parametrize(("purge_s", "result"), [(15, "not found"), (16, "found")])
def test_a_purge_lasts(build, judge, at, purge_s, result):
    on = usual(at, purge_s) + dropout(at)
    judged, _ = judge(CODE, site(build, at, on, resolution_s=1.0))
    assert judged.result == result


# no purge is known of: three zones at one instant are no chance
@pytest.mark.parametrize(("n_calls", "result"), [(2, "not found"), (3, "found")])
def test_calls_at_one_instant(build, judge, at, n_calls, result):
    assert judge(CODE, site(build, at, dropout(at, n_calls)))[0].result == result


# half of the zones that called call again within two minutes of what is back first
@pytest.mark.parametrize(
    ("n_calls", "late_s", "result"),
    [(4, 119, "found"), (4, 121, "not found"), (3, 0, "found"), (3, 600, "not found")],
)
def test_what_called_calls_again(build, judge, at, n_calls, late_s, result):
    names = (*NAMES, "zone_call_y1:4")
    on = dropout(at, n_calls, late_s=late_s)
    assert judge(CODE, site(build, at, on, names=names))[0].result == result


@pytest.mark.parametrize(("quiet_s", "result"), [(119, "not found"), (121, "found")])
def test_quiet_for_two_minutes(build, judge, at, quiet_s, result):
    on = usual(at) + dropout(at, quiet_s=quiet_s)
    assert judge(CODE, site(build, at, on, resolution_s=1.0))[0].result == result


def test_a_purge_or_a_gap_is_no_dropout(build, judge, at):
    on = usual(at) + dropout(at, fan_late_s=60)
    assert judge(CODE, site(build, at, on, resolution_s=1.0))[0].result == "not found"
    on = usual(at) + dropout(at)
    gap = site(build, at, on, until=at(6, "15:00"), resolution_s=1.0)
    assert judge(CODE, gap)[0].result == "not found"


def test_logged_24_volts_are_shown(build, judge, at):
    off = {"role": "voltage_24", "start_ts": at(1, "06:00"), "end_ts": at(1, "06:05")}
    roles = ["output_y1", "output_g", "zone_call_y1", "voltage_24"]
    site_ = build({"signal.state": [off | {"is_on": False}]}, roles=roles)
    judged, finding = judge(CODE, site_)
    assert finding.certainty == "shown"
    assert judged.why == "24 V was logged off, once, 5 min until something came back."


@pytest.mark.parametrize(("resolution_s", "result"), [(15.0, "found"), (15.1, "cannot tell")])
def test_logged_too_slowly(build, judge, at, resolution_s, result):
    on = dropout(at, 3)
    assert judge(CODE, site(build, at, on, resolution_s=resolution_s))[0].result == result


# a schedule that sets back ends every call at its full hour
@pytest.mark.parametrize(
    ("step_f", "after_min", "zone", "result"),
    [
        (1.0, 15, 1, "not found"),
        (0.9, 15, 1, "found"),
        (3.0, 16, 1, "found"),
        (3.0, 5, 4, "found"),  # another zone, which did not call
    ],
)
def test_calls_that_a_schedule_ends(build, judge, at, step_f, after_min, zone, result):
    off = at(6, "15:00")
    minutes = [
        {"zone": zone, "ts": ts, "cool_setpoint_f": value}
        for ts, value in (
            (off - 5 * MINUTE, 75.0),
            (off, 75.0),
            (off + after_min * MINUTE, 75.0 + step_f),
        )
    ]
    frames = site(build, at, usual(at) + dropout(at))
    frames.tables["interval.zone_minute"] = frame("interval.zone_minute", minutes)
    assert judge(CODE, frames)[0].result == result
