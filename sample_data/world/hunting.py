"""Static that swings to and fro while nothing asks for it."""

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_data.world.known import Known

SWING_INWC = 0.1  # a reversal counts from this swing on
REVERSALS = 4
SETTLE_S = 70  # after a change of calls or stage dampers and blower are on their way
SHORTEST_S = 240


def reversals(values: NDArray[np.float64], swing: float) -> int:
    """How often `values` turn after moving by at least `swing`."""
    turns, way = 0, 0
    low = high = float(values[0])
    for value in values.tolist():
        low, high = min(low, value), max(high, value)
        if way >= 0 and high - value >= swing:
            turns += way != 0
            way, low, high = -1, value, value
        elif way <= 0 and value - low >= swing:
            turns += way != 0
            way, low, high = 1, value, value
    return turns


def hunting(k: Known) -> list[dict[str, Any]]:
    """Stretches of one set of calls and one stage with the equipment on, in which static turns at
    least REVERSALS times by SWING_INWC."""
    same = np.concatenate([k.heat_calls, k.cool_calls, [k.w2, k.y2, k.heating, k.cooling]])
    changes = np.flatnonzero((same[:, 1:] != same[:, :-1]).any(axis=0)) + 1
    edges = [k.first, *changes[(changes > k.first) & (changes < k.end)].tolist(), k.end]
    on = k.heating | k.cooling
    found = []
    for start, end in itertools.pairwise(edges):
        begin = start + SETTLE_S
        if end - begin < SHORTEST_S or not on[begin]:
            continue
        turns = reversals(k.static[begin:end], SWING_INWC)
        if turns >= REVERSALS:
            found.append(
                {
                    "start": begin,
                    "end": end,
                    "reversals": turns,
                    "in_visit": bool(k.in_visit[begin:end].any()),
                }
            )
    return found
