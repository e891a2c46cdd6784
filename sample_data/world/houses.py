"""A healthy system drawn from a seed: sized, ducted and set as a careful installer would.

Sizes come from the climate's design temperatures, airflow from the plate's rise and from CFM per
ton, the blower's curve from the ducts; ranges are common practice, no source.
"""

from dataclasses import replace
from math import ceil, floor, sqrt

import numpy as np

from sample_data.world.climates import CLIMATES
from sample_data.world.equipment import ROOM_F, STANDARD_CFM, ZERO_F
from sample_data.world.parts import CONSTANT_AIRFLOW, Branch, Plant, Zone, density_ratio
from sample_data.world.system import Pairs, System

KINDS = ("furnace_ac", "heat_pump", "dual_fuel", "furnace", "ac")
FAN_NAMES = ("fixed_speed", "constant_torque", "constant_airflow")
# equipment of the two parts differs in sizes and in how many zones share it
SIZES = {"tuning": (1500.0, 2100.0, 2700.0), "reporting": (1300.0, 1800.0, 2400.0, 3000.0)}
SPLITS = {
    "tuning": {2: (0.56, 0.44), 3: (0.42, 0.34, 0.24), 4: (0.34, 0.28, 0.16, 0.22),
               5: (0.27, 0.24, 0.14, 0.19, 0.16), 6: (0.22, 0.2, 0.14, 0.17, 0.14, 0.13)},
    "reporting": {2: (0.62, 0.38), 3: (0.45, 0.37, 0.18), 4: (0.3, 0.3, 0.18, 0.22),
                  5: (0.3, 0.22, 0.15, 0.18, 0.15), 6: (0.24, 0.18, 0.15, 0.15, 0.13, 0.15)},
}  # fmt: skip
HOUR = 3600.0
LEAST_RISE_F = 29.0  # of low fire on its tap, all zones open
MOST_RISE_F = 80.0  # of low fire into one zone alone before relief is due
WARM_PLENUM_F = 120.0


def season_mode(season: str, kind: str) -> float:
    """The thermostats' mode: heat, cool, or auto in the months between."""
    if kind == "ac":
        return 2.0
    if kind == "furnace":
        return 1.0
    return {"heating": 1.0, "cooling": 2.0, "shoulder": 3.0}[season]


