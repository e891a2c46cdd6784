"""When a run that supply temperature shows began and ended, finer than the grid it was found on.

A start and an end go through the same lags (coil or exchanger, probe), so both are taken where the
same share of the change is done: the lags then nearly leave the run's length. A burner's exchanger
stores what it makes before the fan starts, so supply over return itself is followed. A compressor's
coil starts with the fan on and may have soaked before: there the rise that each step heads for is
followed, which is free of what was left in the plenum.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from pipeline.measures.supply_shape import Values

SHARE = 0.28
"""Share of the change that is done at the instant taken."""
SOAKED_SHARE = 0.3
FAN_STEP_SHARE = 0.15
"""Where the plenum kept its cold (heat), the fan's own start is a small step before the coil's."""
BURNER_LAG_S = 46.0
"""From flame to that share at the probe, and as long after it: fan delay, exchanger and probe.
Median of simulated furnaces of the tuning part: 40 to 56 s."""
COMPRESSOR_LAG_S = 22.0
"""From the compressor's stop to that share of what the steps head for; tuning part: 18 to 30 s."""
FAN_SHOWS_S = 20.0
"""The most that a compressor's start is late: a fine log shows the fan's own start before it."""


@dataclass(frozen=True)
class Trace:
    """A followed quantity: positive in the run; instants [s] and values [°F]."""

    at_s: Values
    value_f: Values

    def part(self, start_s: float, end_s: float) -> slice:
        """The values from `start_s` to `end_s`, at least one."""
        a = min(int(np.searchsorted(self.at_s, start_s)), len(self.at_s) - 1)
        return slice(a, max(int(np.searchsorted(self.at_s, end_s)), a + 1))

    def crosses(self, i: int, level_f: float, until_s: float, rising: bool) -> float | None:
        """The first instant from value `i` on at which the level is crossed, until `until_s`."""
        v, sign = self.value_f, 1.0 if rising else -1.0
        while i < len(v) - 1 and self.at_s[i] < until_s:
            if sign * v[i] < sign * level_f <= sign * v[i + 1]:
                done = (level_f - v[i]) / (v[i + 1] - v[i])
                return float(self.at_s[i] + done * (self.at_s[i + 1] - self.at_s[i]))
            i += 1
        return None


def over_return(at_s: Values, over_f: Values, sign: float) -> Trace:
    """Supply over return (heating, `sign` 1) or under it (cooling, -1)."""
    return Trace(at_s, sign * over_f)


def headed_for(at_s: Values, over_f: Values, sign: float, interval_s: float, tau_s: float) -> Trace:
    """What steps of about half a minute head for, over return."""
    m = min(max(1, round(30.0 / interval_s)), len(at_s) - 1)
    left = exp(-m * interval_s / tau_s)
    aim = (over_f[m:] - left * over_f[:-m]) / (1.0 - left)
    return Trace((at_s[m:] + at_s[:-m]) / 2.0, sign * aim)


def bounds(
    trace: Trace, start_s: float, end_s: float, interval_s: float, is_burner: bool
) -> tuple[float, float]:
    """First and last instant [s] of the run that the grid shows from `start_s` to `end_s`."""
    v, at = trace.value_f, trace.at_s
    middle = (start_s + end_s) / 2.0
    # the level soon after the start, and what supply came from
    if is_burner:
        reached = float(v[trace.part(start_s, min(start_s + 240.0, end_s + interval_s))].max())
    else:
        early = trace.part(min(start_s + 90.0, middle), min(start_s + 240.0, end_s))
        reached = float(np.median(v[early]))
    before = trace.part(
        start_s - max(60.0, 1.5 * interval_s), start_s + max(40.0, 0.5 * interval_s)
    )
    lowest = before.start + int(np.argmin(v[before]))
    from_f = max(float(v[lowest]), 0.0)
    is_soaked = not is_burner and from_f > SOAKED_SHARE * reached
    shows_step = is_soaked and interval_s <= FAN_SHOWS_S
    level = from_f + (FAN_STEP_SHARE if shows_step else SHARE) * (reached - from_f)
    began = trace.crosses(lowest, level, start_s + 200.0, rising=True)
    began = start_s if began is None else began
    # the level right before the end
    wide = max(90.0, 1.5 * interval_s)
    if is_burner:
        late = trace.part(max(end_s - 90.0, middle), end_s + max(20.0, interval_s))
        held = float(v[late].max())
    else:
        late = trace.part(max(end_s - 100.0, middle), max(end_s - 20.0, middle + 1.0))
        held = float(np.median(v[late]))
    first = int(np.searchsorted(at, max(end_s - max(70.0, 1.5 * interval_s), middle)))
    ended = trace.crosses(min(first, len(v) - 2), (1.0 - SHARE) * held, end_s + wide, rising=False)
    ended = end_s if ended is None else ended
    if is_burner:
        began, ended = began - BURNER_LAG_S, ended - BURNER_LAG_S
    else:
        began -= 0.0 if is_soaked else min(FAN_SHOWS_S, interval_s / 3.0)
        ended -= COMPRESSOR_LAG_S
    return began, max(ended, began + 1.0)
