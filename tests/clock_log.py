"""Logs of one small house made here, with the truth planted, for tests of clocks.

One small house for all: a compressor and its fan switched together by Y and G, runs and rests of
random length, a fan that takes 8 s to come up in a straight line and coasts down with a time
constant of 4 s, static by the square of its speed (fan laws: static goes with speed squared), a
coil that follows with 60 s and a probe that follows the air with 12 s. All is computed once per
second of true time and then read by loggers whose clocks are set wrong on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import signal

from pipeline.measures import clock_offset
from pipeline.thresholds import values_for

DAY = 86_400
START_S = 1_768_000_000  # a moment in January 2026; no clock change in the two days after it
PANEL, PLENUM, TRUNK, ROOMS = "panel", "plenum", "trunk", "rooms"


@dataclass
class House:
    """What happened, per second of true time; runs as seconds from the start."""

    on: NDArray[np.int64]
    off: NDArray[np.int64]
    static_inwc: NDArray[np.float64]
    supply_f: NDArray[np.float64]
    room_f: NDArray[np.float64]


def house(
    days: float = 2,
    *,
    seed: int = 7,
    fan_on_delay_s: int = 0,
    fan_off_delay_s: int = 0,
    period_s: int | None = None,
    length_s: int | None = None,
    least_rest_s: int | None = None,
) -> House:
    """The house for some days; with `period_s` runs repeat exactly, with `length_s` in length.

    least_rest_s : every other rest is just that long, as where a panel's minimum-off ends it
    """
    rng = np.random.default_rng(seed)
    n = int(days * DAY)
    on, off, at = [], [], 600
    while True:
        rest, length = int(rng.integers(360, 1500)), int(rng.integers(300, 900))
        if period_s is not None:
            rest, length = period_s - 300, 300
        length = length_s or length
        if least_rest_s is not None and len(on) % 2:
            rest = least_rest_s
        if at + rest + length + 600 > n:
            break
        on.append(at + rest)
        off.append(at + rest + length)
        at = off[-1]
    seconds = np.arange(n)
    speed, level, source = np.zeros(n), np.zeros(n), np.zeros(n)
    for a, b in zip(on, off, strict=True):
        fan_on, fan_off = a + fan_on_delay_s, b + fan_off_delay_s
        up = np.clip((seconds[fan_on:fan_off] - fan_on) / 8.0, 0, 1)
        speed[fan_on:fan_off] = up
        speed[fan_off : fan_off + 60] = np.exp(-np.arange(60) / 4.0)
        level[fan_on : fan_off + 60] = rng.uniform(0.25, 0.6)
        source[a:b] = 1.0
    coil = signal.lfilter([1 / 60], [1, -(1 - 1 / 60)], source)
    probe = signal.lfilter([1 / 12], [1, -(1 - 1 / 12)], coil)
    room = signal.lfilter([1 / 3000], [1, -(1 - 1 / 3000)], source)
    return House(
        np.array(on, dtype=np.int64),
        np.array(off, dtype=np.int64),
        level * speed**2 + rng.normal(0, 0.003, n),
        72 + 24 * probe + rng.normal(0, 0.1, n),
        68 + 4 * room + rng.normal(0, 0.05, n),
    )


class Log:
    """Frames of one site, written channel by channel with each logger's own clock error."""

    def __init__(self, site_id: str = "s") -> None:
        self.site_id = site_id
        self.channels: list[dict[str, object]] = []
        self.readings: list[pd.DataFrame] = []
        self.states: list[pd.DataFrame] = []
        self.clocks: list[dict[str, object]] = []
        self.marked: list[dict[str, object]] = []

    def _channel(self, logger: str, role: str, interval_s: float, sampled: bool, kind: str) -> int:
        number = len(self.channels) + 1
        self.channels.append(
            {
                "site_id": self.site_id,
                "channel_id": number,
                "logger": logger,
                "column_name": role,
                "role": role,
                "zone": None,
                "damper": None,
                "kind": kind,
                "is_sampled": sampled,
                "interval_s": interval_s,
                "is_primary": True,
                "offset_s": 0.0,
            }
        )
        return number

    def analog(
        self,
        logger: str,
        role: str,
        values: NDArray[np.float64],
        every_s: int,
        ahead_s: float,
        drift_s_per_day: float = 0.0,
    ) -> Log:
        """Every `every_s` seconds one reading, rounded as loggers do, on a clock ahead of true."""
        number = self._channel(logger, role, float(every_s), True, "analog")
        true_s = np.arange(3, len(values), every_s)
        digits = 3 if role == "static_pressure" else 1
        logged_s = true_s + ahead_s + drift_s_per_day * (true_s - len(values) / 2) / DAY
        self.readings.append(
            pd.DataFrame(
                {
                    "site_id": self.site_id,
                    "channel_id": number,
                    "ts": ((START_S + logged_s) * 1e6).astype(np.int64),
                    "value": np.round(values[true_s], digits),
                }
            )
        )
        return self

    def state(
        self,
        logger: str,
        role: str,
        on: NDArray[np.int64],
        off: NDArray[np.int64],
        length_s: int,
        ahead_s: float = 0.0,
        every_s: int | None = None,
    ) -> Log:
        """Change of state to the second; with `every_s` sampled: seen at the next reading."""
        number = self._channel(logger, role, float(every_s or 1), every_s is not None, "state")
        if every_s:
            on, off = (-(-edge // every_s) * every_s for edge in (on, off))
        bounds = np.concatenate([[0], np.column_stack([on, off]).ravel(), [length_s]])
        self.states.append(
            pd.DataFrame(
                {
                    "site_id": self.site_id,
                    "channel_id": number,
                    "role": role,
                    "zone": None,
                    "start_ts": ((START_S + bounds[:-1] + ahead_s) * 1e6).astype(np.int64),
                    "end_ts": ((START_S + bounds[1:] + ahead_s) * 1e6).astype(np.int64),
                    "is_on": np.arange(len(bounds) - 1) % 2 == 1,
                }
            )
        )
        return self

    def panel(self, h: House, roles: tuple[str, ...] = ("output_y1", "output_g")) -> Log:
        """The reference: outputs to the second."""
        for role in roles:
            self.state(PANEL, role, h.on, h.off, len(h.static_inwc))
        return self

    def taken_out(self, logger: str, offset_s: float) -> Log:
        """The run has corrected this logger's clock by `offset_s` before the stage sees it."""
        self.clocks.append(
            {"site_id": self.site_id, "logger": logger, "offset_s": offset_s, "source": "site_file"}
        )
        numbers = [c["channel_id"] for c in self.channels if c["logger"] == logger]
        back = int(offset_s * 1e6)
        for frame in self.readings:
            frame["ts"] -= back * frame["channel_id"].isin(numbers)
        for frame in self.states:
            for column in ("start_ts", "end_ts"):
                frame[column] -= back * frame["channel_id"].isin(numbers)
        return self

    def frames(self, has_burner: bool = False) -> dict[str, pd.DataFrame]:
        """The tables that the stage reads."""
        columns = ["site_id", "channel_id", "ts", "value"]
        return {
            "channel.channel": pd.DataFrame(self.channels),
            "trust.clock_reading": pd.concat([pd.DataFrame(columns=columns), *self.readings])
            if not self.readings
            else pd.concat(self.readings, ignore_index=True),
            "channel.state": pd.concat(self.states, ignore_index=True),
            "run.clock": pd.DataFrame(
                self.clocks, columns=["site_id", "logger", "offset_s", "source"]
            ),
            "run.reference": pd.DataFrame(self.marked, columns=["site_id", "logger"]),
            "run.setting": pd.DataFrame(columns=["site_id", "name", "value"]),
            "run.site": pd.DataFrame([{"site_id": self.site_id, "has_burner": has_burner}]),
            "run.threshold": pd.DataFrame([{"site_id": self.site_id, **values_for({})}]),
        }


def judged(log: Log, has_burner: bool = False) -> dict[str, pd.Series]:
    """The stage's rows by logger."""
    result = clock_offset.build(log.frames(has_burner))
    return {str(row["logger"]): row for _, row in result.iterrows()}


def cannot_tell(row: pd.Series) -> bool:
    """No offset, no doubt about it, and a sentence that says why."""
    return (
        row["confidence"] == "cannot tell"
        and pd.isna(row["offset_s"])
        and pd.isna(row["plus_minus_s"])
        and len(row["why"]) > 20
    )