def draw(
    seed: int, part: str, kind: str, climate: str, season: str, zones: int | None = None
) -> System:
    """A healthy system; the same arguments give the same system."""
    rng = np.random.default_rng([seed, 9])
    weather = CLIMATES[climate]
    ratio = density_ratio(weather.altitude_ft)
    air = 1.08 * ratio

    def pick(low: float, high: float) -> float:
        return round(float(rng.uniform(low, high)), 4)

    count = zones or int(rng.integers(2, 7))
    area = float(rng.choice(SIZES[part])) * (1.0 if count < 5 else 1.35)
    loss = area * pick(0.21, 0.27)  # Btu/h °F
    furnace = kind in ("furnace_ac", "dual_fuel", "furnace")
    compressor = kind != "furnace"
    heats = kind in ("heat_pump", "dual_fuel")
    least = 1 if count < 5 else 2  # one stage is too coarse for so many zones
    heating_stages = int(rng.integers(least, 3)) if furnace else 1
    compressor_stages = int(rng.integers(least, 3)) if compressor else 1
    need = loss * (70.0 - weather.design_heating_f)
    heat2 = round(max(36000.0, need * pick(1.25, 1.5)), -3)
    low_fire = 0.65 if count < 5 else 0.55
    heat1 = round(heat2 * low_fire, -3) if heating_stages == 2 else heat2
    gain = area * (13.0 + 0.35 * max(0.0, weather.design_cooling_f - 85.0))
    cool2 = round(max(18000.0, gain * pick(0.95, 1.15)), -3)
    cool1 = round(cool2 * 0.68, -3) if compressor_stages == 2 else cool2
    hp47 = cool2 * 1.02
    aux = 0.0
    if kind == "heat_pump":
        strips = 5.0 * max(1.0, round((need - 0.55 * hp47) * 1.15 / 17060.0))
        aux = strips * 3412.0
    # airflow
    cool_cfm = cool2 / 12000.0 * pick(385, 415) * (1.14 - 0.14 * weather.damp) / ratio
    rise1, rise2 = pick(38, 44), pick(43, 50)
    if compressor:  # no furnace is so small that cooling's airflow leaves it cold
        heat2 = max(heat2, round(cool_cfm * air * 36.0, -3))
        heat1 = round(heat2 * low_fire, -3) if heating_stages == 2 else heat2
    heat2_cfm = heat2 / (air * (rise2 if heating_stages == 2 else rise1))
    heat1_cfm = heat1 / (air * rise1)
    aux_cfm = (hp47 * 0.6 + aux) / (air * 50.0) if kind == "heat_pump" else 0.0
    wanted = [cool_cfm if compressor else 0.0, aux_cfm]
    if furnace:
        wanted += [heat1_cfm, heat2_cfm]
    top = max(wanted)
    if furnace:  # the lowest tap is not far below the highest
        heat1_cfm, heat2_cfm = max(heat1_cfm, 0.74 * top), max(heat2_cfm, 0.85 * top)
        if heating_stages == 2:  # nor is low fire so small that its lowest tap leaves it lukewarm
            heat1 = max(heat1, ceil(LEAST_RISE_F * air * heat1_cfm / 1000.0) * 1000.0)
        rise1, rise2 = heat1 / (air * heat1_cfm), heat2 / (air * heat2_cfm)
    cool2_cfm = max(cool_cfm, aux_cfm)
    cool1_cfm = max(cool2_cfm * (0.78 if compressor_stages == 2 else 1.0), aux_cfm)
    fan_cfm = 0.6 * top
    # ducts and blower around the largest airflow
    supply_inwc, series_inwc = pick(0.185, 0.23), pick(0.30, 0.38)
    open_cfm = top * sqrt(ratio / supply_inwc)
    series = series_inwc / ratio / (top / 1000.0) ** 2
    blower = int(rng.integers(0, 3))
    full = top * 1.08
    total = (supply_inwc + series_inwc) / ratio * 1.08**2
    shutoff = total * (1.5, 1.55, 1.6)[blower]
    fall = (shutoff - total) / (full / 1000.0) ** 2
    taps = [heat1_cfm, heat2_cfm, cool1_cfm, cool2_cfm, fan_cfm]
    if blower < 2:
        taps = [cfm / full for cfm in taps]
    attic = kind != "furnace" and weather.design_cooling_f > 92 and bool(rng.integers(0, 2))
    g_in_gas = heats or bool(rng.integers(0, 2))
    # static with the most air and all zones open, and what the installer set over it
    target = round(round((supply_inwc + pick(0.16, 0.22)) / 0.05) * 0.05, 2)
    away = pick(8, 18)
    low_balance = min(max(round(weather.design_heating_f + away), 26), 38)
    high_balance = low_balance + 15
    if kind == "heat_pump":  # strips are sized to help the compressor, not to carry the house
        low_balance = min(max(round(weather.design_heating_f - away), 0), 20)
        slope = 0.4 * hp47 / 30.0
        carries_f = (loss * 70.0 - 0.6 * hp47 + 17.0 * slope) / (loss + slope)
        high_balance = max(low_balance + 15, ceil(carries_f) + 5)
    min_zones = 2 if count > 2 else 1
    min_zones = min_zones if heating_stages == 2 or compressor_stages == 2 else 1
    stage_by = int(rng.integers(0, 3))
    plant = Plant(
        air_btuh_cfm_f=air, density=ratio, in_attic=float(attic), base=float(count - 1),
        attic_sun_f=28.0 if season == "cooling" else 14.0,
        ground_f=70.0 if weather.design_heating_f > 25 else 54.0,
        furnace=float(furnace), heating_stages=float(heating_stages), heat1_btuh=heat1,
        heat2_btuh=heat2, ignition_s=round(pick(30, 50)), exchanger_btu_f=round(heat2 / 2200.0, 1),
        compressor=float(compressor), heats=float(heats),
        compressor_stages=float(compressor_stages), cool1_btuh=cool1, cool2_btuh=cool2,
        hp17_btuh=hp47 * 0.6, hp47_btuh=hp47,
        low_stage=0.68 if compressor_stages == 2 else 1.0,
        sensible=round(0.82 - 0.1 * weather.damp, 3), coil_cfm=cool2_cfm,
        frost_per_h=round(0.15 + 0.75 * weather.damp, 3) if heats else 0.0,
        defrost_every_s=float(rng.choice([3600, 5400])), aux_btuh=aux, blower=float(blower),
        defrost_heat=float(rng.integers(1, 3)) if kind == "heat_pump" else 0.0,
        shutoff_inwc=shutoff, fall_inwc=fall, tap_heat1=taps[0], tap_heat2=taps[1],
        tap_cool1=taps[2], tap_cool2=taps[3], tap_fan=taps[4],
        spin_s=(3.0, 6.0, 14.0)[blower],
        fan_on_delay_s=round(pick(25, 45)), fan_off_delay_s=float(rng.choice([90, 120, 150])),
        compressor_fan_off_s=float(rng.choice([30, 60])), g_in_gas_heat=float(g_in_gas),
        open_cfm=open_cfm, series_inwc=series, plenum_ft3=round(top / 45.0),
        return_ft3=round(top / 28.0), duct_loss=0.07 if attic else 0.04,
        static_target_inwc=target,
        static_release_inwc=round((0.2 if count == 2 else 0.28) * target, 3),
        relief_wait_s=float(rng.choice([30, 45, 60])), relief_hold_s=60.0,
        high_limit_f=160.0 if furnace else 135.0,
        low_limit_f=float(rng.choice([40, 42])), low_balance_f=low_balance,
        high_balance_f=high_balance, stage_up_s=60.0 * float(rng.choice([8, 10, 12, 15])),
        stage_up_by=float(stage_by), stage_clock=float(rng.integers(0, 2)),
        stage_release=float(rng.integers(0, 2)) if count == 2 else 0.0,
        stage2_zones=float(min_zones),
        backup_after_s=2400.0, compressor_min_on_s=300.0, purge_s=float(rng.choice([90, 120, 150])),
        purge_held=1.0, idle=float(rng.integers(1, 3)),
        sensor_offset_f=pick(-1.5, 0.5), ob_in_heating=float(heats and rng.integers(0, 4) == 0),
    )  # fmt: skip
    shares = SPLITS[part][count]
    mode = season_mode(season, kind)
    heat_pump_stat = heats
    occupied = round(pick(69, 71) * 2) / 2
    cool_f = round(pick(74, 76) * 2) / 2
    made = []
    for i, share in enumerate(shares):
        setback = float(rng.choice([0.0, 3.0, 4.0])) if i != count - 1 else 0.0
        back_h = (22.0 + 0.5 * float(rng.integers(0, 3)), 5.5 + 0.5 * float(rng.integers(0, 4)))
        part_loss = loss * share * pick(0.92, 1.06)
        heat_f = occupied - (0.5 if i == count - 1 else 0.0)
        made.append(
            Zone(
                air_btu_f=round(area * share * pick(2.6, 3.2)),
                mass_btu_f=round(area * share * pick(5.5, 7.5)),
                film_btuh_f=round(area * share * 4.0),
                air_loss_btuh_f=round(part_loss * 0.55, 1),
                mass_loss_btuh_f=round(part_loss * 0.45, 1),
                sun_btuh=round(area * share * pick(3.0, 6.0)),
                gain_btuh=round(area * share * 1.3),
                link_btuh_f=round(area * 0.1),
                kind=1.0 if heat_pump_stat else 0.0,
                mode=mode,
                heat_f=heat_f,
                cool_f=cool_f,
                heat_back_f=heat_f - setback,
                cool_back_f=cool_f + (3.0 if setback else 0.0),
                back_from_s=back_h[0] * HOUR if setback else 0.0,
                back_to_s=back_h[1] * HOUR if setback else 0.0,
                early_s=float(rng.choice([0, 0, 1800])) if setback else 0.0,
                cycles_per_h=2.8 if heats or mode == 2.0 else float(rng.choice([3, 4])),
                compressor_delay_s=float(rng.choice([0, 180])) if compressor else 0.0,
                relief=1.0 if share >= 0.14 or count == 2 else 0.0,
            )
        )
    ducts = [Branch(zone=float(i), share=share) for i, share in enumerate(shares)]
    if count < 7 and rng.integers(0, 5) == 0:  # the first zone has two dampers
        ducts[0] = Branch(zone=0.0, share=round(shares[0] * 0.6, 4))
        ducts.append(Branch(zone=0.0, share=round(shares[0] * 0.4, 4)))
    travel = float(rng.choice([30, 45, 60]))
    ducts = [
        Branch(zone=d.zone, share=d.share, travel_s=travel, leak=pick(0.06, 0.10)) for d in ducts
    ]
    system = System(
        name=f"{part}-{seed:05d}", seed=seed, part=part, kind=kind, climate=climate, season=season,
        plant=plant, zones=tuple(made), branches=tuple(ducts), equipment=(), sheet=(),
        cycles_on_sheet=tuple(zone.cycles_per_h for zone in made),
    )  # fmt: skip
    if furnace:
        system = replace(system, plant=with_relief_in_time(system))
    return replace(system, equipment=plate(system, rise1, rise2), sheet=sheet(system))


