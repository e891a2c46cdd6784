"""The record as the truth looks at it: cut to the panel log, with what several facts need.

Numbers that belong to a definition (short run, trip, excursion) are the site's settings and common
practice, written here again on purpose: the truth shares no code with the pipeline.
"""

from datetime import UTC, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_data.simulator import larch_14 as site
from sample_data.simulator.house import NO_SERVICE, Record
from sample_data.simulator.loggers import (
    PANEL_LOG,
    POINTS,
    panel_points,
    static_at_sensor,
    supply_at_probe,
)

Flags = NDArray[np.bool_]
Seconds = NDArray[np.int64]
Fact = dict[str, Any]

TARGET_INWC = 0.40
HIGH_LIMIT_F = 150.0
SENSOR_TOLERANCE_F = 1.0
SHORT_RUN_S = {"W1": 180, "Y1": 300}
COMPRESSOR_MIN_OFF_S = 300
CHATTER_S = 15
STAGE_UP_S = 600
STAGE2_MIN_ZONES = 2  # as the sheet says
TRAVEL_S = 60
VISITS = (
    ("2026-01-12 14:00:00", "2026-01-12 15:10:00", "loggers set"),
    ("2026-01-20 15:00:00", "2026-01-20 15:30:00", "loggers taken"),
)


def utc(second: int) -> str:
    """A second of the record as ISO 8601 with Z."""
    at = site.START.astimezone(UTC) + timedelta(seconds=int(second))
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def segments(flag: Flags) -> list[tuple[int, int]]:
    """Half-open [start, end) stretches in which `flag` is true."""
    edges = np.diff(np.concatenate([[False], flag, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return [(int(start), int(end)) for start, end in zip(starts, ends, strict=True)]


def first_true(flag: Flags, second: int) -> int:
    """The first second from `second` on at which `flag` is true; else its length."""
    ahead = flag[second:]
    return second + (int(np.argmax(ahead)) if ahead.any() else len(ahead))


class Known:
    """The record cut to the panel log's span, with what several facts need."""

    def __init__(self, record: Record) -> None:
        """Cut `record` to the panel log; a shorter record ends the span early."""
        self.first, last = (site.second_of(local) for local in PANEL_LOG)
        self.end = min(last, len(record.flags))
        span = np.zeros(len(record.flags), dtype=bool)
        span[self.first : self.end] = True
        self.span = span
        self.points = {
            name: column & span for name, column in zip(POINTS, panel_points(record).T, strict=True)
        }
        self.calls = np.stack([self.points[f"Z{zone} call"] for zone in site.ZONES], axis=1)
        self.calling = self.calls.sum(axis=1)
        self.supply = supply_at_probe(record)
        self.static = static_at_sensor(record)
        self.limit = record.flag("limit") & span
        self.own_limit = record.flag("own_limit") & span
        self.in_visit = np.zeros_like(span)
        for start, end, _ in VISITS:
            self.in_visit[site.second_of(start) : site.second_of(end)] = True
        self.service = site.service_orders()[: len(span)] != NO_SERVICE
        heat = (self.points["W1"] | self.points["Y1"]) & ~self.points["O/B"]
        self.heat = heat
        self.stage = np.where(heat, np.where(self.points["W2"], 2, 1), 0)

    def zones_at(self, second: int) -> list[int]:
        """Numbers of the zones that call in this second."""
        return [zone for zone in site.ZONES if self.calls[second, zone - 1]]
