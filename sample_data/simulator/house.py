"""The whole system, second by second: one plain loop that also compiles with numba."""

from collections.abc import MutableSequence
from types import FunctionType
from typing import Any, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from sample_data.simulator.air import airflow, compressor_btuh, rooms_second
from sample_data.simulator.compiled import compiled, numba_installed
from sample_data.simulator.panel import (
    BURNER_OFF,
    COMPRESSOR_OFF,
    LIMIT,
    MEMORY,
    OB,
    W1,
    W2,
    Y1,
    G,
    panel_second,
    thermostats_second,
)
from sample_data.simulator.parameters import System

# recorded every second; the zones' air follows the last of SIGNALS
SIGNALS = ("supply_f", "return_f", "static_inwc", "cfm", "heat_btuh", "exchanger_f")
# 0 or 1; the zones' calls, then their damper commands follow
FLAGS = ("w1", "w2", "y1", "g", "ob", "limit", "own_limit")

# service orders, one integer per second: -1 none, else bits below (the technician's hand)
NO_SERVICE = -1
ORDER_W1, ORDER_W2, ORDER_Y1, ORDER_G, ORDER_OB, DOOR_OFF = (1 << bit for bit in range(6))
CLOSE_DAMPER = 6  # bit 6 + zone: that zone's damper ordered closed


class Record(NamedTuple):
    """What happened, one row per second: `signals` (n, 6 + zones), `flags` (n, 7 + 2·zones)."""

    signals: NDArray[np.float64]
    flags: NDArray[np.uint8]

    def signal(self, name: str) -> NDArray[np.float64]:
        """One signal of SIGNALS, or `zone_<number>_f`, by name; one value per second."""
        if name.startswith("zone_"):
            return self.signals[:, len(SIGNALS) + int(name.split("_")[1]) - 1]
        return self.signals[:, SIGNALS.index(name)]

    def flag(self, name: str) -> NDArray[np.bool_]:
        """One flag of FLAGS, or `call_<number>` or `damper_<number>`, one value per second."""
        zones = self.signals.shape[1] - len(SIGNALS)
        if name in FLAGS:
            column = FLAGS.index(name)
        else:
            kind, number = name.split("_")
            column = len(FLAGS) + int(number) - 1 + (zones if kind == "damper" else 0)
        return self.flags[:, column].astype(bool)


