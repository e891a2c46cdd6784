"""What a system is made of: frozen descriptions with units in their names.

`Plant` holds the numbers of the one system, `Zone` those of a zone, `Branch` those of a duct branch
with its damper. Every field is a number, so `pack` turns them into flat vectors which the step
reads by position; the positions carry the fields' names in capitals (`scalars`, `zones`,
`branches`). °F, Btu/h, CFM, in. w.c., seconds.
"""

from dataclasses import dataclass

FURNACE, COMPRESSOR, STRIP = 1, 2, 3
FIXED_SPEED, CONSTANT_TORQUE, CONSTANT_AIRFLOW = 0, 1, 2
BY_TIMER, BY_THERMOSTAT, BY_BOTH = 0, 1, 2
AT_EQUIPMENT_START, AT_ZONE_CALL = 0, 1
FOLLOWS, UNTIL_SATISFIED = 0, 1
IDLE_CLOSED, IDLE_OPEN, IDLE_LAST = 0, 1, 2
NO_DEFROST_HEAT, FROM_OUTDOOR_UNIT, FROM_PANEL = 0, 1, 2
OFF, HEAT, COOL, AUTO = 0, 1, 2, 3
CONVENTIONAL, HEAT_PUMP = 0, 1


@dataclass(frozen=True)
class Plant:
    """Equipment, blower, ducts in common, panel and place, as they are (not as the sheet says)."""

    # place and air
    air_btuh_cfm_f: float = 1.08  # 1.08 x density ratio
    density: float = 1.0
    ground_f: float = 52.0
    in_attic: float = 0.0  # 1: unit and ducts stand in the attic, else in zone `base`
    base: float = 0.0
    attic_sun_f: float = 25.0  # attic over outdoors in full sun
    # gas furnace
    furnace: float = 1.0
    heating_stages: float = 1.0
    heat1_btuh: float = 60000.0
    heat2_btuh: float = 60000.0
    fire: float = 1.0  # gas input over the plate's
    ignition_s: float = 40.0  # W1 to flame
    burner_s: float = 9.0
    exchanger_btu_f: float = 32.0
    soak_btuh_f: float = 25.0
    own_limit_f: float = 190.0  # the furnace's own limit, at the exchanger
    own_limit_back_f: float = 145.0
    board_stage_s: float = 0.0  # the furnace stages itself up after this; 0: it does not
    stage2_works: float = 1.0
    ignition_fails: float = 0.0  # share of tries that fail
    flame_losses_per_h: float = 0.0
    retry_wait_s: float = 75.0
    retries: float = 3.0
    lockout_s: float = 3600.0
    lockout_alarm: float = 1.0  # 1: the fault contact tells
    # compressor
    compressor: float = 1.0
    heats: float = 0.0  # 1: heat pump
    compressor_stages: float = 1.0
    cool1_btuh: float = 36000.0  # total at 95 °F outdoors
    cool2_btuh: float = 36000.0
    hp17_btuh: float = 21000.0
    hp47_btuh: float = 36000.0
    low_stage: float = 1.0  # heating output of first stage over that of the whole
    compressor_lag_s: float = 60.0
    sensible: float = 0.75
    coil_cfm: float = 1200.0  # airflow at which the outputs hold
    charge: float = 1.0  # refrigerant over what it should be
    protect_above_f: float = 200.0  # outdoors; stops itself after `protect_after_s` of cooling
    protect_below_f: float = -90.0  # the same in heating
    protect_after_s: float = 900.0
    protect_off_s: float = 300.0
    compressor_dead: float = 0.0
    valve_wrong: float = 0.0
    frost_per_h: float = 0.0  # share of a full coil per hour of heating at 32 °F
    defrost_every_s: float = 3600.0
    defrost_needs_frost: float = 1.0
    defrost_max_s: float = 600.0
    defrost_heat: float = 1.0
    # strip heat
    aux_btuh: float = 0.0
    # blower
    blower: float = 0.0
    shutoff_inwc: float = 1.17
    fall_inwc: float = 0.40  # pressure lost at 1,000 CFM
    tap_heat1: float = 0.8  # share of full speed; CFM where airflow is held constant
    tap_heat2: float = 1.0
    tap_cool1: float = 0.9
    tap_cool2: float = 1.0
    tap_fan: float = 0.6
    speed_max: float = 1.0
    spin_s: float = 3.0
    fan_on_delay_s: float = 40.0
    fan_off_delay_s: float = 120.0
    compressor_fan_off_s: float = 45.0
    g_in_gas_heat: float = 0.0
    blower_dead: float = 0.0
    blower_strength: float = 1.0
    blower_loss_per_day: float = 0.0
    # ducts in common
    open_cfm: float = 2900.0  # flow of all branches together at 1 in. w.c.
    series_inwc: float = 0.21  # return, filter, coil, trunk: drop at 1,000 CFM
    return_part: float = 0.6  # of that, on the return side
    clogged: float = 1.0  # return side's drop over the clean one
    clogging_per_day: float = 0.0
    plenum_ft3: float = 25.0
    return_ft3: float = 40.0
    duct_loss: float = 0.05
    bypass: float = 0.0  # conductance when open over that of all branches
    bypass_opens_inwc: float = 0.35
    bypass_width_inwc: float = 0.08
    return_leak: float = 0.0  # supply plenum to return, like `bypass`, always open
    vent_cfm: float = 0.0
    vent_s_per_h: float = 0.0  # fan-only minutes that the ventilator asks for
    vent_recovers: float = 0.7
    # panel
    static_target_inwc: float = 0.45
    static_release_inwc: float = 0.22
    relief_wait_s: float = 60.0
    relief_hold_s: float = 60.0
    relief_most: float = 6.0
    high_limit_f: float = 150.0
    low_limit_f: float = 42.0
    limits_dead: float = 0.0
    stage_drop_f: float = 0.0  # below the limit; 0: second stage is not dropped first
    recover_f: float = 20.0
    recover_s: float = 180.0
    low_balance_f: float = 30.0
    high_balance_f: float = 45.0
    stage_up_s: float = 600.0
    stage_up_by: float = 0.0
    stage_clock: float = 1.0
    stage_release: float = 0.0
    stage2_zones: float = 2.0
    stage2_blocked: float = 0.0
    backup_after_s: float = 1800.0
    overlap_s: float = 0.0  # both fuels after a change of fuel
    emergency: float = 0.0
    burner_min_off_s: float = 60.0
    compressor_min_off_s: float = 300.0
    compressor_min_on_s: float = 0.0
    purge_s: float = 120.0
    purge_held: float = 1.0
    idle: float = 1.0
    changeover_wait_s: float = 900.0
    settle_s: float = 120.0
    sensor_s: float = 25.0
    sensor_offset_f: float = 0.0
    outdoor_offset_f: float = 0.0
    static_sensor_s: float = 5.0
    ob_in_heating: float = 0.0
    start_delay_s: float = 300.0
    chatter_every_s: float = 0.0
    chatter_s: float = 5.0
    y_welded: float = 0.0  # compressor contactor stays in for this long after Y
    fan_welded: float = 0.0
    call_lost: float = 0.0  # 1: the panel's heat and cool outputs do not answer calls


