"""Whether two ways of computing the figures gave the same ones; no time is believed before."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

KEYS = {
    "run": ["site", "output", "start_ts"],
    "runtime": ["site", "output"],
    "call": ["site", "zone", "mode"],
    "day": ["site", "day", "output"],
    "cycle_hour": ["site", "what", "mode", "hour_ts"],
    "cycle_fit": ["site", "what", "mode"],
    "zones_calling": ["site", "mode", "zones"],
    "outdoor_bin": ["site", "low_f", "what"],
    "static_day": ["site", "day"],
    "trip": ["site", "drop_ts"],
}
TOLERANCE = 1e-6
EDGE_US = 1.0
"""An instant between two readings is rounded to a microsecond by each side."""


class DifferentFigures(AssertionError):
    """Two ways gave different figures."""


def compare(
    ours: Mapping[str, pd.DataFrame], theirs: Mapping[str, pd.DataFrame], who: str
) -> dict[str, dict[str, int]]:
    """Rows and numbers compared by table; raises DifferentFigures at the first that differs.

    Equal to 1e-6, relative to the larger or absolute under one; a missing value equals itself only.
    """
    compared = {}
    for name, keys in KEYS.items():
        a, b = (_sorted(side[name], keys) for side in (ours, theirs))
        if a.empty and b.empty:
            compared[name] = {"rows": 0, "values": 0}
            continue
        if set(a.columns) != set(b.columns):
            raise DifferentFigures(f"{name}: {sorted(a.columns)} here, {who}: {sorted(b.columns)}")
        if len(a) != len(b):
            raise DifferentFigures(
                f"{name}: {len(a)} rows, {who}: {len(b)}\n{_lacking(a, b, keys)}"
            )
        for column in a.columns:
            _compare_column(name, column, a, b, keys, who)
        compared[name] = {"rows": len(a), "values": int(a.size)}
    return compared


def _sorted(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    frame = frame.copy()
    if frame.empty:
        return frame
    if "day" in frame:
        frame["day"] = pd.to_datetime(frame["day"]).dt.strftime("%Y-%m-%d")
    return frame.sort_values(keys, ignore_index=True)


def _compare_column(
    table: str, column: str, a: pd.DataFrame, b: pd.DataFrame, keys: list[str], who: str
) -> None:
    x, y = a[column], b[column]
    if x.dtype.kind in "biufM" and y.dtype.kind in "biufMO" and not isinstance(y.iloc[0], str):
        p, q = x.to_numpy(float, na_value=np.nan), y.to_numpy(float, na_value=np.nan)
        room = (
            EDGE_US if column.endswith("_ts") else TOLERANCE * np.fmax(1, np.fmax(abs(p), abs(q)))
        )
        same = (np.isnan(p) & np.isnan(q)) | (np.abs(p - q) <= room)
    else:
        same = (x.astype(str) == y.astype(str)).to_numpy()
    if not same.all():
        k = np.flatnonzero(~same)[:5]
        told = a.loc[k, keys].assign(here=x[k], there=y[k]).to_string()
        raise DifferentFigures(
            f"{table}.{column}: {int((~same).sum())} of {len(a)} differ from {who}\n{told}"
        )


def _lacking(a: pd.DataFrame, b: pd.DataFrame, keys: list[str]) -> str:
    both = a[keys].merge(b[keys], how="outer", indicator=True)
    return both[both["_merge"] != "both"].head(8).to_string()
