"""What supply and return temperature say of the equipment: heating, cooling, fan only or off.

With the fan off the probe shows the attic or the soak, so a level proves nothing. What proves is
how supply moves when heat, cooling or the fan start and stop. With the fan on it goes toward a
target (the return with the coil idle, the return and a rise with heat, less a split with cooling)
with the time constant of coil and exchanger; with the fan off it only creeps toward what is around
the unit. Each step from one reading to the next is weighed under each state, a run must open with
its edge, and the likeliest path through the whole log is kept (Viterbi's algorithm). The site's own
time constant, rise and split are fitted to the stretches of that path (the constant by Huber's
regression, which a few odd steps do not move), and the path is found again until nothing moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, hypot, log

import numpy as np
from numpy.typing import NDArray

from pipeline.measures.inferred_numbers import number

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]

OFF, FAN, HEAT_START, HEAT, COOL_START, COOL = range(6)
N_STATE = 6
GRID_S = 20.0
"""Readings closer than this are averaged: what is told apart lasts longer."""
PASSES = 4  # of the fit; it settles in two or three
NEVER = -1e9
SMALL = number("unexplained_log")
OFF_SMALL = number("unexplained_off_log")
NOISE_F = number("noise_f")
CREEP_S = number("creep_s")
HEADS_FOR = number("heads_for_frac")
WEAKENS_TO = number("weakens_to_frac")
DRIFT_WIDE = number("drift_times")
PLACE_F = number("creep_place_f")
ATTIC_OVER_OUTDOOR_F = number("attic_over_outdoor_f")
PLACE_LOW_F, PLACE_HIGH_F = number("place_under_return_f"), number("place_over_return_f")
AGAINST = number("against_log")


@dataclass(frozen=True)
class Shape:
    """The site's own numbers.

    tau_s : time constant of coil and exchanger with the fan on
    rise_f, split_f : supply over (under) return some minutes into a run: of the weaker runs
    rise_max_f, split_max_f : the most that a step may head for
    weak_share : the share of heating runs that may be weaker than `rise_f`
    heat_weakens_to : the least share of `rise_f` that heat which weakens heads for
    """

    tau_s: float = number("tau_s")
    rise_f: float = number("rise_burner_f")
    split_f: float = number("split_f")
    rise_max_f: float = number("rise_top_f")
    weak_share: float = number("weak_burner_frac")
    heat_weakens_to: float = HEADS_FOR
    split_max_f: float = number("split_top_f")


@dataclass(frozen=True)
class Steps:
    """Readings of one stretch without a gap on a common grid, one value per instant.

    at_s : instants [s]; supply_f, over_f : supply, and supply over return [°F]
    place_low_f, place_high_f : bounds of what is around the unit [°F]
    fan : 1 known to run, 0 known to stand, -1 not known
    may_start : False where no zone calls or has just called
    """

    at_s: Values
    supply_f: Values
    over_f: Values
    step_s: float
    place_low_f: Values
    place_high_f: Values
    fan: Ints
    may_start: Flags


def on_grid(
    at_s: Values,
    supply_f: Values,
    return_f: Values,
    outdoor_f: Values,
    interval_s: float,
    fan: Ints,
    may_start: Flags,
) -> Steps:
    """The readings of one stretch averaged to a grid of about GRID_S; `outdoor_f` may be NaN.

    Raises ValueError for fewer readings than one step of the grid takes.
    """
    k = max(1, round(GRID_S / interval_s))
    n = len(at_s) // k * k
    if n < 2 * k:
        raise ValueError("a stretch needs two instants of the grid")

    def mean(values: Values) -> Values:
        return np.asarray(values[:n], dtype=np.float64).reshape(-1, k).mean(axis=1)

    supply, back, outdoor = mean(supply_f), mean(return_f), mean(outdoor_f)
    known = ~np.isnan(outdoor)
    low = np.where(known, np.fmin(back, outdoor) - PLACE_F, back - PLACE_LOW_F)
    attic = np.fmax(back, outdoor + ATTIC_OVER_OUTDOOR_F) + PLACE_F
    high = np.where(known, attic, back + PLACE_HIGH_F)
    blocks = np.asarray(fan[:n]).reshape(-1, k)
    alike = (blocks == blocks[:, :1]).all(axis=1)
    return Steps(
        mean(at_s),
        supply,
        supply - back,
        k * interval_s,
        low,
        high,
        np.where(alike, blocks[:, 0], -1),
        np.asarray(may_start[:n].reshape(-1, k).max(axis=1), dtype=bool),
    )


def weights(steps: Steps, shape: Shape, heats: bool, cools: bool) -> Values:
    """Log weight of each step (n - 1 rows) under each of the six states.

    The numbers in it shape its densities (widths, corners, what a change costs) and mean nothing
    outside it; all together were chosen on the tuning part, by errors of runtime and starts.
    """
    x0, x1 = steps.over_f[:-1], steps.over_f[1:]
    moved = steps.supply_f[1:] - steps.supply_f[:-1]
    dt = steps.step_s
    left = exp(-dt / shape.tau_s)
    gain = 1.0 - left
    aim = (x1 - left * x0) / gain  # what the step heads for, over return
    scatter = hypot(NOISE_F, 0.1 * min(dt / 20.0, 15.0))
    still = -0.5 * (moved / scatter) ** 2 - log(scatter)
    loose = _student(moved / scatter) - log(scatter)
    out = np.full((len(moved), N_STATE), NEVER)

    # off: still, or creeping toward what is around the unit
    pace = min(1.0, dt / CREEP_S)
    low = pace * np.minimum(steps.place_low_f[:-1] - steps.supply_f[:-1], 0.0)
    high = pace * np.maximum(steps.place_high_f[:-1] - steps.supply_f[:-1], 0.0)
    beyond = np.maximum(np.maximum(low - moved, moved - high), 0.0) / scatter
    creeps = -0.5 * beyond * beyond - np.log(scatter + high - low) - 0.7
    out[:, OFF] = np.maximum(np.maximum(still, creeps), OFF_SMALL)

    # what one step did, the next goes on with: slowly with the fan off, with the coil's time
    # constant where supply nears another level of the same run
    before = np.concatenate([[0.0], moved[:-1]])
    goes_back = moved * x1 < 0.0
    wide = DRIFT_WIDE * scatter

    def goes_on(kept: float) -> Values:
        return np.asarray(-0.5 * ((moved - kept * before) / wide) ** 2 - log(wide))

    slowly = np.where((low <= moved) & (moved <= high) & goes_back, goes_on(exp(-pace)), NEVER)
    out[:, OFF] = np.maximum(out[:, OFF], slowly)
    nearing = goes_on(left)

    # fan alone: toward return; part of that where heat or cooling ended within the step
    width = 0.4 + 0.12 * np.abs(x0) * gain
    wanted = -gain * x0
    fan = _student((moved - wanted) / width) - np.log(width)
    is_part = (moved * wanted > 0.0) & (np.abs(moved) < np.abs(wanted))
    out[:, FAN] = np.where(is_part, np.maximum(fan, -np.log(np.abs(wanted) + 1.0) - 0.7), fan)

    for start, run, size, most, sign, weakest, is_there in (
        (HEAT_START, HEAT, shape.rise_f, shape.rise_max_f, 1.0, shape.heat_weakens_to, heats),
        (COOL_START, COOL, shape.split_f, shape.split_max_f, -1.0, WEAKENS_TO, cools),
    ):
        if not is_there:
            continue
        a, x, d = sign * aim, sign * x1, sign * moved
        span = -log((most - 0.4 * size) * gain)
        # while it runs every step heads for a rise: a stage, a damper or a limit may change which
        heads = (a > np.where(d < -1.5 * scatter, weakest, HEADS_FOR) * size) & (a < most)
        level = np.where(x > 0.55 * size, 0.0, -8.0 * (0.55 - x / size))
        steady = np.maximum(np.maximum(loose, still) + 0.03, np.where(d < 0.0, span - 1.5, span))
        steady = np.maximum(steady, np.where(goes_back, nearing, NEVER))
        out[:, run] = np.where(heads, steady, np.maximum(still, SMALL)) + level
        is_edge = (a > 0.4 * size) & (a < most) & (d > 0.05 * size * min(1.0, dt / 20.0))
        out[:, start] = np.where(is_edge, span, SMALL)

    told, may = steps.fan[:-1], steps.may_start[1:]
    both = np.where(told == steps.fan[1:], told, -1)
    out[both == 1, OFF] += AGAINST
    for state in (FAN, HEAT_START, HEAT, COOL_START, COOL):
        out[both == 0, state] += AGAINST
    for state in (HEAT_START, COOL_START):
        out[~may, state] += AGAINST
    return out


def _student(z: Values) -> Values:
    """Log density of Student's t with three degrees of freedom, without its constant."""
    return np.asarray(-2.0 * np.log1p(z * z / 3.0))


