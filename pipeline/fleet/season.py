"""The season to come: on how many of the next days a site will heat, and will cool.

The mean outdoor temperature of a day of the year is taken as a cosine between the two design
temperatures of the site, coldest in mid-January (northern hemisphere); days lie about it by chance.
A site that does not give them is taken to lie in the middle of the country.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass

COLDEST = (1, 17)
"""Mid-January: the middle of the coldest month."""


@dataclass(frozen=True)
class Season:
    """Shares of the coming days on which the site will heat, and will cool.

    is_known : the site file gives its design temperatures
    """

    heating: float
    cooling: float
    is_known: bool

    def share(self, mode: str) -> float:
        """Of 'heating' or 'cooling'; of '' the share of days with either."""
        if mode == "heating":
            return self.heating
        if mode == "cooling":
            return self.cooling
        return min(1.0, self.heating + self.cooling)


def season(
    day: dt.date,
    design_heating_f: float | None,
    design_cooling_f: float | None,
    numbers: Mapping[str, float],
) -> Season:
    """The season of the days from `day` on, as many as fleet_month_days says."""
    is_known = design_heating_f is not None and design_cooling_f is not None
    low = numbers["fleet_design_heating_f"] if design_heating_f is None else design_heating_f
    high = numbers["fleet_design_cooling_f"] if design_cooling_f is None else design_cooling_f
    spread = numbers["fleet_day_spread_f"]
    n = round(numbers["fleet_month_days"])
    heating = cooling = 0.0
    for ahead in range(n):
        mean_f = usual_f(day + dt.timedelta(days=ahead), low, high, numbers)
        heating += _share_below((numbers["fleet_heat_below_f"] - mean_f) / spread) / n
        cooling += _share_below((mean_f - numbers["fleet_cool_above_f"]) / spread) / n
    return Season(heating, cooling, is_known)


def usual_f(
    day: dt.date, design_heating_f: float, design_cooling_f: float, numbers: Mapping[str, float]
) -> float:
    """The usual mean outdoor temperature of a day of the year [°F]."""
    middle = (design_heating_f + design_cooling_f) / 2 + numbers["fleet_middle_over_design_f"]
    swing = (design_cooling_f - design_heating_f) / 2 * numbers["fleet_swing_of_design"]
    since = (day - dt.date(day.year, *COLDEST)).days
    return middle - swing * math.cos(2 * math.pi * since / 365.25)


def _share_below(z: float) -> float:
    """Of a normal distribution."""
    return 0.5 * math.erfc(-z / math.sqrt(2))
