"""What a system is made of: the numbers that a scenario sets and the step functions read.

Per-zone values are tuples in zone order. °F, Btu/h, CFM, in. w.c., seconds. Plain named tuples,
because numba reads them as they stand.
"""

from typing import NamedTuple

Values = tuple[float, ...]


class Rooms(NamedTuple):
    """Zones as two thermal masses each: air with furnishings, and envelope."""

    air_btu_f: Values  # heat capacity of air and light furnishings
    mass_btu_f: Values  # heat capacity of envelope and partitions
    film_btuh_f: Values  # between the two
    air_loss_btuh_f: Values  # air to outdoors: windows, infiltration
    mass_loss_btuh_f: Values  # envelope to outdoors
    ground_loss_btuh_f: Values  # envelope to ground
    ground_f: float
    sun_btuh: Values  # gain at full sun
    gain_btuh: Values  # people and appliances, mean of the day
    link_a: tuple[int, ...]  # neighbouring zones: open doors, stairs, partitions
    link_b: tuple[int, ...]
    link_btuh_f: Values


class Thermostats(NamedTuple):
    """Conventional heating thermostats with anticipation: one stage, W1 only."""

    setpoint_f: Values
    setback_f: Values
    setback_from_s: Values  # second of the local day; may run over midnight; from = to: none
    setback_to_s: Values
    differential_f: Values
    anticipation_f: Values  # how much the anticipator adds after a long call
    anticipation_s: Values  # its time constant
    sensor_s: float  # lag of the sensor on the wall


class Ducts(NamedTuple):
    """Supply branches in parallel behind a common trunk, and everything in series with them."""

    share: Values  # of the open system's conductance, by zone
    open_cfm: float  # flow that all branches together pass at 1 in. w.c., standard air
    leak: float  # conductance of a closed damper over that of an open one
    series_inwc: float  # return, filter, coil and trunk: drop at 1,000 CFM, standard air
    travel_s: float  # damper actuator
    loss: float  # share of the supply air's excess over the basement lost to it on the way
    basement: int  # zone index that the ducts and the unit stand in
    plenum_ft3: float
    return_ft3: float


class Fan(NamedTuple):
    """Blower at one speed per output state; curve at full speed and standard air."""

    shutoff_inwc: float
    fall_inwc: float  # how much the pressure has fallen at 1,000 CFM
    low_speed: float  # G, W1 and Y1
    high_speed: float  # W2
    spin_s: float


class Heat(NamedTuple):
    """Two-stage furnace and one compressor on the same air stream."""

    first_btuh: float
    second_btuh: float
    ignition_s: float  # W1 on to flame
    burner_s: float  # lag of the burner's heat behind the flame
    exchanger_btu_f: float  # exchanger, coil and sheet metal
    soak_btuh_f: float  # what the exchanger loses to the basement with the blower off
    own_limit_f: float  # the furnace's own limit, at the exchanger
    own_limit_back_f: float
    compressor_17_btuh: float
    compressor_47_btuh: float
    compressor_cool_btuh: float
    compressor_s: float


class Panel(NamedTuple):
    """Zone panel settings as it behaves, which need not be what the sheet in it says."""

    static_target_inwc: float
    static_release_inwc: float
    relief_wait_s: float
    relief_most: int  # relief dampers it will open at once
    relief_order: tuple[int, ...]
    high_limit_f: float
    recover_f: float  # below the limit
    recover_s: float
    low_balance_f: float
    stage_up_s: float
    stage_up_zones: int
    burner_min_off_s: float
    compressor_min_off_s: float
    purge_s: float
    sensor_s: float  # lag of its supply-air sensor
    sensor_offset_f: float  # what that sensor reads less the air at the logger's probe
    static_sensor_s: float


class System(NamedTuple):
    """One house with its equipment and panel."""

    air_btuh_cfm_f: float  # 1.08 x density ratio
    density: float  # of the air over standard
    rooms: Rooms
    thermostats: Thermostats
    ducts: Ducts
    fan: Fan
    heat: Heat
    panel: Panel


def density_ratio(altitude_ft: float) -> float:
    """Air density over that at sea level, same temperature: the standard atmosphere's pressure.

    ASHRAE Fundamentals 2017, chapter 1, equation 3.
    """
    return float((1.0 - 6.8754e-6 * altitude_ft) ** 5.2559)