@dataclass(frozen=True)
class Zone:
    """One zone's rooms and thermostat."""

    # rooms as two masses: air with furnishings, and envelope
    air_btu_f: float = 2500.0
    mass_btu_f: float = 5500.0
    film_btuh_f: float = 3000.0
    air_loss_btuh_f: float = 120.0
    mass_loss_btuh_f: float = 100.0
    ground_btuh_f: float = 0.0
    sun_btuh: float = 4000.0
    gain_btuh: float = 1000.0
    link_btuh_f: float = 150.0  # to the next zone
    # thermostat
    kind: float = 0.0
    mode: float = 1.0
    heat_f: float = 70.0
    cool_f: float = 75.0
    heat_back_f: float = 70.0
    cool_back_f: float = 75.0
    back_from_s: float = 0.0
    back_to_s: float = 0.0  # equal to `back_from_s`: no setback
    early_s: float = 0.0
    cycles_per_h: float = 4.0
    differential_f: float = 0.0  # over 0: plain two-position, no rate
    compressor_delay_s: float = 0.0
    stage2_droop_f: float = 1.2
    stage2_after_s: float = 600.0
    fan_on: float = 0.0
    sensor_s: float = 120.0
    sensor_offset_f: float = 0.0
    stream: float = 0.0  # share of delivered air in what the sensor feels while its branch blows
    # panel's side of the zone
    relief: float = 1.0
    stat_of: float = -1.0  # the thermostat that is wired here; -1: its own
    away: float = 0.0  # 1: its call never reaches the panel


@dataclass(frozen=True)
class Branch:
    """One damper and the duct behind it."""

    zone: float = 0.0
    driven_by: float = -1.0  # the zone whose command moves it; -1: its own
    share: float = 0.25
    leak: float = 0.06
    travel_s: float = 60.0
    stuck: float = -1.0  # position it is stuck at, 0 to 1; -1: it moves
    stuck_from_s: float = 0.0
    register: float = 1.0  # conductance over the planned one


def density_ratio(altitude_ft: float) -> float:
    """Air density over that at sea level: ASHRAE Fundamentals 2017, chapter 1, equation 3."""
    return float((1.0 - 6.8754e-6 * altitude_ft) ** 5.2559)
