"""One second of the zone panel: from calls to outputs."""

from sample_data.world import scalars as of_plant
from sample_data.world import state as at
from sample_data.world import zone_state as of
from sample_data.world import zones as zone_at
from sample_data.world.relief import dampers
from sample_data.world.thermostat import Vector

BROKEN_S = 30.0  # a call broken for less is one call
NO_HEAT_SOURCE, BURNER, PUMP, STRIP = 0.0, 1.0, 2.0, 3.0
POWER_OUT, FLOAT_OPEN, LEAK_ALARM, PLANNED_FAULT = 1, 2, 4, 8


def heard(z: Vector, zone: int) -> int:
    """The thermostat that is wired to the zone's terminals."""
    wired = z[zone_at.STAT_OF + zone]
    return zone if wired < 0.0 else int(wired)


def clocks(p: Vector, z: Vector, v: Vector, s: Vector, count: int) -> None:
    """Seconds that each zone has called in the mode that is served; restarts as the panel's do."""
    waits = s[at.LIMIT] + s[at.LOW_LIMIT] > 0.0 or s[at.SOURCE] == 0.0
    for i in range(count):
        call = of.HEAT if s[at.MODE] == 1.0 else of.COOL
        calling = s[at.MODE] > 0.0 and v[call + heard(z, i)] > 0.0 and z[zone_at.AWAY + i] == 0.0
        v[of.BROKEN + i] = 0.0 if calling else v[of.BROKEN + i] + 1.0
        if waits or s[at.MODE] == 0.0 or v[of.BROKEN + i] >= BROKEN_S:
            v[of.CLOCK + i] = 0.0
        else:
            v[of.CLOCK + i] += 1.0
    s[at.RUN_S] = 0.0 if waits else s[at.RUN_S] + 1.0


def choose_mode(p: Vector, s: Vector, heating: int, cooling: int) -> None:
    """Which of heating and cooling is served; the other waits its time, then takes its turn."""
    mode = s[at.MODE]
    mine = heating if mode == 1.0 else cooling
    other = cooling if mode == 1.0 else heating
    if mode > 0.0:
        s[at.OTHER_WAITS] = s[at.OTHER_WAITS] + 1.0 if other > 0 else 0.0
        over = s[at.OTHER_WAITS] >= p[of_plant.CHANGEOVER_WAIT_S]
        held = s[at.COMPRESSOR_ON] > 0.0 and s[at.COMPRESSOR_ON] < p[of_plant.COMPRESSOR_MIN_ON_S]
        if (mine == 0 or over) and not held:
            s[at.YIELD_TO] = 3.0 - mode if other > 0 else 0.0
            s[at.SETTLE] = p[of_plant.SETTLE_S] if other > 0 else 0.0
            s[at.MODE] = 0.0
            s[at.OTHER_WAITS] = 0.0
    elif s[at.SETTLE] > 0.0:
        s[at.SETTLE] -= 1.0
    elif heating + cooling > 0:
        wanted = s[at.YIELD_TO]
        if wanted == 0.0 or (heating if wanted == 1.0 else cooling) == 0:
            wanted = 1.0 if heating > 0 else 2.0
        s[at.MODE] = wanted
        s[at.YIELD_TO] = 0.0


def limits(p: Vector, s: Vector, calling: int) -> None:
    """The panel's own high and low limit by its own supply sensor, and the milder stage drop."""
    supply = s[at.SEEN_SUPPLY] + p[of_plant.SENSOR_OFFSET_F]
    s[at.SINCE_TRIP] += 1.0
    heat_on = s[at.MODE] == 1.0 and s[at.SOURCE] > 0.0
    cool_on = s[at.MODE] == 2.0 and s[at.SOURCE] > 0.0
    alive = p[of_plant.LIMITS_DEAD] == 0.0
    high = p[of_plant.HIGH_LIMIT_F]
    low = p[of_plant.LOW_LIMIT_F]
    if alive and heat_on and supply >= high:
        s[at.LIMIT] = 1.0
        s[at.SINCE_TRIP] = 0.0
    elif alive and cool_on and supply <= low and s[at.RUN_S] > 120.0:
        s[at.LOW_LIMIT] = 1.0
        s[at.SINCE_TRIP] = 0.0
    waited = s[at.SINCE_TRIP] >= p[of_plant.RECOVER_S]
    gap = p[of_plant.RECOVER_F]
    if s[at.LIMIT] > 0.0 and ((waited and supply <= high - gap) or calling == 0):
        s[at.LIMIT] = 0.0
    if s[at.LOW_LIMIT] > 0.0 and ((waited and supply >= low + 0.5 * gap) or calling == 0):
        s[at.LOW_LIMIT] = 0.0
    drop = p[of_plant.STAGE_DROP_F]
    if drop > 0.0 and alive:
        if s[at.SECOND] > 0.0 and heat_on and supply >= high - drop:
            s[at.DROPPED] = 1.0
        elif s[at.DROPPED] > 0.0 and supply <= high - drop - gap:
            s[at.DROPPED] = 0.0


