"""How often unusual days, changes and sites are told, missed or told where there are none.

    python -m tests.accuracy.unusual --part tuning|reporting [--years N] [--rivals]

What each figure rests on: `tests.accuracy.site_days` simulates some weeks of systems of the
part, healthy and with conditions, and has the pipeline measure them; `tests.accuracy.day_years`
draws years of days that look like these. Healthy years say how many days are flagged by chance.
Odd days are drawn days moved by what a condition did to a simulated day; a lasting change is the
same from a day on. Every day of every condition that was simulated is planted, also those on which
it did nothing: recall is told of all, and of those that could be told from usual days (`shows`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field

import click
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.thresholds import values_for
from pipeline.unusual import days as unusual_days
from pipeline.unusual import features
from pipeline.unusual.peers import judge_sites
from pipeline.unusual.record import UNUSUAL, Unusual
from tests.accuracy.day_years import (
    BEGINNINGS,
    FIRST,
    Effect,
    House,
    World,
    Year,
    learned,
    like_day,
    season_of,
    told,
    year,
)
from tests.accuracy.intervals import wilson
from tests.accuracy.made import wall
from tests.accuracy.site_days import site_days

ODD_EPISODES = 10
MOST_DAYS = 2
"""An odd spell lasts one or two days: ten of them are some 4 % of a year."""
DATED_DAYS = 5
SHOWN_OF_DAYS = 10
PAST_DAYS = 14
HOUSES = 9
"""Three of each kind of equipment, and so 27 conditions."""
LIKE_DAYS = 400
NORMAL_TENTH = 1.2816
THRESHOLDS = values_for({})


@dataclass
class Healthy:
    """Flags where nothing was planted."""

    years: int = 0
    days: int = 0
    flagged: int = 0
    changes: int = 0
    years_with_change: int = 0
    by_house: dict[int, list[float]] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)


@dataclass
class Planted:
    """Flags of planted days, or changes: what was planted, found, and told beside it."""

    planted: int = 0
    found: int = 0
    beside: int = 0
    by_condition: dict[str, list[bool]] = field(default_factory=dict)
    by_shown: list[tuple[bool, bool]] = field(default_factory=list)
    off_days: list[int] = field(default_factory=list)

    @property
    def recall(self) -> float:
        """Of what was planted, found."""
        return self.found / max(self.planted, 1)

    @property
    def precision(self) -> float:
        """Of what was told, planted."""
        return self.found / max(self.found + self.beside, 1)


def judged(drawn: Year) -> Unusual:
    """The year as the tool sees it."""
    return unusual_days.judge(drawn.site_days(), THRESHOLDS)


def healthy_years(world: World, seeds: range, n: int = 365) -> Healthy:
    """Every house's years with nothing planted."""
    made = Healthy()
    for house in world.houses:
        for seed in seeds:
            # a year holds every season; shorter logs begin in each in turn
            first = BEGINNINGS[seed % len(BEGINNINGS)] if n < 365 else FIRST
            said = judged(year(world, house, seed, n, first))
            made.years += 1
            made.days += said.days.n_judged
            made.flagged += len(said.days.unusual)
            made.changes += len(said.changes.changes)
            made.years_with_change += bool(said.changes.changes)
            made.told += [c.why for c in said.changes.changes]
            share = len(said.days.unusual) / max(said.days.n_judged, 1)
            made.by_house.setdefault(house.number, []).append(share)
    return made


def odd_years(world: World, seeds: range) -> Planted:
    """Years with odd spells of one or two days."""
    made = Planted()
    for house in world.houses:
        for seed in seeds:
            drawn = year(world, house, 1000 + seed)
            rng = np.random.default_rng([house.number, seed, 5])
            drawn, placed = _with_odd_days(world, drawn, rng)
            flagged = {d.day for d in judged(drawn).days.unusual}
            for day, (condition, is_shown) in placed.items():
                made.by_condition.setdefault(condition, []).append(day in flagged)
                made.by_shown.append((is_shown, day in flagged))
            made.planted += len(placed)
            made.found += len(flagged & set(placed))
            made.beside += len(flagged - set(placed))
    return made


