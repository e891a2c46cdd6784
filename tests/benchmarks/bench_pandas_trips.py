"""Of the pandas script: limit trips with their context, and static over its target by the day."""

from __future__ import annotations

import numpy as np
import pandas as pd
from bench_data import HIGH_LIMIT_F, STATIC_TARGET_INWC, ZONES
from bench_pandas_parts import CHATTER, US, pieces_of, split_at


def static_days(
    analog: dict, states: dict, visits: np.ndarray, edges: np.ndarray, names: np.ndarray
) -> pd.DataFrame:
    start, end, v0, v1 = pieces_of(analog["static_pressure"])
    others = [s for n, s in states.items() if not n.startswith("zone_damper")]
    cuts = np.unique(
        np.concatenate([visits.ravel(), *(np.concatenate([s.start, s.end]) for s in others)])
    )
    which, _, a, b = split_at(start, end, np.concatenate([[-1], cuts, [np.iinfo(np.int64).max]]))
    slope = (v1 - v0)[which] / (end - start)[which]
    low, high = v0[which] + slope * (a - start[which]), v0[which] + slope * (b - start[which])
    _, fan = states["blower_run"].at(a)
    for x, y in visits:
        fan &= ~((a >= x) & (a < y))
    a, b, low, high = a[fan], b[fan], low[fan], high[fan]
    top, s = np.maximum(low, high), (b - a) / US
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(
            np.minimum(low, high) > STATIC_TARGET_INWC,
            1.0,
            (top - STATIC_TARGET_INWC) / np.abs(high - low),
        )
    above = np.where(top <= STATIC_TARGET_INWC, 0.0, share * s)
    day = np.searchsorted(edges, a, "right") - 1
    frame = pd.DataFrame(
        {"day": names[day], "fan_s": s, "measured_above_s": above, "max_inwc": top}
    )
    return frame.groupby("day", as_index=False).agg(
        fan_s=("fan_s", "sum"),
        measured_above_s=("measured_above_s", "sum"),
        max_inwc=("max_inwc", "max"),
    )


def _next(after: np.ndarray, ts: np.ndarray) -> np.ndarray:
    """The first of the sorted instants after each; NaN if there is none."""
    k = np.searchsorted(after, ts, "right")
    return np.where(k < len(after), np.append(after, 0)[np.minimum(k, len(after))], np.nan)


