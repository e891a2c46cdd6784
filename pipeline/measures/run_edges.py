"""When a run that supply temperature shows began and ended, finer than the grid it was found on.

A start and an end go through the same lags (coil or exchanger, probe), so both are taken where the
same share of the change is done: the lags then nearly leave the run's length. A burner's exchanger
stores what it makes before the fan starts, so supply over return itself is followed. With a
compressor the rise that each step heads for is followed, which is free of what was left in the
plenum. But a compressor's fan starts with it, and what the fan moves at first hides what the coil
does or looks like it: that share is where `coil_start` looks for its starts, no more.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from pipeline.measures.inferred_numbers import number
from pipeline.measures.supply_shape import Values

SHARE = number("edge_share_frac")
BURNER_LAG_S = number("burner_lag_s")
COMPRESSOR_TAU_S = number("compressor_tau_s")
START_LAG_S = number("start_lag_s")
END_LAG_S = number("end_lag_s")


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


def first_share(
    trace: Trace, is_burner: bool, start_s: float, end_s: float, interval_s: float
) -> tuple[float | None, float]:
    """When [s] the share of the rise was done at the start of the run that the grid shows from
    `start_s` to `end_s` (None: not seen), and the level [°F] that was reached soon after.

    The seconds here and in `last_share` bound the windows searched: grid and lags on both sides.
    """
    v, middle = trace.value_f, (start_s + end_s) / 2.0
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
    level = from_f + SHARE * (reached - from_f)
    return trace.crosses(lowest, level, start_s + 200.0, rising=True), reached


def last_share(
    trace: Trace, is_burner: bool, start_s: float, end_s: float, interval_s: float
) -> float | None:
    """When [s] the same share of the fall was done at the run's end; None: not seen."""
    v, middle = trace.value_f, (start_s + end_s) / 2.0
    if is_burner:
        late = trace.part(max(end_s - 90.0, middle), end_s + max(20.0, interval_s))
        held = float(v[late].max())
    else:
        late = trace.part(max(end_s - 100.0, middle), max(end_s - 20.0, middle + 1.0))
        held = float(np.median(v[late]))
    from_s = max(end_s - max(70.0, 1.5 * interval_s), middle)
    first = min(int(np.searchsorted(trace.at_s, from_s)), len(v) - 2)
    until_s = end_s + max(90.0, 1.5 * interval_s)
    return trace.crosses(first, (1.0 - SHARE) * held, until_s, rising=False)


def burner_bounds(
    over: Trace, start_s: float, end_s: float, interval_s: float
) -> tuple[float, float]:
    """First and last instant [s] of the burner's run that the grid shows there."""
    began, _ = first_share(over, True, start_s, end_s, interval_s)
    ended = last_share(over, True, start_s, end_s, interval_s)
    first_s = (start_s if began is None else began) - BURNER_LAG_S
    last_s = (end_s if ended is None else ended) - BURNER_LAG_S
    return first_s, max(last_s, first_s + 1.0)


def compressor_end(headed: Trace, start_s: float, end_s: float, interval_s: float) -> float:
    """Last instant [s] of the compressor's run that the grid shows in `start_s` to `end_s`.

    headed : what steps head for, over return in the run's direction
    """
    ended = last_share(headed, False, start_s, end_s, interval_s)
    return (end_s if ended is None else ended) - END_LAG_S + interval_s / 6.0
