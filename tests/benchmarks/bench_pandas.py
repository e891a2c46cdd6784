"""The benchmark's figures as a competent vectorised pandas script computes them, site by site.

Nothing here is shared with the project: definitions are those of the guide's measures, worked on
whole columns (numpy on pandas' arrays where that is faster), each channel once. It is given
readings that are clean already; it asks no channel whether it can be believed.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from bench_data import ANALOG, STATE, TIMEZONE, ZONES
from bench_pandas_parts import (
    BIN_F,
    CHATTER,
    FIT,
    FIT_HOURS,
    HOLD,
    HOUR,
    MINUTE,
    MODES,
    OUTPUTS,
    STEP,
    US,
    Segments,
    pieces_of,
    split_at,
)
from bench_pandas_trips import static_days, trips_of


def figures(truth: dict[str, Path]) -> dict[str, pd.DataFrame]:
    """Every table of figures of one site, from its Parquet files."""
    analog, states, first, last = _read(truth)
    window = (first, max(last, *(s.end[-1] for s in states.values() if len(s.end))))
    states = {n: _clip(s, window) for n, s in states.items()}
    visits = _visits(truth)
    days = pd.date_range(
        pd.Timestamp(window[0], unit="us", tz="UTC").tz_convert(TIMEZONE).normalize(),
        pd.Timestamp(window[1], unit="us", tz="UTC").tz_convert(TIMEZONE) + pd.Timedelta(days=1),
        freq="D",
    )
    edges = days.as_unit("us").asi8
    edges = edges[: int(np.searchsorted(edges, window[1])) + 1]
    names = days.date[: len(edges) - 1]
    runs = {name: _runs(states[name]) for name in OUTPUTS}
    calls = _calls(states)
    trips = trips_of(analog, states, runs, calls, visits, edges, names)
    return {
        "run": pd.concat([r.assign(output=n) for n, r in runs.items()], ignore_index=True),
        "runtime": _runtime(runs),
        "call": _zone_calls(calls),
        "day": _days(states, runs, edges, names, window),
        "cycle_hour": (hours := _cycle_hours(states, runs, calls, visits, edges, window)),
        "cycle_fit": _fits(hours),
        "zones_calling": _zones_calling(states, calls, visits),
        "outdoor_bin": _bins(analog, states),
        "static_day": static_days(analog, states, visits, edges, names),
        "trip": trips,
    }


def _read(truth: dict[str, Path]) -> tuple[dict, dict[str, Segments], int, int]:
    analog, states, firsts, lasts = {}, {}, [], []
    for logger, path in truth.items():
        frame = pd.read_parquet(path)
        ts = frame["ts"].to_numpy()
        firsts.append(ts[0])
        lasts.append(ts[-1])
        for name in frame.columns[1:]:
            value = frame[name].to_numpy(float)
            known = ~np.isnan(value)
            at, value = (ts, value) if known.all() else (ts[known], value[known])
            if name in ANALOG:
                analog[name] = (at, value, float(np.median(np.diff(at))))
            elif name in STATE:
                states[name] = _segments(at, value > 0, logger == "panel")
    return analog, states, min(firsts), max(lasts)


def _visits(truth: dict[str, Path]) -> np.ndarray:
    """The first hour and the last half hour of each logger, as rows of (from, until)."""
    found = []
    for path in truth.values():
        ts = pd.read_parquet(path, columns=["ts"])["ts"]
        a, b = int(ts.iloc[0]), int(ts.iloc[-1])
        found += [(a, min(a + HOUR, b)), (max(b - 30 * MINUTE, a), b)]
    return np.array(found)


def _segments(ts: np.ndarray, on: np.ndarray, is_change: bool) -> Segments:
    step = np.diff(ts)
    if is_change:
        interval = float(np.gcd.reduce(np.append(ts, MINUTE)))
        end, gap = np.append(ts[1:], ts[-1]), np.zeros(len(step), bool)
    else:
        interval = float(np.median(step))
        gap = step > HOLD * interval
        end = np.append(np.where(gap, ts[:-1] + interval, ts[1:]), ts[-1] + interval).astype(
            np.int64
        )
    begins = np.append(0, np.flatnonzero(gap | (on[1:] != on[:-1])) + 1)
    ends = end[np.append(begins[1:] - 1, len(ts) - 1)]
    real = ends > ts[begins]
    return Segments(ts[begins][real], ends[real], on[begins][real], interval)


def _clip(s: Segments, window: tuple[int, int]) -> Segments:
    return Segments(s.start, np.minimum(s.end, window[1]), s.on, s.interval)


def _runs(s: Segments) -> pd.DataFrame:
    joins = s.joins
    joined_on = np.append(joins[1:], False)
    off_short = ~s.on & joins & joined_on & (s.end - s.start <= CHATTER)
    running = s.on | off_short
    was, will = np.append(False, running[:-1]), np.append(running[1:], False)
    number = np.cumsum(running & ~(was & joins))[running]
    begins = np.flatnonzero(np.append(True, np.diff(number) > 0)) if len(number) else []
    if not len(number):
        columns = ["start_ts", "end_ts", "on_s", "has_start", "has_end", "n_chatter"]
        return pd.DataFrame({c: np.array([], float) for c in columns})
    ends = np.append(begins[1:] - 1, len(number) - 1)
    start, end, on = s.start[running], s.end[running], s.on[running]
    length = np.where(on, end - start, 0)
    return pd.DataFrame(
        {
            "start_ts": start[begins],
            "end_ts": end[ends],
            "on_s": np.add.reduceat(length, begins) / US,
            "has_start": (joins & ~was)[running][begins],
            "has_end": (joined_on & ~will)[running][ends],
            "n_chatter": np.add.reduceat((~on).astype(int), begins),
        }
    )


def _calls(states: dict[str, Segments]) -> dict[tuple[int, str], pd.DataFrame]:
    calls = {}
    for z in ZONES:
        own = [states[f"zone_call_{t}_{z}"] for t in MODES]
        begins = np.concatenate([s.start[~s.joins] for s in own])
        ends = np.concatenate([s.end[~np.append(s.joins[1:], False)] for s in own])
        for s, mode in zip(own, MODES.values(), strict=True):
            start, end = s.start[s.on], s.end[s.on]
            calls[z, mode] = pd.DataFrame(
                {
                    "start_ts": start,
                    "end_ts": end,
                    "has_start": ~np.isin(start, begins),
                    "has_end": ~np.isin(end, ends),
                }
            )
    return calls


def _runtime(runs: dict[str, pd.DataFrame]) -> pd.DataFrame:
    rows = [
        (n, r["on_s"].sum(), int(r["has_start"].sum()), len(r),
         int((~(r["has_start"].astype(bool) & r["has_end"].astype(bool))).sum()))
        for n, r in runs.items()
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["output", "on_s", "n_start", "n_run", "n_open_run"])


def _zone_calls(calls: dict[tuple[int, str], pd.DataFrame]) -> pd.DataFrame:
    rows = []
    for (z, mode), c in calls.items():
        length = (c["end_ts"] - c["start_ts"]) / US
        closed = c["has_start"] & c["has_end"]
        rows.append(
            (z, mode, length.sum(), c["has_start"].sum(), length[closed].median(), length.max())
        )
    names = ["zone", "mode", "calling_s", "n_call", "median_call_s", "longest_call_s"]
    return pd.DataFrame(rows, columns=names)


def _days(
    states: dict, runs: dict, edges: np.ndarray, names: np.ndarray, window: tuple
) -> pd.DataFrame:
    n = len(names)
    day_s = (np.minimum(edges[1:], window[1]) - np.maximum(edges[:-1], window[0])) / US
    parts = []
    for name in OUTPUTS:
        s, r = states[name], runs[name]
        which, span, a, b = split_at(s.start, s.end, edges)
        begun = r["start_ts"].to_numpy()[r["has_start"].to_numpy(bool)]
        at = np.searchsorted(edges, begun, "right") - 1
        on = s.on[which]
        parts.append(
            pd.DataFrame(
                {
                    "day": names,
                    "output": name,
                    "on_s": np.bincount(span[on], (b - a)[on], n) / US,
                    "n_start": np.bincount(at.astype(int), minlength=n),
                    "valid_s": np.bincount(span, b - a, n) / US,
                    "day_s": day_s,
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _cycle_hours(
    states: dict, runs: dict, calls: dict, visits: np.ndarray, edges: np.ndarray, window: tuple
) -> pd.DataFrame:
    whole = np.flatnonzero(np.diff(edges) % HOUR == 0)
    hours = np.concatenate([np.arange(edges[d], edges[d + 1], HOUR) for d in whole])
    hours = hours[(hours >= window[0]) & (hours + HOUR <= window[1])]
    full = np.ones(len(hours), bool)
    unseen = [visits]
    for name, s in states.items():
        if name.startswith(("output_", "zone_call_")):
            gap = np.append(False, s.start[1:] > s.end[:-1])
            unseen.append(np.column_stack([s.end[:-1][gap[1:]], s.start[gap]]))
            unseen.append(np.array([(window[0], s.start[0]), (s.end[-1], window[1])]))
    lost = np.unique(np.concatenate(unseen), axis=0)
    lost = lost[lost[:, 1] > lost[:, 0]]
    a = np.searchsorted(hours, lost[:, 0] - HOUR, "right")
    b = np.searchsorted(hours, lost[:, 1], "left")
    for i, j in zip(a, b, strict=True):
        full[i:j] = False
    series: list[tuple[str, str, np.ndarray, np.ndarray, np.ndarray]] = []
    for what, output, mode in (
        ("burner", "output_w1", "heating"),
        ("compressor", "output_y1", "cooling"),
    ):
        r = runs[output]
        series.append((what, mode, *(r[c].to_numpy() for c in ("start_ts", "end_ts", "has_start"))))
    for (z, mode), c in calls.items():
        series.append(
            (f"zone {z}", mode, *(c[k].to_numpy() for k in ("start_ts", "end_ts", "has_start")))
        )
    for mode in MODES.values():
        c = pd.concat([c for (_, m), c in calls.items() if m == mode]).sort_values(
            "start_ts", kind="stable"
        )
        if c.empty:
            continue
        start, end = c["start_ts"].to_numpy(), np.maximum.accumulate(c["end_ts"].to_numpy())
        begins = np.flatnonzero(np.append(True, start[1:] > end[:-1]))
        ends = end[np.append(begins[1:] - 1, len(end) - 1)]
        series.append(("any call", mode, start[begins], ends, c["has_start"].to_numpy()[begins]))
    parts = []
    grid = np.append(hours, hours[-1] + HOUR)
    for what, mode, start, end, has_start in series:
        if not len(start):
            continue
        x, n = np.zeros(len(hours)), np.zeros(len(hours))
        # hours may lie apart where a day was left out: each is a span of its own
        inside = (end > hours[0]) & (start < grid[-1])
        _, span, a, b = split_at(
            np.maximum(start[inside], hours[0]), np.minimum(end[inside], grid[-1]), grid
        )
        x += (
            np.bincount(span, np.minimum(b, hours[span] + HOUR) - a, len(hours))[: len(hours)]
            / HOUR
        )
        begun = start[np.asarray(has_start, bool)]
        at = np.searchsorted(hours, begun, "right") - 1
        fits = (at >= 0) & (begun < hours[at] + HOUR)
        n += np.bincount(at[fits], minlength=len(hours))
        parts.append(
            pd.DataFrame(
                {
                    "what": what,
                    "mode": mode,
                    "hour_ts": hours[full],
                    "runtime_frac": x[full],
                    "n_start": n[full],
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _fits(hours: pd.DataFrame) -> pd.DataFrame:
    used = hours[hours["runtime_frac"].between(*FIT)]
    z = 4 * used["runtime_frac"] * (1 - used["runtime_frac"])
    sums = pd.DataFrame(
        {"what": used["what"], "mode": used["mode"], "nz": used["n_start"] * z, "zz": z * z}
    )
    fit = sums.groupby(["what", "mode"]).agg(
        nz=("nz", "sum"), zz=("zz", "sum"), n_hour=("nz", "size")
    )
    fit = fit.reindex(pd.MultiIndex.from_frame(hours[["what", "mode"]].drop_duplicates()))
    fit["n_hour"] = fit["n_hour"].fillna(0)
    fit["nmax_per_h"] = (fit["nz"] / fit["zz"]).where(fit["n_hour"] >= FIT_HOURS)
    return fit.reset_index()[["what", "mode", "nmax_per_h", "n_hour"]]


def _zones_calling(states: dict, calls: dict, visits: np.ndarray) -> pd.DataFrame:
    channels = {n: s for n, s in states.items() if n.startswith("zone_call_")}
    ts = np.unique(
        np.concatenate(
            [visits.ravel(), *(np.concatenate([s.start, s.end]) for s in channels.values())]
        )
    )
    length = np.append(np.diff(ts), 0)
    counted = np.ones(len(ts), bool)
    mask = {mode: np.zeros(len(ts), np.int64) for mode in MODES.values()}
    for name, s in channels.items():
        known, on = s.at(ts)
        counted &= known
        token, z = name.split("_")[2:]
        mask[MODES[token]] += on.astype(np.int64) << int(z)
    for a, b in visits:
        counted &= ~((ts >= a) & (ts < b))
    rows = []
    for mode, m in mask.items():
        total = pd.Series(length[counted & (m > 0)]).groupby(m[counted & (m > 0)]).sum() / US
        for bits, s in total.items():
            zones = [z for z in ZONES if bits >> z & 1]
            rows.append((mode, len(zones), "+".join(map(str, zones)), s))
    return pd.DataFrame(rows, columns=["mode", "n_zones", "zones", "s"])


def _bins(analog: dict, states: dict) -> pd.DataFrame:
    start, end, v0, v1 = pieces_of(analog["outdoor_temp"])
    step = start // STEP
    begins = np.flatnonzero(np.append(True, np.diff(step) > 0))
    ends = np.append(begins[1:] - 1, len(step) - 1)
    total = np.add.reduceat(end - start, begins)
    mean = np.add.reduceat((end - start) * (v0 + v1) / 2, begins) / total
    whole = total == end[ends] - start[begins]
    a, b, low = start[begins][whole], end[ends][whole], np.floor(mean[whole] / BIN_F) * BIN_F
    used = {n: states[n] for n in ("output_w1", "output_w2", "output_y1", "blower_run")}
    ts = np.unique(
        np.concatenate([a, b, *(np.concatenate([s.start, s.end]) for s in used.values())])
    )
    s = np.append(np.diff(ts), 0) / US
    at = {n: g.at(ts) for n, g in used.items()}
    (k1, w1), (k2, w2), (ky, y1), (kf, fan) = at.values()
    k = np.searchsorted(a, ts, "right") - 1
    told = (k >= 0) & (b[k] > ts) & k1 & k2 & ky & (kf | w1 | y1)
    bins, place = np.unique(low[k[told]], return_inverse=True)

    def weigh(on: np.ndarray) -> np.ndarray:
        return np.bincount(place, s[told] * on[told], len(bins))

    known = weigh(np.ones(len(ts)))
    each = {
        "output_w1": w1, "output_w2": w2, "output_y1": y1, "fan": fan, "burner": w1,
        "compressor cooling": y1 & ~w1,
    }  # fmt: skip
    parts = [
        pd.DataFrame({"low_f": bins, "what": what, "on_s": weigh(on), "known_s": known})
        for what, on in each.items()
    ]
    return pd.concat([p for p in parts if p["on_s"].sum() > 0], ignore_index=True)
