"""One second of the air through the unit and of every zone's rooms."""

from sample_data.world import branches as branch_at
from sample_data.world import scalars as of_plant
from sample_data.world import state as at
from sample_data.world import zone_state as of
from sample_data.world import zones as zone_at
from sample_data.world.equipment import FLOW
from sample_data.world.thermostat import Vector


def unit_air(
    p: Vector, b: Vector, v: Vector, d: Vector, s: Vector, count: int, dampers: int,
    released: float, outdoor_f: float, sun: float,
) -> float:  # fmt: skip
    """Exchanger, plenum and return on by one second; gives the air's temperature around the unit.

    `released` is the heat of burner, compressor and strips (Btu/h).
    """
    s[at.ATTIC] += (outdoor_f + p[of_plant.ATTIC_SUN_F] * sun - s[at.ATTIC]) / 5400.0
    place_f = s[at.ATTIC] if p[of_plant.IN_ATTIC] > 0.0 else v[of.AIR + int(p[of_plant.BASE])]
    cfm = s[at.CFM]
    carried = p[of_plant.AIR_BTUH_CFM_F] * cfm
    still = max(0.0, 1.0 - cfm / 200.0)
    soak = p[of_plant.SOAK_BTUH_F] * still
    gained = released - carried * (s[at.EXCHANGER] - s[at.BACK])
    gained -= soak * (s[at.EXCHANGER] - place_f)
    s[at.EXCHANGER] += gained / (3600.0 * p[of_plant.EXCHANGER_BTU_F])
    s[at.HEAT_IN] += released / 3600.0
    s[at.THROUGHPUT] += abs(released) / 3600.0
    s[at.HEAT_OUT] += soak * (s[at.EXCHANGER] - place_f) / 3600.0
    through = cfm / (60.0 * p[of_plant.PLENUM_FT3])
    s[at.PLENUM] += (s[at.EXCHANGER] - s[at.PLENUM]) * through / (1.0 + through)
    s[at.PLENUM] += (0.3 * s[at.EXCHANGER] + 0.7 * place_f - s[at.PLENUM]) / 900.0 * still
    mixed = s[at.BACK_FLOW] * s[at.PLENUM]
    for k in range(dampers):
        mixed += d[FLOW + k] * v[of.AIR + int(b[branch_at.ZONE + k])]
    if cfm > 1.0:
        fresh_f = mixed / cfm
        if s[at.VENT] > 0.0:
            outside = min(1.0, p[of_plant.VENT_CFM] / cfm) * (1.0 - p[of_plant.VENT_RECOVERS])
            s[at.HEAT_OUT] += carried * outside * (fresh_f - outdoor_f) / 3600.0
            fresh_f += outside * (outdoor_f - fresh_f)
        through = cfm / (60.0 * p[of_plant.RETURN_FT3])
        s[at.BACK] += (fresh_f - s[at.BACK]) * through / (1.0 + through)
    s[at.BACK] += (place_f - s[at.BACK]) / 1800.0 * still
    return place_f


def rooms(
    p: Vector, z: Vector, b: Vector, v: Vector, d: Vector, s: Vector, count: int, dampers: int,
    place_f: float, outdoor_f: float, sun: float, activity: float,
) -> None:  # fmt: skip
    """Every zone's air and envelope on by one second."""
    loss_f = p[of_plant.DUCT_LOSS] * (s[at.PLENUM] - place_f)
    delivered_f = s[at.PLENUM] - loss_f
    heat = p[of_plant.AIR_BTUH_CFM_F]
    lost = 0.0
    for i in range(count):
        v[of.GAIN + i] = 0.0
        v[of.FLOW + i] = 0.0
    for k in range(dampers):
        i = int(b[branch_at.ZONE + k])
        v[of.FLOW + i] += d[FLOW + k]
        v[of.GAIN + i] += heat * d[FLOW + k] * (delivered_f - v[of.AIR + i])
        lost += heat * d[FLOW + k] * loss_f
    if p[of_plant.IN_ATTIC] > 0.0:
        s[at.HEAT_OUT] += lost / 3600.0
    else:
        v[of.GAIN + int(p[of_plant.BASE])] += lost
    for i in range(count):
        air = v[of.AIR + i]
        mass = v[of.MASS + i]
        shining = 0.5 * z[zone_at.SUN_BTUH + i] * sun
        living = z[zone_at.GAIN_BTUH + i] * activity
        out = z[zone_at.AIR_LOSS_BTUH_F + i] * (air - outdoor_f)
        v[of.GAIN + i] += z[zone_at.FILM_BTUH_F + i] * (mass - air) + living + shining - out
        s[at.HEAT_IN] += (2.0 * shining + living) / 3600.0
        s[at.THROUGHPUT] += (2.0 * shining + living) / 3600.0
        s[at.HEAT_OUT] += out / 3600.0
        if i + 1 < count:
            across = z[zone_at.LINK_BTUH_F + i] * (v[of.AIR + i + 1] - air)
            v[of.GAIN + i] += across
            v[of.GAIN + i + 1] -= across
    for i in range(count):
        air = v[of.AIR + i]
        mass = v[of.MASS + i]
        out = z[zone_at.MASS_LOSS_BTUH_F + i] * (mass - outdoor_f)
        out += z[zone_at.GROUND_BTUH_F + i] * (mass - p[of_plant.GROUND_F])
        into = z[zone_at.FILM_BTUH_F + i] * (air - mass) + 0.5 * z[zone_at.SUN_BTUH + i] * sun
        s[at.HEAT_OUT] += out / 3600.0
        v[of.MASS + i] += (into - out) / (3600.0 * z[zone_at.MASS_BTU_F + i])
        v[of.AIR + i] += v[of.GAIN + i] / (3600.0 * z[zone_at.AIR_BTU_F + i])