def alone(system: System, zone: int) -> tuple[float, float]:
    """Airflow (CFM) and static (in. w.c.) of first-stage heat with one zone's dampers open.

    The same meeting of blower and duct curve as `equipment.air_path`, as a balancer would find it.
    """
    p = system.plant
    part = sum(b.share * (1.0 if b.zone == zone else b.leak) for b in system.branches)
    grown = (WARM_PLENUM_F + ZERO_F) / (ROOM_F + ZERO_F)
    unit = STANDARD_CFM * STANDARD_CFM
    ducts = grown / (part * p.open_cfm) ** 2
    resists = (p.fall_inwc + p.series_inwc) / unit + ducts
    speed = p.tap_heat1
    if p.blower == CONSTANT_AIRFLOW:
        speed = min(speed * sqrt(resists / p.shutoff_inwc), p.speed_max)
    cfm = speed * sqrt(p.shutoff_inwc / resists)
    return cfm, p.density * cfm * cfm * ducts


def with_relief_in_time(system: System) -> Plant:
    """The plant with its static target low enough that relief is due before a zone that calls
    alone leaves first-stage heat too little air for the panel's high limit."""
    p = system.plant
    target = p.static_target_inwc
    for zone in range(len(system.zones)):
        cfm, static_inwc = alone(system, zone)
        if p.heat1_btuh / (p.air_btuh_cfm_f * cfm) > MOST_RISE_F and static_inwc < target + 0.01:
            target = round(floor((static_inwc - 0.01) / 0.05) * 0.05, 2)
    release = round(p.static_release_inwc / p.static_target_inwc * target, 3)
    return replace(p, static_target_inwc=target, static_release_inwc=release)


