"""Whether a logger of room temperatures is hours off: rooms warm (cool) a few minutes after a call.

A room has no edge that could be timed, but its slope follows its own call; over a day of cycling
the pattern of calls fits at one shift of the clock only. What is slow in both is taken away first,
so that the day's course does not count. How long a room takes to answer is not known, so less than
a quarter of an hour is never told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.measures.clock_links import CALLS
from pipeline.measures.clock_logger import Logger
from pipeline.measures.edges import Floats, Series

STEP_S = 60.0
SLOPE_S = 300.0  # a room's slope is taken over this long either side
SLOW_S = 7200.0  # what goes on over longer than this is the weather or a setback
APART_S = 1800.0  # the second-best shift is looked for beyond this
MOST_DAYS = 28.0
MOST_STEPS = 3.0  # an open window is no call: slopes count up to so many standard deviations
HEATING = ("zone_call_w1", "zone_call_w2", "zone_call_aux", "zone_call_emergency")
COMPRESSOR = ("zone_call_y1",)


@dataclass(frozen=True)
class Rooms:
    """At which shift the rooms follow the calls.

    answer_s : rooms answer calls by this much, clock's difference and the rooms' own lag together
    fit : mean correlation there; runner_up : the best further than APART_S away, over it
    n_call : calls; n_zone : zones that were compared
    """

    answer_s: float
    fit: float
    runner_up: float
    n_call: int
    n_zone: int


def rooms_answer(reference: Logger, other: Logger, limits: Mapping[str, float]) -> Rooms | None:
    """How the room temperatures of one logger follow the calls of another; None if neither are.

    Zones are compared each with its own call, then their correlations are added.
    """
    reach = round(limits["clock_rooms_search_h"] * 3600 / STEP_S)
    total = np.zeros(2 * reach + 1)
    n_pair, n_call, zones = 0, 0, set()
    for zone in sorted(other.zones("zone_temp") & reference.zones(*CALLS)):
        series = other.series("zone_temp", zone)
        if series is None or series.interval_s > SLOPE_S:
            continue
        for roles in (HEATING, COMPRESSOR):
            stretches = reference.on_stretches(roles, zone)
            if stretches is None or len(stretches[0]) < limits["clock_min_edges"]:
                continue
            found = _correlation(series, *stretches, reach)
            if found is None:
                continue
            if roles is COMPRESSOR and found.max() < -found.min():
                found = -found  # it cools
            total += found
            n_pair, n_call = n_pair + 1, n_call + len(stretches[0])
            zones.add(zone)
    if n_pair == 0:
        return None
    best = int(total.argmax())
    away = np.abs(np.arange(len(total)) - best) > APART_S / STEP_S
    fit = float(total[best])
    return Rooms(
        (best - reach) * STEP_S,
        fit / n_pair,
        float(total[away].max()) / fit if fit > 0 else 1.0,
        n_call,
        len(zones),
    )


def _correlation(series: Series, on_s: Floats, off_s: Floats, reach: int) -> Floats | None:
    """Of a room's slope with its call, at shifts of -reach .. reach steps; None if too short."""
    first, last = series.at_s[0], min(series.at_s[-1], series.at_s[0] + MOST_DAYS * 86400)
    n = int((last - first) / STEP_S) + 1
    half = round(SLOPE_S / STEP_S)
    if n < 2 * SLOW_S / STEP_S:
        return None
    grid = first + STEP_S * np.arange(n)
    value = np.interp(grid, series.at_s, series.value)
    slope = np.zeros(n)
    slope[half:-half] = value[2 * half :] - value[: -2 * half]
    after = np.searchsorted(series.at_s, grid + SLOPE_S).clip(max=len(series.at_s) - 1)
    before = (np.searchsorted(series.at_s, grid - SLOPE_S, side="right") - 1).clip(min=0)
    steps = (series.at_s[after] - series.at_s[before]) / np.maximum(after - before, 1)
    slope[steps > 2.5 * series.interval_s] = 0.0  # a gap
    slope = _quick(slope)
    most = MOST_STEPS * float(slope.std())
    slope = np.clip(slope, -most, most)
    at = np.searchsorted(grid, np.concatenate([on_s, off_s]))
    change = np.bincount(at, np.repeat([1.0, -1.0], len(on_s)), minlength=n + 1)[:n]
    call = _quick(np.clip(np.cumsum(change), 0.0, 1.0))
    size = float(np.sqrt((slope**2).sum() * (call**2).sum()))
    if size == 0.0:
        return None
    m = 1 << int(n + reach).bit_length()
    spectrum = np.fft.rfft(slope, m) * np.conj(np.fft.rfft(call, m))
    lagged = np.fft.irfft(spectrum, m) / size
    return np.concatenate([lagged[-reach:], lagged[: reach + 1]])


def _quick(values: Floats) -> Floats:
    """The values less their running mean over SLOW_S."""
    width = round(SLOW_S / STEP_S) | 1
    padded = np.pad(values, width // 2, mode="edge")
    sums = np.concatenate([[0.0], np.cumsum(padded)])
    return values - (sums[width:] - sums[:-width]) / width
