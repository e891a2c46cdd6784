"""Strictness of levels, bins and coverage: the rest of the guide's table (see test_strictness)."""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.findings._judge import judge_rules, rules
from tests.findings.conftest import build_site
from tests.test_strictness import CALL_1, HOUR, SUPPLY, W1, G, flat, line


def test_supply_is_near_a_limit_at_the_margin(bench: Any, site_log: Any) -> None:
    """Limit 150 °F, margin 5 °F: a peak of 145.0 is near it (elm), 144.9 is not (oak)."""

    def log(peak_f: float) -> Any:
        supply = [(float(s), 130.0) for s in range(0, 1501, 10)]
        supply[80] = (800.0, peak_f)
        return site_log(
            window=(0, 1500),
            states={
                W1: line(0, 60, 1200, 1500),
                G: line(0, 1500, on_first=True),
                CALL_1: line(0, 60, 1200, 1500),
            },
            readings={SUPPLY: supply},
            settings={"high_limit_f": 150.0},
        )

    bench.measure({"elm": log(145.0), "oak": log(144.9)}, "measure.limit_approach")
    found = [(r["site_id"], r["kind"], r["peak_f"]) for r in bench.rows("measure.limit_approach")]
    assert found == [("elm", "near limit", 145.0)]


def test_outdoor_air_at_a_bins_lower_end_is_in_it(bench: Any, site_log: Any) -> None:
    """Bins of 5 °F: 10.0 lies in [10, 15), 9.9 in [5, 10), and below zero -0.1 in [-5, 0)."""

    def log(outdoor_f: float) -> Any:
        return site_log(
            window=(0, HOUR),
            states={W1: line(0, 600, 1200, HOUR), CALL_1: line(0, 600, 1200, HOUR)},
            readings={("outdoor_temp", None): flat(outdoor_f, HOUR)},
        )

    logs = {"ash": log(-0.1), "elm": log(10.0), "oak": log(9.9)}
    bench.measure(logs, "measure.runtime_split")
    rows = bench.rows("measure.runtime_split")
    found = {
        (r["site_id"], r["low_f"]) for r in rows if r["split"] == "outdoor" and r["on_s"]
    }  # fmt: skip
    assert found == {("ash", -5.0), ("elm", 10.0), ("oak", 5.0)}


@pytest.mark.parametrize(("coverage", "is_told"), [(0.5, True), (0.499, False)])
def test_half_the_time_seen_is_enough_for_a_figure(coverage: float, is_told: bool) -> None:
    (judged,) = _trips(coverage)
    assert (judged.result != "cannot tell") is is_told


@pytest.mark.parametrize(("coverage", "is_warned"), [(0.9, False), (0.899, True)])
def test_nine_tenths_of_the_time_seen_need_no_warning(coverage: float, is_warned: bool) -> None:
    (judged,) = _trips(coverage)
    assert ("of the time" in judged.why) is is_warned


def _trips(coverage: float) -> list[Any]:
    """What is judged of limit trips in a week without one, with that much of it seen."""
    rule = next(r for r in rules() if r.code == "high-limit-trips")
    _, judged = judge_rules(build_site(coverage=coverage), [rule])
    return judged
