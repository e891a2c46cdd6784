"""The runs of heating and cooling that one site's supply and return temperature show.

`runs_of` finds them; which source made the heat is told afterwards from how high the runs stand
over return, where the site has two and they stand apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from sklearn.mixture import GaussianMixture

from pipeline.measures.run_edges import (
    COMPRESSOR_TAU_S,
    Trace,
    bounds,
    headed_for,
    over_return,
)
from pipeline.measures.supply_shape import (
    COOL,
    COOL_START,
    HEADS_FOR,
    HEAT,
    HEAT_START,
    OFF,
    WEAKENS_TO,
    Flags,
    Ints,
    Shape,
    Steps,
    Values,
    on_grid,
    settled,
    spans,
)

RISE_PUMP_F = 20.0
RISE_USUAL_F = 30.0
WEAK_SHARE = {False: 0.2, True: 0.05}
"""Share of heating runs that may stand lower than what counts as heat: a heat pump's rise sinks
with the weather, a burner's hardly."""
START_HOLDS_S = 300.0
"""A compressor's minimum run: it may run on so long after the last call ended."""
LEAST_STRETCH_S = 900.0
REVERSED_F = 3.0
DEFROST_EVERY_S = 1800.0
"""Defrost controls allow one after 30 to 120 min of compressor heat: common practice, no source."""
TEMPERED_SHARE = 0.15
"""With strip heat on in a defrost supply heads for at least twice this share of the run's level at
first, for once at last, and comes down by once in between."""
SOON_S = (60.0, 130.0)
"""So long after its end: a blower runs on for a minute or two after a stop."""
REST_SHARE = 0.85
"""A compressor cannot have rested for less than this share of its minimum rest."""
SOURCE_RATIO = 1.6
"""Burner runs stand at least so many times as high over return as compressor runs."""
BURNER_FROM_F, COMPRESSOR_TO_F = 34.0, 26.0
"""Where a dual-fuel log shows one kind of run only: usual rises of gas heat and of a heat pump."""


@dataclass(frozen=True)
class Readings:
    """One site's readings, all of one length: instants [s], °F (outdoors NaN where not known).

    fan : 1, 0, or -1 not known; calling : 1, 0, or -1; told : a logged output is on
    """

    at_s: Values
    supply_f: Values
    return_f: Values
    outdoor_f: Values
    interval_s: float
    fan: Ints
    calling: Ints
    told: Flags


@dataclass(frozen=True)
class Equipment:
    """What the site file says that bears on runs."""

    heats: bool
    cools: bool
    has_burner: bool
    has_heat_pump: bool
    min_off_s: float
    defrost_max_s: float
    defrost_outdoor_max_f: float


@dataclass(frozen=True)
class Run:
    """A run of heating or cooling: instants [s]; `source` None: cannot be told."""

    mode: str
    start_s: float
    end_s: float
    level_f: float
    source: str | None = None
    is_told: bool = False


@dataclass(frozen=True)
class Stretch:
    """A stretch without a gap: from, to [s], its runs, and where the fan ran beside them."""

    start_s: float
    end_s: float
    runs: tuple[Run, ...]
    fan: tuple[tuple[float, float], ...]


def runs_of(readings: Readings, equipment: Equipment, hold_intervals: float) -> list[Stretch]:
    """The stretches of the log with their runs, in order; empty where there is too little."""
    # of two sources the weaker: the fit follows runs that were found, and climbs more easily
    usual = RISE_PUMP_F if equipment.has_heat_pump or not equipment.has_burner else RISE_USUAL_F
    parts = []
    grids: list[Steps] = []
    for part in _without_gaps(readings, hold_intervals):
        try:
            grid = on_grid(
                part.at_s,
                part.supply_f,
                part.return_f,
                part.outdoor_f,
                part.interval_s,
                part.fan,
                _may_start(part),
            )
        except ValueError:
            continue
        if grid.at_s[-1] - grid.at_s[0] >= LEAST_STRETCH_S:
            parts.append(part)
            grids.append(grid)
    if not grids:
        return []
    shape, paths = settled(
        grids,
        Shape(
            rise_f=usual,
            weak_share=WEAK_SHARE[equipment.has_heat_pump],
            heat_weakens_to=WEAKENS_TO if equipment.has_heat_pump else HEADS_FOR,
        ),
        equipment.heats,
        equipment.cools,
    )
    found = [
        _stretch(part, grid, states, shape, equipment)
        for part, grid, states in zip(parts, grids, paths, strict=True)
    ]
    return _with_sources(found, equipment)