def trips_of(
    analog: dict,
    states: dict,
    runs: dict,
    calls: dict,
    visits: np.ndarray,
    edges: np.ndarray,
    names: np.ndarray,
) -> pd.DataFrame:
    w1, fan = states["output_w1"], states["blower_run"]
    joins = w1.joins
    drop = w1.start[joins & ~w1.on]
    resume = w1.start[w1.on]
    heat = [c for (_, mode), c in calls.items() if mode == "heating"]
    stands = np.full(len(drop), np.nan)
    for c in heat:
        k = np.searchsorted(c["start_ts"].to_numpy(), drop, "left") - 1
        end = c["end_ts"].to_numpy()[k] if len(c) else np.zeros(len(drop))
        stands = np.fmax(stands, np.where((k >= 0) & (end >= drop + 30 * US), end, np.nan))
    up = fan.start[fan.on], fan.end[fan.on]
    k = np.searchsorted(up[0], drop - 1, "right") - 1
    blown = (k >= 0) & (up[0][k] <= drop - 120 * US) & (up[1][k] >= drop)
    on_again = _next(resume, drop)
    keep = ~np.isnan(stands) & blown & ~(on_again - drop <= CHATTER)
    drop, stands, on_again = drop[keep], stands[keep], on_again[keep]
    # when no zone calls for heat any more, or nobody knows
    channels = [s for n, s in states.items() if n.startswith("zone_call_")]
    ts = np.unique(np.concatenate([np.concatenate([s.start, s.end]) for s in channels]))
    known, calling = np.ones(len(ts), bool), np.zeros(len(ts), bool)
    for n, s in states.items():
        if n.startswith("zone_call_"):
            k, on = s.at(ts)
            known &= k
            if n.startswith("zone_call_w1"):
                calling |= on
    quiet = _next(ts[:-1][~(known & calling)[:-1]], drop)
    end = np.fmin(on_again, np.where(np.isnan(quiet), stands, quiet))
    start, piece_end, v0, v1 = pieces_of(analog["supply_temp"])
    slowest = max([analog["supply_temp"][2], *(s.interval for n, s in states.items()
                  if n.startswith(("output_", "zone_call_")))])  # fmt: skip
    a = np.searchsorted(start, drop - max(60 * US, 2 * slowest), "left")
    seen_to = np.searchsorted(start, drop + max(10 * US, slowest), "right")
    b = np.searchsorted(start, np.fmin(drop + 120 * US, on_again), "right")
    rows = []
    level = HIGH_LIMIT_F - 1.0
    crosses = np.flatnonzero((v0 < level) & (v1 >= level))
    for i in range(len(drop)):
        if (
            b[i] <= a[i]
            or min(seen_to[i], b[i]) <= a[i]
            or v0[a[i] : min(seen_to[i], b[i])].max() < level
        ):
            continue
        peak = a[i] + int(np.argmax(v0[a[i] : b[i]]))
        c = crosses[: np.searchsorted(crosses, peak, "left")]
        reach = drop[i]
        if len(c) and start[c[-1]] >= drop[i] - 1_200 * US:
            j = c[-1]
            reach = round(start[j] + (piece_end[j] - start[j]) * (level - v0[j]) / (v1[j] - v0[j]))
        rows.append((i, min(reach, drop[i]), v0[peak], start[peak]))
    if not rows:
        return pd.DataFrame()
    i, reach, peak_f, peak_ts = (np.array(c) for c in zip(*rows, strict=True))
    i = i.astype(int)
    drop, stands, on_again, end = drop[i], stands[i], on_again[i], end[i]
    return _with_context(
        pd.DataFrame(
            {
                "start_ts": reach,
                "drop_ts": drop,
                "end_ts": end,
                "peak_f": peak_f,
                "peak_ts": peak_ts,
                "is_certain": (end - reach >= 2 * slowest) & (stands - drop >= 30 * US + slowest),
                "recovery_s": np.where(on_again <= end, (on_again - drop) / US, np.nan),
                "day": names[np.searchsorted(edges, drop, "right") - 1],
                "in_visit": ((drop[:, None] >= visits[:, 0]) & (drop[:, None] < visits[:, 1])).any(
                    1
                ),
            }
        ),
        analog,
        states,
        runs,
    )


def _with_context(trips: pd.DataFrame, analog: dict, states: dict, runs: dict) -> pd.DataFrame:
    drop = trips["drop_ts"].to_numpy()
    _, second = states["output_w2"].at(drop - 1)
    zones = [states[f"zone_call_w1_{z}"].at(drop - 1)[1] for z in ZONES]
    trips["stage"] = np.where(second, 2, 1)
    trips["n_zones"] = np.sum(zones, 0)
    trips["zones"] = [
        "+".join(str(z) for z, on in zip(ZONES, row, strict=True) if on)
        for row in zip(*zones, strict=True)
    ]
    for name, output in (("run_before_s", "output_w1"), ("stage2_before_s", "output_w2")):
        r = runs[output]
        k = np.searchsorted(r["start_ts"].to_numpy(), drop, "left") - 1
        near = (k >= 0) & (r["end_ts"].to_numpy()[k] >= drop - CHATTER)
        trips[name] = np.where(near, (drop - r["start_ts"].to_numpy()[k]) / US, np.nan)
    start, _, v0, _ = pieces_of(analog["static_pressure"])
    a, b = np.searchsorted(start, drop - 120 * US, "left"), np.searchsorted(start, drop, "right")
    trips["static_max_inwc"] = [
        v0[i:j].max() if j > i else np.nan for i, j in zip(a, b, strict=True)
    ]
    for name, role in (("return_f", "return_temp"), ("outdoor_f", "outdoor_temp")):
        start, end, v0, v1 = pieces_of(analog[role])
        k = np.searchsorted(start, drop, "right") - 1
        value = v0[k] + (v1[k] - v0[k]) * (drop - start[k]) / (end[k] - start[k])
        trips[name] = np.where((k >= 0) & (end[k] > drop), value, np.nan)
    return trips
