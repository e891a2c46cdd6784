"""What the cooling findings share: split by ten minutes, run by run."""

from __future__ import annotations

import pandas as pd

from pipeline.findings._site import SiteFrames, flags
from pipeline.units import MICROSECONDS


def bins(site: SiteFrames) -> pd.DataFrame:
    """interval.cooling_split outside visits, by time."""
    rows = site.table("interval.cooling_split")
    return rows[~flags(rows["in_visit"])].sort_values("start_ts").reset_index(drop=True)


def below(rows: pd.DataFrame, level_f: float) -> float:
    """Share of the time in which the split is under a level."""
    total = float(rows["s"].sum())
    return float(rows.loc[rows["split_f"] < level_f, "s"].sum()) / total if total else 0.0


def median_split(rows: pd.DataFrame) -> float:
    """Median split by time."""
    ranked = rows.sort_values("split_f")
    done = ranked["s"].cumsum()
    return float(ranked["split_f"][done >= done.iloc[-1] / 2].iloc[0])


def fades(site: SiteFrames, rows: pd.DataFrame) -> pd.DataFrame:
    """Stretches of one run, stage and set of calls in which split and static sank as a coil ices.

    One row per stretch: start_ts, end_ts, zones, stage, split_first_f, split_last_f, fade (share
    of the split), static_fade (share; null if not logged), supply_min_f, in_visit.
    """
    found = []
    for _, part in rows.groupby(["run_ts", "stage", "zones"], dropna=False):
        first, last = part.iloc[0], part.iloc[-1]
        if (last["end_ts"] - first["start_ts"]) / MICROSECONDS < site.threshold("icing_after_s"):
            continue
        if first["split_f"] < site.threshold("cooling_dead_split_f"):
            continue
        before, after = first["static_inwc"], last["static_inwc"]
        found.append(
            {
                "start_ts": int(first["start_ts"]),
                "end_ts": int(last["end_ts"]),
                "zones": first["zones"],
                "stage": first["stage"],
                "split_first_f": float(first["split_f"]),
                "split_last_f": float(last["split_f"]),
                "fade": 1 - float(last["split_f"]) / float(first["split_f"]),
                "static_fade": 1 - float(after) / float(before) if before and after else None,
                "supply_min_f": float(part["supply_f"].min()),
                "in_visit": False,
            }
        )
    columns = [
        "start_ts", "end_ts", "zones", "stage", "split_first_f", "split_last_f", "fade",
        "static_fade", "supply_min_f", "in_visit",
    ]  # fmt: skip
    return pd.DataFrame(found, columns=columns)


def icing(site: SiteFrames, rows: pd.DataFrame) -> pd.DataFrame:
    """Of the fades, those in which air went too: static sank with the split, not all of it."""
    some = fades(site, rows)
    air = some["static_fade"].astype(float)
    gone = some["split_last_f"] < site.threshold("cooling_dead_split_f")
    keep = some["fade"].astype(float) >= site.threshold("icing_fade_frac")
    return some[keep & (air >= site.threshold("icing_static_frac")) & ~gone]
