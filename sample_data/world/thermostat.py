"""One second of every thermostat: from what its sensor feels to its calls.

A thermostat with a cycle rate is time-proportional: it asks for a share u of the time, and a phase
that rises at (1 - u) while it calls and falls at u while it rests turns that share into calls of
3600 / (4 Nmax (1 - u)) s and rests of 3600 / (4 Nmax u) s: the cycle curve N = 4 Nmax X (1 - X).
One without a rate is a plain two-position switch with a differential.
"""

from collections.abc import MutableSequence

from sample_data.world import state as at
from sample_data.world import zone_state as of
from sample_data.world import zones as zone_at

Vector = MutableSequence[float]

BAND_F = 2.0  # error that asks for heat all the time
TRIM_S = 3600.0  # how slowly the standing error is taken out
WIND_UP_F = 1.0  # the trim rests while the error is larger


def set_back(z: Vector, zone: int, second_of_day: float) -> bool:
    """True while the zone's setback holds, early start taken off its end."""
    start = z[zone_at.BACK_FROM_S + zone]
    end = z[zone_at.BACK_TO_S + zone]
    if start == end:
        return False
    end -= z[zone_at.EARLY_S + zone]
    if end < 0.0:
        end += 86400.0
    if start <= end:
        return start <= second_of_day < end
    return second_of_day >= start or second_of_day < end


def demand(z: Vector, v: Vector, zone: int, error_f: float, trim: int, phase: int, on: int) -> bool:
    """Whether the zone's thermostat calls, `error_f` on the wrong side of its setpoint.

    `trim`, `phase` and `on` are the places of its memory for heating or for cooling.
    """
    calls = v[on + zone] > 0.0
    gap = z[zone_at.DIFFERENTIAL_F + zone]
    if gap > 0.0:
        return error_f > -0.5 * gap if calls else error_f >= 0.5 * gap
    if -WIND_UP_F < error_f < WIND_UP_F:
        moved = v[trim + zone] + error_f / (BAND_F * TRIM_S)
        v[trim + zone] = min(1.0, max(0.0, moved))
    share = min(1.0, max(0.0, error_f / BAND_F + v[trim + zone]))
    if error_f < -1.5:
        v[phase + zone] = 0.0
        return False
    rate = 4.0 * z[zone_at.CYCLES_PER_H + zone] / 3600.0
    if calls:
        v[phase + zone] += (1.0 - share) * rate
        if v[phase + zone] >= 1.0:
            v[phase + zone] = 1.0
            return False
        return True
    v[phase + zone] -= share * rate
    if v[phase + zone] <= 0.0 and share > 0.0:
        v[phase + zone] = 0.0
        return True
    v[phase + zone] = max(0.0, v[phase + zone])
    return False


def thermostats(
    z: Vector, v: Vector, s: Vector, count: int, second_of_day: float, powered: bool
) -> None:
    """Set every zone's calls (heat, second heat, cool, second cool, fan) in `v`."""
    for i in range(count):
        air = v[of.AIR + i]
        felt = air + z[zone_at.SENSOR_OFFSET_F + i]
        if v[of.FLOW + i] > 1.0:
            blown = min(1.0, v[of.FLOW + i] / 100.0)
            felt += z[zone_at.STREAM + i] * blown * (s[at.PLENUM] - air)
        v[of.WALL + i] += (felt - v[of.WALL + i]) / z[zone_at.SENSOR_S + i]
        wall = v[of.WALL + i]
        back = set_back(z, i, second_of_day)
        heat_f = z[zone_at.HEAT_BACK_F + i] if back else z[zone_at.HEAT_F + i]
        cool_f = z[zone_at.COOL_BACK_F + i] if back else z[zone_at.COOL_F + i]
        mode = z[zone_at.MODE + i]
        heats = powered and (mode == 1.0 or mode == 3.0)
        cools = powered and (mode == 2.0 or mode == 3.0)
        was = v[of.HEAT + i] + v[of.COOL + i] > 0.0
        v[of.OFF_S + i] = 0.0 if was else v[of.OFF_S + i] + 1.0
        compressor = z[zone_at.KIND + i] == 1.0
        delay = z[zone_at.COMPRESSOR_DELAY_S + i]
        may_start = was or v[of.OFF_S + i] >= delay

        heat = heats and demand(z, v, i, heat_f - wall, of.HEAT_TRIM, of.HEAT_PHASE, of.HEAT)
        if heat and compressor and not may_start:
            heat = False
        v[of.HEAT + i] = 1.0 if heat else 0.0
        v[of.HEAT_S + i] = v[of.HEAT_S + i] + 1.0 if heat else 0.0
        after = z[zone_at.STAGE2_AFTER_S + i]
        droop = z[zone_at.STAGE2_DROOP_F + i]
        if not heat:
            v[of.HEAT2 + i] = 0.0
        elif v[of.HEAT_S + i] >= after and heat_f - wall >= droop:
            v[of.HEAT2 + i] = 1.0
        elif heat_f - wall < 0.2 * droop:
            v[of.HEAT2 + i] = 0.0

        cool = cools and demand(z, v, i, wall - cool_f, of.COOL_TRIM, of.COOL_PHASE, of.COOL)
        if heat or (cool and not may_start):
            cool = False
        v[of.COOL + i] = 1.0 if cool else 0.0
        v[of.COOL_S + i] = v[of.COOL_S + i] + 1.0 if cool else 0.0
        if not cool:
            v[of.COOL2 + i] = 0.0
        elif v[of.COOL_S + i] >= after and wall - cool_f >= droop:
            v[of.COOL2 + i] = 1.0
        elif wall - cool_f < 0.2 * droop:
            v[of.COOL2 + i] = 0.0
        fan = cool or (heat and compressor) or z[zone_at.FAN_ON + i] > 0.0
        v[of.FAN + i] = 1.0 if fan and powered else 0.0
