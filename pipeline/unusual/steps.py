"""Changes that stayed: when a figure stepped or began to drift, and by how much, weather taken out.

A figure's days are cut in two where that explains most of its spread (binary segmentation); the
cut stands if it explains more than its price by the Bayesian information criterion, and each side
is cut again. Where a straight line explains more than the best cut, the figure drifts (a filter
that fills). Days that depend on the day before count for less: the spread is that of a mean's long
run. Nothing under the figure's least difference is told.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline import words
from pipeline.unusual.features import Feature
from pipeline.unusual.record import Change, Step
from pipeline.unusual.say import figure
from pipeline.unusual.weather import Floats, Removed

CLIPPED = 3.0
"""An odd day counts for no more than so many deviations from the days about it."""
SLOPE_DAYS = 28
DATED_DROP = 6.0
"""Days at which a cut explains nearly as much: the date lies among them."""
TOGETHER_DAYS = 3
NEIGHBOURS = 15
LIKE_F = 4.0
PRICE_OF_DATING = 5.0
"""A cut is paid for with so many logarithms of the days: its level, its date, and their search."""
MOST_CUTS = 12
NINETEEN_IN_TWENTY = 1.96


@dataclass(frozen=True)
class Piece:
    """A stretch of one figure's own days with one level, or one drift. Positions are into days."""

    start: int
    end: int
    level: float
    slope: float = 0.0


@dataclass(frozen=True)
class Cut:
    """Where one figure's days part: the first day after, and the first and last it may be."""

    at: int
    first: int
    last: int
    gain: float


@dataclass(frozen=True)
class Course:
    """One figure's levels over the log, weather removed.

    at : positions of its days among the site's days
    pieces, cuts : positions into `at`; as many cuts as pieces less one
    long_run : by how much a mean's spread is that of days that forget each other
    price : what a cut must explain
    """

    removed: Removed
    at: NDArray[np.int64]
    pieces: tuple[Piece, ...]
    cuts: tuple[Cut, ...]
    long_run: float
    price: float

    def regressors(self, n_days: int) -> list[Floats]:
        """What to fit beside the weather: 1 from each cut on, and along each drift from 0 to 1."""
        days = np.arange(n_days)
        made = [(days >= self.at[cut.at]).astype(float) for cut in self.cuts]
        for p in self.pieces:
            if p.slope:
                start, end = self.at[p.start], self.at[p.end - 1]
                made.append(np.clip((days - start) / (end - start), 0.0, 1.0))
        return made

    def level(self, n_days: int) -> Floats:
        """What to take out of the figure's residual on every day of the site [its deviations]."""
        own = np.empty(len(self.at))
        for p in self.pieces:
            own[p.start : p.end] = p.level + p.slope * (np.arange(p.start, p.end) - p.start)
        if not len(self.at):
            return np.zeros(n_days)
        nearest = np.searchsorted(self.at, np.arange(n_days), side="right") - 1
        return np.asarray(own[np.clip(nearest, 0, len(own) - 1)])


def course(removed: Removed, n_features: int, min_days: int) -> Course:
    """How the figure went: its pieces and where they part.

    n_features : how many figures are looked at: each has its chance of showing something
    min_days : days that a level must last
    """
    # days of nought among them: what begins one day (a fan that no longer stops) had them before
    at = np.flatnonzero(removed.could_run & np.isfinite(removed.z))
    z, about = _clipped(removed.z[at])
    if len(z) < 2 * min_days:
        level = float(np.median(z)) if len(z) else 0.0
        return Course(removed, at, (Piece(0, len(z), level),), (), 1.0, np.inf)
    spread, long_run = _noise(z, about)
    price = PRICE_OF_DATING * np.log(len(z)) + 2 * np.log(max(n_features, 1))
    may_drift = not removed.feature.is_amount and removed.feature.unit in ("in. w.c.", "difference")
    cuts: list[Cut] = []
    pieces: list[Piece] = []
    _part(z, 0, len(z), spread**2 * long_run, price, min_days, may_drift, cuts, pieces)
    pieces.sort(key=lambda p: p.start)
    cuts.sort(key=lambda c: c.at)
    return Course(removed, at, tuple(pieces), tuple(cuts), long_run, float(price))


