"""Position of zone 0 of everything that a zone remembers; zone i stands i further."""

PLACES = 8
(
    AIR, MASS, WALL, HEAT_TRIM, COOL_TRIM, HEAT_PHASE, COOL_PHASE, HEAT, HEAT2, COOL, COOL2,
    FAN, HEAT_S, COOL_S, OFF_S, CLOCK, BROKEN, DAMPER, GAIN, FLOW,
) = range(0, 20 * PLACES, PLACES)  # fmt: skip
LENGTH = 20 * PLACES
