"""The outdoor sensor: sun on it by day, or the equipment's warmth at every run.

Shaded air moves by day about as it does at night. Sun on a sensor comes and goes with every cloud,
and reaches it with a leap at a like time on clear days. A wall that lifts every reading alike
cannot be told from a log.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.measures.trouble import Channel, Problem, SiteChannels
from pipeline.units import MICROSECONDS

HALF_HOUR_US = 1800 * MICROSECONDS
MAD_TO_SD = 1.4826


def problems(site: SiteChannels) -> Iterator[Problem]:
    """Every problem of these kinds of one site."""
    channel = site.of_role("outdoor_temp")
    if channel is None:
        return
    sun = list(_sun(site, channel))
    yield from sun or _answers_equipment(site, channel)


def _sun(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    rows = site.table("trust.bin")
    rows = rows[rows["channel_id"] == channel.channel_id].sort_values("start_ts")
    ts, value = rows["start_ts"].to_numpy(), rows["mean_value"].to_numpy()
    day, hour = site.local_hours(ts)
    limits = site.limits
    rough = np.full(len(value), np.nan)
    even = (ts[2:] - ts[1:-1] == ts[1:-1] - ts[:-2]) & (ts[2:] - ts[:-2] <= 2 * HALF_HOUR_US)
    rough[1:-1] = np.where(even, value[1:-1] - (value[2:] + value[:-2]) / 2, np.nan)
    by_day = (hour >= limits["sun_high_from_h"]) & (hour < limits["sun_high_until_h"])
    at_night = (hour >= limits["night_from_h"]) | (hour < limits["night_until_h"])
    nights = rough[at_night & ~np.isnan(rough)]
    least = limits["sun_day_min_s"] / 600
    if len(nights) < least:
        return
    quiet = MAD_TO_SD * float(np.median(np.abs(nights)))
    leaps = _leaps(ts, value, limits["sun_step_min_f"])
    shown: list[tuple[int, float]] = []
    days = np.unique(day)
    for d in days.tolist():
        mine = rough[by_day & (day == d)]
        mine = mine[~np.isnan(mine)]
        if len(mine) < least:
            continue
        moved = MAD_TO_SD * float(np.median(np.abs(mine)))
        if moved >= limits["sun_rough_min_f"] and moved >= limits["sun_rough_times"] * quiet:
            shown.append((d, moved))
    same_time = _same_hour(day[leaps], hour[leaps], limits["sun_same_time_h"])
    if len(same_time) >= limits["sun_min_days"] + 1:
        known = {d for d, _ in shown}
        shown += [(d, limits["sun_step_min_f"]) for d in same_time if d not in known]
    if len(shown) < limits["sun_min_days"]:
        return
    for d, moved in sorted(shown):
        inside = ts[
            (day == d) & (hour >= limits["sun_up_from_h"]) & (hour < limits["sun_up_until_h"])
        ]
        yield Problem(
            channel.channel_id,
            "sun-on-outdoor-sensor",
            int(inside[0]),
            int(inside[-1]) + 600 * MICROSECONDS,
            moved,
            "store difference",
            len(shown),
            len(days),
            True,
            "sun on the sensor",
        )


def _leaps(ts: np.ndarray, value: np.ndarray, least_f: float) -> np.ndarray:
    """Places at which the reading rose by this much within half an hour."""
    back = np.searchsorted(ts, ts - HALF_HOUR_US)
    return np.flatnonzero((value - value[back] >= least_f) & (ts - ts[back] <= HALF_HOUR_US))


def _same_hour(day: np.ndarray, hour: np.ndarray, within_h: float) -> list[int]:
    """Days whose first leap comes within so many hours of the median day's."""
    if len(day) == 0:
        return []
    days, first = np.unique(day, return_index=True)
    at = hour[first]
    return [int(d) for d in days[np.abs(at - np.median(at)) <= within_h]]


def _answers_equipment(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    runs, limits = site.runs.sort_values("start_ts"), site.limits
    length_s = (runs["end_ts"] - runs["start_ts"]) / MICROSECONDS
    rested = runs["rest_s"] >= limits["wall_rest_min_s"]
    # weather goes on meanwhile: halfway between before this run and before the next one
    before = (runs["outdoor_before_f"] + runs["outdoor_before_f"].shift(-1)) / 2
    answers = (runs["outdoor_f"] - before)[
        rested
        & rested.shift(-1, fill_value=False)
        & length_s.between(limits["wall_run_min_s"], limits["wall_run_max_s"])
    ]
    answer = answers.dropna().to_numpy(float)
    if len(answer) < limits["dead_min_starts"]:
        return
    middle = float(np.median(answer))
    share = float((np.sign(answer) == np.sign(middle)).mean())
    if abs(middle) < limits["wall_answer_min_f"] or share < limits["probe_share_min_frac"]:
        return
    yield Problem(
        channel.channel_id,
        "sun-on-outdoor-sensor",
        site.start_ts,
        site.end_ts,
        middle,
        "answers equipment",
        int((np.sign(answer) == np.sign(middle)).sum()),
        len(answer),
        True,
        "moves with the equipment",
    )
