"""The short form of `make check-channels`: one healthy system, and some faults planted on it."""

from __future__ import annotations

from tests.accuracy.channels import FAULTS, Case, judge_batch

PLANTED = (
    "spikes",
    "supply and return swapped",
    "wrong unit",
    "static zero shifted",
    "tube off",
    "state inverted",
)


def test_faults_are_found_on_a_healthy_system_and_nothing_beside_them() -> None:
    code_of = {f.name: f.code for f in FAULTS}
    batch = [Case(4), *(Case(4, name, 3) for name in PLANTED)]
    for case, results, _ in judge_batch(batch, "tuning"):
        told = {code for code, result in results.items() if result == "found"}
        assert told == ({code_of[case.fault]} if case.fault else set()), case.name
