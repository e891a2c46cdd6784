"""What the loggers at a system read: every channel with its place, lag, noise and resolution."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_data.world import climates
from sample_data.world.dialects import DIALECTS
from sample_data.world.loop import Record
from sample_data.world.system import System

PA_PER_INWC = 249.08891  # conventional inch of water: 1,000 kg/m³, 9.80665 m/s²
PROBE_LAG_S = 12.0
ROOM_LAG_S = 180.0
OUTDOOR_LAG_S = 300.0
Values = NDArray[np.float64]
States = NDArray[np.bool_]


@dataclass(frozen=True)
class Channel:
    """One column of one logger: what it would read every second, and how it is written."""

    file: str  # plenum, static, rooms or panel
    column: str
    role: str
    zone: int  # from 0; -1: none
    values: Values | States
    unit: str = "state"
    noise: float = 0.0
    noise_share: float = 0.0  # of the reading
    decimals: int = 1
    words: tuple[str, str] = ("off", "on")
    damper: str = ""

    @property
    def is_state(self) -> bool:
        """Whether the channel is on or off."""
        return self.unit == "state"


def lagged(signal: Values, lag_s: float) -> Values:
    """`signal` through a first-order lag, one value per second."""
    return np.asarray(pd.Series(signal).ewm(alpha=1.0 / (1.0 + lag_s), adjust=False).mean())


def supply_at_probe(record: Record) -> Values:
    """Supply air at the logger's probe (°F), every second, without noise."""
    return lagged(record.signal("supply_f"), PROBE_LAG_S)


def setpoints(system: System, zone: int, cooling: bool) -> Values:
    """The zone's setpoint as its thermostat shows it (°F), every second."""
    z = system.zones[zone]
    of_day = (system.first_second + np.arange(system.seconds)) % 86400
    start, end = z.back_from_s, z.back_to_s
    if start == end:
        back = np.zeros(system.seconds, dtype=bool)
    elif start < end:
        back = (of_day >= start) & (of_day < end)
    else:
        back = (of_day >= start) | (of_day < end)
    far, near = (z.cool_back_f, z.cool_f) if cooling else (z.heat_back_f, z.heat_f)
    return np.where(back, far, near)


def panel_states(system: System, record: Record) -> list[Channel]:
    """Calls, damper commands, outputs, fault contact and, where logged, proof of running."""
    p = system.plant
    found: list[Channel] = []

    def add(column: str, role: str, values: States, zone: int = -1, **more: object) -> None:
        found.append(Channel("panel", column, role, zone, values, **more))  # type: ignore[arg-type]

    cools = p.compressor > 0
    for i, zone in enumerate(system.zones):
        name = f"Z{i + 1}"
        heat, cool = record.flag(f"heat_{i}"), record.flag(f"cool_{i}")
        heat2, cool2 = record.flag(f"heat2_{i}"), record.flag(f"cool2_{i}")
        asks = p.stage_up_by > 0
        if zone.kind > 0:
            emergency = p.emergency > 0
            y = cool if emergency else heat | cool
            add(f"{name} Y", "zone_call_y1", y, i)
            reverses = heat if p.ob_in_heating > 0 else cool
            add(f"{name} O/B", "zone_call_ob", reverses, i)
            if asks and p.compressor_stages > 1:
                add(f"{name} Y2", "zone_call_y2", heat2 | cool2, i)
            if emergency:
                add(f"{name} E", "zone_call_emergency", heat, i)
        else:
            if p.furnace > 0:
                add(f"{name} W", "zone_call_w1", heat, i)
            if p.furnace > 0 and asks and p.heating_stages > 1:
                add(f"{name} W2", "zone_call_w2", heat2, i)
            if cools:
                add(f"{name} Y", "zone_call_y1", cool, i)
            if cools and asks and p.compressor_stages > 1:
                add(f"{name} Y2", "zone_call_y2", cool2, i)
        if cools:
            add(f"{name} G", "zone_call_g", record.flag(f"fan_{i}"), i)
    if system.logging.dampers:
        of_zone = [int(b.zone) for b in system.branches]
        for k, i in enumerate(of_zone):
            twice = of_zone.count(i) > 1
            letter = "ab"[of_zone[:k].count(i)] if twice else ""
            add(
                f"Z{i + 1}{letter} damper",
                "zone_damper",
                record.flag(f"damper_{i}"),
                i,
                words=("closed", "open"),
                damper=letter,
            )
    if p.furnace > 0:
        add("W1 out", "output_w1", record.flag("w1"))
        if p.heating_stages > 1:
            add("W2 out", "output_w2", record.flag("w2"))
    if cools:
        add("Y1 out", "output_y1", record.flag("y1"))
        if p.compressor_stages > 1:
            add("Y2 out", "output_y2", record.flag("y2"))
    add("G out", "output_g", record.flag("g"))
    if p.heats > 0:
        add("O/B out", "output_ob", record.flag("ob"))
    if p.aux_btuh > 0:
        add("AUX out", "output_aux", record.flag("aux"))
    add("Fault", "fault_contact", record.flag("fault"), words=("ok", "alarm"))
    if system.logging.proof:
        if p.furnace > 0:
            add("Flame", "flame", record.flag("flame"))
        if cools:
            add("Compressor", "compressor_run", record.flag("compressor"))
        add("Blower", "blower_run", record.flag("blower"))
    return found


