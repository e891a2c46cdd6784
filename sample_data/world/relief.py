"""One second of the panel's dampers: callers open, others closed, relief when static is high."""

from sample_data.world import scalars as of_plant
from sample_data.world import state as at
from sample_data.world import zone_state as of
from sample_data.world import zones as zone_at
from sample_data.world.thermostat import Vector


def relieve(p: Vector, z: Vector, v: Vector, s: Vector, count: int) -> None:
    """Count how many relief dampers stand open, and open that many beyond the callers'.

    The number is remembered from run to run; the zones take turns: every run begins with the next.
    """
    static = s[at.SEEN_STATIC]
    above = static > p[of_plant.STATIC_TARGET_INWC] and s[at.RELIEF] < p[of_plant.RELIEF_MOST]
    s[at.ABOVE] = s[at.ABOVE] + 1.0 if above else 0.0
    below = static < p[of_plant.STATIC_RELEASE_INWC] and s[at.RELIEF] > 0.0
    s[at.BELOW] = s[at.BELOW] + 1.0 if below else 0.0
    s[at.HOLD] = max(0.0, s[at.HOLD] - 1.0)
    if s[at.HOLD] == 0.0:
        if s[at.ABOVE] >= p[of_plant.RELIEF_WAIT_S]:
            s[at.RELIEF] += 1.0
            s[at.HOLD] = p[of_plant.RELIEF_HOLD_S]
        elif s[at.BELOW] >= p[of_plant.RELIEF_WAIT_S]:
            s[at.RELIEF] -= 1.0
            s[at.HOLD] = p[of_plant.RELIEF_HOLD_S]
    left = s[at.RELIEF]
    for k in range(count):
        i = (k + int(s[at.TURN])) % count
        if left >= 1.0 and v[of.DAMPER + i] == 0.0 and z[zone_at.RELIEF + i] > 0.0:
            v[of.DAMPER + i] = 1.0
            left -= 1.0
    if left > 0.0 and s[at.ABOVE] > 0.0:
        s[at.RELIEF] = min(s[at.RELIEF], count - 1.0)


def dampers(
    p: Vector, z: Vector, v: Vector, s: Vector, count: int, calling: int, all_open: bool
) -> None:
    """Damper commands (1 open) in `v` for this second."""
    if all_open:
        for i in range(count):
            v[of.DAMPER + i] = 1.0
        return
    if calling > 0:
        s[at.SERVED] = 1.0
        call = of.HEAT if s[at.MODE] == 1.0 else of.COOL
        for i in range(count):
            wired = z[zone_at.STAT_OF + i]
            k = i if wired < 0.0 else int(wired)
            served = v[call + k] > 0.0 and z[zone_at.AWAY + i] == 0.0
            v[of.DAMPER + i] = 1.0 if served else 0.0
        relieve(p, z, v, s, count)
        return
    if s[at.SERVED] > 0.0:
        s[at.SERVED] = 0.0
        s[at.TURN] = (s[at.TURN] + 1.0) % count
    s[at.ABOVE] = 0.0
    s[at.BELOW] = 0.0
    s[at.HOLD] = 0.0
    if s[at.PURGE] > 0.0 and p[of_plant.PURGE_HELD] > 0.0:
        return
    alone = s[at.G] > 0.0 and s[at.PURGE] == 0.0  # fan only
    if alone or p[of_plant.IDLE] == 1.0:
        for i in range(count):
            v[of.DAMPER + i] = 1.0
    elif p[of_plant.IDLE] == 0.0:
        for i in range(count):
            v[of.DAMPER + i] = 0.0
