"""The loop over seconds, and its record: plain Python that numba compiles where installed.

Only + - * / and square roots are used, so that both give the same bits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from types import FunctionType
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from sample_data.simulator.compiled import compiled, numba_installed
from sample_data.world import branches as branch_at
from sample_data.world import scalars as of_plant
from sample_data.world import state as at
from sample_data.world import zone_state as of
from sample_data.world import zones as zone_at
from sample_data.world.equipment import (
    POSITION,
    air_path,
    blower_tap,
    compressor,
    furnace,
    strip,
)
from sample_data.world.kept import cache_folder, source_hash
from sample_data.world.panel import PLANNED_FAULT, POWER_OUT, panel
from sample_data.world.parts import Branch, Plant, Zone
from sample_data.world.rooms import rooms, unit_air
from sample_data.world.thermostat import Vector, thermostats

PLACES = 8

# recorded every second, the zones' air behind them
SIGNALS = (
    "supply_f", "return_f", "static_inwc", "return_static_inwc", "cfm", "released_btuh",
    "exchanger_f", "seen_outdoor_f",
)  # fmt: skip
# 0 or 1; behind them per zone ZONE_FLAGS, zone by zone
FLAGS = (
    "w1", "w2", "y1", "y2", "g", "ob", "aux", "limit", "low_limit", "dropped", "own_limit",
    "flame", "compressor", "blower", "defrost", "fault", "protect", "lockout", "powered", "bypass",
    "iced",
)  # fmt: skip
ZONE_FLAGS = ("heat", "heat2", "cool", "cool2", "fan", "damper")

# service orders per second: -1 none, else bits (the technician's hand on the panel)
NO_SERVICE = -1
ORDERS = ("w1", "w2", "y1", "y2", "g", "ob", "aux")
DOOR_OFF = 1 << 7
CLOSE_DAMPER = 8  # bit 8 + zone


@dataclass(frozen=True)
class Drive:
    """What acts on a system, one value per second, from the second `first` of the local day."""

    first: int
    outdoor_f: NDArray[np.float64]
    sun: NDArray[np.float64]
    activity: NDArray[np.float64]
    service: NDArray[np.int64]
    upset: NDArray[np.int64]


@dataclass(frozen=True)
class Record:
    """What happened: `signals` (n, 8 + zones), `flags` (n, 21 + 6 zones), heat sums in Btu."""

    signals: NDArray[np.float32]
    flags: NDArray[np.uint8]
    zones: int
    heat_in_btu: float
    heat_out_btu: float
    stored_btu: float
    throughput_btu: float  # equipment, sun and people, without sign

    def __len__(self) -> int:
        return len(self.signals)

    def signal(self, name: str) -> NDArray[np.float64]:
        """One signal of SIGNALS, or `zone_<index from 0>_f`; one value per second."""
        if name.startswith("zone_"):
            column = len(SIGNALS) + int(name.split("_")[1])
        else:
            column = SIGNALS.index(name)
        return self.signals[:, column].astype(np.float64)

    def flag(self, name: str) -> NDArray[np.bool_]:
        """One flag of FLAGS, or `<zone flag>_<index from 0>`; one value per second."""
        if name in FLAGS:
            return self.flags[:, FLAGS.index(name)].astype(bool)
        kind, zone = name.rsplit("_", 1)
        column = len(FLAGS) + int(zone) * len(ZONE_FLAGS) + ZONE_FLAGS.index(kind)
        return self.flags[:, column].astype(bool)


def begin(
    p: Vector, z: Vector, b: Vector, v: Vector, d: Vector, s: Vector, count: int, dampers: int,
    outdoor_f: float,
) -> None:  # fmt: skip
    """Everything at rest near its setpoints."""
    for i in range(count):
        cooling = z[zone_at.MODE + i] == 2.0
        air = z[zone_at.COOL_F + i] if cooling else z[zone_at.HEAT_F + i]
        v[of.AIR + i] = air
        v[of.WALL + i] = air
        v[of.MASS + i] = air - 0.03 * (air - outdoor_f)
        v[of.OFF_S + i] = 3600.0
        v[of.DAMPER + i] = 1.0
        v[of.HEAT_TRIM + i] = 0.3
        v[of.COOL_TRIM + i] = 0.3
    for k in range(dampers):
        d[POSITION + k] = 1.0
    base = v[of.AIR + int(p[of_plant.BASE])]
    s[at.ATTIC] = outdoor_f
    place = outdoor_f if p[of_plant.IN_ATTIC] > 0.0 else base
    s[at.EXCHANGER] = place
    s[at.PLENUM] = place
    s[at.BACK] = base
    s[at.SEEN_SUPPLY] = place
    s[at.OUTDOOR_SEEN] = outdoor_f
    s[at.BURNER_OFF] = 3600.0
    s[at.COMPRESSOR_OFF] = 3600.0
    s[at.DARK_S] = 3600.0
    s[at.SINCE_TRIP] = 3600.0


def stored(p: Vector, z: Vector, v: Vector, s: Vector, count: int) -> float:
    """Heat in rooms and exchanger over 0 °F (Btu)."""
    total = p[of_plant.EXCHANGER_BTU_F] * s[at.EXCHANGER]
    for i in range(count):
        total += z[zone_at.AIR_BTU_F + i] * v[of.AIR + i]
        total += z[zone_at.MASS_BTU_F + i] * v[of.MASS + i]
    return total


def run(
    p: Vector, z: Vector, b: Vector, v: Vector, d: Vector, s: Vector, count: int, dampers: int,
    first: int, outdoor: Sequence[float], sun: Sequence[float], activity: Sequence[float],
    service: Sequence[int], upset: Sequence[int], signals: Any, flags: Any,
) -> float:  # fmt: skip
    """Simulate len(outdoor) seconds into `signals` and `flags`; gives the heat stored at first."""
    begin(p, z, b, v, d, s, count, dampers, outdoor[0])
    at_first = stored(p, z, v, s, count)
    for second in range(len(outdoor)):
        outdoor_f = outdoor[second]
        order = service[second]
        trouble = upset[second]
        days = second / 86400.0
        live = trouble & POWER_OUT == 0
        thermostats(z, v, s, count, float((first + second) % 86400), live)
        s[at.OUTDOOR_SEEN] += (outdoor_f - s[at.OUTDOOR_SEEN]) / 300.0
        if p[of_plant.VENT_S_PER_H] > 0.0:
            hourly = float((first + second) % 3600)
            s[at.VENT] = 1.0 if hourly < p[of_plant.VENT_S_PER_H] else 0.0
        panel(p, z, v, s, count, trouble)
        powered = live
        if order != NO_SERVICE:
            for output in range(7):
                s[output] = 1.0 if order & (1 << output) else 0.0
            for i in range(count):
                v[of.DAMPER + i] = 0.0 if order & (1 << (CLOSE_DAMPER + i)) else 1.0
                v[of.CLOCK + i] = 0.0
            s[at.SOURCE] = 0.0
            powered = order & DOOR_OFF == 0
            s[at.BURNER_OFF] = 0.0 if s[at.W1] > 0.0 else s[at.BURNER_OFF]
            s[at.COMPRESSOR_OFF] = 0.0 if s[at.Y1] > 0.0 else s[at.COMPRESSOR_OFF]

        for k in range(dampers):
            if b[branch_at.STUCK + k] >= 0.0 and second >= b[branch_at.STUCK_FROM_S + k]:
                d[POSITION + k] = b[branch_at.STUCK + k]
                continue
            wired = b[branch_at.DRIVEN_BY + k]
            told = v[of.DAMPER + int(b[branch_at.ZONE + k] if wired < 0.0 else wired)]
            move = 1.0 / b[branch_at.TRAVEL_S + k]
            if d[POSITION + k] < told:
                d[POSITION + k] = min(told, d[POSITION + k] + move)
            else:
                d[POSITION + k] = max(told, d[POSITION + k] - move)
        tap = blower_tap(p, s, powered)
        s[at.SPEED] += (tap - s[at.SPEED]) / p[of_plant.SPIN_S]
        air_path(p, b, d, s, dampers, days)
        released = furnace(p, s, powered)
        released += compressor(p, s, outdoor_f, powered)
        released += strip(p, s)
        place_f = unit_air(p, b, v, d, s, count, dampers, released, outdoor_f, sun[second])
        rooms(p, z, b, v, d, s, count, dampers, place_f, outdoor_f, sun[second], activity[second])
        s[at.SEEN_SUPPLY] += (s[at.PLENUM] - s[at.SEEN_SUPPLY]) / p[of_plant.SENSOR_S]
        s[at.SEEN_STATIC] += (s[at.STATIC] - s[at.SEEN_STATIC]) / p[of_plant.STATIC_SENSOR_S]
        locked = s[at.LOCKOUT] > 0.0 and p[of_plant.LOCKOUT_ALARM] > 0.0
        s[at.FAULT] = 1.0 if locked or trouble & PLANNED_FAULT != 0 else 0.0

        signals[second, 0] = s[at.PLENUM]
        signals[second, 1] = s[at.BACK]
        signals[second, 2] = s[at.STATIC]
        signals[second, 3] = s[at.RETURN_STATIC]
        signals[second, 4] = s[at.CFM]
        signals[second, 5] = released
        signals[second, 6] = s[at.EXCHANGER]
        signals[second, 7] = s[at.OUTDOOR_SEEN]
        for output in range(7):
            flags[second, output] = s[output] > 0.0
        flags[second, 7] = s[at.LIMIT] > 0.0
        flags[second, 8] = s[at.LOW_LIMIT] > 0.0
        flags[second, 9] = s[at.DROPPED] > 0.0
        flags[second, 10] = s[at.OWN_LIMIT] > 0.0
        flags[second, 11] = s[at.FLAME] > 0.0
        flags[second, 12] = s[at.COMPRESSOR_RUNS] > 0.0
        flags[second, 13] = s[at.CFM] > 50.0
        flags[second, 14] = s[at.DEFROST] > 0.0
        flags[second, 15] = s[at.FAULT] > 0.0
        flags[second, 16] = s[at.PROTECT] > 0.0
        flags[second, 17] = s[at.LOCKOUT] > 0.0
        flags[second, 18] = live
        flags[second, 19] = s[at.BYPASS] > 0.1
        flags[second, 20] = s[at.ICE] > 0.25
        for i in range(count):
            signals[second, 8 + i] = v[of.AIR + i]
            place = 21 + 6 * i
            flags[second, place] = v[of.HEAT + i] > 0.0
            flags[second, place + 1] = v[of.HEAT2 + i] > 0.0
            flags[second, place + 2] = v[of.COOL + i] > 0.0
            flags[second, place + 3] = v[of.COOL2 + i] > 0.0
            flags[second, place + 4] = v[of.FAN + i] > 0.0
            flags[second, place + 5] = v[of.DAMPER + i] > 0.0
    return at_first


def pack(parts: Sequence[Zone] | Sequence[Branch], places: int) -> NDArray[np.float64]:
    """All numbers of `parts` as one vector: value f of part i at f x `places` + i."""
    rows = np.array([list(vars(part).values()) for part in parts], dtype=np.float64)
    packed = np.zeros((rows.shape[1], places))
    packed[:, : len(parts)] = rows.T
    return packed.ravel()


def simulate(
    plant: Plant,
    zones: Sequence[Zone],
    branches: Sequence[Branch],
    drive: Drive,
    seed: int = 1,
    use_numba: bool | None = None,
) -> Record:
    """The record of len(drive.outdoor_f) seconds; `use_numba` None: where it is installed."""
    count = len(drive.outdoor_f)
    signals = np.zeros((count, len(SIGNALS) + len(zones)), dtype=np.float32)
    flags = np.zeros((count, len(FLAGS) + len(ZONE_FLAGS) * len(zones)), dtype=np.uint8)
    p = np.array(list(vars(plant).values()), dtype=np.float64)
    z, b = pack(zones, PLACES), pack(branches, PLACES)
    v, d, s = np.zeros(of.LENGTH), np.zeros(2 * PLACES), np.zeros(at.LENGTH)
    s[at.RANDOM] = float(seed % 2147483646 + 1)
    vectors: list[Any] = [p, z, b, v, d, s]
    series: list[Any] = [drive.outdoor_f, drive.sun, drive.activity, drive.service, drive.upset]
    if numba_installed() if use_numba is None else use_numba:
        folder = cache_folder() / f"numba-{source_hash()}"
        loop = compiled(cast(FunctionType, run), str(folder))
    else:  # lists: plain floats are several times faster than an array's elements
        loop = run
        vectors = [vector.tolist() for vector in vectors]
        series = [values.tolist() for values in series]
    before = loop(
        *vectors, len(zones), len(branches), drive.first, *series, signals, flags
    )  # fmt: skip
    p, z, _, v, _, s = vectors
    return Record(
        signals,
        flags,
        len(zones),
        float(s[at.HEAT_IN]),
        float(s[at.HEAT_OUT]),
        float(stored(p, z, v, s, len(zones)) - before),
        float(s[at.THROUGHPUT]),
    )
