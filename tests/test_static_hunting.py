"""Static that hunts: turns counted on lines drawn by hand, and at each of its thresholds."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from pipeline.measures.static_hunting import READS, build
from pipeline.thresholds import values_for

T0 = 1_768_200_000_000_000
S = 1_000_000


def frames(values: list[float], step_s: float, site_id: str = "larch") -> dict[str, pd.DataFrame]:
    """A state whose static reads these values, one every `step_s`."""
    swing = pd.DataFrame(
        {
            "site_id": site_id,
            "state_ts": T0,
            "ts": [T0 + int(i * step_s * S) for i in range(len(values))],
            "inwc": values,
            "class": "heating",
            "stage": 1,
            "zones": "1",
            "in_visit": False,
        }
    )
    coverage = pd.DataFrame(
        [{"site_id": site_id, "figure": "static", "coverage": 0.9, "resolution_s": 10.0}]
    )
    threshold = pd.DataFrame([{"site_id": site_id, **values_for({})}])
    made = {
        "interval.static_swing": swing,
        "measure.coverage": coverage,
        "run.threshold": threshold,
    }
    assert sorted(made) == sorted(READS)
    return made


def rows(values: list[float], step_s: float) -> list[dict[str, Any]]:
    return build(frames(values, step_s)).to_dict(orient="records")


def test_turns_to_and_fro() -> None:
    # every 5 min to and fro: turns at the readings 1 to 5; whether the first and the last are turns
    # cannot be seen. Four gaps of 5 min are 20 min; 4 turns after the first: 12 an hour.
    [row] = rows([0.3, 0.5, 0.3, 0.5, 0.3, 0.5, 0.3], 300)
    assert (row["start_ts"], row["end_ts"]) == (T0 + 300 * S, T0 + 1500 * S)
    assert row["n_turn"] == 5
    assert row["length_s"] == 1200
    assert row["per_hour"] == pytest.approx(12)
    assert row["swing_inwc"] == pytest.approx(0.2)
    assert row["is_hunting"] is False  # under half an hour
    assert (row["coverage"], row["resolution_s"]) == (0.9, 10)


@pytest.mark.parametrize(("step_s", "is_hunting"), [(449, False), (450, True), (451, True)])
def test_half_an_hour_of_it(step_s: float, is_hunting: bool) -> None:
    # five turns, four gaps: 4 * 450 s is just half an hour
    [row] = rows([0.3, 0.5, 0.3, 0.5, 0.3, 0.5, 0.3], step_s)
    assert row["is_hunting"] is is_hunting


@pytest.mark.parametrize(("step_s", "n"), [(600, 1), (601, 0)])
def test_no_slower_than_six_an_hour(step_s: float, n: int) -> None:
    # a turn every 600 s is six an hour
    assert len(rows([0.3, 0.5, 0.3, 0.5, 0.3, 0.5, 0.3], step_s)) == n


@pytest.mark.parametrize(("high", "n"), [(0.4375, 0), (0.46875, 1), (0.484375, 1)])
def test_swings_of_a_tenth(high: float, n: int) -> None:
    # from 0.375 by 0.0625, 0.09375 and 0.109375: with the bound at 0.09375, exact in binary
    made = frames([0.375, high] * 4, 60)
    made["run.threshold"]["hunting_swing_inwc"] = 0.09375
    assert len(build(made)) == n


def test_three_turns_are_too_few() -> None:
    # 0.3 0.5 0.3 0.5 0.3: turns at the second, third and fourth reading
    assert rows([0.3, 0.5, 0.3, 0.5, 0.3], 60) == []


def test_steps_on_the_way_are_no_turns() -> None:
    # two ramps up and down in steps of 0.05 with a dip of 0.05 on the way: a single top
    assert rows([0.1, 0.15, 0.2, 0.15, 0.2, 0.3, 0.25, 0.3, 0.4, 0.3, 0.2, 0.1], 60) == []


def test_a_long_rest_parts_two_stretches() -> None:
    # turns at readings 1 to 5 (a flat top is told by its first), 16 min to the next, 21 to 24
    values = [0.3, 0.5, 0.3, 0.5, 0.3, 0.5, *[0.5] * 15, 0.3, 0.5, 0.3, 0.5, 0.3]
    made = rows(values, 60)
    assert [r["n_turn"] for r in made] == [5, 4]


def test_sites_do_not_mix() -> None:
    one, two = frames([0.3, 0.5] * 4, 60), frames([0.3, 0.3] * 4, 60, "oak")
    both = {name: pd.concat([one[name], two[name]]) for name in one}
    assert set(build(both)["site_id"]) == {"larch"}


def test_nothing_comes_of_nothing() -> None:
    empty = {name: frame.iloc[:0] for name, frame in frames([0.3], 60).items()}
    assert build(empty).empty
