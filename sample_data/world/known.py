"""A record as its truth looks at it: cut to the panel's log, with what several facts need.

Numbers that belong to a definition stand here again on purpose: the truth shares no code with the
pipeline. Instants are seconds of the record; segments are half-open [start, end).
"""

from datetime import UTC, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_data.world.channels import setpoints, supply_at_probe
from sample_data.world.export import START_S, STOP_S, utc_s, zone_offset_s
from sample_data.world.loop import Record
from sample_data.world.system import WARM_UP_S, System
from sample_data.world.worlds import FIRST_VISIT_S, LAST_VISIT_S

Flags = NDArray[np.bool_]
Values = NDArray[np.float64]
Segment = tuple[int, int]

CHATTER_S = 15
SHORT_BURNER_S, SHORT_COMPRESSOR_S = 180, 300
BROKEN_CALL_S = 30


def segments(flag: Flags) -> list[Segment]:
    """Half-open stretches in which `flag` is true."""
    edges = np.diff(np.concatenate([[False], flag, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def merged(parts: list[Segment], within_s: int) -> list[Segment]:
    """Segments joined where the rest between them is at most `within_s`."""
    out: list[Segment] = []
    for start, end in parts:
        if out and start - out[-1][1] <= within_s:
            out[-1] = (out[-1][0], end)
        else:
            out.append((start, end))
    return out


def last_for(flag: Flags, seconds: int) -> Flags:
    """True where `flag` has been true for at least `seconds`."""
    index = np.arange(len(flag))
    last_off = np.maximum.accumulate(np.where(flag, -1, index))
    return flag & (index - last_off >= seconds)


class Known:
    """The arrays that the events are read from, one value per second of the record."""

    def __init__(self, system: System, record: Record) -> None:
        self.system, self.record = system, record
        self.first = WARM_UP_S + START_S["panel"]
        self.end = len(record) - STOP_S["panel"]
        n = len(record)
        self.span = np.zeros(n, dtype=bool)
        self.span[self.first : self.end] = True
        self.in_visit = np.zeros(n, dtype=bool)
        self.in_visit[: WARM_UP_S + FIRST_VISIT_S] = True
        self.in_visit[n - LAST_VISIT_S :] = True
        self.judged = self.span & ~self.in_visit
        p, zones = system.plant, range(record.zones)
        self.w1, self.w2, self.y1, self.y2, self.g, self.ob, self.aux = (
            record.flag(name) & self.span for name in ("w1", "w2", "y1", "y2", "g", "ob", "aux")
        )
        energised = record.flag("ob")
        cools = ~energised if p.ob_in_heating > 0 else energised
        if p.heats == 0:
            cools = np.ones(n, dtype=bool)
        self.cooling = self.y1 & cools
        self.pumping = self.y1 & ~cools  # compressor heat as asked for by O/B
        self.heating = self.w1 | self.pumping | self.aux
        self.blower = record.flag("blower")
        heat, cool, heat2, cool2 = (
            np.stack([record.flag(f"{name}_{i}") for i in zones])
            for name in ("heat", "cool", "heat2", "cool2")
        )
        self.heat_calls, self.cool_calls = heat & self.span, cool & self.span
        self.asks_second = {"heating": heat2.any(axis=0), "cooling": cool2.any(axis=0)}
        self.supply = supply_at_probe(record)
        self.back = record.signal("return_f")
        self.static = record.signal("static_inwc")
        self.outdoor = record.signal("seen_outdoor_f")
        self.sheet = dict(system.sheet)
        utc = utc_s(system) + np.arange(n)
        local_day = (utc + zone_offset_s(system, utc)) // 86400
        self.day = local_day - local_day[0]
        self.stage = np.where(self.w2 | self.y2, 2, np.where(self.heating | self.cooling, 1, 0))

    @property
    def calling(self) -> NDArray[np.int64]:
        """How many zones call in the mode that runs (heat where nothing runs)."""
        heat, cool = self.heat_calls.sum(axis=0), self.cool_calls.sum(axis=0)
        return np.where(self.cooling, cool, np.where(self.heating, heat, np.maximum(heat, cool)))

    def setting(self, name: str) -> float | None:
        """A number on the sheet, None where it has none."""
        told = self.sheet.get(name)
        return float(told) if isinstance(told, (int, float)) else None

    def utc(self, second: int) -> str:
        """A second of the record as ISO 8601 with Z."""
        at = self.system.start.astimezone(UTC) + timedelta(seconds=int(second))
        return at.strftime("%Y-%m-%dT%H:%M:%SZ")

    def zones_at(self, second: int) -> list[int]:
        """Numbers of the zones that call in this second."""
        both = self.heat_calls[:, second] | self.cool_calls[:, second]
        return (np.flatnonzero(both) + 1).tolist()

    def zone_error(self, zone: int) -> Values:
        """°F by which a zone is on the wrong side of its setpoint (0 within both)."""
        air = self.record.signal(f"zone_{zone}_f")
        mode = self.system.zones[zone].mode
        error = np.zeros(len(air))
        if mode in (1, 3):
            error = np.maximum(error, setpoints(self.system, zone, False) - air)
        if mode in (2, 3):
            error = np.maximum(error, air - setpoints(self.system, zone, True))
        return error

    def slow(self, values: Values, seconds: int) -> Values:
        """Running mean over so many seconds before each."""
        return np.asarray(pd.Series(values).rolling(seconds, min_periods=1).mean())
