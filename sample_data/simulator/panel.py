"""What thermostats and the zone panel decide, one second at a time.

The panel's memory is a vector of floats under the names below, so that the same code runs on a
list and, compiled, on an array.
"""

from collections.abc import MutableSequence

from sample_data.simulator.parameters import System

# outputs, 0 or 1
W1, W2, Y1, G, OB = range(5)
# what the panel remembers: limit open (0 or 1), dampers in relief, and seconds since or left
LIMIT, RELIEF, SINCE_TRIP, BURNER_OFF, COMPRESSOR_OFF, PURGE, ABOVE, BELOW = range(5, 13)
MEMORY = 13


def thermostats_second(
    system: System,
    second_of_day: float,
    air: MutableSequence[float],
    wall: MutableSequence[float],
    anticipated: MutableSequence[float],
    calls: MutableSequence[float],
) -> None:
    """Set `calls` (0 or 1) from the rooms' air; `wall` and `anticipated` are the sensors' state."""
    stats = system.thermostats
    for zone in range(len(calls)):
        start = stats.setback_from_s[zone]
        end = stats.setback_to_s[zone]
        after_start = second_of_day >= start
        before_end = second_of_day < end
        back = (after_start and before_end) if start <= end else (after_start or before_end)
        setpoint = stats.setback_f[zone] if back else stats.setpoint_f[zone]
        wall[zone] += (air[zone] - wall[zone]) / stats.sensor_s
        anticipated[zone] += (
            stats.anticipation_f[zone] * calls[zone] - anticipated[zone]
        ) / stats.anticipation_s[zone]
        felt = wall[zone] + anticipated[zone]
        if felt <= setpoint - 0.5 * stats.differential_f[zone]:
            calls[zone] = 1.0
        elif felt >= setpoint + 0.5 * stats.differential_f[zone]:
            calls[zone] = 0.0


def relief_second(
    system: System,
    static_inwc: float,
    calls: MutableSequence[float],
    damper: MutableSequence[float],
    memory: MutableSequence[float],
) -> None:
    """Open callers' dampers and, after the panel's waits, those of the first zones to relieve.

    How many dampers relieve is remembered from run to run; which ones follows from who calls.
    """
    panel = system.panel
    above = static_inwc > panel.static_target_inwc and memory[RELIEF] < panel.relief_most
    memory[ABOVE] = memory[ABOVE] + 1.0 if above else 0.0
    if memory[ABOVE] >= panel.relief_wait_s:
        memory[RELIEF] += 1.0
        memory[ABOVE] = 0.0
    below = static_inwc < panel.static_release_inwc and memory[RELIEF] > 0.0
    memory[BELOW] = memory[BELOW] + 1.0 if below else 0.0
    if memory[BELOW] >= panel.relief_wait_s:
        memory[RELIEF] -= 1.0
        memory[BELOW] = 0.0
    left = memory[RELIEF]
    for zone in panel.relief_order:
        damper[zone] = 0.0
        if calls[zone] == 0.0 and left > 0.0:
            damper[zone] = 1.0
            left -= 1.0
    for zone in range(len(calls)):
        if calls[zone] > 0.0:
            damper[zone] = 1.0
        elif zone not in panel.relief_order:
            damper[zone] = 0.0


def panel_second(
    system: System,
    supply_f: float,
    static_inwc: float,
    outdoor_f: float,
    calls: MutableSequence[float],
    clock: MutableSequence[float],
    damper: MutableSequence[float],
    memory: MutableSequence[float],
) -> None:
    """Turn calls into outputs (`memory`) and damper commands (`damper`, 0 closed or 1 open).

    `supply_f`, `static_inwc`, `outdoor_f` are what the panel's own sensors read; `clock` is how
    long each zone has called, for staging: it starts again after a limit trip.
    """
    panel = system.panel
    calling = 0
    longest = 0.0
    heating = memory[W1] + memory[Y1] > 0.0

    if heating and supply_f >= panel.high_limit_f:
        memory[LIMIT] = 1.0
        memory[SINCE_TRIP] = 0.0
    elif memory[LIMIT] > 0.0:
        memory[SINCE_TRIP] += 1.0
        cooled = supply_f <= panel.high_limit_f - panel.recover_f
        if cooled and memory[SINCE_TRIP] >= panel.recover_s:
            memory[LIMIT] = 0.0
    for zone in range(len(calls)):
        if calls[zone] > 0.0:
            calling += 1
            longest = max(longest, clock[zone])
            clock[zone] += 1.0
        if calls[zone] == 0.0 or memory[LIMIT] > 0.0:
            clock[zone] = 0.0

    wanted = calling > 0 and memory[LIMIT] == 0.0
    if heating and not wanted:
        if memory[Y1] > 0.0:
            memory[COMPRESSOR_OFF] = -1.0  # this second counts below
        memory[W1] = 0.0
        memory[Y1] = 0.0
        memory[BURNER_OFF] = 0.0
        memory[PURGE] = panel.purge_s
        heating = False
    elif not heating:
        memory[BURNER_OFF] += 1.0
        memory[PURGE] = max(0.0, memory[PURGE] - 1.0)
    if memory[Y1] == 0.0:
        memory[COMPRESSOR_OFF] += 1.0
    if wanted and not heating and memory[BURNER_OFF] >= panel.burner_min_off_s:
        # the fuel is chosen when a run starts and kept until it ends
        if outdoor_f < panel.low_balance_f:
            memory[W1] = 1.0
            heating = True
        elif memory[COMPRESSOR_OFF] >= panel.compressor_min_off_s:
            memory[Y1] = 1.0
            heating = True
    in_order = longest >= panel.stage_up_s and calling >= panel.stage_up_zones
    memory[W2] = 1.0 if memory[W1] > 0.0 and in_order else 0.0
    memory[OB] = 0.0
    recovering = memory[LIMIT] > 0.0 and calling > 0
    memory[G] = 1.0 if heating or memory[PURGE] > 0.0 or recovering else 0.0

    if calling > 0:
        relief_second(system, static_inwc, calls, damper, memory)
    elif memory[PURGE] == 0.0:  # at rest all stand open; in purge, as the last callers had them
        for zone in range(len(calls)):
            damper[zone] = 1.0
