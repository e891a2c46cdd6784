"""The step against physics and handbook: rise, fan laws, cycle curve, heat kept."""

from dataclasses import replace

import numpy as np
import pytest

from sample_data import world
from sample_data.world import branches as branch_at
from sample_data.world import scalars
from sample_data.world import state as at
from sample_data.world import zone_state as of
from sample_data.world import zones as zone_at
from sample_data.world.equipment import FLOW, air_path
from sample_data.world.loop import CLOSE_DAMPER, PLACES, Drive, Record, pack, simulate
from sample_data.world.parts import Branch, Plant, Zone, density_ratio
from sample_data.world.system import System
from sample_data.world.thermostat import demand
from sample_data.world.worlds import drive


def cut(of_drive: Drive, seconds: int) -> Drive:
    """The first seconds of a drive."""
    parts = {name: value[:seconds] for name, value in vars(of_drive).items() if name != "first"}
    return Drive(of_drive.first, **parts)


def held(system: System, bits: int, seconds: int = 2400, outdoor_f: float = 40.0) -> Record:
    """The system under one service order all the time."""
    flat = np.full(seconds, outdoor_f)
    orders = np.full(seconds, bits, dtype=np.int64)
    nothing = np.zeros(seconds, dtype=np.int64)
    driven = Drive(0, flat, 0 * flat, flat / outdoor_f, orders, nothing)
    return simulate(system.plant, system.zones, system.branches, driven)


@pytest.mark.parametrize("number", range(3))
def test_compiled_and_plain_agree_to_the_last_bit(number: int) -> None:
    pytest.importorskip("numba")
    system = world.healthy("tuning", number)
    short = cut(drive(system), 3 * 3600)
    made = [
        simulate(system.plant, system.zones, system.branches, short, 7, use_numba)
        for use_numba in (True, False)
    ]
    assert np.array_equal(made[0].signals, made[1].signals)
    assert np.array_equal(made[0].flags, made[1].flags)
    assert made[0].heat_out_btu == made[1].heat_out_btu


@pytest.mark.parametrize("closed", [(), (0,), (1, 2)])
@pytest.mark.parametrize("second_stage", [False, True])
def test_steady_rise_balances_the_output(closed: tuple[int, ...], second_stage: bool) -> None:
    """q = 1.08 x density ratio x CFM x rise within 0.5 % after 40 min of one output and one set of
    dampers. 1.08 = 0.075 lb/ft³ x 0.24 Btu/lb°F x 60 min/h; at 5,280 ft the standard atmosphere
    gives 12.1002 psia (psychrolib) over 14.696 = 0.82337, at 620 ft 0.97779 by the same formula.
    """
    system = world.healthy("tuning", 3, "furnace", "heating", 4)
    ratio = {"high plains": 0.82337, "lake shore": (1 - 6.8754e-6 * 620) ** 5.2559}.get(
        system.climate, density_ratio(system.weather.altitude_ft)
    )
    bits = 1 | (2 if second_stage else 0) | 16
    for zone in closed:
        bits |= 1 << (CLOSE_DAMPER + zone)
    kept = held(replace(system, plant=replace(system.plant, own_limit_f=300.0)), bits)
    supply, back, cfm = (kept.signal(name)[-1] for name in ("supply_f", "return_f", "cfm"))
    p = system.plant
    output = p.heat2_btuh if second_stage and p.heating_stages > 1 else p.heat1_btuh
    assert 1.08 * ratio * cfm * (supply - back) == pytest.approx(output, rel=0.005)


def test_altitude_against_published_ratios() -> None:
    """Public design-guide table: 6,000 ft 0.801, 7,000 ft 0.772, 8,000 ft 0.743."""
    assert [round(density_ratio(ft), 3) for ft in (6000, 7000, 8000)] == [0.801, 0.772, 0.743]


def blown(plant: Plant, speed: float, positions: list[float]) -> tuple[float, float]:
    """CFM and static at a blower speed and damper positions, plenum at 70 °F."""
    ducts = [Branch(zone=float(i), share=1 / len(positions)) for i in range(len(positions))]
    s, d = [0.0] * at.LENGTH, [0.0] * (2 * PLACES)
    d[: len(positions)] = positions
    s[at.SPEED], s[at.PLENUM] = speed, 70.0
    p = list(vars(plant).values())
    air_path(p, pack(ducts, PLACES).tolist(), d, s, len(positions), 0.0)
    assert sum(d[FLOW : FLOW + len(positions)]) == pytest.approx(s[at.CFM])
    return s[at.CFM], s[at.STATIC]


def test_fan_laws() -> None:
    """1,200 to 1,500 rpm: 10,000 to 12,500 CFM and 2.0 to 3.125 in. w.c. (published example)."""
    slow, fast = (blown(Plant(), speed, [1.0, 0.3]) for speed in (0.8, 1.0))
    assert fast[0] / slow[0] == pytest.approx(12_500 / 10_000, rel=1e-12)
    assert fast[1] / slow[1] == pytest.approx(3.125 / 2.0, rel=1e-12)


