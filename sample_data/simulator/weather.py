"""Outdoor temperature, sun and the household's activity, one value per second."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

# A last-bit difference between machines in sin or exp must not reach the thermostats.
DECIMALS = 6


def outdoor_f(knots: Sequence[tuple[float, float]], seconds: int, seed: int) -> NDArray[np.float64]:
    """Outdoor °F per second: a smooth line through `knots` (hour, °F) with wind and cloud on it."""
    hours = np.arange(-3 * 3600, seconds + 3 * 3600) / 3600.0
    line = pd.Series(np.interp(hours, *np.array(knots).T))
    for _ in range(2):  # two running means round the corners off
        line = line.rolling(7201, center=True, min_periods=1).mean()
    minutes = len(hours) // 60 + 2
    gusts = pd.Series(np.random.default_rng(seed).standard_normal(minutes))
    slow = gusts.ewm(alpha=1 / 45, adjust=False).mean().to_numpy() * 3.0
    air = line.to_numpy() + np.interp(hours * 60.0, np.arange(minutes) - 180.0, slow)
    return np.asarray(np.round(air[3 * 3600 : 3 * 3600 + seconds], DECIMALS))


def sun(clear: Sequence[float], first_second: int, seconds: int, seed: int) -> NDArray[np.float64]:
    """Share of full winter sun on the windows, 0 to 1; `clear` is the clear share by local day."""
    of_day = first_second + np.arange(seconds)
    day, second = np.divmod(of_day, 86400)
    height = np.sin(np.pi * np.clip((second / 3600.0 - 7.6) / 9.2, 0.0, 1.0))
    minutes = seconds // 60 + 2
    passing = pd.Series(np.random.default_rng(seed).standard_normal(minutes))
    cloud = passing.ewm(alpha=1 / 25, adjust=False).mean().to_numpy()
    share = np.asarray(clear)[day] + 0.6 * np.interp(
        np.arange(seconds) / 60.0, np.arange(minutes), cloud
    )
    return np.asarray(np.round(height * np.clip(share, 0.03, 1.0), DECIMALS))


def activity(first_second: int, seconds: int) -> NDArray[np.float64]:
    """Internal gain over its daily mean: low at night, peaks at breakfast and in the evening."""
    hour = (first_second + np.arange(seconds)) % 86400 / 3600.0
    profile = np.interp(
        hour,
        [0.0, 5.5, 7.0, 8.5, 9.5, 16.0, 18.0, 21.5, 23.0, 24.0],
        [0.5, 0.5, 1.7, 1.4, 0.8, 0.8, 1.9, 1.6, 0.6, 0.5],
    )
    return np.asarray(np.round(profile, DECIMALS))
