"""Years of site-days drawn from what the simulated world's days show: a statistical generator.

A year of full logs is too dear to simulate. So every figure of a day is drawn: at the weather of
that day from the system's own simulated days (a local line over outdoor air), with a residual from
the world's days (all systems' of that season, as whole days, so that figures move together), and
a household that the world does not have: its load strays by HOUSEHOLD_SHARE from day to day and
remembers the day before. The weather is the climate's: means and spreads of the three seasons,
days that remember each other as the world's do. It shares no code with what it judges.

An odd day is a usual one moved by what a condition did to a day of a simulated system: the
difference, figure by figure, between the same day simulated with and without it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_data.world.climates import CLIMATES, Climate

Floats = NDArray[np.float64]

FIRST = "2025-07-01"
BEGINNINGS = (FIRST, "2025-10-01", "2025-12-20", "2026-03-15")
"""When logs that are shorter than a year begin: in each season."""
KERNEL_F = 7.0
HOUSEHOLD_SHARE = 0.06
"""Day-to-day spread of a household's load. Common practice, no source."""
HOUSEHOLD_MEMORY = 0.4
SMOOTHED = 0.35
"""Share of a drawn residual that is fresh noise, so that few days do not repeat."""
KNOWN_SHARE = 0.99
NOT_FIGURES = frozenset({"window_s", "visit_s", "day_s", "start_ts", "end_ts"})
LOAD = {"heat": "heating", "strip": "heating", "burner": "heating", "compressor_heat": "heating",
        "cool": "cooling"}  # fmt: skip


def figures_of(days: pd.DataFrame) -> list[str]:
    """The columns of unusual.site_day that are figures of a day, not of its log or weather."""
    return [
        c
        for c in days.columns
        if (c.endswith(("_s", "_f", "_inwc", "_h")) or c.startswith("n_"))
        and not c.endswith("known_s")
        and not c.startswith("outdoor_")
        and c not in NOT_FIGURES | {"n_zones"}
    ]


def whole(days: pd.DataFrame) -> pd.DataFrame:
    """Days logged from midnight to midnight, without a visit."""
    return days[(days["known_s"] >= KNOWN_SHARE * days["day_s"]) & (days["visit_s"] == 0)]


def is_amount(column: str) -> bool:
    """Times and counts, whose spread grows with them."""
    return column.endswith(("_s", "_h")) or column.startswith("n_")


def rooted(column: str, value: Floats) -> Floats:
    """The scale on which residuals and effects are added."""
    return np.sqrt(np.maximum(value, 0.0)) if is_amount(column) else value


def season_of(mean_f: Floats) -> NDArray[np.str_]:
    """Where a day belongs by its outdoor air."""
    return np.where(mean_f < 55, "heating", np.where(mean_f > 70, "cooling", "shoulder"))


@dataclass(frozen=True)
class House:
    """One simulated system's whole days, and its spread about its own lines.

    value : days x figures, rooted; spread : per season, of each figure
    """

    number: int
    kind: str
    climate: Climate
    columns: tuple[str, ...]
    outdoor_f: Floats
    value: Floats
    spread: dict[str, Floats]


@dataclass(frozen=True)
class Effect:
    """What a condition did to one simulated day: rooted value with it less without."""

    condition: str
    kind: str
    season: str
    change: dict[str, float]


@dataclass(frozen=True)
class World:
    """All that years are drawn from.

    residuals : per season, days x figures in spreads of their own house, NaN where not known
    """

    houses: tuple[House, ...]
    residuals: dict[str, Floats]
    effects: tuple[Effect, ...]


def learned(days: pd.DataFrame) -> World:
    """Houses, residuals and effects from the site-days of tests.accuracy.site_days."""
    columns = tuple(figures_of(days))
    days = days.assign(
        day=pd.to_datetime(days["day"]),
        **{c: days[c].to_numpy(float, na_value=np.nan) for c in columns},
    )
    kept = whole(days)
    houses, pooled = [], {"heating": [], "shoulder": [], "cooling": []}  # type: ignore[var-annotated]
    for number, own in kept[kept["condition"] == ""].groupby("number"):
        outdoor = own["outdoor_f"].to_numpy(float)
        value = np.column_stack([rooted(c, own[c].to_numpy(float)) for c in columns])
        left = np.full(value.shape, np.nan)
        for i in range(len(own)):
            rest = np.arange(len(own)) != i
            without, _, _ = lines(outdoor[rest], value[rest], outdoor[i : i + 1])
            line, _, _ = lines(outdoor, value, outdoor[i : i + 1])
            # with its own leverage h a residual has 1 - h of the variance, without it 1 / (1 - h)
            off, far = value[i] - line[0], value[i] - without[0]
            left[i] = np.sign(off) * np.sqrt(np.abs(off * far))
        seasons = season_of(outdoor)
        spread = {
            season: np.array([_spread(left[seasons == season, j]) for j in range(len(columns))])
            for season in pooled
        }
        first = own.iloc[0]
        houses.append(
            House(int(str(number)), str(first["kind"]), CLIMATES[str(first["climate"])], columns,
                  outdoor, value, spread)
        )  # fmt: skip
        for season, rows in pooled.items():
            wide = np.where(spread[season] > 0, spread[season], np.nan)
            rows.append(np.clip(left[seasons == season] / wide, -4, 4))
    residuals = {season: np.concatenate(rows) for season, rows in pooled.items()}
    return World(tuple(houses), residuals, tuple(_effects(days, columns)))