# per state: what may come before it, with the log weight of the change; chosen on the tuning part
FOLLOWS = (
    (OFF, ((OFF, 0.0), (FAN, -1.0), (HEAT, -7.0), (COOL, -7.0))),
    (FAN, ((FAN, -0.05), (OFF, -5.0), (HEAT, -2.5), (COOL, -2.5))),
    (HEAT_START, ((OFF, -4.0), (FAN, -3.0), (HEAT_START, -0.2))),
    (HEAT, ((HEAT, 0.0), (HEAT_START, -0.2))),
    (COOL_START, ((OFF, -4.0), (FAN, -3.0), (COOL_START, -0.2), (HEAT, -9.0))),
    (COOL, ((COOL, 0.0), (COOL_START, -0.2))),
)
FIRST = (0.0, -3.0, -5.0, -5.0, -5.0, -5.0)


def path(weight: Values) -> Ints:
    """The likeliest state of each step, from `weights`."""
    n = len(weight)
    rows = weight.tolist()
    best = [first + w for first, w in zip(FIRST, rows[0], strict=True)]
    came = np.zeros((n, N_STATE), dtype=np.int8)
    for i in range(1, n):
        row, new, before = rows[i], [0.0] * N_STATE, [0] * N_STATE
        for state, options in FOLLOWS:
            top, which = 10 * NEVER, 0
            for earlier, cost in options:
                value = best[earlier] + cost
                if value > top:
                    top, which = value, earlier
            new[state] = top + row[state]
            before[state] = which
        best = new
        came[i] = before
    state = int(np.argmax(best))
    found = np.zeros(n, dtype=np.int64)
    for i in range(n - 1, -1, -1):
        found[i] = state
        state = int(came[i, state])
    return found


