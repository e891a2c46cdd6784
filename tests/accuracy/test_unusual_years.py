"""The short form of `make check-unusual`: a few drawn years of the tuning part's houses.

Years are drawn from days of the simulated world that are kept beside this file
(`tests.accuracy.day_years` says how). `tests/accuracy/unusual.py` measures the reporting part.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy import unusual
from tests.accuracy.day_years import World, learned, lines, year
from tests.accuracy.site_days import kept


@pytest.fixture(scope="module")
def world() -> World:
    return learned(kept())


def test_few_days_of_healthy_years_are_flagged(world: World) -> None:
    """At 1 in 200 some 11 of six years' days; 20 or more come by chance once in 100."""
    some = World(world.houses[:3], world.residuals, world.effects)
    made = unusual.healthy_years(some, range(2))
    assert made.days == 6 * 365
    assert made.flagged <= 19


def test_odd_days_are_found_and_little_else_is_told(world: World) -> None:
    some = World(world.houses[:3], world.residuals, world.effects)
    made = unusual.odd_years(some, range(2))
    assert made.planted >= 50
    assert made.recall >= 0.6
    assert made.precision >= 0.8


def test_a_drawn_year_keeps_to_its_house(world: World) -> None:
    """Within the weather that was simulated, a drawn year's heating is the house's own."""
    house = world.houses[0]
    drawn = year(world, house, 4)
    told = drawn.site_days()
    cold = np.quantile(house.outdoor_f, [0.05, 0.3])
    days = told[(told["outdoor_f"] > cold[0]) & (told["outdoor_f"] < cold[1])]
    line, _, _ = lines(house.outdoor_f, house.value, days["outdoor_f"].to_numpy())
    own = line[:, house.columns.index("heat_s")] ** 2
    assert len(days) > 30
    assert np.median(days["heat_s"] / own) == pytest.approx(1, abs=0.08)