def _without_gaps(r: Readings, hold_intervals: float) -> list[Readings]:
    known = ~np.isnan(r.supply_f) & ~np.isnan(r.return_f)
    apart = np.concatenate([[False], np.diff(r.at_s) > hold_intervals * r.interval_s])
    number = np.cumsum(apart)
    parts = []
    for a, b in spans(known):
        for n in np.unique(number[a:b]):
            i = a + np.flatnonzero(number[a:b] == n)
            cut = slice(int(i[0]), int(i[-1]) + 1)
            parts.append(
                Readings(
                    r.at_s[cut],
                    r.supply_f[cut],
                    r.return_f[cut],
                    r.outdoor_f[cut],
                    r.interval_s,
                    r.fan[cut],
                    r.calling[cut],
                    r.told[cut],
                )
            )
    return parts


def _may_start(r: Readings) -> Flags:
    """False where calls are known and none has stood for a compressor's minimum run."""
    called = np.where(r.calling != 0, r.at_s, -np.inf)
    return r.at_s - np.maximum.accumulate(called) <= START_HOLDS_S


def _stretch(
    part: Readings, grid: Steps, states: Ints, shape: Shape, equipment: Equipment
) -> Stretch:
    over_f = part.supply_f - part.return_f
    runs: list[Run] = []
    for mode, codes, sign in (
        ("heating", (HEAT_START, HEAT), 1.0),
        ("cooling", (COOL_START, COOL), -1.0),
    ):
        levelled = over_return(part.at_s, over_f, sign)
        headed = headed_for(part.at_s, over_f, sign, part.interval_s, COMPRESSOR_TAU_S)
        for a, b in spans(np.isin(states, codes)):
            level_f = float(np.median(sign * grid.over_f[a + (b - a) // 2 : b + 1]))
            is_burner = (
                mode == "heating"
                and equipment.has_burner
                and (not equipment.has_heat_pump or level_f >= BURNER_FROM_F)
            )
            start_s, end_s = bounds(
                levelled,
                float(grid.at_s[a]),
                float(grid.at_s[b]),
                part.interval_s,
                None if is_burner else headed,
            )
            runs.append(Run(mode, start_s, end_s, level_f))
    runs.sort(key=lambda run: run.start_s)
    if equipment.has_heat_pump:
        headed = headed_for(part.at_s, over_f, 1.0, part.interval_s, shape.tau_s)
        over = over_return(part.at_s, over_f, 1.0)
        runs = _through_defrost(runs, part, grid, equipment, over, headed)
    first, last = float(part.at_s[0]), float(part.at_s[-1])
    runs = _apart(runs, first, last)
    told = [
        replace(run, is_told=bool(part.told[_inside(part, run)].mean() > 0.5))
        if _inside(part, run).any()
        else run
        for run in runs
    ]
    fan = [(float(grid.at_s[a]), float(grid.at_s[b])) for a, b in spans(states != OFF)]
    return Stretch(first, last, tuple(told), tuple(fan))


def _inside(part: Readings, run: Run) -> Flags:
    return np.asarray((part.at_s >= run.start_s) & (part.at_s < run.end_s))


def _apart(runs: list[Run], first_s: float, last_s: float) -> list[Run]:
    """The runs clipped to the stretch, none beginning before the one before it has ended."""
    kept: list[Run] = []
    for run in runs:
        start_s = max(run.start_s, first_s, kept[-1].end_s + 1.0 if kept else first_s)
        end_s = min(run.end_s, last_s)
        if end_s - start_s >= 1.0:
            kept.append(replace(run, start_s=start_s, end_s=end_s))
    return kept


def _through_defrost(
    runs: list[Run],
    part: Readings,
    grid: Steps,
    equipment: Equipment,
    over: Trace,
    headed: Trace,
) -> list[Run]:
    """A defrost does not end a run: the compressor runs on, only supply dips.

    A dip shorter than the compressor may rest is none of its stops. In a longer one a reversed
    valve takes heat out of the air, so that supply goes below return, or strip heat holds it above.
    """
    merged: list[Run] = []
    since_s = 0.0  # compressor heat since the last defrost: a defrost control's clock adds it up
    for run in runs:
        before = merged[-1] if merged else None
        if run.mode == "cooling" and before is not None and before.mode == "heating":
            cold = _outdoor(part, run.start_s)
            if run.end_s - run.start_s <= equipment.defrost_max_s and (
                np.isnan(cold) or cold <= equipment.defrost_outdoor_max_f
            ):
                continue  # the reversed valve of a defrost
        if before is None or not (before.mode == run.mode == "heating"):
            merged.append(run)
            since_s += run.end_s - run.start_s
            continue
        rest_s = run.start_s - before.end_s
        cold = _outdoor(part, before.end_s)
        may_be = rest_s <= equipment.defrost_max_s and (
            np.isnan(cold) or cold <= equipment.defrost_outdoor_max_f
        )
        between = (grid.at_s >= before.end_s) & (grid.at_s <= run.start_s)
        went_below = bool(between.any()) and float(grid.over_f[between].min()) < -REVERSED_F
        is_high = equipment.has_burner and max(before.level_f, run.level_f) >= BURNER_FROM_F
        is_dip = rest_s < REST_SHARE * equipment.min_off_s or (
            not equipment.has_burner and _tempered(over, headed, before, run.start_s)
        )
        if may_be and not is_high and since_s >= DEFROST_EVERY_S and (went_below or is_dip):
            merged[-1] = replace(before, end_s=run.end_s, level_f=max(before.level_f, run.level_f))
            since_s = 0.0
        else:
            merged.append(run)
        since_s += run.end_s - run.start_s
    return merged


def _tempered(over: Trace, headed: Trace, before: Run, until_s: float) -> bool:
    """Whether supply went down to a level over return and was held there, until `until_s`.

    Strip heat holds it there. At rest it heads for return while the fan runs on, and hardly moves
    after that.
    """
    soon = headed.value_f[headed.part(before.end_s + SOON_S[0], before.end_s + SOON_S[1])]
    late = headed.value_f[headed.part((before.end_s + until_s) / 2.0, until_s)]
    then_f = float(over.value_f[over.part(before.end_s + SOON_S[1], until_s)][0])
    low_f = float(over.value_f[over.part(before.end_s, until_s)].min())
    share = TEMPERED_SHARE * before.level_f
    return (
        float(np.median(soon)) > 2.0 * share
        and float(np.median(late)) > max(REVERSED_F, share)
        and then_f - low_f > share
    )


def _outdoor(part: Readings, at_s: float) -> float:
    i = min(int(np.searchsorted(part.at_s, at_s)), len(part.at_s) - 1)
    return float(part.outdoor_f[i])


def _with_sources(stretches: list[Stretch], equipment: Equipment) -> list[Stretch]:
    """The stretches with each run's source: by the kind of equipment, else by the runs' levels."""
    levels = np.array([r.level_f for s in stretches for r in s.runs if r.mode == "heating"])
    split_f = _split(levels) if equipment.has_burner and equipment.has_heat_pump else None

    def source(run: Run) -> str | None:
        if run.mode == "cooling" or not equipment.has_burner:
            return "compressor"
        if not equipment.has_heat_pump:
            return "burner"
        if split_f is not None:
            return "burner" if run.level_f > split_f else "compressor"
        if run.level_f >= BURNER_FROM_F:
            return "burner"
        return "compressor" if run.level_f <= COMPRESSOR_TO_F else None

    return [replace(s, runs=tuple(replace(r, source=source(r)) for r in s.runs)) for s in stretches]


LEAST_FOR_SPLIT = 12


def _split(levels: NDArray[np.float64]) -> float | None:
    """The level [°F over return] that parts burner runs from compressor runs; None if none does.

    Two groups are taken only where they describe the levels better (BIC) and stand apart.
    """
    if len(levels) < LEAST_FOR_SPLIT:
        return None
    column = levels[:, None]
    one = GaussianMixture(1, random_state=0).fit(column)
    two = GaussianMixture(2, random_state=0, n_init=3).fit(column)
    low, high = np.sort(two.means_.ravel())
    if two.bic(column) >= one.bic(column) or high < SOURCE_RATIO * low or low > COMPRESSOR_TO_F:
        return None
    return float((low + high) / 2.0)
