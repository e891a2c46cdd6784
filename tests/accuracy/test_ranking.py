"""Which planted houses `make check-ranking` calls faulty, and how it counts them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from sample_data import world
from tests.accuracy.beside import not_come_about
from tests.accuracy.ranking import Planted, told


def truth(must: tuple[str, ...] = (), waited_s: int = 0) -> dict[str, Any]:
    return {
        "labels": {"must": list(must), "may": [], "must_not": []},
        "zones": [{"mean_f": 70.0}],
        "call_without_output_s": waited_s,
    }


@pytest.mark.parametrize(
    ("name", "facts", "words"),
    [
        # trips often enough to be asked for; the headline is another finding
        ("second stage for one zone", truth(("high-limit-trips",)), ""),
        # the float tripped and a call waited for two hours; nobody called while it stood
        ("float switch", truth(("float-switch",), 7200), ""),
        ("float switch", truth(("float-switch",)), "nobody called"),
        # the planted setting brought about no event that the labels ask for
        ("static hunting", truth(), "too little of it happened"),
        # what is asked for has nothing to do with what was planted
        ("static hunting", truth(("short-cycling",)), "too little of it happened"),
    ],
)
def test_a_condition_came_about_where_the_simulation_shows_it(
    name: str, facts: dict[str, Any], words: str
) -> None:
    why = not_come_about(world.with_condition(name, 3, "tuning", 4), facts)
    assert why.startswith(words) and bool(why) == bool(words)


def test_houses_whose_condition_did_nothing_are_counted_apart() -> None:
    """Nine houses, three in the first third; a fault that came about at places 1, 3 and 4."""
    system = world.healthy("tuning", 3)
    names = [f"s{n}" for n in range(9)]
    listed: Any = [SimpleNamespace(site_id=s, group="ranked", reasons=["Some."]) for s in names]
    planted = {
        "s0": Planted(system, ""), "s2": Planted(system, ""), "s3": Planted(system, ""),
        "s8": Planted(system, "nobody called"),
    }  # fmt: skip
    lines = list(told(listed, planted))
    assert lines[0].startswith("3 with a condition that came about: 2 in the first third, 0.667")
    assert lines[1].startswith(
        "4 with a condition, also those where it did not: 2 in the first third, 0.500"
    )
    assert [line.split(",")[0].strip() for line in lines[3:]] == ["place 4", "place 9"]
    assert lines[4].endswith("did not come about: nobody called")
