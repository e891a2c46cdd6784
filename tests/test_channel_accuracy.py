"""The short form of `make check-channels`: one healthy system, and some faults planted on it."""

from __future__ import annotations

import pytest

from tests.accuracy.channels import FAULTS, Case, judge_batch, wilson

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


def test_wilson_interval() -> None:
    """8 of 10: 0.4902 to 0.9433 (Newcombe 1998, from memory, agrees to three digits)."""
    # p = 0.8, z² = 3.8415: middle (0.8 + 0.19207) / 1.38415 = 0.71674;
    # half 1.95996 * sqrt(0.016 + 0.0096037) / 1.38415 = 0.22657
    assert wilson(8, 10) == pytest.approx((0.4902, 0.9433), abs=1e-3)
