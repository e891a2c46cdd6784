"""When a run that supply temperature shows began and ended, finer than the grid it was found on.

A start and an end go through the same lags (coil or exchanger, probe), so both are taken where the
same share of the change is done: the lags then nearly leave the run's length. A burner's exchanger
stores what it makes before the fan starts, so supply over return itself is followed. With a
compressor the rise that each step heads for is followed, which is free of what was left in the
plenum. But at its start the fan starts too, and where the plenum kept its cold (heat) or took that
of an attic, what the fan moves may or may not reach that share before the coil does, a minute
later. So the fan's own start is looked for first, as a jump out of two quiet minutes; the share
counts only where the fan ran on before, and there it goes through the lag that the end does.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from pipeline.measures.supply_shape import Values

SHARE = 0.28
"""Share of the change that is done at the instant taken."""
BURNER_LAG_S = 46.0
"""From flame to that share at the probe, and as long after it: fan delay, exchanger and probe.
Median of simulated furnaces of the tuning part: 40 to 56 s."""
COMPRESSOR_TAU_S = 110.0
"""Time constant with which a compressor's edges are read, coil's and probe's lag together. Not the
site's fitted one: a coil gives its cold off almost evenly over the short time the fan runs on, and
where the fan stops at once nothing is there to fit, so that from site to site ends moved by 15 s
with the fit alone."""
START_LAG_S = 31.0
"""From a compressor's start with the fan on before, to that share of what steps head for; tuning
part, median 29 to 34 s."""
END_LAG_S = 24.0
"""From a compressor's stop to that share, less a sixth of the interval: what a wide step heads for
turns before its middle. Systems' medians at 10 s on the tuning part: 17 to 33 s, and 17 to 23 s of
those with one stage."""
FAN_LAG_S = 3.0
"""From the fan's start to the middle of the two readings that show it: the probe's own lag."""
FAN_FINE_S = 20.0
"""Up to this interval a fan's jump can be told from what the coil makes by its shape."""
QUIET_S = 120.0
QUIET_F = 0.8
"""With the fan off supply moves by no more [°F] from one such minute to the next; tuning part."""
LEAVES_F = 0.35
"""Twice the scatter of supply over return [°F]; a fan's jump on the tuning part: 0.7 and more."""
SETTLED_F = 3.0
"""With the fan on and the coil idle supply settles this near return: what ducts and fan add."""
BACK_S = 150.0
"""A fan's start lies no longer than this before the coil's share."""


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


def fan_start(over: Trace, until_s: float, interval_s: float) -> tuple[float, bool] | None:
    """When [s] the fan's start showed, looking back from `until_s`; None where it did not.

    With False: it may have been the coil's, and that is the last quiet reading.

    Supply leaves the level of two quiet minutes for good. Where the fan ran before, supply is quiet
    only once it has come to return: there it must be a jump that slows down, as a fan's is, while
    what a coil makes speeds up at first; a coarse log cannot tell the two apart.
    """
    v, at = over.value_f, over.at_s
    wide = round(QUIET_S / interval_s) + 1
    half = wide // 2
    soon = max(1, round(20.0 / interval_s))
    last = min(int(np.searchsorted(at, until_s)), len(v) - 2 * soon - 1)
    first = int(np.searchsorted(at, until_s - max(BACK_S, 3.5 * interval_s)))
    for j in range(max(first, wide), last):
        quiet = v[j - wide + 1 : j + 1]
        if abs(float(quiet[half:].mean() - quiet[:half].mean())) > QUIET_F:
            continue
        level = float(np.median(quiet[half:]))
        if not v[j + 1 : last + 1].min() > level + LEAVES_F >= v[j]:
            continue
        speeds_up = v[j + soon] - level < v[j + 2 * soon] - v[j + soon]
        if abs(level) <= SETTLED_F and (speeds_up or interval_s > FAN_FINE_S):
            return float(at[j]), False
        return float(at[j] + at[j + 1]) / 2.0 - FAN_LAG_S, True
    return None


def bounds(
    over: Trace, start_s: float, end_s: float, interval_s: float, headed: Trace | None
) -> tuple[float, float]:
    """First and last instant [s] of the run that the grid shows from `start_s` to `end_s`.

    headed : what steps head for, of a compressor's run; None: a burner's
    """
    trace = over if headed is None else headed
    v, at = trace.value_f, trace.at_s
    middle = (start_s + end_s) / 2.0
    # the level soon after the start, and what supply came from
    if headed is None:
        reached = float(v[trace.part(start_s, min(start_s + 240.0, end_s + interval_s))].max())
    else:
        early = trace.part(min(start_s + 90.0, middle), min(start_s + 240.0, end_s))
        reached = float(np.median(v[early]))
    before = trace.part(
        start_s - max(60.0, 1.5 * interval_s), start_s + max(40.0, 0.5 * interval_s)
    )
    lowest = before.start + int(np.argmin(v[before]))
    from_f = max(float(v[lowest]), 0.0)
    level = from_f + SHARE * (reached - from_f)
    began = trace.crosses(lowest, level, start_s + 200.0, rising=True)
    began = start_s if began is None else began
    # the level right before the end
    wide = max(90.0, 1.5 * interval_s)
    if headed is None:
        late = trace.part(max(end_s - 90.0, middle), end_s + max(20.0, interval_s))
        held = float(v[late].max())
    else:
        late = trace.part(max(end_s - 100.0, middle), max(end_s - 20.0, middle + 1.0))
        held = float(np.median(v[late]))
    first = int(np.searchsorted(at, max(end_s - max(70.0, 1.5 * interval_s), middle)))
    ended = trace.crosses(min(first, len(v) - 2), (1.0 - SHARE) * held, end_s + wide, rising=False)
    ended = end_s if ended is None else ended
    if headed is None:
        began, ended = began - BURNER_LAG_S, ended - BURNER_LAG_S
    else:
        seen = fan_start(over, began + max(30.0, interval_s), interval_s)
        by_coil = began - START_LAG_S
        if seen is None:
            began = by_coil
        else:
            left_s, is_fan = seen
            began = left_s if is_fan else max(by_coil, left_s)
        ended -= END_LAG_S - interval_s / 6.0
    return began, max(ended, began + 1.0)
