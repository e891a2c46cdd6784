"""What a day's figures would be for its weather, by the site's own other days.

Each figure is regressed on the day's outdoor air: straight pieces that bend where heating and
cooling begin and grow (degree parts), the day's swing, the day before, the weekend where there are
weeks enough. The regression is robust (`HuberRegressor`): odd days hardly bend it. Every day is
held against a line that it had no part in (its leverage is taken out of its residual).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.unusual.features import Feature

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

HEATING_BENDS_F = (65.0, 50.0, 35.0, 20.0)
COOLING_BENDS_F = (65.0, 80.0)
BEND_DAYS = 10
"""A bend is placed only with so many days beyond it, and so many up to the one before."""
SWING_DAYS = 60
WEEKEND_DAYS = 56
HUBER_BEND = 1.35
RIDGE = 1e-3
NORMAL_TENTH = 1.2815515655446004
"""Standard normal quantile at 0.9."""
LOCAL_F = 5.0
LOCAL_DAYS = 10.0
GRID_F = 2.0
FLOOR_DEVIATIONS = 3.0
"""A difference that is of no interest is never more than so many robust deviations."""


@dataclass(frozen=True)
class Removed:
    """One figure of every day with the weather taken out.

    Arrays have one entry per day of the site, NaN where the figure is not known or does not apply.

    value : the figure [unit of the feature]
    expected : for this weather [the same]
    residual : value less expected on the scale it is weighed by (a square root for amounts)
    scale : robust deviation of the residual, of each day
    could_run : known, and something that could run in this weather
    applies : of these, without the days on which it was nought and hardly anything was expected
    """

    feature: Feature
    value: Floats
    expected: Floats
    residual: Floats
    scale: Floats
    could_run: Bools
    applies: Bools

    @property
    def z(self) -> Floats:
        """Robust deviations from what was expected."""
        return self.residual / self.scale

    def around(self, i: int, deviations: float, shift: float = 0.0) -> tuple[float, float, float]:
        """(expected, low, high) of day i in the feature's unit, `deviations` to either side.

        shift : moved by so much on the scale that the figure is weighed by
        """
        middle = _weighed(self.feature, self.expected[i]) + shift
        reach = deviations * self.scale[i]
        told = (middle, middle - reach, middle + reach)
        mid, low, high = (float(_told(self.feature, np.asarray(v))) for v in told)
        return mid, low, high


def terms(weather: dict[str, Floats], weekday: NDArray[np.int64]) -> Floats:
    """The regressors of every day, one column each, without the constant.

    weather : mean_f, swing_f, before_f of every day
    weekday : 0 Monday to 6 Sunday
    """
    mean_f = weather["mean_f"]
    known = mean_f[np.isfinite(mean_f)]
    columns = []
    for bends, sign in ((HEATING_BENDS_F, -1.0), (COOLING_BENDS_F, 1.0)):
        last = None
        for bend in bends:
            beyond = sign * (known - bend) > 0
            between = ~beyond if last is None else (sign * (known - last) > 0) & ~beyond
            if beyond.sum() < BEND_DAYS:
                break
            # without days before the bend the piece is the line itself, and still wanted once
            if last is None or between.sum() >= BEND_DAYS:
                columns.append(np.maximum(0.0, sign * (mean_f - bend)))
                last = bend
    columns.append(weather["before_f"] - mean_f)
    if len(known) >= SWING_DAYS:
        columns.append(weather["swing_f"])
    if len(known) >= WEEKEND_DAYS:
        columns.append((weekday >= 5).astype(float))
    return np.column_stack(columns)


def removed(
    feature: Feature,
    value: Floats,
    mean_f: Floats,
    regressors: Floats,
    min_days: int,
    steps: Sequence[Floats] = (),
) -> Removed | None:
    """The figure with the weather taken out; None with fewer than `min_days` days to learn from.

    regressors : of `terms`
    steps : further regressors, of lasting changes: fitted, and left in the residual
    """
    could_run = np.isfinite(value) & np.isfinite(regressors).all(axis=1)
    if feature.mode == "heating":
        could_run &= (mean_f < HEATING_BENDS_F[0]) | (value > 0)
    elif feature.mode == "cooling":
        could_run &= (mean_f > COOLING_BENDS_F[0] - 5) | (value > 0)
    if could_run.sum() < min_days:
        return None
    weighed = _weighed(feature, value)
    extra = np.column_stack(steps) if steps else np.empty((len(value), 0))
    fitted, lasting, leverage = _fit(regressors[could_run], extra[could_run], weighed[could_run])
    expected = np.full(len(value), np.nan)
    expected[could_run] = np.maximum(0.0, fitted) if feature.is_amount else fitted
    residual = weighed - expected
    alone = residual.copy()
    alone[could_run] /= 1.0 - leverage
    middle, spread = _about_line(mean_f[could_run], alone[could_run] - lasting)
    expected[could_run] += middle
    if feature.is_amount:
        expected[could_run] = np.maximum(0.0, expected[could_run])
    alone[could_run] -= middle
    told = _told(feature, expected)
    floor = np.abs(_weighed(feature, told + feature.least) - expected) / FLOOR_DEVIATIONS
    scale = floor.copy()
    scale[could_run] = np.maximum(spread, floor[could_run])
    scale[could_run] *= np.sqrt(1.0 / (1.0 - leverage))
    nothing = (value == 0) & (told < feature.least) if feature.is_amount else np.isnan(value)
    return Removed(feature, value, told, alone, scale, could_run, could_run & ~nothing)


def _weighed(feature: Feature, value: Floats) -> Floats:
    """The figure on the scale on which its spread is even."""
    return np.sqrt(np.maximum(value, 0.0)) if feature.is_amount else np.asarray(value, float)


def _told(feature: Feature, weighed: Floats) -> Floats:
    return np.maximum(weighed, 0.0) ** 2 if feature.is_amount else weighed


def _fit(x: Floats, extra: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """What weather and what lasting changes say of each day, and each day's leverage."""
    from sklearn.linear_model import HuberRegressor

    centre, width = x.mean(axis=0), x.std(axis=0)
    varies = width > 1e-9
    scaled = (x[:, varies] - centre[varies]) / width[varies]
    both = np.column_stack([scaled, extra])
    middle, spread = float(np.median(y)), _spread(y - np.median(y))
    design = np.column_stack([np.ones(len(y)), both])
    if spread < 1e-9:
        # most days are alike (no trip, a setpoint nobody moves): nothing to explain
        return np.full(len(y), middle), np.zeros(len(y)), np.full(len(y), 1.0 / len(y))
    model = HuberRegressor(epsilon=HUBER_BEND, alpha=RIDGE, max_iter=1000, tol=1e-4)
    model.fit(both, (y - middle) / spread)
    weather_part = model.intercept_ + scaled @ model.coef_[: scaled.shape[1]]
    lasting = extra @ model.coef_[scaled.shape[1] :]
    off = np.abs((y - middle) / spread - weather_part - lasting)
    weight = np.minimum(1.0, HUBER_BEND * model.scale_ / np.maximum(off, 1e-12))
    normal = design.T @ (design * weight[:, None]) + RIDGE * np.eye(design.shape[1])
    inner = np.linalg.solve(normal, design.T).T
    leverage = np.clip(weight * np.einsum("ij,ij->i", design, inner), 0.0, 0.9)
    return middle + spread * weather_part, spread * lasting, leverage