def _spread(left: Floats) -> float:
    own = np.abs(left[np.isfinite(left)])
    if not len(own):
        return 0.0
    return float(max(1.4826 * np.median(own), np.quantile(own, 0.9) / 1.645))


def _effects(days: pd.DataFrame, columns: tuple[str, ...]) -> list[Effect]:
    made = []
    kept = whole(days)
    usual = kept[kept["condition"] == ""].set_index(["number", "season", "day"])
    for row in kept[kept["condition"] != ""].itertuples():
        key = (row.number, row.season, row.day)
        if key not in usual.index:
            continue
        before = usual.loc[key]
        change = {}
        for c in columns:
            was, now = float(before[c]), float(getattr(row, c))
            if np.isfinite(was) and np.isfinite(now):
                pair = rooted(c, np.array([was, now]))
                change[c] = float(pair[1] - pair[0])
        made.append(Effect(str(row.condition), str(row.kind), str(row.season), change))
    return made


def lines(outdoor: Floats, value: Floats, at: Floats) -> tuple[Floats, Floats, Floats]:
    """At each weather: local line, share of days with nought, share of days not known.

    outdoor : of the days; value : days x figures, rooted; at : weathers asked for
    """
    known = np.isfinite(value)
    filled = np.nan_to_num(value)
    is_some = known & (filled != 0)
    made = np.full((len(at), value.shape[1]), np.nan)
    none, unknown = np.zeros(made.shape), np.zeros(made.shape)
    # warmer than the warmest day without cooling there is always some, and so with heating
    at_day = np.broadcast_to(outdoor[:, None], value.shape)
    last_none = np.where(known & ~is_some, at_day, -np.inf).max(axis=0)
    first_none = np.where(known & ~is_some, at_day, np.inf).min(axis=0)
    last_some = np.where(is_some, at_day, -np.inf).max(axis=0)
    first_some = np.where(is_some, at_day, np.inf).min(axis=0)
    # beyond the days the nearest ones are gone by
    within = np.clip(at, outdoor.min() - 12, outdoor.max() + 12)
    for n, t in enumerate(within):
        x = outdoor - t
        w = np.exp(-0.5 * (x / KERNEL_F) ** 2)
        w = np.maximum(w / max(w.max(), 1e-300), 1e-6)
        of_known = np.maximum(w @ known, 1e-12)
        unknown[n] = 1 - w @ known / w.sum()
        none[n] = w @ (known & ~is_some) / of_known
        none[n, (t > last_none) & (last_some > last_none)] = 0.0
        none[n, (t < first_none) & (first_some < first_none)] = 0.0
        none[n, (t > last_some) & (last_none > last_some)] = 1.0
        none[n, (t < first_some) & (first_none < first_some)] = 1.0
        some = np.maximum(w @ is_some, 1e-12)
        mean_x, mean_y = (w * x) @ is_some / some, w @ (filled * is_some) / some
        apart = (x[:, None] - mean_x) * is_some
        over = w @ apart**2 / some + 4.0
        slope = w @ (apart * (filled - mean_y)) / some / over
        line = mean_y - slope * mean_x
        made[n] = np.where(is_some.sum(axis=0) >= 2, line, w @ filled / of_known)
        made[n, ~known.any(axis=0)] = np.nan
    return made, none, unknown


def weather(climate: Climate, n: int, rng: np.random.Generator, first: str) -> pd.DataFrame:
    """Outdoor air of n days from the first: mean, low and high."""
    index = pd.date_range(first, periods=n)
    cold, warm, mid = climate.heating, climate.cooling, climate.shoulder
    angle = 2 * np.pi * (index.day_of_year.to_numpy() - 15) / 365.25
    # through January, July and, twice, the shoulder
    part = [
        (mid[i] + (cold[i] - warm[i]) / 2 * np.cos(angle)
         + ((cold[i] + warm[i]) / 2 - mid[i]) * np.cos(angle) ** 2)
        for i in range(3)
    ]  # fmt: skip
    level = np.zeros(n)
    for i in range(1, n):
        level[i] = 0.7 * level[i - 1] + 0.71 * part[2][i] * rng.standard_normal()
    swing = part[1] * rng.uniform(0.6, 1.25, n)
    mean = part[0] + level
    return pd.DataFrame(
        {"outdoor_f": mean, "outdoor_low_f": mean - swing, "outdoor_high_f": mean + swing},
        index=index,
    )