def _with_odd_days(
    world: World, drawn: Year, rng: np.random.Generator
) -> tuple[Year, dict[dt.date, tuple[str, bool]]]:
    """The year with odd spells, and of each odd day its condition and whether it shows."""
    seasons = _seasons(drawn)
    placed: dict[dt.date, tuple[str, bool]] = {}
    for _ in range(ODD_EPISODES):
        at = int(rng.integers(5, len(seasons) - 5))
        effects = fitting(world, drawn.house, str(seasons[at]))
        if not effects:
            continue
        effect = effects[int(rng.integers(len(effects)))]
        days = np.arange(at, at + 1 + int(rng.integers(MOST_DAYS)))
        if (
            any(drawn.air.index[d].date() in placed for d in days)
            or (seasons[days] != seasons[at]).any()
        ):
            continue
        drawn = drawn.moved(days, effect)
        placed |= {
            drawn.air.index[d].date(): (effect.condition, shows(world, drawn, int(d))) for d in days
        }
    return drawn, placed


def shows(world: World, drawn: Year, day: int) -> bool:
    """Whether the day could be told from usual ones by anybody: by one who need not learn from a
    log what the house does in such weather, but sees LIKE_DAYS usual days of it.

    Some figure of the day lies further from the usual than any does on all but the set share of
    usual days. What a condition did to a day it hardly acted on (a float switch that did not trip,
    a bypass that stayed shut) does not.
    """
    house, mean_f = drawn.house, float(drawn.air["outdoor_f"].iloc[day])
    usual = like_day(world, house, mean_f, LIKE_DAYS, day)
    furthest = np.zeros(1 + LIKE_DAYS)  # the day, and the usual ones
    for j, column in enumerate(house.columns):
        feature = features.BY_COLUMN.get(column)
        if feature is None:
            continue
        both = np.append(told(column, drawn.value[day : day + 1, j]), told(column, usual[:, j]))
        others = both[1:][np.isfinite(both[1:])]
        if not len(others):
            continue
        low, middle, high = np.quantile(others, [0.1, 0.5, 0.9])
        near = 1.4826 * float(np.median(np.abs(others - middle)))
        off = np.nan_to_num(np.abs(both - middle))
        is_any = off >= feature.least * feature.scale
        far = off / max(near, (high - low) / (2 * NORMAL_TENTH), 1e-9)
        furthest = np.maximum(furthest, np.where(is_any, far, 0.0))
    level = np.quantile(furthest[1:], 1 - THRESHOLDS["unusual_day_share"])
    return bool(furthest[0] > level)


def changed_years(world: World, seeds: range) -> Planted:
    """Years in which a condition begins on a day and stays (in the weather it shows in).

    Nobody can date one of which most days look usual, or whose season had hardly begun before it.
    """
    made = Planted()
    for house in world.houses:
        for seed in seeds:
            drawn = year(world, house, 2000 + seed)
            rng = np.random.default_rng([house.number, seed, 6])
            seasons = _seasons(drawn)
            at = int(rng.integers(60, len(seasons) - 60))
            effects = fitting(world, house, str(seasons[at]))
            if not effects:
                continue
            condition = effects[int(rng.integers(len(effects)))].condition
            own = [e for e in effects if e.condition == condition]
            is_on = (np.arange(len(seasons)) >= at) & (seasons == own[0].season)
            for d in np.flatnonzero(is_on):
                drawn = drawn.moved(np.array([d]), own[int(rng.integers(len(own)))])
            began = drawn.air.index[at].date()
            told_ = judged(drawn).changes.changes
            near = [abs((c.day - began).days) for c in told_]
            hit = bool(near) and min(near) <= DATED_DAYS
            made.by_condition.setdefault(condition, []).append(hit)
            first = [shows(world, drawn, int(d)) for d in np.flatnonzero(is_on)[:SHOWN_OF_DAYS]]
            has_past = int((seasons[:at] == own[0].season).sum()) >= PAST_DAYS
            made.by_shown.append((has_past and 2 * sum(first) > len(first), hit))
            made.planted += 1
            made.found += hit
            # the spring and autumn in which it comes and goes are changes too
            made.beside += sum(n > DATED_DAYS and not _at_season(seasons, drawn, c.day) for n, c in
                               zip(near, told_, strict=True))  # fmt: skip
            made.off_days += [min(near)] if near else []
    return made