def run(
    system: System,
    first_second: int,
    outdoor: NDArray[np.float64],
    sun: NDArray[np.float64],
    activity: NDArray[np.float64],
    service: NDArray[np.int64],
    start_f: tuple[float, ...],
    vectors: tuple[MutableSequence[float], ...],
    signals: NDArray[np.float64],
    flags: NDArray[np.uint8],
) -> None:
    """Simulate len(outdoor) seconds into `signals` and `flags`.

    `first_second` is the second of the local day at the first row. `vectors` are the state: lists,
    or arrays where compiled. Only + - * / and square roots are used, so both give the same bits.
    """
    air, mass, gain, branch, position, damper, calls, wall, anticipated, clock, memory = vectors
    zones = len(start_f)
    for zone in range(zones):
        air[zone] = start_f[zone]
        mass[zone] = start_f[zone] - 2.0
        wall[zone] = start_f[zone]
        position[zone] = 1.0
        damper[zone] = 1.0
    memory[BURNER_OFF] = 3600.0
    memory[COMPRESSOR_OFF] = 3600.0
    heat = system.heat
    basement = system.ducts.basement
    move = 1.0 / system.ducts.travel_s
    exchanger = start_f[basement]
    plenum = start_f[basement]
    back = start_f[basement]
    seen_supply = plenum
    seen_static = 0.0
    speed = 0.0
    burner = 0.0
    compressor = 0.0
    flame_in = heat.ignition_s
    own_limit = 0.0
    for second in range(len(outdoor)):
        outdoor_f = outdoor[second]
        order = service[second]
        of_day = float((first_second + second) % 86400)
        thermostats_second(system, of_day, air, wall, anticipated, calls)
        powered = 1.0
        if order == NO_SERVICE:
            panel_second(
                system,
                seen_supply + system.panel.sensor_offset_f,
                seen_static,
                outdoor_f,
                calls,
                clock,
                damper,
                memory,
            )
        else:
            for output in range(OB + 1):
                memory[output] = 1.0 if order & (1 << output) else 0.0
            for zone in range(zones):
                damper[zone] = 0.0 if order & (1 << (CLOSE_DAMPER + zone)) else 1.0
                clock[zone] = 0.0
            if order & DOOR_OFF:
                powered = 0.0

        # blower and dampers
        target = 0.0
        if powered * memory[G] > 0.0:
            target = system.fan.high_speed if memory[W2] > 0.0 else system.fan.low_speed
        speed += (target - speed) / system.fan.spin_s
        for zone in range(zones):
            if position[zone] < damper[zone]:
                position[zone] = min(damper[zone], position[zone] + move)
            elif position[zone] > damper[zone]:
                position[zone] = max(damper[zone], position[zone] - move)
        cfm, static = airflow(system, speed, plenum, position, branch)

        # burner and compressor
        if exchanger >= heat.own_limit_f:
            own_limit = 1.0
        elif exchanger <= heat.own_limit_back_f:
            own_limit = 0.0
        if powered * memory[W1] > 0.0 and own_limit == 0.0:
            flame_in = max(0.0, flame_in - 1.0)
        else:
            flame_in = heat.ignition_s
        fired = 0.0
        if flame_in == 0.0:
            fired = heat.second_btuh if memory[W2] > 0.0 else heat.first_btuh
        burner += (fired - burner) / heat.burner_s
        pumped = 0.0
        if powered * memory[Y1] > 0.0:
            pumped = -heat.compressor_cool_btuh
            if memory[OB] == 0.0:
                pumped = compressor_btuh(system, outdoor_f)
        compressor += (pumped - compressor) / heat.compressor_s
        released = burner + compressor

        # air through the unit: exchanger, plenum, return
        carried = system.air_btuh_cfm_f * cfm
        soak = heat.soak_btuh_f * (1.0 - min(1.0, speed / system.fan.low_speed))
        exchanger += (
            released - carried * (exchanger - back) - soak * (exchanger - air[basement])
        ) / (3600.0 * heat.exchanger_btu_f)
        through = cfm / (60.0 * system.ducts.plenum_ft3)
        plenum += (exchanger - plenum) * through / (1.0 + through)
        plenum += (0.3 * exchanger + 0.7 * air[basement] - plenum) / 900.0 * (soak > 0.0)
        mixed = 0.0
        for zone in range(zones):
            mixed += branch[zone] * air[zone]
        if cfm > 1.0:
            through = cfm / (60.0 * system.ducts.return_ft3)
            back += (mixed / cfm - back) * through / (1.0 + through)
        back += (air[basement] - back) / 1800.0 * (soak > 0.0)
        rooms_second(
            system, air, mass, gain, branch, plenum, outdoor_f, sun[second], activity[second]
        )
        seen_supply += (plenum - seen_supply) / system.panel.sensor_s
        seen_static += (static - seen_static) / system.panel.static_sensor_s

        signals[second, 0] = plenum
        signals[second, 1] = back
        signals[second, 2] = static
        signals[second, 3] = cfm
        signals[second, 4] = released
        signals[second, 5] = exchanger
        for output in range(OB + 1):
            flags[second, output] = memory[output] > 0.0
        flags[second, 5] = memory[LIMIT] > 0.0
        flags[second, 6] = own_limit > 0.0
        for zone in range(zones):
            signals[second, 6 + zone] = air[zone]
            flags[second, 7 + zone] = calls[zone] > 0.0
            flags[second, 7 + zones + zone] = damper[zone] > 0.0


def simulate(
    system: System,
    first_second: int,
    outdoor: NDArray[np.float64],
    sun: NDArray[np.float64],
    activity: NDArray[np.float64],
    service: NDArray[np.int64],
    start_f: tuple[float, ...],
    use_numba: bool | None = None,
) -> Record:
    """The record of len(outdoor) seconds; `use_numba` None: where it is installed."""
    zones = len(start_f)
    signals = np.zeros((len(outdoor), len(SIGNALS) + zones))
    flags = np.zeros((len(outdoor), len(FLAGS) + 2 * zones), dtype=np.uint8)
    lengths = [zones] * 10 + [MEMORY]
    if numba_installed() if use_numba is None else use_numba:
        arrays = tuple(np.zeros(length) for length in lengths)
        loop = compiled(cast(FunctionType, run))
        loop(system, first_second, outdoor, sun, activity, service, start_f, arrays, signals, flags)
    else:  # lists: plain floats are several times faster than an array's elements
        lists: Any = tuple([0.0] * length for length in lengths)
        series: Any = (outdoor.tolist(), sun.tolist(), activity.tolist(), service.tolist())
        cast(Any, run)(system, first_second, *series, start_f, lists, signals, flags)
    return Record(signals, flags)
