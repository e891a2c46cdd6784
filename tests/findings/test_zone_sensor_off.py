"""Zone sensor off: room less setpoint as calls begin and end."""

import pytest

CODE = "zone-sensor-off"
ROLES = ["zone_temp", "zone_heat_setpoint", "zone_call_w1", "output_w1"]


def case(at, end_f=3.0, start_f=2.8, n=12):
    """n heat calls of ten minutes, every half hour; setpoint 70 °F."""
    calls, minutes = [], []
    for i in range(n):
        start = at(i // 10, f"{8 + (i % 10) // 2:02d}:{30 * (i % 2):02d}")
        end = start + 600_000_000
        calls.append(
            {
                "zone": 3,
                "mode": "heating",
                "start_ts": start,
                "end_ts": end,
                "has_start": True,
                "has_end": True,
            }
        )
        for ts, off in ((start, start_f), (end, end_f)):
            minutes.append(
                {
                    "zone": 3,
                    "ts": ts,
                    "temp_f": 70 + off,
                    "heat_setpoint_f": 70.0,
                    "in_visit": False,
                }
            )
    return {"interval.call": calls, "interval.zone_minute": minutes}


def test_found(build, judge, at):
    judged, finding = judge(CODE, build(case(at), roles=ROLES))
    assert judged.result == "found"
    assert finding.severity == "plan"
    assert "Bedroom over garage's thermostat is satisfied with the room 3.0 °F over" in (
        finding.summary
    )
    assert finding.causes[0].cause.startswith("The thermostat's place")


@pytest.mark.parametrize(
    ("end_f", "start_f", "result"),
    [
        (1.4, 2.0, "not found"),
        (1.5, 2.0, "found"),
        (1.6, 2.0, "found"),
        (-1.6, -2.0, "found"),
        (0.1, -3.0, "not found"),  # cannot hold: off as calls begin, right as they end
    ],
)
def test_offset(build, judge, at, end_f, start_f, result):
    assert judge(CODE, build(case(at, end_f, start_f), roles=ROLES))[0].result == result


@pytest.mark.parametrize(("end_f", "severity"), [(2.9, "watch"), (3.0, "plan"), (3.1, "plan")])
def test_severity(build, judge, at, end_f, severity):
    assert judge(CODE, build(case(at, end_f), roles=ROLES))[1].severity == severity


@pytest.mark.parametrize(("n", "result"), [(9, "cannot tell"), (10, "found"), (11, "found")])
def test_number(build, judge, at, n, result):
    assert judge(CODE, build(case(at, n=n), roles=ROLES))[0].result == result


def test_cannot_tell_without_setpoints(build, judge):
    assert judge(CODE, build())[0].result == "cannot tell"
