"""Blower against ducts, and the heat that the air carries: one second at a time."""

from collections.abc import MutableSequence
from math import sqrt

from sample_data.simulator.parameters import System

STANDARD_CFM = 1000.0
ROOM_F = 70.0
ZERO_F = 459.67  # 0 °F above absolute zero


def airflow(
    system: System,
    speed: float,
    supply_f: float,
    position: MutableSequence[float],
    branch: MutableSequence[float],
) -> tuple[float, float]:
    """CFM at the blower and static in the trunk (in. w.c.); branch flows go into `branch`.

    Branches in parallel: q = C·sqrt(p); blower: p = speed²·shutoff - fall·q² (fan laws hold
    exactly); all pressures scale with density. So the meeting point is one square root, without
    iteration. Flows are counted at the blower; in the branches the air has grown with its absolute
    temperature, which is why static climbs by a tenth while the plenum warms up.
    """
    ducts = system.ducts
    conductance = 0.0
    for zone in range(len(ducts.share)):
        branch[zone] = ducts.share[zone] * (ducts.leak + (1.0 - ducts.leak) * position[zone])
        conductance += branch[zone]
    open_cfm = conductance * ducts.open_cfm
    series = (system.fan.fall_inwc + ducts.series_inwc) / (STANDARD_CFM * STANDARD_CFM)
    grown = (supply_f + ZERO_F) / (ROOM_F + ZERO_F)
    branches = grown / (open_cfm * open_cfm)
    cfm = speed * sqrt(system.fan.shutoff_inwc / (series + branches))
    for zone in range(len(ducts.share)):
        branch[zone] = cfm * branch[zone] / conductance
    return cfm, system.density * cfm * cfm * branches


def compressor_btuh(system: System, outdoor_f: float) -> float:
    """Heating output of the compressor (Btu/h): a line through its ratings at 17 and 47 °F."""
    heat = system.heat
    slope = (heat.compressor_47_btuh - heat.compressor_17_btuh) / 30.0
    return heat.compressor_17_btuh + slope * (outdoor_f - 17.0)


def rooms_second(
    system: System,
    air: MutableSequence[float],
    mass: MutableSequence[float],
    gain: MutableSequence[float],
    branch: MutableSequence[float],
    supply_f: float,
    outdoor_f: float,
    sun: float,
    activity: float,
) -> None:
    """Move every zone's air and envelope on by one second, in place. `gain` is scratch (Btu/h)."""
    rooms = system.rooms
    ducts = system.ducts
    basement_f = air[ducts.basement]
    delivered_f = supply_f - ducts.loss * (supply_f - basement_f)
    flow = 0.0
    for zone in range(len(ducts.share)):
        gain[zone] = (
            system.air_btuh_cfm_f * branch[zone] * (delivered_f - air[zone])
            + rooms.film_btuh_f[zone] * (mass[zone] - air[zone])
            + rooms.air_loss_btuh_f[zone] * (outdoor_f - air[zone])
            + rooms.gain_btuh[zone] * activity
            + 0.5 * rooms.sun_btuh[zone] * sun
        )
        flow += branch[zone]
    lost = system.air_btuh_cfm_f * flow * ducts.loss * (supply_f - basement_f)
    gain[ducts.basement] += lost
    for link in range(len(rooms.link_a)):
        a = rooms.link_a[link]
        b = rooms.link_b[link]
        through = rooms.link_btuh_f[link] * (air[b] - air[a])
        gain[a] += through
        gain[b] -= through
    for zone in range(len(ducts.share)):
        into_mass = (
            rooms.film_btuh_f[zone] * (air[zone] - mass[zone])
            + rooms.mass_loss_btuh_f[zone] * (outdoor_f - mass[zone])
            + rooms.ground_loss_btuh_f[zone] * (rooms.ground_f - mass[zone])
            + 0.5 * rooms.sun_btuh[zone] * sun
        )
        mass[zone] += into_mass / (3600.0 * rooms.mass_btu_f[zone])
        air[zone] += gain[zone] / (3600.0 * rooms.air_btu_f[zone])
