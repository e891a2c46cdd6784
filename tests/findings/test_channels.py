"""Findings about channels: found where trust.problem says so, with its figure and its line."""

from __future__ import annotations

import pytest

from pipeline.cli.review import offered_lines

# code, role, figure, its unit, reason, correction, what the summary holds
CASES = [
    ("stuck-sensor", "supply_temp", 113.4, "store", "stuck at one value", None, "stood at 113 °F"),
    ("sensor-spikes", "return_temp", 130.0, "store", "leaps and comes back", None, "17 times"),
    ("sensor-out-of-range", "supply_temp", -67.0, "store", "reads that", None, "17 readings"),
    ("missing-readings", "zone_temp", 0.25, "share", "readings lacking", None, "misses 25 %"),
    ("log-too-coarse", "return_temp", 2.0, "store difference", "too coarse", None, "steps of 2 °F"),
    ("unit-mismatch", "static_pressure", 0.002, "store difference", "another unit", 'unit = "inwc"',
     "another unit"),
    ("swapped-probes", "supply_temp", 40.0, "store difference", "exchanged",
     'role = "return_temp"', "upply and return are swapped: in 17 of 20 runs"),
    ("static-zero-shifted", "static_pressure", 0.08, "store difference", "static zero shifted",
     "zero_shift = 20", "rests at 0.08 in. w.c."),
    ("static-flat", "static_pressure", 0.0, "store", "does not answer", None, "17 fan starts"),
    ("sun-on-outdoor-sensor", "outdoor_temp", 1.5, "store difference", "sun", None, "in the sun"),
    ("sensor-lag", "supply_temp", 1.52, "times", "slow probe", None, "1.5 times"),
    ("state-inverted", "output_g", 0.9, "share", "the other way", "inverted = true", "G out"),
    ("state-never-changes", "output_g", 0.0, "share", "never changes", None, "17 events"),
]  # fmt: skip


def problem(at, code, role, figure, unit, reason, correction):
    return {
        "channel_id": 1,
        "role": role,
        "zone": 1 if role.startswith("zone") else None,
        "code": code,
        "start_ts": at(2, "14:00"),
        "end_ts": at(3, "14:00"),
        "figure": figure,
        "figure_unit": unit,
        "n": 17,
        "of_n": 20,
        "is_cut": True,
        "reason": reason,
        "correction": correction,
    }


@pytest.mark.parametrize("case", CASES, ids=lambda c: c[0])
def test_found_with_its_figure_and_its_line(build, judge, at, case):
    *row, said = case
    tables = {"trust.problem": [problem(at, *row)]}
    result, finding = judge(row[0], build(tables, roles=[row[1]]))
    assert result.result == "found"
    assert finding.about == "log"
    assert said in finding.summary
    if row[-1] is not None:
        assert row[-1] in dict(finding.table)["In site.toml"][0]
    assert len(finding.evidence) == 1


def test_the_terminal_lists_every_line_that_is_offered(build, judge, at):
    """Two findings with lines, one without: each line by itself, as it is to be written."""
    shift = 'zero_shift = 20\nzero_shift_from = "2026-01-14T14:00:00"'
    rows = {
        "swapped-probes": ("supply_temp", "exchanged", 'role = "return_temp"'),
        "static-zero-shifted": ("static_pressure", "static zero shifted", shift),
        "stuck-sensor": ("zone_temp", "stuck at one value", None),
    }
    found = []
    for code, (role, reason, line) in rows.items():
        row = problem(at, code, role, 0.1, "store difference", reason, line)
        found.append(judge(code, build({"trust.problem": [row]}, roles=[role]))[1])
    assert offered_lines(found)[1:] == [
        '  in the [[channel]] block of "supply_temp":',
        '    role = "return_temp"',
        '  in the [[channel]] block of "static_pressure":',
        "    zero_shift = 20",
        '    zero_shift_from = "2026-01-14T14:00:00"',
    ]
    assert offered_lines(found[2:]) == []


@pytest.mark.parametrize(
    ("role", "interval_s", "result"),
    [
        ("supply_temp", 90.0, "not found"),
        ("supply_temp", 90.1, "cannot tell"),
        ("static_pressure", 300.0, "cannot tell"),
        ("zone_temp", 300.0, "not found"),
    ],
)
def test_no_leap_seen_is_only_said_where_a_run_would_not_look_like_one(
    build, judge, role, interval_s, result
):
    judged, _ = judge("sensor-spikes", build(roles=[role], resolution_s=interval_s))
    assert judged.result == result
    assert ("every 1.5 min would do" in judged.why) is (result == "cannot tell")


@pytest.mark.parametrize("code", ["sensor-spikes", "sensor-out-of-range"])
@pytest.mark.parametrize(("n", "result"), [(2, "not found"), (3, "found"), (4, "found")])
def test_a_few_are_left_out_without_a_word_at_the_head(build, judge, at, code, n, result):
    row = problem(at, code, "return_temp", 130.0, "store", "leaps", None) | {"n": n}
    judged, _ = judge(code, build({"trust.problem": [row]}, roles=["return_temp"]))
    assert judged.result == result


@pytest.mark.parametrize("case", CASES, ids=lambda c: c[0])
def test_without_the_channel_it_cannot_tell(build, judge, case):
    judged, _ = judge(case[0], build(roles=["fault_contact"]))
    assert judged.result == "cannot tell"
    assert judged.why.startswith("Not logged")


@pytest.mark.parametrize(
    ("n", "result"), [(0, "cannot tell"), (4, "cannot tell"), (5, "not found")]
)
def test_zones_are_told_apart_only_where_two_of_them_called(build, judge, at, n, result):
    """Two rooms; the first zone calls ten times, the other never, four or five times."""
    rooms = [
        {
            "channel_id": z, "logger": "rooms", "column_name": f"room {z}", "role": role, "zone": z,
            "kind": "analog", "is_primary": True,
        }
        for role in ("zone_temp", "zone_call_w1")
        for z in (1, 2)
    ]  # fmt: skip
    calls = [
        {"zone": zone, "start_ts": at(k % 7, f"{k}:00"), "end_ts": at(k % 7, f"{k}:30")}
        for zone, times in ((1, 10), (2, n))
        for k in range(times)
    ]
    site = build({"channel.channel": rooms, "interval.call": calls})
    judged, _ = judge("zones-exchanged", site)
    assert judged.result == result
    if result == "cannot tell":
        assert judged.why == (
            "Primary bedroom called fewer than 5 times; two zones with calls are needed."
        )
    silent = build({"channel.channel": rooms[:2]})
    assert judge("zones-exchanged", silent)[0].why == "Not logged: the zones' calls."


def test_probes_need_runs_and_zero_needs_rests(build, judge):
    for code in ("swapped-probes", "sensor-lag", "static-flat"):
        assert judge(code, build())[0].result == "cannot tell", code
    few = judge("sensor-lag", build())[0].why
    assert few.startswith("No runs with supply air in this log")
    alone = judge("sensor-lag", build(roles=["supply_temp", "return_temp"]))[0].why
    assert alone == "Not logged: outputs or calls, by which runs are told apart."
    judged, _ = judge("static-zero-shifted", build())
    assert judged.why.startswith("Zero could not be checked")


def test_nothing_wrong_is_not_found(build, judge):
    for code in ("stuck-sensor", "sensor-spikes", "state-inverted", "missing-readings"):
        assert judge(code, build())[0].result == "not found", code
