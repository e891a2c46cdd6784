"""One second of furnace, compressor, strip heat and blower: from outputs to heat and speed."""

from math import sqrt

from sample_data.world import branches as branch_at
from sample_data.world import scalars as of_plant
from sample_data.world import state as at
from sample_data.world.thermostat import Vector

POSITION, FLOW = 0, 8  # of a branch, in its state vector
STANDARD_CFM = 1000.0
ROOM_F = 70.0
ZERO_F = 459.67


def chance(s: Vector) -> float:
    """The next number in [0, 1) of a multiplicative generator that floats hold exactly."""
    s[at.RANDOM] = s[at.RANDOM] * 16807.0
    s[at.RANDOM] -= 2147483647.0 * int(s[at.RANDOM] / 2147483647.0)
    return s[at.RANDOM] / 2147483647.0


def furnace(p: Vector, s: Vector, powered: bool) -> float:
    """Heat of the burner (Btu/h) that reaches the exchanger; flame, tries and lockout in `s`."""
    if s[at.EXCHANGER] >= p[of_plant.OWN_LIMIT_F]:
        s[at.OWN_LIMIT] = 1.0
    elif s[at.EXCHANGER] <= p[of_plant.OWN_LIMIT_BACK_F]:
        s[at.OWN_LIMIT] = 0.0
    s[at.LOCKOUT] = max(0.0, s[at.LOCKOUT] - 1.0)
    wanted = powered and s[at.W1] > 0.0
    if not wanted:
        s[at.TRIES] = 0.0
    if not wanted or s[at.OWN_LIMIT] > 0.0 or s[at.LOCKOUT] > 0.0:
        s[at.FLAME] = 0.0
        s[at.TRY_S] = 0.0
        s[at.STAGE1_S] = 0.0
    elif s[at.FLAME] > 0.0:
        if chance(s) * 3600.0 < p[of_plant.FLAME_LOSSES_PER_H]:
            s[at.FLAME] = 0.0
            s[at.TRY_S] = -p[of_plant.RETRY_WAIT_S]
    else:
        s[at.TRY_S] += 1.0
        if s[at.TRY_S] >= p[of_plant.IGNITION_S]:
            if chance(s) < p[of_plant.IGNITION_FAILS]:
                s[at.TRIES] += 1.0
                s[at.TRY_S] = -p[of_plant.RETRY_WAIT_S]
                if s[at.TRIES] > p[of_plant.RETRIES]:
                    s[at.LOCKOUT] = p[of_plant.LOCKOUT_S]
                    s[at.TRIES] = 0.0
            else:
                s[at.FLAME] = 1.0
                s[at.TRIES] = 0.0
    fired = 0.0
    if s[at.FLAME] > 0.0:
        s[at.STAGE1_S] += 1.0
        board = p[of_plant.BOARD_STAGE_S]
        by_board = board > 0.0 and s[at.STAGE1_S] >= board
        high = (s[at.W2] > 0.0 or by_board) and p[of_plant.STAGE2_WORKS] > 0.0
        fired = p[of_plant.HEAT2_BTUH] if high else p[of_plant.HEAT1_BTUH]
    s[at.BURNER] += (fired * p[of_plant.FIRE] - s[at.BURNER]) / p[of_plant.BURNER_S]
    return s[at.BURNER]