def plate(system: System, rise1: float, rise2: float) -> Pairs:
    """[equipment] of site.toml: what plates and nameplates say."""
    p = system.plant
    pairs: list[tuple[str, float | int | str | bool]] = [("kind", system.kind)]
    furnace = p.furnace > 0
    stages = p.heating_stages if furnace else p.compressor_stages
    if system.kind != "ac":
        pairs.append(("heating_stages", int(stages)))
    if p.compressor > 0:
        pairs.append(("cooling_stages", int(p.compressor_stages)))
        outputs = [p.cool1_btuh, p.cool2_btuh][: int(p.compressor_stages)]
        pairs.append(("cooling_output_btuh", str([round(x) for x in outputs])))
    if system.kind == "dual_fuel":
        pairs.append(("compressor_stages", int(p.compressor_stages)))
    if furnace:
        outputs = [p.heat1_btuh, p.heat2_btuh][: int(p.heating_stages)]
        pairs.append(("heating_output_btuh", str([round(x) for x in outputs])))
        bands = [[round((r - 12) / 5) * 5, round((r + 25) / 5) * 5] for r in (rise1, rise2)]
        pairs.append(("temperature_rise_f", str(bands[: int(p.heating_stages)])))
        pairs.append(("max_outlet_f", 170))
    if p.heats > 0:
        both = f"{{ at_47f = {round(p.hp47_btuh)}, at_17f = {round(p.hp17_btuh)} }}"
        pairs.append(("heat_pump_output_btuh", both))
        pairs.append(("ob_energised_in", "heating" if p.ob_in_heating > 0 else "cooling"))
        words = ("none", "outdoor_unit", "panel")
        pairs.append(("defrost_heat_from", words[int(p.defrost_heat)]))
    if p.aux_btuh > 0:
        pairs.append(("aux_kw", f"[{p.aux_btuh / 3412.0:.0f}]"))
    pairs.append(("fan", FAN_NAMES[int(p.blower)]))
    if furnace:
        pairs.append(("fan_on_delay_s", int(p.fan_on_delay_s)))
        pairs.append(("fan_output_in_gas_heat", p.g_in_gas_heat > 0))
    off = p.fan_off_delay_s if furnace else p.compressor_fan_off_s
    pairs.append(("fan_off_delay_s", int(off)))
    pairs += [("staged_by", "panel"), ("bypass", "none")]
    pairs += [("ventilator", "none"), ("fault_contact_alarm", "closed")]
    return tuple(pairs)