def _at_season(seasons: NDArray[np.str_], drawn: Year, day: dt.date) -> bool:
    """Whether another season begins within a month of the day."""
    i = int(np.flatnonzero(drawn.air.index == pd.Timestamp(day))[0])
    return len(set(seasons[max(0, i - 30) : i + 30])) > 1


def _seasons(drawn: Year) -> NDArray[np.str_]:
    return season_of(drawn.air["outdoor_f"].to_numpy())


def fitting(world: World, house: House, season: str) -> list[Effect]:
    """Effects seen on this kind of equipment in this season."""
    return [e for e in world.effects if e.kind == house.kind and e.season == season]


def fleets(world: World, seeds: range, n_sites: int = 30, n_days: int = 14) -> tuple[int, int, int]:
    """(usual sites compared, flagged of them, odd sites flagged of `seeds`) of drawn fleets.

    Sites of a fleet are one house drawn anew with sizes of its own: loads, air and rooms differ
    by what houses of the part differ from one another, at a tenth.
    """
    compared = flagged = odd = 0
    for seed in seeds:
        rng = np.random.default_rng([seed, 9])
        house = world.houses[seed % len(world.houses)]
        season = ("heating", "cooling")[seed % 2]
        rows = []
        for n in range(n_sites):
            drawn = year(world, house, 5000 + 100 * seed + n)
            size = 1 + 0.1 * rng.standard_normal(len(house.columns))
            drawn = Year(house, drawn.air, drawn.value * size, drawn.noise)
            at = np.flatnonzero(_seasons(drawn) == season)[:n_days]
            effects = fitting(world, house, season)
            if n == 0 and effects:
                drawn = drawn.moved(at, effects[int(rng.integers(len(effects)))])
            rows.append(drawn.site_days().iloc[at].assign(site_id=f"s{n:03d}"))
        sites = pd.DataFrame(
            {"site_id": [f"s{n:03d}" for n in range(n_sites)], "kind": house.kind,
             "heating_stages": 1, "cooling_stages": 1, "n_zones": 3}
        )  # fmt: skip
        for site in judge_sites(pd.concat(rows), sites, THRESHOLDS).sites:
            if site.site_id == "s000":
                odd += site.result == UNUSUAL
            elif site.score is not None:
                compared += 1
                flagged += site.result == UNUSUAL
    return compared, flagged, odd


Score = Callable[[NDArray[np.float64]], NDArray[np.float64]]