def compressor(p: Vector, s: Vector, outdoor_f: float, powered: bool) -> float:
    """Heat of the compressor (Btu/h, negative in cooling); frost, ice and protection in `s`."""
    asked = powered and s[at.Y1] > 0.0
    energised = s[at.OB] > 0.0
    cools = energised if p[of_plant.OB_IN_HEATING] == 0.0 else not energised
    if p[of_plant.HEATS] == 0.0:
        cools = True
    if p[of_plant.VALVE_WRONG] > 0.0 and p[of_plant.HEATS] > 0.0:
        cools = not cools
    s[at.PROTECT] = max(0.0, s[at.PROTECT] - 1.0)
    runs = asked and s[at.PROTECT] == 0.0 and p[of_plant.COMPRESSOR_DEAD] == 0.0
    hard = (
        outdoor_f >= p[of_plant.PROTECT_ABOVE_F]
        if cools
        else (outdoor_f <= p[of_plant.PROTECT_BELOW_F])
    )
    s[at.PROTECT_S] = s[at.PROTECT_S] + 1.0 if runs and hard else 0.0
    if s[at.PROTECT_S] >= p[of_plant.PROTECT_AFTER_S]:
        s[at.PROTECT] = p[of_plant.PROTECT_OFF_S]
        s[at.PROTECT_S] = 0.0
        runs = False
    s[at.COMPRESSOR_RUNS] = 1.0 if runs else 0.0
    air = 0.6 + 0.4 * min(1.25, s[at.CFM] / p[of_plant.COIL_CFM])
    full = 0.0
    if runs and cools:
        # outputs fall by 0.6 % per °F over the rating's 95 °F, rise below
        rated = p[of_plant.COOL2_BTUH] if s[at.Y2] > 0.0 else p[of_plant.COOL1_BTUH]
        full = -rated * (1.0 - 0.006 * (outdoor_f - 95.0)) * p[of_plant.SENSIBLE] * air
        full *= p[of_plant.CHARGE] * (1.0 - 0.6 * s[at.ICE])
    elif runs:
        slope = (p[of_plant.HP47_BTUH] - p[of_plant.HP17_BTUH]) / 30.0
        full = p[of_plant.HP17_BTUH] + slope * (outdoor_f - 17.0)
        if s[at.Y2] == 0.0 and p[of_plant.COMPRESSOR_STAGES] >= 2.0:
            full *= p[of_plant.LOW_STAGE]
        full *= p[of_plant.CHARGE] * (1.0 - 0.2 * s[at.FROST])
    # indoor coil: ice where its surface stands under freezing
    surface = s[at.PLENUM] - 7.0 - 60.0 * (1.0 - p[of_plant.CHARGE])
    if runs and cools and s[at.CFM] > 50.0 and surface < 32.0:
        s[at.ICE] = min(1.0, s[at.ICE] + (32.0 - surface) / 18000.0)
    elif not runs:
        s[at.ICE] = max(0.0, s[at.ICE] - 1.0 / 3600.0)
    # outdoor coil: frost in heating, and defrost
    if runs and not cools and s[at.DEFROST] == 0.0:
        damp = max(0.0, 1.0 - 0.05 * abs(outdoor_f - 32.0))
        s[at.FROST] = min(1.0, s[at.FROST] + p[of_plant.FROST_PER_H] * damp / 3600.0)
        s[at.SINCE_DEFROST] += 1.0
        due = s[at.SINCE_DEFROST] >= p[of_plant.DEFROST_EVERY_S] and outdoor_f <= 45.0
        if due and (s[at.FROST] >= 0.25 or p[of_plant.DEFROST_NEEDS_FROST] == 0.0):
            s[at.DEFROST] = 1.0
            s[at.DEFROST_S] = 0.0
    if s[at.DEFROST] > 0.0:
        s[at.DEFROST_S] += 1.0
        s[at.FROST] = max(0.0, s[at.FROST] - 1.0 / 420.0)
        enough = s[at.FROST] == 0.0 and (
            p[of_plant.DEFROST_NEEDS_FROST] > 0.0 or s[at.DEFROST_S] >= p[of_plant.DEFROST_MAX_S]
        )
        if enough or s[at.DEFROST_S] >= p[of_plant.DEFROST_MAX_S] or not runs:
            s[at.DEFROST] = 0.0
            s[at.SINCE_DEFROST] = 0.0
        full = -0.45 * p[of_plant.COOL1_BTUH] if runs else 0.0
    s[at.COMPRESSOR] += (full - s[at.COMPRESSOR]) / p[of_plant.COMPRESSOR_LAG_S]
    return s[at.COMPRESSOR]


def strip(p: Vector, s: Vector) -> float:
    """Heat of the strips (Btu/h): the panel's output, or the outdoor unit's own in defrost."""
    own = s[at.DEFROST] > 0.0 and p[of_plant.DEFROST_HEAT] == 1.0
    full = p[of_plant.AUX_BTUH] if (s[at.AUX] > 0.0 or own) and s[at.CFM] > 50.0 else 0.0
    s[at.STRIP] += (full - s[at.STRIP]) / 20.0
    return s[at.STRIP]