def sheet(system: System) -> Pairs:
    """[settings] of site.toml: what the healthy panel is set to."""
    p = system.plant
    pairs: list[tuple[str, float | int | str | bool]] = [
        ("static_target_inwc", p.static_target_inwc)
    ]
    if system.kind != "ac":
        pairs.append(("high_limit_f", int(p.high_limit_f)))
    if p.compressor > 0:
        pairs += [("low_limit_f", int(p.low_limit_f))]
        pairs += [("compressor_min_off_min", round(p.compressor_min_off_s / 60))]
    if p.heats > 0:
        pairs += [("low_balance_f", int(p.low_balance_f))]
        pairs += [("high_balance_f", int(p.high_balance_f))]
    if p.heating_stages > 1 or p.compressor_stages > 1:
        pairs += [
            ("stage_up_delay_min", round(p.stage_up_s / 60)),
            ("stage_up_by", ("timer", "thermostat", "both")[int(p.stage_up_by)]),
            ("stage_up_clock", ("equipment_start", "zone_call")[int(p.stage_clock)]),
            ("stage2_min_zones", int(p.stage2_zones)),
            ("stage2_release", ("follows", "until_satisfied")[int(p.stage_release)]),
        ]
    pairs += [
        ("changeover_wait_min", round(p.changeover_wait_s / 60)),
        ("damper_travel_s", int(system.branches[0].travel_s)),
        ("relief_wait_s", int(p.relief_wait_s)),
        ("purge_s", int(p.purge_s)),
    ]
    return tuple(pairs)
