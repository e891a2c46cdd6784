"""Where the words of a level stand: on that side of it, and at that end, where no line runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reports.figure import Level, Panel

TALL_PX = 15
"""Of the words with a little air."""
WIDE, NARROW = 0.22, 0.5
"""Share of the width that the words take: on a wide page, on a phone."""
_COLUMNS = 200


@dataclass(frozen=True)
class Spot:
    """at : from 0, begin of the axis, to 1, its end; is_above : over the level, not under it."""

    at: float
    is_above: bool

    @property
    def anchor(self) -> str:
        """Which part of the words lies at `at`: start, middle or end."""
        return {0.0: "start", 1.0: "end"}.get(self.at, "middle")


_SPOTS = tuple(
    Spot(at, is_above) for at in (1.0, 0.0, 0.5, 0.75, 0.25) for is_above in (True, False)
)
"""In this order where several are as free."""


def level_spot(panel: Panel, level: Level, start_ts: int, end_ts: int, tall_px: float) -> Spot:
    """The place whose words cover least of the panel's lines, a wide page's before a phone's."""
    low, high = panel.bounds()
    px = tall_px / (high - low)
    x = np.linspace(start_ts, end_ts, _COLUMNS + 1)
    drawn = []
    for line in panel.lines:
        known = np.isfinite(line.values)
        if known.any():
            y = np.interp(x, line.ts[known], line.values[known], np.nan, np.nan)
            drawn.append((np.fmin(y[:-1], y[1:]), np.fmax(y[:-1], y[1:])))

    def covered(spot: Spot) -> float:
        foot, roof = (0.0, TALL_PX) if spot.is_above else (-TALL_PX, 0.0)
        edge = (high - level.value if spot.is_above else level.value - low) * px
        if edge < TALL_PX:
            return float("inf")
        over = np.zeros(_COLUMNS, bool)
        for least, most in drawn:
            over |= (most > level.value + foot / px) & (least < level.value + roof / px)
        return _share(over, spot.at, WIDE) + 0.25 * _share(over, spot.at, NARROW)

    return min(_SPOTS, key=covered)


def _share(over: np.ndarray, at: float, wide: float) -> float:
    n = round(wide * _COLUMNS)
    first = min(max(round(at * _COLUMNS - n / 2), 0), _COLUMNS - n)
    return float(over[first : first + n].mean())