def test_duct_curve() -> None:
    """With the dampers unchanged static goes with the square of flow: 1,200 CFM at 0.50 in. w.c.
    gives 0.125 at 600 CFM; closing a damper breaks that law, at less flow and more static."""
    full, half = (blown(Plant(), speed, [1.0, 1.0]) for speed in (1.0, 0.5))
    assert half[0] / full[0] == pytest.approx(600 / 1200, rel=1e-12)
    assert half[1] / full[1] == pytest.approx(0.125 / 0.50, rel=1e-12)
    shut = blown(Plant(), 1.0, [1.0, 0.0])
    assert shut[0] < full[0] and shut[1] > full[1]


def test_constant_airflow_holds_until_its_cap() -> None:
    """Constant airflow: flow stays and static rises as dampers close, then flow gives way."""
    plant = Plant(blower=2.0, shutoff_inwc=1.6)
    flows, statics = zip(
        *(blown(plant, 1000.0, [1.0, x]) for x in (1.0, 0.6, 0.3, 0.0)), strict=True
    )
    assert flows[0] == pytest.approx(1000.0, rel=1e-9)
    assert flows[1] == pytest.approx(1000.0, rel=1e-9)
    assert list(statics) == sorted(statics)
    assert blown(plant, 1400.0, [0.2, 0.0])[0] < 1000.0


def test_thermostat_cycles_by_the_curve() -> None:
    """Nmax 3 at X 0.25: 400 s on, 1,200 s off; Nmax 6 at X 0.5: 300 and 300 s
    (on = 3600 / (4 Nmax (1 - X)), off = 3600 / (4 Nmax X), as in the public engine's source)."""
    for nmax, share, on_s, off_s in ((3.0, 0.25, 400, 1200), (6.0, 0.5, 300, 300)):
        z = pack([Zone(cycles_per_h=nmax)], PLACES).tolist()
        v = [0.0] * of.LENGTH
        v[of.HEAT_TRIM] = share
        calls = []
        for _ in range(12_000):
            on = demand(z, v, 0, 0.0, of.HEAT_TRIM, of.HEAT_PHASE, of.HEAT)
            v[of.HEAT] = float(on)
            calls.append(on)
        edges = np.flatnonzero(np.diff(np.array(calls).astype(int)))
        lengths = np.diff(edges)
        on_first = calls[edges[0] + 1]
        assert np.abs(lengths[0 if on_first else 1 :: 2] - on_s).max() <= 2
        assert np.abs(lengths[1 if on_first else 0 :: 2] - off_s).max() <= 2


@pytest.mark.parametrize("outdoor_f", [50.0, 35.0, 15.0])
def test_one_zone_cycles_near_the_curve(outdoor_f: float) -> None:
    """A whole one-zone house over a day: its starts per hour against 4 Nmax X (1 - X).

    Stated difference: 25 %, because the room's own swing moves the share within a cycle.
    """
    plant = Plant(heats=0.0, compressor=0.0, stage2_zones=1.0, compressor_min_on_s=0.0)
    n = 30 * 3600
    flat = np.full(n, outdoor_f)
    none = np.zeros(n, dtype=np.int64)
    driven = Drive(0, flat, 0 * flat, 0 * flat + 1, none - 1, none)
    zone = Zone(air_loss_btuh_f=330.0, mass_loss_btuh_f=270.0, air_btu_f=5500.0,
                mass_btu_f=12000.0, film_btuh_f=8000.0, cycles_per_h=3.0)  # fmt: skip
    kept = simulate(plant, [zone], [Branch(share=1.0)], driven)
    calls = kept.flag("heat_0")[6 * 3600 :]
    share = calls.mean()
    starts = (np.diff(calls.astype(int)) > 0).sum() / 24
    assert 0.15 < share < 0.8
    assert starts == pytest.approx(4 * 3.0 * share * (1 - share), rel=0.25)


@pytest.mark.parametrize("number", range(2))
def test_heat_is_kept(number: int) -> None:
    """What equipment, sun and people bring less what leaves is what is stored: within 0.5 %."""
    kept = world.record(world.healthy("tuning", 5 * number + number))
    left = kept.heat_in_btu - kept.heat_out_btu - kept.stored_btu
    assert abs(left) < 0.005 * kept.throughput_btu


def test_vectors_carry_the_fields_names() -> None:
    """Every number of the descriptions stands where the step looks for it."""
    b = pack([Branch(share=0.1), Branch(share=0.2)], PLACES)
    assert b[branch_at.SHARE + 1] == 0.2
    z = pack([Zone(), Zone(relief=0.0)], PLACES)
    assert (z[zone_at.RELIEF], z[zone_at.RELIEF + 1]) == (1.0, 0.0)
    for module, parts, step in ((scalars, Plant, 1), (zone_at, Zone, 8), (branch_at, Branch, 8)):
        for place, name in enumerate(vars(parts()).keys()):
            assert getattr(module, name.upper()) == place * step, name
