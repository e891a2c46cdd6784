"""The runs of heating and cooling that one site's supply and return temperature show.

`runs_of` finds them; which source made the heat is told afterwards from how high the runs stand
over return, where the site has two and they stand apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.measures.coil_start import Coil, Seen, coil_of, start_of
from pipeline.measures.inferred_numbers import number
from pipeline.measures.run_edges import (
    COMPRESSOR_TAU_S,
    START_LAG_S,
    Trace,
    burner_bounds,
    compressor_end,
    first_share,
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

RISE_PUMP_F = number("rise_pump_f")
RISE_USUAL_F = number("rise_burner_f")
WEAK_SHARE = {False: number("weak_burner_frac"), True: number("weak_pump_frac")}
START_HOLDS_S = number("run_on_after_call_s")
LEAST_STRETCH_S = number("least_stretch_s")
REVERSED_F = number("reversed_f")
DEFROST_EVERY_S = number("defrost_every_s")
TEMPERED_SHARE = number("tempered_frac")
SOON_S = number("run_on_from_s"), number("run_on_until_s")
REST_SHARE = number("rest_frac")
SOURCE_RATIO = number("source_times")
BURNER_FROM_F, COMPRESSOR_TO_F = number("burner_from_f"), number("compressor_to_f")


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
    edges = [
        _edges(part, grid, states, equipment)
        for part, grid, states in zip(parts, grids, paths, strict=True)
    ]
    every = [edge for own in edges for edge in own]
    interval_s = parts[0].interval_s
    coils = {
        mode: coil_of([e.seen for e in every if e.mode == mode and e.seen], interval_s)
        for mode in ("heating", "cooling")
    }
    found = [
        _stretch(
            part, grid, states, [_run(edge, interval_s, coils) for edge in own], shape, equipment
        )
        for part, grid, states, own in zip(parts, grids, paths, edges, strict=True)
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


@dataclass(frozen=True)
class _Edges:
    """A run before its edges are read fine: from, to [s] on the grid.

    over, headed : supply over return, and what its steps head for, in the run's direction
    seen : the start of a compressor's run, where it shows; of a burner's none
    """

    mode: str
    start_s: float
    end_s: float
    level_f: float
    is_burner: bool
    over: Trace
    headed: Trace
    seen: Seen | None


def _edges(part: Readings, grid: Steps, states: Ints, equipment: Equipment) -> list[_Edges]:
    over_f = part.supply_f - part.return_f
    found: list[_Edges] = []
    for mode, codes, sign in (
        ("heating", (HEAT_START, HEAT), 1.0),
        ("cooling", (COOL_START, COOL), -1.0),
    ):
        over = over_return(part.at_s, over_f, sign)
        headed = headed_for(part.at_s, over_f, sign, part.interval_s, COMPRESSOR_TAU_S)
        for a, b in spans(np.isin(states, codes)):
            start_s, end_s = float(grid.at_s[a]), float(grid.at_s[b])
            level_f = float(np.median(sign * grid.over_f[a + (b - a) // 2 : b + 1]))
            is_burner = (
                mode == "heating"
                and equipment.has_burner
                and (not equipment.has_heat_pump or level_f >= BURNER_FROM_F)
            )
            seen = None
            if not is_burner:
                crossed_s, reached_f = first_share(headed, False, start_s, end_s, part.interval_s)
                seen = None if crossed_s is None else Seen(over, crossed_s, reached_f)
            found.append(_Edges(mode, start_s, end_s, level_f, is_burner, over, headed, seen))
    return found


def _run(edge: _Edges, interval_s: float, coils: dict[str, Coil]) -> Run:
    """The run with its edges read fine; `coils` : by mode."""
    if edge.is_burner:
        start_s, end_s = burner_bounds(edge.over, edge.start_s, edge.end_s, interval_s)
        return Run(edge.mode, start_s, end_s, edge.level_f)
    began_s = None
    if edge.seen is not None:
        began_s = start_of(edge.seen, interval_s, coils[edge.mode])
    if began_s is None:
        began_s = (edge.start_s if edge.seen is None else edge.seen.crossed_s) - START_LAG_S
    end_s = compressor_end(edge.headed, edge.start_s, edge.end_s, interval_s)
    return Run(edge.mode, began_s, max(end_s, began_s + 1.0), edge.level_f)


def _stretch(
    part: Readings,
    grid: Steps,
    states: Ints,
    runs: list[Run],
    shape: Shape,
    equipment: Equipment,
) -> Stretch:
    over_f = part.supply_f - part.return_f
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


LEAST_FOR_SPLIT = number("least_for_split")


def _split(levels: NDArray[np.float64]) -> float | None:
    """The level [°F over return] that parts burner runs from compressor runs; None if none does.

    Two groups are taken only where they describe the levels better (BIC) and stand apart.
    """
    if len(levels) < LEAST_FOR_SPLIT:
        return None
    from sklearn.mixture import GaussianMixture  # slow to import, and few sites need it

    column = levels[:, None]
    one = GaussianMixture(1, random_state=0).fit(column)
    two = GaussianMixture(2, random_state=0, n_init=3).fit(column)
    low, high = np.sort(two.means_.ravel())
    if two.bic(column) >= one.bic(column) or high < SOURCE_RATIO * low or low > COMPRESSOR_TO_F:
        return None
    return float((low + high) / 2.0)
