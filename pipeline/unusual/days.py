"""A site's days against its own past, the weather taken out.

A day is held against the others in two ways: by its most unusual figure, and by how its figures go
together. Each way has its own level for a flag: the site's own scores, of which only the inner nine
tenths are looked at, carried on as far as the share of usual days that may be flagged. A log that
is too short for that cannot tell.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import words
from pipeline.unusual import features, steps, weather
from pipeline.unusual.record import (
    CANNOT_TELL,
    JUDGED,
    NOT_JUDGED,
    UNUSUAL,
    USUAL,
    ChangesJudged,
    DayJudged,
    DaysJudged,
    Departure,
    Unusual,
)
from pipeline.unusual.say import figure, span
from pipeline.unusual.weather import Floats, Removed

NINE_IN_TEN = 1.6448536269514722
CLIPPED = 4.0
TAIL_DAYS = 20
UNSURE_DAYS = 24.0
"""A level read off n days is raised by so many over n: of few days it is unsure by as much."""
MOST_DEPARTURES = 3


@dataclass(frozen=True)
class History:
    """One site's days with the weather and lasting changes taken out.

    index : local days
    removed : the figures that can be judged
    courses : how each of them went
    z : days x figures, robust deviations; NaN where it does not apply
    """

    index: pd.DatetimeIndex
    removed: tuple[Removed, ...]
    courses: tuple[steps.Course, ...]
    z: Floats


def judge(
    site_days: pd.DataFrame,
    thresholds: dict[str, float],
    *,
    units: str = "us",
    visits: pd.DataFrame | None = None,
) -> Unusual:
    """One site's days and lasting changes against its own past.

    site_days : rows of unusual.site_day of one site, any order, each day once
    thresholds : values in force, by name
    units : of the sentences
    visits : rows of run.visit of the site; those told by the site file are named beside changes
    """
    site_days = site_days.sort_values("day").reset_index(drop=True)
    share = thresholds["unusual_day_share"]
    coverage = thresholds["coverage_warn_frac"]
    value = features.values(site_days, coverage)
    outdoors = features.weather(site_days, coverage)
    is_judged = np.asarray(value.notna().any(axis=1) & outdoors["mean_f"].notna())
    n_judged = int(is_judged.sum())
    n_more = max(0, round(thresholds["unusual_min_days"]) - n_judged)
    chance = thresholds["unusual_change_share"]
    if n_more:
        why = _too_few(site_days, n_judged, n_more, value, outdoors)
        days = tuple(_not_judged(row, "") for row in site_days.itertuples())
        return Unusual(
            DaysJudged(CANNOT_TELL, why, share, n_judged, n_more, days),
            ChangesJudged(CANNOT_TELL, why, chance, n_judged, n_more),
        )
    past = history(value, outdoors, thresholds)
    like = outdoors["mean_f"].to_numpy(float)
    level_days = round(thresholds["unusual_change_min_days"])
    told = [t for c in past.courses for t in steps.told(c, past.index, like, level_days, units)]
    found = steps.changes(told, _visit_days(visits, site_days))
    rests_on = (
        f"{words.count(n_judged, 'day')} with enough logged, "
        f"{words.count(len(past.removed), 'figure')} of each"
    )
    return Unusual(
        DaysJudged(
            JUDGED,
            words.sentence(f"{rests_on}; of usual days about {_one_in(share)} is flagged"),
            share,
            n_judged,
            0,
            _days(site_days, past, is_judged, outdoors, share, units),
        ),
        ChangesJudged(JUDGED, words.sentence(rests_on), chance, n_judged, 0, found),
    )


def history(value: pd.DataFrame, outdoors: pd.DataFrame, thresholds: dict[str, float]) -> History:
    """The weather and lasting changes taken out of every figure that enough days have."""
    index = pd.DatetimeIndex(value.index)
    mean_f = outdoors["mean_f"].to_numpy()
    regressors = weather.terms(
        {name: outdoors[name].to_numpy(float) for name in outdoors.columns},
        index.day_of_week.to_numpy().astype(np.int64),
    )
    min_days = round(thresholds["unusual_figure_min_days"])
    level_days = round(thresholds["unusual_change_min_days"])
    made = []
    for feature in features.FEATURES:
        own = value[feature.column].to_numpy()
        first = weather.removed(feature, own, mean_f, regressors, min_days)
        if first is not None and first.applies.any():
            made.append(first)
    removed, courses, z = [], [], []
    for first in made:
        course = steps.course(first, len(made), level_days)
        after = course.regressors(len(index))
        if after:
            own = value[first.feature.column].to_numpy()
            again = weather.removed(first.feature, own, mean_f, regressors, min_days, after)
            first = again or first
            course = steps.course(first, len(made), level_days)
        removed.append(first)
        courses.append(course)
        z.append(np.where(first.applies, first.z - course.level(len(index)), np.nan))
    stacked = np.column_stack(z) if z else np.empty((len(index), 0))
    return History(index, tuple(removed), tuple(courses), stacked)


def scores(z: Floats, share: float) -> tuple[Floats, Floats, Floats]:
    """(most unusual figure, figures together, what the others say of each): 1 is a flag's level.

    z : days x figures, NaN where a figure does not apply
    Returns per day, per day, and days x figures: each figure's deviations given the others.
    """
    zero = np.nan_to_num(z)
    applies = np.isfinite(z)
    tail = np.ones(z.shape[1])
    for j in range(z.shape[1]):
        own = np.abs(z[applies[:, j], j])
        # of a figure that is nought on nearly all days, the few others are no measure of their own
        if len(own) >= TAIL_DAYS:
            tail[j] = max(1.0, float(np.quantile(own, 0.9)) / NINE_IN_TEN)
    single = (np.abs(zero) / tail).max(axis=1)
    clipped = np.clip(zero / tail, -CLIPPED, CLIPPED)
    inverse = _inverse_covariance(clipped)
    pulled = (zero / tail) @ inverse
    given = pulled / np.sqrt(np.diag(inverse))
    k = np.maximum(applies.sum(axis=1), 1)
    distance = np.einsum("ij,ij->i", zero / tail, pulled)
    # Wilson and Hilferty 1931: the cube root of chi-squared over its degrees is near normal
    together = (np.cbrt(distance / k) - (1 - 2 / (9 * k))) / np.sqrt(2 / (9 * k))
    return single / level(single, share / 2), together / level(together, share / 2), given


def level(score: Floats, share: float) -> float:
    """The score above which `share` of usual days lie, from the inner nine tenths of the scores.

    Beyond its upper quarter a score is taken to fall off as an exponential does, at the rate seen
    between the upper quarter and the upper tenth: the days that are to be flagged have no say.
    """
    quarter, tenth = np.quantile(score, [0.75, 0.9])
    rate = max((tenth - quarter) / np.log(2.5), 1e-6)
    read = quarter + rate * np.log(0.25 / share)
    return float(max(read * (1 + UNSURE_DAYS / len(score)), 1e-6))


def _inverse_covariance(clipped: Floats) -> Floats:
    from sklearn.covariance import ledoit_wolf

    covariance, _ = ledoit_wolf(clipped, assume_centered=True)
    covariance = covariance + 1e-3 * np.eye(len(covariance))
    return np.asarray(np.linalg.inv(covariance))


def _days(
    site_days: pd.DataFrame,
    past: History,
    is_judged: NDArray[np.bool_],
    outdoors: pd.DataFrame,
    share: float,
    units: str,
) -> tuple[DayJudged, ...]:
    if not past.removed:
        return tuple(_not_judged(row, "no figure on enough days") for row in site_days.itertuples())
    single = np.full(len(site_days), np.nan)
    together = single.copy()
    given = np.full(past.z.shape, np.nan)
    single[is_judged], together[is_judged], given[is_judged] = scores(past.z[is_judged], share)
    made = []
    for i, row in enumerate(site_days.itertuples()):
        if not is_judged[i]:
            made.append(_not_judged(row, _missing(outdoors["mean_f"].iloc[i])))
            continue
        score = float(max(single[i], together[i]))
        departures = _departures(past, i, given, together[i] >= 1, units) if score >= 1 else ()
        if departures:
            why = words.sentence("; ".join(d.sentence for d in departures))
            made.append(_day(row, UNUSUAL, why, score, departures))
        else:
            made.append(_day(row, USUAL, "", min(score, 0.999), ()))
    return tuple(made)


def _departures(
    past: History, i: int, given: Floats, is_together: bool, units: str
) -> tuple[Departure, ...]:
    """What made day i unusual: figures off by more than is of interest, the furthest first."""
    z = np.nan_to_num(past.z[i])
    made = []
    for j in np.argsort(-np.abs(z), kind="stable"):
        if abs(z[j]) < NINE_IN_TEN:
            break
        d = _departure(past, i, int(j), float(z[j]), 0.0, units)
        if d is not None:
            made.append(d)
    if is_together and (not made or abs(made[0].size) < 2 * NINE_IN_TEN):
        j = int(np.argmax(np.abs(np.nan_to_num(given[i])) * np.isfinite(past.z[i])))
        # what the others let expect of it: its own deviations less those that remain given them
        shift = float(z[j] - given[i, j])
        d = None
        if np.isfinite(past.z[i, j]):
            d = _departure(past, i, j, float(given[i, j]), shift, units)
        if d is not None and d.feature not in {m.feature for m in made}:
            made.insert(0, d)
    return tuple(made[:MOST_DEPARTURES])


def _departure(
    past: History, i: int, j: int, size: float, others: float, units: str
) -> Departure | None:
    r = past.removed[j]
    lasting = float(r.residual[i] / r.scale[i] - past.z[i, j]) if np.isfinite(past.z[i, j]) else 0.0
    shift = (lasting + others) * float(r.scale[i])
    expected, low, high = r.around(i, NINE_IN_TEN, shift)
    value = float(r.value[i])
    outside = value - high if value > high else low - value
    if not np.isfinite(value) or outside <= 0 or abs(value - expected) < r.feature.least:
        return None
    alike = "for what else ran that day" if others else f"days {_like(r.feature)} this one had"
    usual = span(r.feature, low, high, units)
    said = f"{r.feature.name} {figure(r.feature, value, units)}"
    sentence = f"{said}; {alike} {usual}" if not others else f"{said}; {usual} {alike}"
    return Departure(
        r.feature.column, r.feature.name, value, expected, low, high, r.feature.unit, size,
        sentence, bool(others),
    )  # fmt: skip


def _like(feature: features.Feature) -> str:
    return {"heating": "as cold as", "cooling": "as warm as"}.get(feature.mode, "with weather like")


def _day(
    row: object, result: str, why: str, score: float | None, departures: tuple[Departure, ...]
) -> DayJudged:
    day: dt.date = pd.Timestamp(row.day).date()  # type: ignore[attr-defined]
    start_ts, end_ts = int(row.start_ts), int(row.end_ts)  # type: ignore[attr-defined]
    return DayJudged(day, start_ts, end_ts, result, why, score, departures)


def _not_judged(row: object, why: str) -> DayJudged:
    return _day(row, NOT_JUDGED, why, None, ())


def _missing(mean_f: float) -> str:
    return "outdoor air not logged enough" if not np.isfinite(mean_f) else "not logged enough"


def _too_few(
    site_days: pd.DataFrame,
    n_judged: int,
    n_more: int,
    value: pd.DataFrame,
    outdoors: pd.DataFrame,
) -> str:
    if outdoors["mean_f"].notna().sum() < n_judged or (
        not outdoors["mean_f"].notna().any() and value.notna().any(axis=None)
    ):
        return "Cannot tell: outdoor air was not logged, and weather cannot be taken out."
    return words.sentence(
        f"cannot tell yet: {words.count(n_judged, 'day')} with enough logged, "
        f"{words.count(n_more, 'more day')} needed"
    )


def _one_in(share: float) -> str:
    return f"one in {round(1 / share)}"


def _visit_days(visits: pd.DataFrame | None, site_days: pd.DataFrame) -> list[tuple[dt.date, str]]:
    if visits is None or visits.empty:
        return []
    made = []
    told = visits[~visits["is_assumed"].astype(bool)]
    for visit in told.sort_values("start_ts").itertuples():
        inside = site_days[
            (site_days["start_ts"] <= visit.start_ts) & (site_days["end_ts"] > visit.start_ts)
        ]
        if not inside.empty:
            made.append((pd.Timestamp(inside["day"].iloc[0]).date(), str(visit.what or "visit")))
    return made
