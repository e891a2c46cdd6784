"""one row per mode and source that ran by inference: whether two stages show, and the second's time

Two stages of one source hold supply at two levels over return. Runs of a site are looked at in
quiet stretches, their levels parted into two groups, and second stage is told only where the groups
describe them better than one does (BIC), stand clear of one another, and are as far apart as stages
are: nearer may be zones or weather, further another source. Else it cannot be told, which is what
most logs come to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline.expected_error import second_stage_error
from pipeline.measures.inferred_numbers import number
from pipeline.measures.one_row import by_site
from pipeline.measures.supply_shape import Values
from pipeline.units import MICROSECONDS

TABLE = "run_state.inferred_stage"
STAGE = "33_run_state/31"
DECLARED = """
[columns]
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | burner or compressor"
result = "VARCHAR | - | two stages or cannot tell"
run_s = "DOUBLE | s | time it ran, inferred"
second_s = "DOUBLE | s | of which supply stood at the higher level; null: cannot be told"
first_f = "DOUBLE | °F | supply over (under) return at the lower level; null as before"
second_f = "DOUBLE | °F | at the higher level; null as before"
second_error_frac = "DOUBLE | share | expected error of second_s, as share of run_s; null as before"
"""
READS = ["run.site", "run_state.supply_reading", "run_state.inferred_state"]
COLUMNS = [
    "site_id", "mode", "source", "result", "run_s", "second_s", "first_f", "second_f",
    "second_error_frac",
]  # fmt: skip
QUIET_S = number("quiet_s")
SETTLED_S = number("level_after_s")
DRIFT_F = number("quiet_drift_f")
LEAST_QUIET = number("least_quiet")
LEAST_IN_GROUP = number("least_in_group")
APART = number("apart_times")
RATIO = number("stage_min_times"), number("stage_max_times")


@dataclass(frozen=True)
class Stages:
    """Two levels that stand apart [°F over or under return], and what parts them."""

    first_f: float
    second_f: float
    split_f: float


def build(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Whether two stages show, per site, mode and source: columns of run_state.inferred_stage.

    frames : the tables of READS, any number of sites; instants int64 UTC microseconds
    """
    states = frames["run_state.inferred_state"]
    runs = states[states["state"].isin(["heating", "cooling"]) & states["source"].notna()]
    readings = {str(k): v for k, v in frames["run_state.supply_reading"].groupby("site_id")}
    fuels = by_site(frames["run.site"])
    rows: list[dict[str, Any]] = []
    for (site_id, mode, source), own in runs.groupby(["site_id", "state", "source"], sort=True):
        log = readings[str(site_id)]
        at_s: Values = np.asarray(log["ts"], dtype=np.float64) / MICROSECONDS
        over_f = np.asarray(log["supply_f"], dtype=np.float64) - np.asarray(
            log["return_f"], dtype=np.float64
        )
        signed_f: Values = over_f if mode == "heating" else -over_f
        spans = [
            (start / MICROSECONDS, end / MICROSECONDS)
            for start, end in zip(own["start_ts"], own["end_ts"], strict=True)
        ]
        # a compressor's heat changes with the weather, and strips may stand beside it
        # and furnace and compressor of one system are parted too poorly
        is_dual = bool(fuels[site_id]["has_burner"]) and bool(fuels[site_id]["has_heat_pump"])
        may_tell = mode == "cooling" or (source == "burner" and not is_dual)
        found = stages_of(quiet_levels(at_s, signed_f, spans)) if may_tell else None
        rows.append(
            {
                "site_id": site_id,
                "mode": mode,
                "source": source,
                "result": "cannot tell" if found is None else "two stages",
                "run_s": sum(b - a for a, b in spans),
                "second_s": None if found is None else _above(at_s, signed_f, spans, found),
                "first_f": None if found is None else found.first_f,
                "second_f": None if found is None else found.second_f,
                "second_error_frac": None if found is None else second_stage_error(str(source)),
            }
        )
    return pd.DataFrame(rows, columns=COLUMNS)


def quiet_levels(at_s: Values, over_f: Values, runs: list[tuple[float, float]]) -> Values:
    """The levels of the runs' quiet stretches, in order."""
    levels = []
    for start_s, end_s in runs:
        a = start_s + SETTLED_S
        while a + QUIET_S <= end_s:
            i, j = np.searchsorted(at_s, [a, a + QUIET_S])
            part = over_f[i:j]
            if j - i >= 3 and not np.isnan(part).any():
                slope = float(np.polyfit(at_s[i:j] - a, part, 1)[0])
                if abs(slope) * QUIET_S < DRIFT_F:
                    levels.append(float(np.median(part)))
            a += QUIET_S
    return np.array(levels, dtype=np.float64)


def stages_of(levels: Values) -> Stages | None:
    """The two levels of two stages; None where the levels do not show two."""
    if len(levels) < LEAST_QUIET:
        return None
    from sklearn.mixture import GaussianMixture  # slow to import, and few sites need it

    column = levels[:, None]
    one = GaussianMixture(1, random_state=0).fit(column)
    two = GaussianMixture(2, random_state=0, n_init=3).fit(column)
    order = np.argsort(two.means_.ravel())
    first_f, second_f = (float(m) for m in two.means_.ravel()[order])
    wide = np.sqrt(two.covariances_.ravel()[order])
    in_second = two.predict(column) == order[1]
    fewest = min(int(in_second.sum()), int((~in_second).sum()))
    if (
        two.bic(column) >= one.bic(column)
        or first_f <= 0.0
        or not RATIO[0] <= second_f / first_f <= RATIO[1]
        or second_f - first_f < APART * float(wide.sum())
        or fewest < LEAST_IN_GROUP
    ):
        return None
    # between the groups, nearer the narrower one
    split_f = first_f + (second_f - first_f) * float(wide[0] / wide.sum())
    return Stages(first_f, second_f, split_f)


def _above(at_s: Values, over_f: Values, runs: list[tuple[float, float]], found: Stages) -> float:
    """Seconds of the runs in which supply stood beyond what parts the levels."""
    total_s = 0.0
    for start_s, end_s in runs:
        i, j = np.searchsorted(at_s, [start_s, end_s])
        if j > i:
            total_s += float((over_f[i:j] > found.split_f).mean()) * (end_s - start_s)
    return total_s