def _clipped(z: Floats) -> tuple[Floats, Floats]:
    """(every day no further than CLIPPED from the median of the days about it, that median)."""
    if len(z) < NEIGHBOURS:
        return np.clip(z, -CLIPPED, CLIPPED), np.zeros(len(z))
    half = NEIGHBOURS // 2
    near = np.lib.stride_tricks.sliding_window_view(np.pad(z, half, mode="reflect"), NEIGHBOURS)
    middle = np.median(near, axis=1)
    return middle + np.clip(z - middle, -CLIPPED, CLIPPED), middle


def _noise(z: Floats, about: Floats) -> tuple[float, float]:
    """Spread of a day about its level and the long run's factor, both blind to a few steps."""
    change = np.diff(z)
    near = 1.4826 * np.median(np.abs(change)) / np.sqrt(2)
    two = z[2:] - z[:-2]
    far = 1.4826 * np.median(np.abs(two)) / np.sqrt(2)
    # of days with correlation r from one to the next: near² = s²(1 - r), far² = s²(1 - r²)
    r = float(np.clip((far / near) ** 2 - 1 if near > 0 else 0.0, 0.0, 0.7))
    # where most days are nought and some are not, medians see no spread at all
    spread = max(near / np.sqrt(1 - r), 0.3, float(np.std(z - about)))
    return float(spread), (1 + r) / (1 - r)


def _part(
    z: Floats,
    start: int,
    end: int,
    variance: float,
    price: float,
    min_days: int,
    may_drift: bool,
    cuts: list[Cut],
    pieces: list[Piece],
) -> None:
    own = z[start:end]
    n = len(own)
    best, gains = _best_cut(own, variance, min_days)
    slope, drift_gain = _line(own, variance) if may_drift and n >= SLOPE_DAYS else (0.0, 0.0)
    if drift_gain > price and drift_gain >= gains[best] if n else False:
        straight = own - slope * np.arange(n)
        again, left = _best_cut(straight, variance, min_days)
        if left[again] <= price:
            pieces.append(Piece(start, end, float(np.median(straight)), slope))
            return
        best, gains = again, left
    if n < 2 * min_days or gains[best] <= price or len(cuts) >= MOST_CUTS:
        pieces.append(Piece(start, end, float(np.median(own)) if n else 0.0))
        return
    near = np.flatnonzero(gains >= gains[best] - DATED_DROP)
    cuts.append(Cut(start + best, start + int(near[0]), start + int(near[-1]), float(gains[best])))
    _part(z, start, start + best, variance, price, min_days, may_drift, cuts, pieces)
    _part(z, start + best, end, variance, price, min_days, may_drift, cuts, pieces)


def _best_cut(own: Floats, variance: float, min_days: int) -> tuple[int, Floats]:
    """(position of the first day after, what a cut at each position explains)."""
    n = len(own)
    gains = np.zeros(n + 1)
    if n >= 2 * min_days:
        k = np.arange(min_days, n - min_days + 1)
        left = np.cumsum(own)[k - 1]
        total = own.sum()
        gains[k] = (left / k - (total - left) / (n - k)) ** 2 * k * (n - k) / n / variance
    return int(np.argmax(gains)), gains


def _line(own: Floats, variance: float) -> tuple[float, float]:
    """(slope a day, what a straight line explains)."""
    t = np.arange(len(own)) - (len(own) - 1) / 2
    slope = float((t * own).sum() / (t * t).sum())
    return slope, float(slope**2 * (t * t).sum() / variance)


