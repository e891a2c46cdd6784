"""Position of branch 0 of every number of `parts.Branch`; branch i stands i further."""

PLACES = 8
(
    ZONE, DRIVEN_BY, SHARE, LEAK, TRAVEL_S, STUCK, STUCK_FROM_S, REGISTER,
) = range(0, 8 * PLACES, PLACES)  # fmt: skip
LENGTH = 8 * PLACES
