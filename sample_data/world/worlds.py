"""From a description to its record: weather, the visits, upsets, and the loop."""

import numpy as np
from numpy.typing import NDArray

from sample_data.world import climates
from sample_data.world.loop import (
    CLOSE_DAMPER,
    DOOR_OFF,
    NO_SERVICE,
    ORDERS,
    Drive,
    Record,
    simulate,
)
from sample_data.world.system import WARM_UP_S, System

UPSETS = {"power": 1, "float": 2, "leak": 4, "fault": 8}
FIRST_VISIT_S = 4200  # loggers set, doors off, every output and damper once
LAST_VISIT_S = 1800


def service_orders(system: System) -> NDArray[np.int64]:
    """The technician's hand per second: doors off while probes go in, then everything once within
    15 min; at the end doors off again."""
    orders = np.full(system.seconds, NO_SERVICE, dtype=np.int64)
    p = system.plant
    at = WARM_UP_S + 300
    orders[at : at + 420] = DOOR_OFF
    at += 600

    def give(seconds: int, *outputs: str, closed: int = -1) -> None:
        nonlocal at
        bits = sum(1 << ORDERS.index(name) for name in outputs)
        if closed >= 0:
            bits |= 1 << (CLOSE_DAMPER + closed)
        orders[at : at + seconds] = bits
        at += seconds

    for zone in range(len(system.zones)):
        give(60, "g", closed=zone)
    if p.furnace > 0:
        give(150, "w1", "g")
        if p.heating_stages > 1:
            give(90, "w1", "w2", "g")
        give(90, "g")
    if p.compressor > 0:
        cooling = ("ob",) if p.ob_in_heating == 0 else ()
        give(120, "y1", "g", *cooling)
        if p.compressor_stages > 1:
            give(60, "y1", "y2", "g", *cooling)
    if p.aux_btuh > 0:
        give(90, "aux", "g")
    give(60, "g")
    end = system.seconds - 900
    orders[end - 420 : end] = DOOR_OFF
    return orders


def drive(system: System) -> Drive:
    """Weather, household, visits and upsets of the system's record."""
    first, seconds, seed = system.first_second, system.seconds, system.seed
    weather = system.weather
    upset = np.zeros(seconds, dtype=np.int64)
    for kind, start_h, end_h in system.upsets:
        start, end = (WARM_UP_S + round(hours * 3600) for hours in (start_h, end_h))
        upset[start:end] |= UPSETS[kind]
    return Drive(
        first,
        climates.outdoor_f(weather, system.season, first, seconds, seed),
        climates.sun(weather, system.season, first, seconds, seed),
        climates.activity(first, seconds),
        service_orders(system),
        upset,
    )


def record(system: System, use_numba: bool | None = None) -> Record:
    """What happens at the system, second by second."""
    return simulate(
        system.plant, system.zones, system.branches, drive(system), system.seed, use_numba
    )
