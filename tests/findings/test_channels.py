"""Findings about channels: found where trust.problem says so, with its figure and its line."""

from __future__ import annotations

import pytest

# code, role, figure, its unit, reason, correction, what the summary holds
CASES = [
    ("stuck-sensor", "supply_temp", 113.4, "store", "stuck at one value", None, "stood at 113 °F"),
    ("sensor-spikes", "return_temp", 130.0, "store", "leaps and comes back", None, "17 times"),
    ("sensor-out-of-range", "supply_temp", -67.0, "store", "reads that", None, "17 readings"),
    ("missing-readings", "zone_temp", 0.25, "share", "readings lacking", None, "lacks 25 %"),
    ("log-too-coarse", "return_temp", 2.0, "store difference", "too coarse", None, "steps of 2 °F"),
    ("unit-mismatch", "static_pressure", 0.002, "store difference", "another unit", 'unit = "inwc"',
     "another unit"),
    ("swapped-probes", "supply_temp", 40.0, "store difference", "exchanged",
     'role = "return_temp"', "upply and return are exchanged: in 17 of 20 runs"),
    ("static-zero-shifted", "static_pressure", 0.08, "store difference", "static zero shifted",
     "zero_shift = 20", "rests at 0.08 in. w.c."),
    ("static-flat", "static_pressure", 0.0, "store", "does not answer", None, "17 starts"),
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


def test_probes_need_runs_and_zero_needs_rests(build, judge):
    for code in ("swapped-probes", "sensor-lag", "static-flat"):
        assert judge(code, build())[0].result == "cannot tell", code
    judged, _ = judge("static-zero-shifted", build())
    assert judged.why.startswith("Zero could not be checked")


def test_nothing_wrong_is_not_found(build, judge):
    for code in ("stuck-sensor", "sensor-spikes", "state-inverted", "missing-readings"):
        assert judge(code, build())[0].result == "not found", code