def channels(system: System, record: Record) -> list[Channel]:
    """Every channel that the system's loggers read."""
    log = system.logging
    metric = DIALECTS[log.dialect].decimal == ","
    degree = "°C" if metric else "°F"
    unit = "degC" if metric else "degF"

    def temp(values: Values) -> Values:
        return (values - 32.0) / 1.8 if metric else values

    found = [
        Channel("plenum", f"Supply air ({degree})", "supply_temp", -1,
                temp(supply_at_probe(record)), unit, 0.12, decimals=1 + metric),
        Channel("plenum", f"Return air ({degree})", "return_temp", -1,
                temp(lagged(record.signal("return_f"), PROBE_LAG_S)), unit, 0.06,
                decimals=1 + metric),
    ]  # fmt: skip
    if log.static:
        pascal = record.signal("static_inwc") * PA_PER_INWC
        found.append(Channel("static", "Trunk static (Pa)", "static_pressure", -1, pascal, "Pa",
                             0.3, 0.012))  # fmt: skip
    if log.static and log.return_static:
        pascal = record.signal("return_static_inwc") * PA_PER_INWC
        found.append(Channel("static", "Return static (Pa)", "return_static", -1, pascal, "Pa",
                             0.3, 0.012))  # fmt: skip
    for i in range(len(system.zones)):
        air = temp(lagged(record.signal(f"zone_{i}_f"), ROOM_LAG_S))
        found.append(Channel("rooms", f"Zone {i + 1} ({degree})", "zone_temp", i, air, unit,
                             0.04, decimals=1 + metric))  # fmt: skip
    outdoor = climates.outdoor_f(
        system.weather, system.season, system.first_second, system.seconds, system.seed
    )
    found.append(Channel("rooms", f"Outdoor ({degree})", "outdoor_temp", -1,
                         temp(lagged(outdoor, OUTDOOR_LAG_S)), unit, 0.1))  # fmt: skip
    if log.setpoints:
        for i, zone in enumerate(system.zones):
            for word, cooling, modes in (("heat", False, (1, 3)), ("cool", True, (2, 3))):
                if zone.mode not in modes:
                    continue
                found.append(Channel("rooms", f"Zone {i + 1} {word} set ({degree})",
                                     f"zone_{word}_setpoint", i,
                                     temp(setpoints(system, i, cooling)), unit))  # fmt: skip
    return found + panel_states(system, record)
