"""Invented weather by climate and season: outdoor temperature, sun and the household's day."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# A last-bit difference between machines in sin or exp must not reach the thermostats.
DECIMALS = 6
MONTH = {"heating": 1, "cooling": 7, "shoulder": 10}
Series = NDArray[np.float64]


@dataclass(frozen=True)
class Climate:
    """A kind of weather; per season (mean, half the daily swing, day-to-day spread) in °F."""

    name: str
    part: str  # tuning or reporting
    timezone: str
    altitude_ft: float
    heating: tuple[float, float, float]
    cooling: tuple[float, float, float]
    shoulder: tuple[float, float, float]
    design_heating_f: float
    design_cooling_f: float
    damp: float  # 0 dry to 1 humid
    sun: float = 1.0

    def season(self, name: str) -> tuple[float, float, float]:
        """Mean, half swing and spread of a season by its name."""
        seasons = {"heating": self.heating, "cooling": self.cooling, "shoulder": self.shoulder}
        return seasons[name]


CLIMATES = {
    climate.name: climate
    for climate in (
        Climate("high plains", "tuning", "America/Denver", 5280, (26, 11, 7), (76, 13, 4),
                (50, 13, 6), 2, 92, 0.2, 1.2),
        Climate("lake shore", "tuning", "America/Chicago", 620, (24, 7, 7), (76, 9, 4),
                (50, 9, 6), -2, 90, 0.7, 0.8),
        Climate("gulf coast", "tuning", "America/Chicago", 60, (44, 9, 7), (84, 8, 2),
                (66, 10, 5), 28, 95, 1.0, 1.0),
        Climate("low desert", "tuning", "America/Phoenix", 1100, (50, 11, 5), (94, 12, 3),
                (72, 13, 4), 36, 109, 0.0, 1.3),
        Climate("north woods", "reporting", "America/Chicago", 850, (16, 8, 9), (73, 10, 4),
                (46, 9, 6), -11, 88, 0.6, 0.8),
        Climate("piedmont", "reporting", "America/New_York", 1000, (40, 9, 7), (80, 9, 3),
                (58, 11, 6), 22, 93, 0.8, 1.0),
        Climate("inland valley", "reporting", "America/Los_Angeles", 90, (45, 8, 4), (83, 16, 4),
                (62, 13, 4), 31, 101, 0.2, 1.2),
        Climate("mountain basin", "reporting", "America/Denver", 4300, (27, 9, 6), (78, 14, 4),
                (49, 12, 5), 8, 96, 0.1, 1.1),
    )
}  # fmt: skip


def outdoor_f(climate: Climate, season: str, first: int, seconds: int, seed: int) -> Series:
    """Outdoor °F per second from second `first` of the first local day: days that remember each
    other, a daily swing with its low before sunrise, wind and cloud on top."""
    mean, half, spread = climate.season(season)
    rng = np.random.default_rng([seed, 501])
    days = (first + seconds) // 86400 + 3
    level = np.zeros(days)
    for day in range(1, days):
        level[day] = 0.7 * level[day - 1] + 0.71 * spread * rng.standard_normal()
    swing = half * rng.uniform(0.6, 1.25, days)
    hours = np.arange(0.0, days * 24.0, 0.25)
    day = np.minimum((hours // 24).astype(int), days - 1)
    daily = -np.cos(2 * np.pi * (hours % 24.0 - 5.5) / 24.0)
    slow = np.interp(hours, np.arange(days) * 24.0 + 12.0, level)
    gusts = np.zeros(len(hours))
    noise = rng.standard_normal(len(hours))
    for step in range(1, len(hours)):
        gusts[step] = 0.92 * gusts[step - 1] + 0.25 * noise[step]
    air = mean + slow + swing[day] * daily + gusts
    at = (first + np.arange(seconds)) / 3600.0
    return np.asarray(np.round(np.interp(at, hours, air), DECIMALS))


def sun(climate: Climate, season: str, first: int, seconds: int, seed: int) -> Series:
    """Share of full sun on the windows per second, 0 to about 1."""
    rng = np.random.default_rng([seed, 502])
    days = (first + seconds) // 86400 + 2
    clear = rng.uniform(0.15, 1.0, days)
    half_day = {"heating": 4.7, "shoulder": 5.6, "cooling": 7.2}[season]
    minute = (first // 60 + np.arange(seconds // 60 + 2)).astype(float)
    hour = minute / 60.0 % 24.0
    height = np.cos(np.clip((hour - 12.3) / half_day, -1.0, 1.0) * np.pi / 2)
    day = np.minimum((minute // 1440).astype(int), days - 1)
    cloud = np.interp(minute, minute[::20], rng.standard_normal(len(minute[::20])))
    share = climate.sun * height * np.clip(clear[day] + 0.2 * cloud, 0.05, 1.0)
    at = first / 60.0 + np.arange(seconds) / 60.0
    return np.asarray(np.round(np.interp(at, minute, share), DECIMALS))


def activity(first: int, seconds: int) -> Series:
    """Internal gain over its daily mean: low at night, peaks at breakfast and in the evening."""
    hour = (first + np.arange(seconds)) % 86400 / 3600.0
    profile = np.interp(
        hour,
        [0.0, 5.5, 7.0, 8.5, 9.5, 16.0, 18.0, 21.5, 23.0, 24.0],
        [0.5, 0.5, 1.7, 1.4, 0.8, 0.8, 1.9, 1.6, 0.6, 0.5],
    )
    return np.asarray(np.round(profile, DECIMALS))