def told(column: str, rooted_value: Floats) -> Floats:
    """Drawn values as a log's figures have them: whole counts, no more than a day."""
    value = np.maximum(rooted_value, 0.0) ** 2 if is_amount(column) else rooted_value
    if column.startswith("n_"):
        # a count is drawn about its mean as rounding would leave it
        value = np.floor(value + (np.arange(len(value)) * 0.618 % 1.0))
    return np.minimum(value, 86400.0) if column.endswith("_s") else value


@dataclass(frozen=True)
class Year:
    """A drawn year: rooted figures of every day, ready to be moved and told as site-days."""

    house: House
    air: pd.DataFrame
    value: Floats
    noise: Floats

    def site_days(self) -> pd.DataFrame:
        """Rows as unusual.site_day has them."""
        start = self.air.index.as_unit("us").astype("int64")
        made = pd.DataFrame({"site_id": f"house-{self.house.number}", "day": self.air.index.date})
        made["start_ts"], made["end_ts"] = start, start + 86_400_000_000
        for name in ("day_s", "window_s", "known_s", "fan_known_s", "outputs_known_s",
                     "calls_known_s", "supply_known_s", "return_known_s", "static_known_s",
                     "outdoor_known_s", "rooms_known_s"):  # fmt: skip
            made[name] = 86400.0
        made["visit_s"] = 0.0
        for name in self.air.columns:
            made[name] = self.air[name].to_numpy()
        made["outdoor_night_f"] = made["outdoor_low_f"] + 2
        for j, column in enumerate(self.house.columns):
            made[column] = told(column, self.value[:, j])
        return made

    def moved(self, days: NDArray[np.int64], effect: Effect) -> Year:
        """With the condition on these days."""
        value = self.value.copy()
        for j, column in enumerate(self.house.columns):
            if column in effect.change:
                value[days, j] = value[days, j] + effect.change[column]
        return Year(self.house, self.air, value, self.noise)


def year(world: World, house: House, seed: int, n: int = 365, first: str = FIRST) -> Year:
    """A healthy year of one house, or a log of fewer days."""
    rng = np.random.default_rng([house.number, seed, 77])
    air = weather(house.climate, n, rng, first)
    value, noise = _drawn(world, house, air["outdoor_f"].to_numpy(), rng)
    return Year(house, air, value, noise)


def like_day(world: World, house: House, mean_f: float, n: int, seed: int) -> Floats:
    """n usual days of the house in weather of that day, rooted: what else the day could have been.

    Nobody who is given a log knows this; whoever draws the days does.
    """
    rng = np.random.default_rng([house.number, seed, 78])
    return _drawn(world, house, np.full(n, mean_f), rng)[0]


def _drawn(
    world: World, house: House, mean: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """(rooted figures, their noise in the house's spreads) of days with that outdoor air."""
    n = len(mean)
    weathers, of = np.unique(mean, return_inverse=True)
    line, none, unknown = (part[of] for part in lines(house.outdoor_f, house.value, weathers))
    seasons = season_of(mean)
    noise = np.zeros(line.shape)
    for i in range(n):
        rows = world.residuals[str(seasons[i])]
        drawn = rows[rng.integers(len(rows))]
        # a figure that the drawn day's house does not have: from another day
        missing = np.flatnonzero(~np.isfinite(drawn))
        drawn = drawn.copy()
        for j in missing:
            column = rows[:, j][np.isfinite(rows[:, j])]
            drawn[j] = column[rng.integers(len(column))] if len(column) else 0.0
        fresh = rng.standard_normal(len(drawn))
        noise[i] = np.sqrt(1 - SMOOTHED**2) * drawn + SMOOTHED * fresh
    load = np.zeros(n)
    for i in range(1, n):
        load[i] = HOUSEHOLD_MEMORY * load[i - 1] + rng.standard_normal() * np.sqrt(
            1 - HOUSEHOLD_MEMORY**2
        )
    value = line + noise * np.stack([house.spread[str(s)] for s in seasons])
    for j, column in enumerate(house.columns):
        mode = next((m for key, m in LOAD.items() if column.startswith(key)), "")
        if mode and column.endswith("_s") and "answer" not in column:
            value[:, j] *= 1 + HOUSEHOLD_SHARE / 2 * load
    if_none = rng.random(n)[:, None]
    value = np.where(none > if_none, 0.0, value)
    return np.where(unknown > rng.random(value.shape), np.nan, value), noise
