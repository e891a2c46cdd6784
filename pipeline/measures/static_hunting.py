"""one row per stretch in which static swung to and fro while calls and stage stayed as they were

A turn counts after a swing of at least `hunting_swing_inwc`. Turns that follow one another no
slower than `hunting_per_hour` belong to one stretch. The first of each state is left out: a blower
ramps up and dampers travel. SQL has no loop that remembers the last turn, so this is Python, on
the few states whose static spans the swing at all.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.measures.one_row import by_site

TABLE = "measure.static_hunting"
STAGE = "50_measure/87"
DECLARED = '''
definition = """
Turns of static after a swing of hunting_swing_inwc or more, following one another no slower than \\
hunting_per_hour, hunting_min_turns at least, calls and stage unchanged, the first \\
hunting_soft_start_s of a state left out. It hunts where they last hunting_min_s."""
needs = ["supply static", "fan", "outputs", "calls of every zone"]
resolution = "a swing that is over within two intervals is not seen; the count is then at least"
interval_max_s = 30
counted_from = ["static_pressure"]
source = "common practice, no source"

[columns]
start_ts = "BIGINT | us | first turn"
end_ts = "BIGINT | us | last turn"
length_s = "DOUBLE | s | between them"
n_turn = "BIGINT | - | turns, both ways"
per_hour = "DOUBLE | 1/h | turns after the first over the length"
swing_inwc = "DOUBLE | in. w.c. | median swing between turns"
class = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
zones = "VARCHAR | - | zones calling; null if not known"
is_hunting = "BOOLEAN | - | lasts long enough to be called so"
in_visit = "BOOLEAN | - | touches a visit"
coverage = "DOUBLE | share | measure.coverage of static"
resolution_s = "DOUBLE | s | measure.coverage of static"
'''
READS = ["interval.static_swing", "measure.coverage", "run.threshold"]
COLUMNS = [
    "site_id",
    "start_ts",
    "end_ts",
    "length_s",
    "n_turn",
    "per_hour",
    "swing_inwc",
    "class",
    "stage",
    "zones",
    "is_hunting",
    "in_visit",
    "coverage",
    "resolution_s",
]


def build(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """One row per stretch of swinging static of each site: measure.static_hunting, by time.

    frames : the tables of READS, any number of sites; instants int64 UTC microseconds
    """
    limits_of = by_site(frames["run.threshold"])
    coverage = frames["measure.coverage"]
    quality = coverage[coverage["figure"] == "static"].set_index("site_id")
    rows: list[dict[str, Any]] = []
    swings = frames["interval.static_swing"].sort_values(["site_id", "ts"])
    for (site_id, _), state in swings.groupby(["site_id", "state_ts"], sort=True):
        rows += [
            {
                "site_id": site_id,
                "coverage": quality.at[site_id, "coverage"],
                "resolution_s": quality.at[site_id, "resolution_s"],
                **row,
            }
            for row in _stretches(state, limits_of[site_id])
        ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _stretches(state: pd.DataFrame, limits: dict[Any, Any]) -> list[dict[str, Any]]:
    """The rows of one state: runs of turns close enough to one another."""
    ts = state["ts"].to_numpy()
    at, height = _turns(ts, state["inwc"].to_numpy(), float(limits["hunting_swing_inwc"]))
    least = limits["hunting_min_turns"]
    if len(at) < least:
        return []
    slow_us = 3600e6 / limits["hunting_per_hour"]
    cuts = np.flatnonzero(np.diff(at) > slow_us) + 1
    rows = []
    for turns, heights in zip(np.split(at, cuts), np.split(height, cuts), strict=True):
        length_s = float(turns[-1] - turns[0]) / 1e6
        if len(turns) < least:
            continue
        inside = state[(ts >= turns[0]) & (ts <= turns[-1])]
        rows.append(
            {
                "start_ts": int(turns[0]),
                "end_ts": int(turns[-1]),
                "length_s": length_s,
                "n_turn": len(turns),
                "per_hour": (len(turns) - 1) / length_s * 3600.0,
                "swing_inwc": float(np.median(np.abs(np.diff(heights)))),
                "class": state["class"].iloc[0],
                "stage": state["stage"].iloc[0],
                "zones": state["zones"].iloc[0],
                "is_hunting": length_s >= limits["hunting_min_s"],
                "in_visit": bool(inside["in_visit"].any()),
            }
        )
    return rows


def _turns(ts: Any, values: Any, swing: float) -> tuple[Any, Any]:
    """Instants and values of the highest and lowest points between swings of at least `swing`.

    The first and the last extreme are turns only if static moved by a swing on both sides.
    """
    at: list[int] = []
    height: list[float] = []
    if len(values) == 0:
        return np.array(at), np.array(height)
    low = high = float(values[0])
    low_ts = high_ts = int(ts[0])
    way = 0
    for t, value in zip(ts.tolist(), values.tolist(), strict=True):
        if value > high:
            high, high_ts = value, t
        if value < low:
            low, low_ts = value, t
        if way >= 0 and high - value >= swing:
            if way > 0:
                at.append(high_ts)
                height.append(high)
            way, low, low_ts = -1, value, t
            high, high_ts = value, t
        elif way <= 0 and value - low >= swing:
            if way < 0:
                at.append(low_ts)
                height.append(low)
            way, high, high_ts = 1, value, t
            low, low_ts = value, t
    return np.array(at, dtype="int64"), np.array(height)
