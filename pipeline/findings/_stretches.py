"""Stretches looked up by time: of a year's thousands, those that touch one event."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd


class Stretches:
    """Rows with start_ts and end_ts, made ready to be asked for those that touch a stretch.

    rows : the frame's rows in order of start_ts; what `touching` gives are places in it
    """

    def __init__(self, rows: pd.DataFrame) -> None:
        self.rows = rows.sort_values("start_ts", kind="stable").reset_index(drop=True)
        self._starts = self.rows["start_ts"].to_numpy("int64")
        self._ends = self.rows["end_ts"].to_numpy("int64")
        # where stretches lie inside others, ends are not in order; the latest so far is
        self._latest = np.maximum.accumulate(self._ends)

    def touching(self, start_ts: int, end_ts: int) -> npt.NDArray[np.int64]:
        """The places of those that begin before `end_ts` and end after `start_ts`, in order."""
        first = int(np.searchsorted(self._latest, start_ts, side="right"))
        last = int(np.searchsorted(self._starts, end_ts, side="left"))
        return first + np.flatnonzero(self._ends[first:last] > start_ts)

    def overlaps(self, start_ts: int, end_ts: int) -> bool:
        """Whether any of them touches the stretch."""
        last = int(np.searchsorted(self._starts, end_ts, side="left"))
        return last > 0 and bool(self._latest[last - 1] > start_ts)
