"""What the pandas script is made of: stretches of states, pieces of readings, cuts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

US = 1_000_000
HOUR, MINUTE, STEP = 3_600 * US, 60 * US, 300 * US
HOLD, CHATTER, BIN_F, FIT, FIT_HOURS = 2.5, 15 * US, 5.0, (0.2, 0.8), 8
OUTPUTS = ("output_w1", "output_w2", "output_y1", "output_g")
MODES = {"w1": "heating", "y1": "cooling"}


@dataclass(frozen=True)
class Segments:
    """A state's stretches of one known value; `interval` is that of its logger [us]."""

    start: np.ndarray
    end: np.ndarray
    on: np.ndarray
    interval: float

    def at(self, ts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Whether it is known, and on, at these instants (half-open)."""
        k = np.searchsorted(self.start, ts, "right") - 1
        known = (k >= 0) & (self.end[k] > ts)
        return known, known & self.on[k]

    @property
    def joins(self) -> np.ndarray:
        """Whether each begins where the one before ends."""
        return np.append(False, self.start[1:] == self.end[:-1])


def split_at(start: np.ndarray, end: np.ndarray, edges: np.ndarray) -> tuple[np.ndarray, ...]:
    """Stretches cut at edges: which stretch, which span between edges, from, until."""
    a = np.searchsorted(edges, start, "right") - 1
    b = np.searchsorted(edges, end, "left")
    n = np.maximum(b - a, 0)
    which = np.repeat(np.arange(len(start)), n)
    span = np.arange(n.sum()) - np.repeat(np.cumsum(n) - n, n) + np.repeat(a, n)
    return (
        which,
        span,
        np.maximum(start[which], edges[span]),
        np.minimum(end[which], edges[span + 1]),
    )


def pieces_of(channel: tuple[np.ndarray, np.ndarray, float]) -> tuple[np.ndarray, ...]:
    ts, value, interval = channel
    held = np.diff(ts) <= HOLD * interval
    return ts[:-1][held], ts[1:][held], value[:-1][held], value[1:][held]