def spans(flags: Flags) -> Ints:
    """Half-open index ranges (k, 2) in which `flags` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return edges.reshape(-1, 2)


def settled(
    stretches: list[Steps], shape: Shape, heats: bool, cools: bool
) -> tuple[Shape, list[Ints]]:
    """The site's own numbers, and the path of each stretch found with them."""
    paths: list[Ints] = []
    for _ in range(PASSES):
        paths = [path(weights(s, shape, heats, cools)) for s in stretches]
        own = _fitted(shape, stretches, paths)
        is_same = (
            abs(own.tau_s - shape.tau_s) < 2.0
            and abs(own.rise_f - shape.rise_f) < 1.0
            and abs(own.split_f - shape.split_f) < 1.0
        )
        if is_same:
            break
        shape = own
    return shape, paths


LEVEL_AFTER_S = number("level_after_s")
LEAST_RUNS, LEAST_STEPS = number("least_runs"), number("least_steps")
TAU_S = number("tau_min_s"), number("tau_max_s")
RISE_F = number("rise_min_f"), number("rise_max_f")
SPLIT_F = number("split_min_f"), number("split_max_f")


def _fitted(shape: Shape, stretches: list[Steps], paths: list[Ints]) -> Shape:
    """The numbers of the runs and coastings that `paths` tell; where too few, those of `shape`."""
    levels: dict[int, list[float]] = {HEAT: [], COOL: []}
    over: list[Values] = []
    moved: list[Values] = []
    for steps, states in zip(stretches, paths, strict=True):
        after = max(1, round(LEVEL_AFTER_S / steps.step_s))
        for run, sign in ((HEAT, 1.0), (COOL, -1.0)):
            for a, b in spans(states == run):
                if (b - a) * steps.step_s >= 180:
                    levels[run].append(sign * float(steps.over_f[min(b, a + after)]))
        index = np.arange(len(states))
        last = np.maximum.accumulate(np.where(states >= HEAT_START, index, -(10**6)))
        since = index - last
        coasts = (states == FAN) & (since >= 2) & (since * steps.step_s <= 120 + steps.step_s)
        over.append(steps.over_f[:-1][coasts])
        moved.append((steps.supply_f[1:] - steps.supply_f[:-1])[coasts])
    x, d = np.concatenate(over), np.concatenate(moved)
    tau_s = shape.tau_s
    if len(x) >= LEAST_STEPS and np.ptp(x) > 5.0:
        from sklearn.linear_model import HuberRegressor  # slow to import, and few sites need it

        share = -float(HuberRegressor().fit(x[:, None], d).coef_[0])
        if 0.02 < share < 0.98:
            tau_s = float(np.clip(-stretches[0].step_s / log(1.0 - share), *TAU_S))
    shape = replace(shape, tau_s=tau_s)
    if len(levels[HEAT]) >= LEAST_RUNS:
        low, high = np.quantile(levels[HEAT], [shape.weak_share, 0.95])
        rise_f = float(np.clip(low, *RISE_F))
        shape = replace(shape, rise_f=rise_f, rise_max_f=max(2.0 * float(high), 1.5 * rise_f))
    if len(levels[COOL]) >= LEAST_RUNS:
        low, high = np.quantile(levels[COOL], [number("weak_burner_frac"), 0.95])
        split_f = float(np.clip(low, *SPLIT_F))
        shape = replace(shape, split_f=split_f, split_max_f=max(2.0 * float(high), 1.5 * split_f))
    return shape
