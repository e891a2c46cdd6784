"""What was going on at an instant: the row of interval.condition that holds it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.findings._site import records

COLUMNS = ("stage", "n_zones", "zones")


def with_condition(condition: pd.DataFrame, events: pd.DataFrame, ts_column: str) -> pd.DataFrame:
    """The events with stage, n_zones and zones just before each instant; null where unknown.

    condition : interval.condition of one site
    events : one row per event; columns of those names already there are replaced
    """
    table = condition.sort_values("start_ts")
    starts = table["start_ts"].to_numpy(dtype="int64")
    ends = table["end_ts"].to_numpy(dtype="int64")
    rows = records(table[list(COLUMNS)])
    found: list[Any] = []
    for ts in events[ts_column].astype("int64"):
        n = int(np.searchsorted(starts, ts, side="left")) - 1
        found.append(rows[n] if n >= 0 and ends[n] >= ts else None)
    joined = events.copy()
    for column in COLUMNS:
        joined[column] = [None if row is None else getattr(row, column) for row in found]
    return joined