def _about_line(mean_f: Floats, residual: Floats) -> tuple[Floats, Floats]:
    """(by how much the line is wrong in such weather, a day's robust deviation in it), of each day.

    Where a season begins a figure is nought on one day and plenty on the next, and no straight
    piece fits: both are read off the days within some LOCAL_F of outdoor air, the fewer there are
    the more of the figure's whole spread.
    """
    grid = np.arange(mean_f.min(), mean_f.max() + GRID_F, GRID_F)
    weight = np.exp(-0.5 * ((grid[:, None] - mean_f) / LOCAL_F) ** 2)
    known = weight.sum(axis=1)
    share = known / (known + LOCAL_DAYS)
    wrong = share * _quantile(residual, weight, 0.5)
    middle = np.interp(mean_f, grid, wrong)
    off = np.abs(residual - middle)
    half, tenth = _quantile(off, weight, 0.5), _quantile(off, weight, 0.8)
    own = np.maximum(1.4826 * half, tenth / NORMAL_TENTH)
    spread = np.sqrt(share * own**2 + (1 - share) * _spread(residual - middle) ** 2)
    return middle, np.interp(mean_f, grid, spread)


def _quantile(value: Floats, weight: Floats, part: float) -> Floats:
    """The weighted quantile of the values for each row of weights."""
    order = np.argsort(value, kind="stable")
    summed = np.cumsum(weight[:, order], axis=1)
    at = (summed < part * summed[:, -1:]).sum(axis=1)
    return np.asarray(value[order][np.minimum(at, len(value) - 1)])


def _spread(residual: Floats) -> float:
    """A robust deviation that nought for most days does not make nought."""
    if len(residual) < 2:
        return 0.0
    centre = np.median(residual)
    low, high = np.quantile(residual, [0.1, 0.9])
    return float(
        max(1.4826 * np.median(np.abs(residual - centre)), (high - low) / (2 * NORMAL_TENTH))
    )