def rivals(world: World, seeds: range) -> dict[str, tuple[float, float]]:
    """(recall, CPU seconds a year) of each way to hold figures together, at a false share of 1 in
    200 that each is given by the year's own usual days: their ranking alone is compared."""
    import time

    from sklearn.covariance import MinCovDet
    from sklearn.ensemble import IsolationForest

    def ours(z: NDArray[np.float64]) -> NDArray[np.float64]:
        single, together, _ = unusual_days.scores(z, 0.005)
        return np.maximum(single, together)

    def shrunk(z: NDArray[np.float64]) -> NDArray[np.float64]:
        return unusual_days.scores(z, 0.005)[1]

    def largest(z: NDArray[np.float64]) -> NDArray[np.float64]:
        return unusual_days.scores(z, 0.005)[0]

    def determinant(z: NDArray[np.float64]) -> NDArray[np.float64]:
        zero = np.nan_to_num(z) + 1e-3 * np.random.default_rng(1).standard_normal(z.shape)
        return np.asarray(MinCovDet(random_state=1).fit(zero).mahalanobis(zero))

    def forest(z: NDArray[np.float64]) -> NDArray[np.float64]:
        zero = np.nan_to_num(z)
        return -IsolationForest(random_state=1).fit(zero).score_samples(zero)

    ways: dict[str, Score] = {
        "as built": ours,
        "most unusual figure alone": largest,
        "together alone (shrunk covariance of clipped figures)": shrunk,
        "minimum covariance determinant": determinant,
        "isolation forest": forest,
    }
    hits: dict[str, list[float]] = {name: [] for name in ways}
    took = dict.fromkeys(ways, 0.0)
    n = 0
    for house in world.houses:
        for seed in seeds:
            drawn = year(world, house, 3000 + seed)
            rng = np.random.default_rng([house.number, seed, 7])
            drawn, placed = _with_odd_days(world, drawn, rng)
            rows = drawn.site_days()
            share = THRESHOLDS["coverage_warn_frac"]
            past = unusual_days.history(
                features.values(rows, share), features.weather(rows, share), THRESHOLDS
            )
            is_odd = np.array([d.date() in placed for d in past.index])
            n += 1
            for name, way in ways.items():
                began = time.process_time()
                score = way(past.z)
                took[name] += time.process_time() - began
                limit = np.sort(score[~is_odd])[-max(1, round(0.005 * (~is_odd).sum()))]
                hits[name] += list(score[is_odd] > limit)
    return {name: (float(np.mean(hits[name])), took[name] / n) for name in ways}


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--years", default=4, help="So many drawn years of each house.")
@click.option("--houses", default=HOUSES, help="So many simulated houses of the part.")
@click.option(
    "--rivals", "with_rivals", is_flag=True, help="Compare ways to hold figures together."
)
def main(part: str, years: int, houses: int, with_rivals: bool) -> None:
    """Print false flags on healthy years, and recall and precision on planted ones."""
    with wall(part):
        world = learned(site_days(part, houses))
    click.echo(
        f"{part} part: {len(world.houses)} simulated houses, "
        f"{sum(len(h.outdoor_f) for h in world.houses)} healthy and {len(world.effects)} "
        f"paired days with conditions; {years} drawn years of each"
    )
    for n in (365, 120, 60, 42):
        made = healthy_years(world, range(years), n)
        worst = max(np.mean(v) for v in made.by_house.values())
        low, high = wilson(made.years_with_change, made.years)
        click.echo(
            f"healthy, {n} days: {made.flagged} of {made.days} days flagged "
            f"({made.flagged / max(made.days, 1):.2%}; set {THRESHOLDS['unusual_day_share']:.2%}; "
            f"worst house {worst:.2%}); a change told in {made.years_with_change} of "
            f"{made.years} ({low:.1%} to {high:.1%}; set "
            f"{THRESHOLDS['unusual_change_share']:.0%} a year)"
        )
        if n == 365:
            for why in made.told:
                click.echo(f"    {why}")
    for name, planted in (
        ("odd days", odd_years(world, range(years))),
        ("lasting changes", changed_years(world, range(years))),
    ):
        click.echo(
            f"{name}: recall {planted.recall:.2f} of {planted.planted}, precision "
            f"{planted.precision:.2f} ({planted.beside} beside)"
        )
        for condition, hits in sorted(planted.by_condition.items()):
            click.echo(f"    {condition}: {sum(hits)} of {len(hits)}")
        for is_shown in (True, False) if planted.by_shown else ():
            hits = [hit for shown, hit in planted.by_shown if shown == is_shown]
            low, high = wilson(sum(hits), len(hits))
            words = "that show" if is_shown else "that usual days hide, or with none before"
            click.echo(
                f"    those {words}: recall {sum(hits) / max(len(hits), 1):.2f} "
                f"({low:.2f} to {high:.2f}) of {len(hits)}"
            )
        if planted.off_days:
            click.echo(f"    days off, 9 in 10: {np.quantile(planted.off_days, 0.9):.0f}")
    compared, flagged, odd = fleets(world, range(2 * len(world.houses)))
    click.echo(
        f"sites: {flagged} of {compared} usual ones flagged ({flagged / max(compared, 1):.2%}; set "
        f"{THRESHOLDS['unusual_site_share']:.0%}); {odd} of {2 * len(world.houses)} odd ones"
    )
    if with_rivals:
        for name, (recall, cpu_s) in rivals(world, range(years)).items():
            click.echo(f"  {name}: recall {recall:.2f}, {cpu_s:.3f} CPU s a year")


if __name__ == "__main__":
    main()
