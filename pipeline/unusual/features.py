"""The figures by which days are told apart: where each comes from, its unit, its least difference.

A figure counts on a day on which the channels behind it were logged for the share of the day that
any figure needs (coverage_warn_frac); elsewhere it is not there, never nought.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

Values = pd.DataFrame
"""One row per local day (index: day), one column per feature, NaN where not known."""


@dataclass(frozen=True)
class Feature:
    """One figure of a day.

    column : of unusual.site_day
    name : in words, as it stands in "... was 5.1 h"
    unit : h, s, °F (a temperature), difference (of temperatures), in. w.c., °F h or count
    needs : columns of unusual.site_day that say how long its channels were known
    least : a smaller difference is of no interest to anybody [unit]; the resolution of most logs
    mode : heating, cooling or '' (either): what has to run for it to mean anything
    is_amount : nought or more, spread grows with it (times, counts): weighed by its square root
    for_sites : comparable between sites as it is
    """

    column: str
    name: str
    unit: str
    needs: tuple[str, ...]
    least: float
    mode: str = ""
    is_amount: bool = True
    for_sites: bool = False

    @property
    def scale(self) -> float:
        """Of the column per unit of the feature."""
        return 3600.0 if self.unit == "h" else 1.0

    @property
    def adds_up(self) -> bool:
        """Over the hours of a day: a day of 23 or 25 hours has less or more of it by its length."""
        is_sum = self.unit in ("h", "count", "°F h") and not self.name.startswith("longest")
        return is_sum and self.is_amount


_RAN = ("known_s",)
_AIR = ("known_s", "static_known_s")
_RISE = ("known_s", "supply_known_s", "return_known_s")
_SUPPLY = ("known_s", "supply_known_s")
_ROOMS = ("rooms_known_s",)

FEATURES: tuple[Feature, ...] = (
    Feature("heat_s", "heating", "h", _RAN, 0.5, "heating"),
    Feature("heat_second_s", "second-stage heat", "h", _RAN, 0.5, "heating"),
    Feature("strip_s", "strip heat", "h", _RAN, 0.5, "heating"),
    Feature("compressor_heat_s", "heat of the compressor", "h", _RAN, 0.75, "heating"),
    Feature("heat_one_zone_s", "heating for one zone only", "h", _RAN, 0.75, "heating"),
    Feature("cool_s", "cooling", "h", _RAN, 0.5, "cooling"),
    Feature("cool_second_s", "second-stage cooling", "h", _RAN, 0.5, "cooling"),
    Feature("cool_one_zone_s", "cooling for one zone only", "h", _RAN, 0.75, "cooling"),
    Feature("called_idle_s", "calls with nothing running", "h", _RAN, 0.5),
    Feature("fan_only_s", "fan alone", "h", _RAN, 0.75),
    Feature("n_heat_start", "starts in heating", "count", _RAN, 5.0, "heating"),
    Feature("n_cool_start", "starts in cooling", "count", _RAN, 5.0, "cooling"),
    Feature("n_short_run", "short runs", "count", _RAN, 4.0),
    Feature("n_high_trip", "high-limit trips", "count", _SUPPLY, 2.0, "heating"),
    Feature("n_low_trip", "low-limit trips", "count", _SUPPLY, 2.0, "cooling"),
    Feature("n_cut_out", "stops of the equipment inside a call", "count", _SUPPLY, 2.0),
    Feature("n_defrost", "defrosts", "count", _RAN, 4.0, "heating"),
    Feature("n_call", "calls", "count", ("calls_known_s",), 8.0),
    Feature("above_target_s", "static above target", "h", _AIR, 0.5),
    Feature("static_high_inwc", "highest static", "in. w.c.", _AIR, 0.06, "", False),
    Feature(
        "static_heat_one_inwc", "static with one zone heating", "in. w.c.", _AIR, 0.03, "", False
    ),
    Feature(
        "static_heat_two_inwc", "static with two zones heating", "in. w.c.", _AIR, 0.03, "", False
    ),
    Feature(
        "static_heat_more_inwc",
        "static with three or more zones heating",
        "in. w.c.",
        _AIR,
        0.03,
        "",
        False,
    ),
    Feature(
        "static_heat_second_inwc", "static in second-stage heat", "in. w.c.", _AIR, 0.03, "", False
    ),
    Feature(
        "static_cool_one_inwc", "static with one zone cooling", "in. w.c.", _AIR, 0.03, "", False
    ),
    Feature(
        "static_cool_two_inwc", "static with two zones cooling", "in. w.c.", _AIR, 0.03, "", False
    ),
    Feature(
        "static_cool_more_inwc",
        "static with three or more zones cooling",
        "in. w.c.",
        _AIR,
        0.03,
        "",
        False,
    ),
    Feature(
        "static_cool_second_inwc",
        "static in second-stage cooling",
        "in. w.c.",
        _AIR,
        0.03,
        "",
        False,
    ),
    Feature("rise_burner_f", "rise of the furnace", "difference", _RISE, 3.0, "", False, True),
    Feature(
        "rise_burner_second_f",
        "rise of the furnace's second stage",
        "difference",
        _RISE,
        3.0,
        "",
        False,
        True,
    ),
    Feature(
        "rise_compressor_f", "rise of the heat pump", "difference", _RISE, 2.0, "", False, True
    ),
    Feature("split_f", "cooling split", "difference", _RISE, 1.5, "", False, True),
    Feature(
        "split_second_f",
        "cooling split of second stage",
        "difference",
        _RISE,
        1.5,
        "",
        False,
        True,
    ),
    Feature("burner_answer_s", "wait from W to warm air", "s", _SUPPLY, 20.0, "", False, True),
    Feature("supply_high_f", "hottest supply air", "°F", _SUPPLY, 4.0, "", False, True),
    Feature("supply_low_f", "coldest supply air", "°F", _SUPPLY, 3.0, "", False, True),
    Feature("recovery_heat_s", "longest recovery in heating", "h", _ROOMS, 0.75, "", True, True),
    Feature("recovery_cool_s", "longest recovery in cooling", "h", _ROOMS, 0.75, "", True, True),
    Feature(
        "short_heat_degree_h",
        "degree-hours under setpoint of the coldest zone",
        "°F h",
        _ROOMS,
        6.0,
        "heating",
        True,
        True,
    ),
    Feature(
        "short_cool_degree_h",
        "degree-hours over setpoint of the warmest zone",
        "°F h",
        _ROOMS,
        6.0,
        "cooling",
        True,
        True,
    ),
    Feature("not_keeping_up_s", "not keeping up", "h", _ROOMS, 1.5, "", True, True),
    Feature("room_f", "mean of the rooms", "°F", _ROOMS, 1.5, "", False),
    Feature("heat_setpoint_f", "mean heat setpoint", "°F", _ROOMS, 1.0, "", False),
    Feature("cool_setpoint_f", "mean cool setpoint", "°F", _ROOMS, 1.0, "", False),
)
BY_COLUMN = {f.column: f for f in FEATURES}


def values(site_days: pd.DataFrame, coverage_frac: float) -> Values:
    """Features of one site's days, in their units, NaN where the day was not logged enough.

    What adds up over a day is told of 24 hours, also on the two days on which clocks change.

    site_days : rows of unusual.site_day of one site
    coverage_frac : share of the local day for which the channels behind a figure must be known
    """
    days = site_days.sort_values("day")
    index = pd.DatetimeIndex(pd.to_datetime(days["day"]), name="day")
    length_s = days["day_s"].to_numpy(float)
    enough = {
        known: np.nan_to_num(days[known].to_numpy(float)) >= coverage_frac * length_s
        for known in {name for f in FEATURES for name in f.needs}
    }
    made = {}
    for feature in FEATURES:
        value = days[feature.column].to_numpy(float, na_value=np.nan) / feature.scale
        if feature.adds_up:
            value = value * 86400.0 / length_s
        is_known = np.logical_and.reduce([enough[name] for name in feature.needs])
        made[feature.column] = np.where(is_known, value, np.nan)
    return pd.DataFrame(made, index=index)


def weather(site_days: pd.DataFrame, coverage_frac: float) -> pd.DataFrame:
    """The outdoor air of one site's days: `mean_f`, `swing_f`, `before_f` (mean of the day before,
    the day's own where that is not known); NaN where it was not logged enough."""
    days = site_days.sort_values("day")
    index = pd.DatetimeIndex(pd.to_datetime(days["day"]), name="day")
    known = np.nan_to_num(days["outdoor_known_s"].to_numpy(float, na_value=np.nan))
    is_known = known >= coverage_frac * days["day_s"].to_numpy(float)
    mean_f = np.where(is_known, days["outdoor_f"].to_numpy(float, na_value=np.nan), np.nan)
    swing = days["outdoor_high_f"] - days["outdoor_low_f"]
    made = pd.DataFrame(
        {"mean_f": mean_f, "swing_f": swing.to_numpy(float, na_value=np.nan)}, index=index
    )
    yesterday = made["mean_f"].reindex(index - pd.Timedelta(days=1)).to_numpy()
    made["before_f"] = np.where(np.isfinite(yesterday), yesterday, mean_f)
    return made