def start(p: Vector, s: Vector) -> None:
    """Choose what answers the calls, when nothing runs: the fuel is chosen once per run."""
    ready = s[at.COMPRESSOR_OFF] >= p[of_plant.COMPRESSOR_MIN_OFF_S] and s[at.START_DELAY] == 0.0
    if s[at.MODE] == 2.0:
        if p[of_plant.COMPRESSOR] > 0.0 and ready:
            s[at.SOURCE] = PUMP
        return
    outdoor = s[at.OUTDOOR_SEEN] + p[of_plant.OUTDOOR_OFFSET_F]
    cold = outdoor < p[of_plant.LOW_BALANCE_F] or p[of_plant.EMERGENCY] > 0.0
    if p[of_plant.HEATS] > 0.0 and not cold:
        if ready:
            s[at.SOURCE] = PUMP
    elif p[of_plant.FURNACE] > 0.0:
        if s[at.BURNER_OFF] >= p[of_plant.BURNER_MIN_OFF_S]:
            s[at.SOURCE] = BURNER
    elif p[of_plant.AUX_BTUH] > 0.0 and s[at.BURNER_OFF] >= p[of_plant.BURNER_MIN_OFF_S]:
        s[at.SOURCE] = STRIP


def stage_up(p: Vector, s: Vector, longest: float, calling: int, asks: bool, stages: float) -> None:
    """Whether the second stage is on."""
    clock = s[at.RUN_S] if p[of_plant.STAGE_CLOCK] == 0.0 else longest
    timed = clock >= p[of_plant.STAGE_UP_S]
    by = p[of_plant.STAGE_UP_BY]
    wanted = (timed and by != 1.0) or (asks and by != 0.0)
    in_order = wanted and calling >= p[of_plant.STAGE2_ZONES]
    latched = s[at.SECOND] > 0.0 and p[of_plant.STAGE_RELEASE] == 1.0
    kept = (in_order or latched) and stages >= 2.0 and s[at.SOURCE] > 0.0
    s[at.SECOND] = 1.0 if kept and p[of_plant.STAGE2_BLOCKED] == 0.0 else 0.0