def told(
    course_: Course, days: pd.DatetimeIndex, outdoor_f: Floats, min_days: int, units: str = "us"
) -> list[tuple[Step, float]]:
    """The course's steps and drifts that are worth a word, each with what it explains.

    outdoor_f : of every day of the site; min_days : like days that each side of a step must have
    """
    made = []
    for n, cut in enumerate(course_.cuts):
        pair = course_.pieces[n : n + 2]
        step = _step(course_, pair[0], pair[1], cut, days, outdoor_f, min_days, units)
        if step is not None:
            made.append((step, cut.gain))
    for piece in course_.pieces:
        if piece.slope:
            step = _drift(course_, piece, days, units)
            if step is not None:
                made.append((step, abs(piece.slope) * (piece.end - piece.start)))
    return made


def _step(
    c: Course,
    before: Piece,
    after: Piece,
    cut: Cut,
    days: pd.DatetimeIndex,
    outdoor_f: Floats,
    min_days: int,
    units: str,
) -> Step | None:
    r, feature = c.removed, c.removed.feature
    first, second = c.at[before.start : before.end], c.at[after.start : after.end]
    if before.slope or after.slope:
        # next to a drift only the days about the cut are alike
        first, second = first[-14:], second[:14]
    difference = r.value - r.expected
    like = _like(outdoor_f, first, second)
    if min(like.n_first, like.n_second) < min_days:
        return None
    size, spread = like.median(difference, feature.least / 4)
    deviations, noise = like.median(r.z, 0.3)
    n_pooled = like.n_first * like.n_second / (like.n_first + like.n_second)
    # what a cut explains, once more: of days with like weather alone
    if abs(size) < feature.least or deviations**2 * n_pooled / (noise**2 * c.long_run) < c.price:
        return None
    reach = NINETEEN_IN_TWENTY * spread * np.sqrt(1.57 * c.long_run / n_pooled)
    was = like.usual(r.value)
    now = max(0.0, was + size)
    at = [_date(days[c.at[min(i, len(c.at) - 1)]]) for i in (cut.at, cut.first, cut.last)]
    sentence = _sentence(feature, was, now, size, float(reach), units)
    return Step(
        feature.column, feature.name, "step", at[0], at[1], at[2], None, was, now, size,
        size - float(reach), size + float(reach), feature.unit, like.n_first, like.n_second,
        sentence,
    )  # fmt: skip


