"""one row per stretch of heating, cooling, fan alone or off, read off supply and return air

Only for sites whose outputs do not say when each of their modes ran; for all others there is no
row and nothing is computed. How it is told stands in `supply_shape` (states), `run_edges`
(instants) and `inferred_runs` (sources, defrost); how far off it is, in `pipeline.expected_error`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.expected_error import expected, fan_error
from pipeline.measures.inferred_runs import Equipment, Readings, Stretch, runs_of
from pipeline.measures.one_row import by_site
from pipeline.units import MICROSECONDS

TABLE = "run_state.inferred_state"
STAGE = "33_run_state/28"
DECLARED = """
[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
state = "VARCHAR | - | heating, cooling, fan_only or off; rows that touch have no gap between them"
source = "VARCHAR | - | burner or compressor; null: cannot be told, or nothing heats or cools"
is_told = "BOOLEAN | - | outputs tell of this mode, or one was on: not to be counted twice"
interval_s = "DOUBLE | s | slower of the two temperatures' intervals"
runtime_error_frac = "DOUBLE | share | expected error of the mode's, else the fan's runtime"
starts_error_frac = "DOUBLE | share | expected error of its number of starts, likewise"
"""
READS = ["run.setting", "run.site", "run.threshold", "run_state.supply_reading"]
COLUMNS = [
    "site_id",
    "start_ts",
    "end_ts",
    "state",
    "source",
    "is_told",
    "interval_s",
    "runtime_error_frac",
    "starts_error_frac",
]
SECOND = 60.0


def build(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The states of each site in time order: columns of run_state.inferred_state.

    frames : the tables of READS, any number of sites; instants int64 UTC microseconds
    """
    readings = frames["run_state.supply_reading"]
    if readings.empty:
        return pd.DataFrame([], columns=COLUMNS)
    sites = by_site(frames["run.site"])
    limits = by_site(frames["run.threshold"])
    settings = frames["run.setting"]
    waits = settings[settings["name"] == "compressor_min_off_min"]
    min_off_min = waits.groupby("site_id")["value"].min().to_dict()
    rows: list[dict[str, Any]] = []
    for site_id, own in readings.groupby("site_id", sort=True):
        site, limit = sites[site_id], limits[site_id]
        equipment = Equipment(
            heats=site["kind"] != "ac",
            cools=site["kind"] != "furnace",
            has_burner=bool(site["has_burner"]),
            has_heat_pump=bool(site["has_heat_pump"]),
            min_off_s=min_off_min.get(site_id, limit["compressor_min_off_unknown_s"] / SECOND)
            * SECOND,
            defrost_max_s=float(limit["defrost_max_s"]),
            defrost_outdoor_max_f=float(limit["defrost_outdoor_max_f"]),
        )
        needed = {
            "heating": bool(own["needs_heat"].iloc[0]),
            "cooling": bool(own["needs_cool"].iloc[0]),
        }
        origin = int(own["ts"].iloc[0])
        given = _readings(own, origin)
        found = runs_of(given, equipment, float(limit["hold_max_intervals"]))
        for stretch in found:
            for start_s, end_s, state, source, is_told in _tiles(stretch):
                runtime, starts = _errors(str(site["kind"]), state, given.interval_s)
                rows.append(
                    {
                        "site_id": site_id,
                        "start_ts": origin + round(start_s * MICROSECONDS),
                        "end_ts": origin + round(end_s * MICROSECONDS),
                        "state": state,
                        "source": source,
                        "is_told": is_told or not needed.get(state, True),
                        "interval_s": given.interval_s,
                        "runtime_error_frac": runtime,
                        "starts_error_frac": starts,
                    }
                )
    return pd.DataFrame(rows, columns=COLUMNS)


def _errors(kind: str, state: str, interval_s: float) -> tuple[float | None, float | None]:
    """Expected errors of runtime and starts: the mode's, else the blower's."""
    if state in ("heating", "cooling"):
        found = expected(kind, state, interval_s)
        return (found.runtime_frac, found.starts_frac) if found else (None, None)
    fan = fan_error("supply_temp")
    return (fan.time_frac, fan.starts_frac) if fan else (None, None)


def _readings(own: pd.DataFrame, origin: int) -> Readings:
    def three(column: pd.Series) -> np.ndarray:
        return column.astype("boolean").astype("Int64").fillna(-1).to_numpy(dtype=np.int64)

    def numbers(name: str) -> np.ndarray:
        return own[name].astype(float).to_numpy()

    return Readings(
        at_s=(own["ts"].to_numpy(dtype=np.int64) - origin) / MICROSECONDS,
        supply_f=numbers("supply_f"),
        return_f=numbers("return_f"),
        outdoor_f=numbers("outdoor_f"),
        interval_s=float(own["interval_s"].iloc[0]),
        fan=three(own["fan_on"]),
        calling=three(own["is_calling"]),
        told=own["is_told"].astype(bool).to_numpy(),
    )


def _tiles(stretch: Stretch) -> list[tuple[float, float, str, str | None, bool]]:
    """The stretch without holes: (from, to [s], state, source, whether an output tells it)."""
    fan = list(stretch.fan)
    tiles: list[tuple[float, float, str, str | None, bool]] = []

    def between(start_s: float, end_s: float) -> None:
        """Fan alone and off where nothing heats or cools."""
        at = start_s
        for a, b in fan:
            a, b = max(a, start_s), min(b, end_s)
            if b - a < 1.0:
                continue
            if a - at >= 1.0:
                tiles.append((at, a, "off", None, False))
            else:
                a = at
            tiles.append((a, b, "fan_only", None, False))
            at = b
        if end_s > at:
            tiles.append((at, end_s, "off", None, False))

    at = stretch.start_s
    for run in stretch.runs:
        between(at, run.start_s)
        tiles.append((run.start_s, run.end_s, run.mode, run.source, run.is_told))
        at = run.end_s
    between(at, stretch.end_s)
    return tiles