def blower_tap(p: Vector, s: Vector, powered: bool) -> float:
    """The tap that the blower is asked for (share of full speed, or CFM), 0 for off."""
    if s[at.FLAME] > 0.0:
        s[at.FLAME_S] += 1.0
        s[at.DARK_S] = 0.0
        if s[at.FLAME_S] >= p[of_plant.FAN_ON_DELAY_S]:
            s[at.GAS_FAN] = 1.0
    else:
        s[at.FLAME_S] = 0.0
        s[at.DARK_S] += 1.0
        if s[at.DARK_S] >= p[of_plant.FAN_OFF_DELAY_S]:
            s[at.GAS_FAN] = 0.0
    if s[at.Y1] + s[at.AUX] > 0.0:
        s[at.FAN_OFF] = p[of_plant.COMPRESSOR_FAN_OFF_S]
    else:
        s[at.FAN_OFF] = max(0.0, s[at.FAN_OFF] - 1.0)
    wanted = (
        s[at.G] > 0.0
        or s[at.GAS_FAN] > 0.0
        or s[at.OWN_LIMIT] > 0.0
        or s[at.FAN_OFF] > 0.0
        or p[of_plant.FAN_WELDED] > 0.0
    )
    if not powered or not wanted or p[of_plant.BLOWER_DEAD] > 0.0:
        return 0.0
    high = s[at.W2] > 0.0 or (
        p[of_plant.BOARD_STAGE_S] > 0.0 and s[at.STAGE1_S] >= p[of_plant.BOARD_STAGE_S]
    )
    if s[at.W1] > 0.0 or s[at.FLAME] > 0.0:
        s[at.TAP] = p[of_plant.TAP_HEAT2] if high else p[of_plant.TAP_HEAT1]
    elif s[at.Y2] > 0.0:
        s[at.TAP] = p[of_plant.TAP_COOL2]
    elif s[at.Y1] + s[at.AUX] > 0.0:
        s[at.TAP] = p[of_plant.TAP_COOL1]
    elif s[at.GAS_FAN] + s[at.OWN_LIMIT] + s[at.FAN_OFF] + s[at.PURGE] == 0.0:
        s[at.TAP] = p[of_plant.TAP_FAN]
    return s[at.TAP]


def air_path(p: Vector, b: Vector, d: Vector, s: Vector, count: int, days: float) -> None:
    """Airflow at the blower and static in the trunk into `s`; branch flows into `d`.

    Branches in parallel behind a common resistance, blower curve by the fan laws: the meeting point
    is one square root. Pressures carry the density; in the branches the air has grown with heat.
    """
    conductance = 0.0
    for k in range(count):
        open_part = b[branch_at.LEAK + k] + (1.0 - b[branch_at.LEAK + k]) * d[POSITION + k]
        d[FLOW + k] = b[branch_at.SHARE + k] * b[branch_at.REGISTER + k] * open_part
        conductance += d[FLOW + k]
    opening = (s[at.STATIC] - p[of_plant.BYPASS_OPENS_INWC]) / p[of_plant.BYPASS_WIDTH_INWC]
    s[at.BYPASS] += (min(1.0, max(0.0, opening)) - s[at.BYPASS]) / 10.0
    back = p[of_plant.BYPASS] * s[at.BYPASS] + p[of_plant.RETURN_LEAK]
    through = (conductance + back) * p[of_plant.OPEN_CFM]
    clogged = p[of_plant.CLOGGED] * (1.0 + p[of_plant.CLOGGING_PER_DAY] * days)
    part = p[of_plant.RETURN_PART]
    unit = STANDARD_CFM * STANDARD_CFM
    series = p[of_plant.SERIES_INWC] * (part * clogged + (1.0 - part) * (1.0 + 5.0 * s[at.ICE]))
    series /= unit
    fall = p[of_plant.FALL_INWC] / unit
    grown = (s[at.PLENUM] + ZERO_F) / (ROOM_F + ZERO_F)
    ducts = grown / (through * through)
    strength = p[of_plant.BLOWER_STRENGTH] * (1.0 - p[of_plant.BLOWER_LOSS_PER_DAY] * days)
    speed = s[at.SPEED]
    if p[of_plant.BLOWER] == 2.0:  # the speed that moves this much air, up to the blower's last
        needed = speed * sqrt((fall + series + ducts) / p[of_plant.SHUTOFF_INWC])
        speed = min(needed, p[of_plant.SPEED_MAX])
    speed *= strength
    cfm = speed * sqrt(p[of_plant.SHUTOFF_INWC] / (fall + series + ducts))
    s[at.CFM] = cfm
    s[at.STATIC] = p[of_plant.DENSITY] * cfm * cfm * ducts
    whole = conductance + back
    for k in range(count):
        d[FLOW + k] = cfm * d[FLOW + k] / whole
    s[at.BACK_FLOW] = cfm * back / whole
    returns = p[of_plant.SERIES_INWC] * part * clogged / unit
    s[at.RETURN_STATIC] = -p[of_plant.DENSITY] * cfm * cfm * returns