@dataclass(frozen=True)
class Like:
    """Days of two sides that have some of the other side with outdoor air within LIKE_F.

    first, second : positions among the site's days; near : which of first are near which of second
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    near: NDArray[np.bool_]

    @property
    def n_first(self) -> int:
        """Days before."""
        return len(self.first)

    @property
    def n_second(self) -> int:
        """Days after."""
        return len(self.second)

    def usual(self, value: Floats) -> float:
        """Before, at the weather of the days after."""
        own = value[self.first]
        return float(np.median([np.median(own[self.near[:, n]]) for n in range(self.n_second)]))

    def median(self, value: Floats, least: float) -> tuple[float, float]:
        """(after less before at like weather, a day's spread about it, at least `least`)."""
        own, other = value[self.second], value[self.first]
        apart = np.array([own[n] - np.median(other[self.near[:, n]]) for n in range(self.n_second)])
        size = float(np.median(apart))
        return size, max(1.4826 * float(np.median(np.abs(apart - size))), least)


def _like(outdoor_f: Floats, first: NDArray[np.int64], second: NDArray[np.int64]) -> Like:
    near = np.abs(outdoor_f[first][:, None] - outdoor_f[second][None, :]) <= LIKE_F
    some, other = near.any(axis=1), near.any(axis=0)
    return Like(first[some], second[other], near[some][:, other])


def _drift(c: Course, piece: Piece, days: pd.DatetimeIndex, units: str) -> Step | None:
    r, feature = c.removed, c.removed.feature
    own = c.at[piece.start : piece.end]
    difference = r.value[own] - r.expected[own]
    t = (days[own] - days[own[0]]).days.to_numpy(float)
    base = float(np.median(r.expected[own]))
    per_day = _median_slope(t, difference)
    left = difference - per_day * t
    level = float(np.median(left))
    total = per_day * t[-1]
    if abs(total) < feature.least:
        return None
    spread = max(1.4826 * float(np.median(np.abs(left - level))), feature.least / 4)
    reach = NINETEEN_IN_TWENTY * spread * np.sqrt(c.long_run / ((t - t.mean()) ** 2).sum()) * 30
    size = per_day * 30
    was, now = base + level, base + level + total
    sentence = (
        f"{feature.name} went from {figure(feature, was, units)} to {figure(feature, now, units)}"
        f" at like weather, {_by(feature, abs(size), units)} "
        f"{'up' if size > 0 else 'down'} in 30 days"
    )
    start, end = _date(days[own[0]]), _date(days[own[-1]])
    return Step(
        feature.column, feature.name, "slope", start, start, start, end, was, now, size,
        size - float(reach), size + float(reach), feature.unit, len(own), len(own), sentence,
    )  # fmt: skip


def _median_slope(t: Floats, y: Floats) -> float:
    """The median of the slopes of all pairs (Theil 1950, Sen 1968)."""
    i, j = np.triu_indices(len(t), 1)
    return float(np.median((y[j] - y[i]) / (t[j] - t[i])))


def _sentence(
    feature: Feature, was: float, now: float, size: float, reach: float, units: str
) -> str:
    low = _by(feature, max(0.0, abs(size) - reach), units)
    high = _by(feature, abs(size) + reach, units)
    change = f"about {high}" if low == high else f"{low.split(' ', 1)[0]} to {high}"
    return (
        f"{feature.name} {figure(feature, was, units)} before, {figure(feature, now, units)} "
        f"after at like weather ({change} {'more' if size > 0 else 'less'})"
    )


def _by(feature: Feature, size: float, units: str) -> str:
    """A difference in the feature's unit."""
    if feature.unit == "°F":
        return words.temperature_difference(size, units)
    return figure(feature, size, units)


def changes(
    told_: list[tuple[Step, float]], visits: list[tuple[dt.date, str]]
) -> tuple[Change, ...]:
    """Steps that fall together as one change each, in order of time.

    visits : (local day, what was done) of visits that are known of
    """
    groups: list[list[tuple[Step, float]]] = []
    for step, gain in sorted(told_, key=lambda s: (-s[1], s[0].feature)):
        for group in groups:
            lead = group[0][0]
            is_new = step.feature not in {s.feature for s, _ in group}
            if lead.kind == step.kind and is_new and _together(lead, step):
                group.append((step, gain))
                break
        else:
            groups.append([(step, gain)])
    made = []
    for group in groups:
        lead = group[0][0]
        near = [
            what
            for day, what in visits
            if lead.first_day - dt.timedelta(days=1) <= day <= lead.last_day
        ]
        steps = tuple(step for step, _ in group)
        made.append(
            Change(lead.day, lead.first_day, lead.last_day, near[0] if near else "",
                   _why(lead, steps, near), steps)
        )  # fmt: skip
    return tuple(sorted(made, key=lambda c: (c.day, c.steps[0].feature)))


def _together(lead: Step, step: Step) -> bool:
    apart = dt.timedelta(days=TOGETHER_DAYS)
    return step.first_day <= lead.last_day + apart and step.last_day >= lead.first_day - apart


def _why(lead: Step, steps: tuple[Step, ...], visits: list[str]) -> str:
    if lead.kind == "slope" and lead.end_day is not None:
        when = f"from {words.day(lead.day)} to {words.day(lead.end_day)}"
    elif lead.first_day == lead.last_day:
        when = f"since {words.day(lead.day)}"
    else:
        when = (
            f"since about {words.day(lead.day)} "
            f"(between {words.day(lead.first_day)} and {words.day(lead.last_day)})"
        )
    said = "; ".join(s.sentence for s in steps[:3])
    visit = f"; a visit at that time: {visits[0]}" if visits else ""
    return words.sentence(f"{when}: {said}{visit}")


def _date(day: pd.Timestamp) -> dt.date:
    return day.date()