def panel(p: Vector, z: Vector, v: Vector, s: Vector, count: int, upset: int) -> None:
    """Outputs, damper commands and limits from calls, supply, static and outdoor temperature."""
    powered = upset & POWER_OUT == 0
    clocks(p, z, v, s, count)
    heating = 0
    cooling = 0
    fans = 0
    asks = False
    longest = 0.0
    answers = p[of_plant.CALL_LOST] == 0.0
    for i in range(count):
        if z[zone_at.AWAY + i] > 0.0:
            continue
        k = heard(z, i)
        heating += 1 if v[of.HEAT + k] > 0.0 else 0
        cooling += 1 if v[of.COOL + k] > 0.0 else 0
        fans += 1 if v[of.FAN + k] > 0.0 else 0
        ask = of.HEAT2 if s[at.MODE] == 1.0 else of.COOL2
        asks = asks or v[ask + k] > 0.0
        served = of.HEAT if s[at.MODE] == 1.0 else of.COOL
        if v[served + k] > 0.0:
            longest = max(longest, v[of.CLOCK + i])
    choose_mode(p, s, heating, cooling)
    mode = s[at.MODE]
    calling = heating if mode == 1.0 else (cooling if mode == 2.0 else 0)
    held = (
        mode > 0.0
        and s[at.COMPRESSOR_ON] > 0.0
        and s[at.COMPRESSOR_ON] < p[of_plant.COMPRESSOR_MIN_ON_S]
    )
    limits(p, s, calling)
    stopped = s[at.LIMIT] + s[at.LOW_LIMIT] > 0.0 or upset & LEAK_ALARM != 0 or not powered
    if upset & FLOAT_OPEN != 0 and mode == 2.0:
        stopped = True
    if not powered:
        s[at.START_DELAY] = p[of_plant.START_DELAY_S]
    elif s[at.START_DELAY] > 0.0:
        s[at.START_DELAY] -= 1.0

    was = s[at.SOURCE]
    if stopped or (calling == 0 and not held) or not answers:
        s[at.SOURCE] = NO_HEAT_SOURCE
        if was > 0.0:
            s[at.PURGE] = p[of_plant.PURGE_S]
            s[at.SECOND] = 0.0
    elif was == 0.0:
        start(p, s)
        s[at.DROPPED] = 0.0
    if was == 0.0:
        s[at.PURGE] = max(0.0, s[at.PURGE] - 1.0)
    warm = s[at.OUTDOOR_SEEN] + p[of_plant.OUTDOOR_OFFSET_F] >= p[of_plant.HIGH_BALANCE_F]
    late = longest >= p[of_plant.BACKUP_AFTER_S] or (asks and longest >= 300.0)
    backup = mode == 1.0 and s[at.SOURCE] == PUMP and late and not warm
    if backup and p[of_plant.FURNACE] > 0.0:
        s[at.SOURCE] = BURNER
        s[at.OVERLAP] = p[of_plant.OVERLAP_S]
    if s[at.SOURCE] != BURNER:
        s[at.OVERLAP] = 0.0
    source = s[at.SOURCE]
    stages = p[of_plant.HEATING_STAGES] if source == BURNER else p[of_plant.COMPRESSOR_STAGES]
    stage_up(p, s, longest, calling, asks, stages)
    second = s[at.SECOND] if s[at.DROPPED] == 0.0 else 0.0

    chattering = False
    if p[of_plant.CHATTER_EVERY_S] > 0.0 and source > 0.0:
        s[at.CHATTER] += 1.0
        if s[at.CHATTER] >= p[of_plant.CHATTER_EVERY_S]:
            s[at.CHATTER] = 0.0
        chattering = s[at.CHATTER] < p[of_plant.CHATTER_S]
    burner = source == BURNER and not chattering
    overlapping = source == BURNER and s[at.OVERLAP] > 0.0
    s[at.OVERLAP] = max(0.0, s[at.OVERLAP] - 1.0)
    pump = (source == PUMP and not chattering) or overlapping
    s[at.WELDED] = p[of_plant.Y_WELDED] if pump else max(0.0, s[at.WELDED] - 1.0)
    pump = pump or (s[at.WELDED] > 0.0 and powered)
    s[at.W1] = 1.0 if burner else 0.0
    s[at.W2] = second if burner else 0.0
    s[at.Y1] = 1.0 if pump else 0.0
    s[at.Y2] = second if pump and source == PUMP else 0.0
    strip = source == STRIP or (backup and p[of_plant.AUX_BTUH] > 0.0)
    tempers = s[at.DEFROST] > 0.0 and p[of_plant.DEFROST_HEAT] == 2.0 and source == PUMP
    s[at.AUX] = 1.0 if strip or tempers else 0.0
    cools = mode == 2.0 or (mode == 0.0 and s[at.OB] > 0.0 and p[of_plant.OB_IN_HEATING] == 0.0)
    if mode > 0.0:
        energised = cools if p[of_plant.OB_IN_HEATING] == 0.0 else not cools
        s[at.OB] = 1.0 if energised and p[of_plant.COMPRESSOR] > 0.0 and powered else 0.0
    if not powered:
        s[at.OB] = 0.0
    s[at.BURNER_OFF] = 0.0 if burner or source == STRIP else s[at.BURNER_OFF] + 1.0
    s[at.COMPRESSOR_OFF] = 0.0 if pump else s[at.COMPRESSOR_OFF] + 1.0
    s[at.COMPRESSOR_ON] = s[at.COMPRESSOR_ON] + 1.0 if pump else 0.0

    gas_only = p[of_plant.G_IN_GAS_HEAT] == 0.0
    by_gas = source == BURNER or (source == 0.0 and mode == 1.0 and p[of_plant.HEATS] == 0.0)
    wanted = source > 0.0 or s[at.PURGE] > 0.0 or stopped
    if (gas_only and by_gas and p[of_plant.FURNACE] > 0.0) or (
        gas_only and source == 0.0 and s[at.BURNER_OFF] < s[at.COMPRESSOR_OFF]
    ):
        wanted = False
    vent = s[at.VENT] > 0.0
    on = wanted or (fans > 0 and answers) or vent or upset & LEAK_ALARM != 0
    s[at.G] = 1.0 if on and powered else 0.0
    dampers(p, z, v, s, count, calling, upset & LEAK_ALARM != 0)
