"""Output chatter: off for seconds and back, with no new call that explains it."""

import pytest

CODE = "output-chatter"
SECOND = 1_000_000


def state(channel_id, role, start, end, is_on, zone=None):
    return {
        "channel_id": channel_id,
        "role": role,
        "zone": zone,
        "start_ts": start,
        "end_ts": end,
        "is_on": is_on,
    }


def blinking(channel_id, role, begin, offs, zone=None, run_s=1800):
    """A run of half an hour from `begin` with offs [(after seconds, seconds)]."""
    rows, at_s = [], 0
    for after_s, off_s in offs:
        a, b = begin + after_s * SECOND, begin + (after_s + off_s) * SECOND
        rows.append(state(channel_id, role, begin + at_s * SECOND, a, True, zone))
        rows.append(state(channel_id, role, a, b, False, zone))
        at_s = after_s + off_s
    rows.append(state(channel_id, role, begin + at_s * SECOND, begin + run_s * SECOND, True, zone))
    end = begin + run_s * SECOND
    rows.append(state(channel_id, role, end, end + 600 * SECOND, False, zone))
    return rows


def site_with(build, rows, interval_s=1.0, **more):
    roles = ["output_w1", "output_y1", "output_g", "zone_call_w1"]
    return build({"signal.state": rows}, **({"roles": roles, "resolution_s": interval_s} | more))


OFFS = [(300, 3), (600, 4), (900, 5)]


@pytest.mark.parametrize(
    ("offs", "result"),
    [
        (OFFS[:2], "not found"),
        (OFFS, "found"),
        ([(300, 15), (600, 15), (900, 15)], "found"),  # runs are bridged over 15 s too
        ([(300, 16), (600, 16), (900, 16)], "not found"),
    ],
)
def test_number_and_length(build, judge, at, offs, result):
    rows = blinking(1, "output_w1", at(1, "06:00"), offs)
    judged, _ = judge(CODE, site_with(build, rows))
    assert judged.result == result


@pytest.mark.parametrize(
    ("role", "late_s", "result"),
    [
        ("output_w2", 0, "not found"),  # one zone is satisfied, the next one asks
        ("output_w2", 2, "not found"),
        ("output_w2", 3, "found"),
        ("output_w1", 0, "found"),
    ],
)
def test_second_stage_goes_off_as_a_call_ends(build, judge, at, role, late_s, result):
    begin = at(1, "06:00")
    ends = [
        {"zone": 1, "mode": "heating", "start_ts": begin, "end_ts": begin + (a + late_s) * SECOND}
        for a, _ in OFFS
    ]
    site = build(
        {"signal.state": blinking(1, role, begin, OFFS), "interval.bridged_call": ends},
        roles=["output_w1", "output_w2", "zone_call_w1"],
        resolution_s=1.0,
    )
    assert judge(CODE, site)[0].result == result


@pytest.mark.parametrize(
    ("role", "n", "severity"),
    [
        ("output_y1", 9, "watch"),
        ("output_y1", 10, "plan"),
        ("output_w1", 10, "watch"),
        ("output_g", 10, "note"),
    ],
)
def test_severity(build, judge, at, role, n, severity):
    rows = blinking(1, role, at(1, "06:00"), [(150 + 120 * i, 3) for i in range(n)])
    _, finding = judge(CODE, site_with(build, rows))
    assert finding.severity == severity


def test_sentence(build, judge, at):
    _, finding = judge(CODE, site_with(build, blinking(1, "output_w1", at(1, "06:00"), OFFS)))
    assert finding.summary == (
        "Outputs drop out and come straight back: W1 3 times, for 5 s at the most: first Tue "
        "6:05:00 am, last Tue 6:15:00 am."
    )
    assert dict(finding.table)["Off for"] == ("3 s", "4 s", "5 s")


def test_fan_between_a_purge_and_the_next_call_is_no_chatter(build, judge, at):
    rows = []
    for day in range(4):
        begin = at(day, "06:00")
        # G goes off at 1800 s as the purge ends, and on again 8 s later with W1 for a new call
        rows += [
            state(1, "output_g", begin, begin + 1800 * SECOND, True),
            state(1, "output_g", begin + 1800 * SECOND, begin + 1808 * SECOND, False),
            state(1, "output_g", begin + 1808 * SECOND, begin + 2400 * SECOND, True),
            state(2, "output_w1", begin, begin + 1680 * SECOND, True),
            state(2, "output_w1", begin + 1680 * SECOND, begin + 1808 * SECOND, False),
            state(2, "output_w1", begin + 1808 * SECOND, begin + 2300 * SECOND, True),
        ]
    assert judge(CODE, site_with(build, rows))[0].result == "not found"


def test_an_output_wanted_again_by_another_zone_is_no_chatter(build, judge, at):
    begin = at(1, "06:00")
    w1 = blinking(1, "output_w1", begin, OFFS)
    calls = [
        state(
            10 + n, "zone_call_w1", begin + (after + off) * SECOND, begin + 9999 * SECOND, True, n
        )
        for n, (after, off) in enumerate(OFFS, start=1)
    ]
    judged, _ = judge(CODE, site_with(build, [*w1, *calls]))
    assert judged.result == "not found"
    assert judged.why == (
        "No drop-outs on 3 outputs, visits left out; 3 more come with a new call or with the heat "
        "or cooling it brings."
    )


def test_call_that_blinks_with_it_comes_first(build, judge, at):
    begin = at(1, "06:00")
    rows = blinking(1, "output_w1", begin, OFFS)
    rows += blinking(2, "zone_call_w1", begin - 200 * SECOND, [(500, 3), (800, 4), (1100, 5)], 3)
    _, finding = judge(CODE, site_with(build, rows))
    assert finding.causes[0].cause.startswith("A thermostat's call blinks")
    assert finding.causes[0].because == (
        "A zone's call blinked at the same moment in all 3 drop-outs (Bedroom over garage)."
    )


def test_all_outputs_at_once_point_to_the_supply(build, judge, at):
    begin = at(1, "06:00")
    rows = blinking(1, "output_w1", begin, OFFS) + blinking(2, "output_g", begin, OFFS)
    _, finding = judge(CODE, site_with(build, rows))
    assert finding.causes[0].cause.startswith("The 24 V supply dips")


def test_visits_are_left_out(build, judge, at):
    rows = blinking(1, "output_w1", at(1, "06:00"), OFFS)
    site = site_with(build, rows, visits=[(at(1, "06:00"), at(1, "07:00"))])
    assert judge(CODE, site)[0].result == "not found"


@pytest.mark.parametrize(("interval_s", "result"), [(7.5, "found"), (7.6, "cannot tell")])
def test_coarse_sampling_cannot_tell(build, judge, at, interval_s, result):
    # two readings must fall into 15 s
    rows = blinking(1, "output_w1", at(1, "06:00"), OFFS)
    assert judge(CODE, site_with(build, rows, interval_s))[0].result == result


def test_no_outputs_cannot_tell(build, judge):
    assert judge(CODE, build(roles=["supply_temp"]))[0].result == "cannot tell"
