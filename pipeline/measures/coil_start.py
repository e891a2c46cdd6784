"""When a compressor started, from the shape of what supply air does after it.

As the share of a change that is done (`run_edges`) a start can be told only where nothing but the
coil moves supply. Where the fan stood before, what it moves at first (a plenum that kept its cold,
the air of an attic, the coil's own) may rise, fall, or so nearly make up for what the coil begins
to do that nothing shows for the better part of a minute. But what happens then is known: the heat
of a refrigerant circuit comes on with a lag, the metal of coil and cabinet follows with another,
the probe with a short third, while whatever stood over return before is washed out with the
metal's. So every instant about the start is tried as the start, level and creep before it and what
the fan moved at once are fitted to it, and the instants are weighed by how well they explain the
readings. The lags, and whether the circuit keeps the metal's level over a rest, are the site's own:
those that explain its starts best.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from pipeline.measures.inferred_numbers import number
from pipeline.measures.run_edges import Trace
from pipeline.measures.supply_shape import NOISE_F, Values

LAGS_S = (40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0)
"""Lags of circuit and of metal that are tried, both alike: hardly more than their sum shows."""
USUAL_LAG_S = number("coil_lag_s")
PROBE_S = number("probe_lag_s")
CLEARLY = number("coil_clearly")
LEAST_STARTS = number("least_runs")
MOST_STARTS = 60
"""So many starts, spread evenly over the log, are enough to tell the lags by."""
BEFORE_S, AFTER_S = 160.0, 80.0
BEFORE_INTERVALS, AFTER_INTERVALS = 3.6, 2.5
"""Readings looked at, before and after the share is crossed: as long, or as many, as it takes."""
EARLIEST_S, LATEST_S, STEP_S = -100.0, 40.0, 4.0
"""The instants tried, from where the share is crossed."""
CREEP_F_PER_MIN, JUMP_F = number("creep_f_per_min"), number("jump_f")
POOR = number("poor_start")
SWITCH_S = number("switch_s")
LAST_S = 600


@dataclass(frozen=True)
class Seen:
    """A start as the share of the change shows it.

    over : supply over return in the run's direction; crossed_s : when the share was done [s]
    reached_f : what supply then heads for, over return
    """

    over: Trace
    crossed_s: float
    reached_f: float


@dataclass(frozen=True)
class Coil:
    """lag_s : of circuit and of metal [s]; keeps : the circuit starts at the metal's level, as if
    it had run on, not at nothing"""

    lag_s: float
    keeps: bool


USUAL = Coil(USUAL_LAG_S, False)


@cache
def _responses(lag_s: float) -> tuple[Values, Values, Values]:
    """Per second after the start, as the probe sees it: the share of the rise that is made, that is
    left of a level of the metal, and that comes of a level the circuit itself had kept."""

    def seen(circuit: float, metal: float, probe: float, aim: float) -> Values:
        values = np.empty(LAST_S)
        for second in range(LAST_S):
            values[second] = probe
            circuit += (aim - circuit) / lag_s
            metal += (circuit - metal) / lag_s
            probe += (metal - probe) / PROBE_S
        return values

    return seen(0.0, 0.0, 0.0, 1.0), seen(0.0, 1.0, 1.0, 0.0), seen(1.0, 0.0, 0.0, 0.0)


def _tried(seen: Seen, interval_s: float, coil: Coil) -> tuple[Values, Values]:
    """The instants tried [s], and of each the sum of squares of what it leaves unexplained."""
    window = seen.over.part(
        seen.crossed_s - max(BEFORE_S, BEFORE_INTERVALS * interval_s),
        seen.crossed_s + max(AFTER_S, AFTER_INTERVALS * interval_s),
    )
    starts = seen.crossed_s + np.arange(EARLIEST_S, LATEST_S + 1.0, STEP_S)
    since = seen.over.at_s[window][None, :] - starts[:, None]
    second = np.clip(since, 0, LAST_S - 1).astype(np.int64)
    is_after = since >= 0.0
    made, left, kept = _responses(coil.lag_s)
    level = np.where(is_after, left[second] + (kept[second] if coil.keeps else 0.0), 1.0)
    creep = np.where(is_after, 0.0, since / 60.0)
    jump = np.where(is_after, left[second] * -np.expm1(-second / PROBE_S), 0.0)
    shapes = np.stack([level, creep, jump], axis=2) / NOISE_F
    rest = seen.over.value_f[window] - seen.reached_f * np.where(is_after, made[second], 0.0)
    rest = rest / NOISE_F
    spread = np.diag([0.0, CREEP_F_PER_MIN**-2, JUMP_F**-2])
    across = np.swapaxes(shapes, 1, 2)
    fitted = np.linalg.solve(across @ shapes + spread, across @ rest[:, :, None])
    off = rest - (shapes @ fitted)[:, :, 0]
    held = fitted[:, :, 0] ** 2 @ np.diag(spread)
    return starts, np.asarray((off * off).sum(axis=1) + held - since.shape[1])


def coil_of(starts: list[Seen], interval_s: float) -> Coil:
    """The site's own coil: of those that explain its starts about best the one nearest the usual,
    which it is too where too few starts were seen."""
    if len(starts) < LEAST_STARTS:
        return USUAL
    every = -(-len(starts) // MOST_STARTS)

    def unexplained(coil: Coil) -> float:
        return float(
            np.median([_tried(seen, interval_s, coil)[1].min() for seen in starts[::every]])
        )

    tried = {
        coil: unexplained(coil)
        for coil in (Coil(lag_s, keeps) for lag_s in LAGS_S for keeps in (False, True))
    }
    least = min(tried.values())
    likely = [coil for coil, squares in tried.items() if squares < least + CLEARLY]
    return min(likely, key=lambda coil: (abs(coil.lag_s - USUAL.lag_s), coil.keeps))


def start_of(seen: Seen, interval_s: float, coil: Coil) -> float | None:
    """When the compressor started [s]; None where no instant explains what is seen."""
    starts, unexplained = _tried(seen, interval_s, coil)
    least = float(unexplained.min())
    if least > POOR:
        return None
    weight = np.exp(-0.5 * (unexplained - least))
    return float((weight * starts).sum() / weight.sum()) - SWITCH_S
