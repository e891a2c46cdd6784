"""Supply and return probes: exchanged, in another unit, too slow; and the reversing valve's sense.

Whatever the equipment does, supply air is what departs from the rooms and return air is what comes
from them. So at the end of a run the two probes can be told apart without knowing the mode, and
without their level at rest, where an attic decides it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pandas as pd

from pipeline.measures.check_readings import look_of
from pipeline.measures.trouble import Channel, Problem, SiteChannels

USUAL = {
    "supply_temp": ("usual_supply_low_f", "usual_supply_high_f"),
    "return_temp": ("usual_return_low_f", "usual_return_high_f"),
    "zone_temp": ("usual_zone_low_f", "usual_zone_high_f"),
}
"""Judgement numbers between which the median of a channel lies in a lived-in house."""


def problems(site: SiteChannels) -> Iterator[Problem]:
    """Every problem of these kinds of one site."""
    units = list(_units(site))
    yield from units
    if any(p.code == "unit-mismatch" for p in units):
        return  # nothing that compares temperatures means anything
    swapped = list(_swapped(site))
    yield from swapped
    yield from _valve_sense(site, is_swapped=bool(swapped))
    if not swapped:
        yield from _slow(site)


def _units(site: SiteChannels) -> Iterator[Problem]:
    for channel in site.channels:
        if channel.role in USUAL or channel.role == "outdoor_temp":
            unit = _better_unit(site, channel)
            if unit is not None:
                look = look_of(site, channel)
                yield Problem(
                    channel.channel_id,
                    "unit-mismatch",
                    site.start_ts,
                    site.end_ts,
                    float(look.median_value),
                    "store",
                    int(look.n_reading),
                    int(look.n_reading),
                    True,
                    "in another unit than told",
                    f'unit = "{unit}"',
                )


def _better_unit(site: SiteChannels, channel: Channel) -> str | None:
    """The other unit of temperature, where only that makes sense of the readings."""
    look = look_of(site, channel)
    if look is None or look.n_reading == 0 or channel.unit not in ("degF", "degC"):
        return None
    other = "degC" if channel.unit == "degF" else "degF"

    def turned(value: float) -> float:
        return value * 1.8 + 32.0 if other == "degC" else (value - 32.0) / 1.8

    if channel.role == "outdoor_temp":
        return other if _weather_is_absurd(site, turned) else None
    limits = site.limits
    low, high = (limits[name] for name in USUAL[channel.role])
    if low <= look.median_value <= high:
        return None
    if not low <= turned(look.median_value) <= high:
        return None
    if channel.role == "supply_temp" and _stands_with_the_house(site, look.median_value, turned):
        return None
    if channel.role == "supply_temp" and other == "degC":
        # heat in °C stays under that, heat in °F does not; a week of nothing but cooling may
        if look.high_value > limits["told_celsius_high_f"] or _cools_as_told(site, turned):
            return None
    return other


def _stands_with_the_house(
    site: SiteChannels, median_f: float, turned: Callable[[float], float]
) -> bool:
    """Supply reads what return air and rooms do: a house without heat, not another unit.

    What those read must itself make no sense in the other unit, else all of them are told wrong.
    """
    limits = site.limits
    for beside in site.channels:
        look = look_of(site, beside) if beside.role in ("return_temp", "zone_temp") else None
        if look is None or look.n_reading == 0:
            continue
        low, high = (limits[name] for name in USUAL[beside.role])
        makes_sense = low <= turned(look.median_value) <= high
        if not makes_sense and abs(look.median_value - median_f) <= limits["probe_apart_min_f"]:
            return True
    return False


def _cools_as_told(site: SiteChannels, turned: Callable[[float], float]) -> bool:
    """Supply is colder than the rooms while cooling is wanted; in the other unit it would heat."""
    runs = site.runs
    runs = runs[runs["supply_f"].notna() & runs["room_f"].notna()]
    limits = site.limits
    if len(runs) < limits["probe_min_runs"]:
        return False
    under_f = runs["room_f"] - runs["supply_f"]
    would_heat = runs["supply_f"].map(turned) > runs["room_f"]
    cools = (under_f > limits["probe_apart_min_f"]) & would_heat & (_wanted(site, runs) < 0)
    return bool(cools.sum() >= limits["probe_share_min_frac"] * len(runs))


def _weather_is_absurd(site: SiteChannels, turned: Callable[[float], float]) -> bool:
    """Cooling in frost, or heating in a heat wave, which the other unit would make ordinary."""
    runs = site.runs
    runs = runs[runs["supply_f"].notna() & runs["outdoor_f"].notna() & runs["room_f"].notna()]
    if len(runs) < site.limits["probe_min_runs"]:
        return False
    rise = (runs["supply_f"] - runs["room_f"]).to_numpy()
    outdoor = runs["outdoor_f"].to_numpy()
    apart = site.limits["probe_apart_min_f"]
    cools, heats = rise < -apart, rise > apart
    enough = site.limits["probe_share_min_frac"] * len(runs)
    if cools.sum() >= enough:
        seen = float(np.median(outdoor[cools]))
        return (
            seen < site.limits["frost_cooling_f"]
            and float(turned(seen)) >= site.limits["sense_mild_heating_f"]
        )
    if heats.sum() >= enough:
        seen = float(np.median(outdoor[heats]))
        return (
            seen > site.limits["heat_wave_heating_f"]
            and float(turned(seen)) <= site.limits["sense_mild_cooling_f"]
        )
    return False


def _ends(site: SiteChannels) -> pd.DataFrame:
    """Runs outside visits that have both probes at their end."""
    runs = site.runs
    return runs[runs["supply_f"].notna() & runs["return_f"].notna()]


def _swapped(site: SiteChannels) -> Iterator[Problem]:
    supply, back = site.of_role("supply_temp"), site.of_role("return_temp")
    if supply is None or back is None:
        return
    limits, runs = site.limits, _ends(site)
    if site.table("trust.run").empty:
        yield from _swapped_by_swing(site, supply, back)
        return
    runs = runs[runs["room_f"].notna()]
    if runs.empty:
        return
    from_supply = (runs["supply_f"] - runs["room_f"]).abs()
    from_return = (runs["return_f"] - runs["room_f"]).abs()
    apart = limits["probe_apart_min_f"]
    told = (from_supply - from_return).abs() > apart
    turned = from_return > from_supply + apart
    n, of_n = int(turned.sum()), int(told.sum())
    if n < limits["probe_min_runs"] or n < limits["probe_share_min_frac"] * of_n:
        return
    figure = float((from_return - from_supply)[turned].median())
    yield from _exchanged(site, supply, back, figure, n, of_n)


def _swapped_by_swing(site: SiteChannels, supply: Channel, back: Channel) -> Iterator[Problem]:
    """Where no run was logged: return swings as supply air does, supply keeps to the rooms'."""
    limits = site.limits
    told_supply, told_return = look_of(site, supply), look_of(site, back)
    if told_supply is None or told_return is None:
        return
    calm_f = float(told_supply.high_value - told_supply.low_value)
    swing_f = float(told_return.high_value - told_return.low_value)
    low, high = (limits[name] for name in USUAL["return_temp"])
    is_room = low <= told_supply.low_value and told_supply.high_value <= high
    swings = swing_f >= limits["probe_swing_min_f"]
    if is_room and swings and swing_f >= limits["probe_swing_min_times"] * calm_f:
        yield from _exchanged(site, supply, back, swing_f - calm_f, 0, 0)


def _exchanged(
    site: SiteChannels, supply: Channel, back: Channel, figure: float, n: int, of_n: int
) -> Iterator[Problem]:
    """Both channels under the other's name."""
    for channel, role in ((supply, "return_temp"), (back, "supply_temp")):
        yield Problem(
            channel.channel_id,
            "swapped-probes",
            site.start_ts,
            site.end_ts,
            figure,
            "store difference",
            n,
            of_n,
            True,
            "supply and return exchanged",
            f'role = "{role}"',
        )


def _valve_sense(site: SiteChannels, *, is_swapped: bool) -> Iterator[Problem]:
    """O/B says cooling (heating) by site.toml while the air and what is wanted say the other."""
    valve, told = site.of_role("output_ob"), site.site.get("ob_energised_in")
    if valve is None or not isinstance(told, str) or not site.site.get("has_heat_pump"):
        return
    limits, runs = site.limits, _ends(site)
    runs = runs[runs["has_y"] & ~runs["has_w"]]
    if runs.empty or valve.channel_id not in site.states.on:
        return
    rise = (runs["supply_f"] - runs["return_f"]).to_numpy()
    rise = -rise if is_swapped else rise
    on, known = site.states.at(valve.channel_id, runs["end_ts"].to_numpy() - 1)
    says_heat = on == (told == "heating")
    heats = rise > 0
    clear = known & (np.abs(rise) > limits["probe_apart_min_f"])
    against = clear & (says_heat != heats) & (_wanted(site, runs) == np.where(heats, 1, -1))
    n, of_n = int(against.sum()), int(clear.sum())
    if n < limits["probe_min_runs"] or n < limits["probe_share_min_frac"] * of_n:
        return
    other = "heating" if told == "cooling" else "cooling"
    yield Problem(
        valve.channel_id,
        "reversing-valve-sense",
        site.start_ts,
        site.end_ts,
        float(np.median(rise[against])),
        "store difference",
        n,
        of_n,
        True,
        "reversing valve told the other way round",
        f'ob_energised_in = "{other}"',
    )


def _wanted(site: SiteChannels, runs: pd.DataFrame) -> np.ndarray:
    """What the house wanted at each run's end: 1 heat, -1 cooling, 0 not known.

    By calls that say it themselves, else by weather in which only one makes sense.
    """
    states, limits = site.states, site.limits
    at = runs["end_ts"].to_numpy() - 1
    outdoor = runs["outdoor_f"].to_numpy(float)
    with np.errstate(invalid="ignore"):
        wanted = np.where(outdoor < limits["sense_mild_heating_f"], 1, 0)
        wanted = np.where(outdoor > limits["sense_mild_cooling_f"], -1, wanted)
    says = np.zeros(len(at), int)
    zones = site.table("run.zone")
    plain = set(zones.loc[zones["thermostat"] == "conventional", "zone"])
    for c in site.channels:
        if c.zone not in plain or c.channel_id not in states.on:
            continue
        if c.role in ("zone_call_w1", "zone_call_y1"):
            on, _ = states.at(c.channel_id, at)
            says += np.where(on, 1 if c.role == "zone_call_w1" else -1, 0)
    return np.where(says != 0, np.sign(says), wanted)


def _slow(site: SiteChannels) -> Iterator[Problem]:
    supply = site.of_role("supply_temp")
    if supply is None or supply.interval_s > 60:
        return
    limits, runs = site.limits, site.runs
    runs = runs[(runs["rest_s"] >= limits["rest_min_s"]) & runs["supply_f"].notna()]
    paces = [p for p in (steepest_pace(r, limits) for r in runs["supply_rise_f"]) if p is not None]
    most = limits["lag_pace_max_times"]
    if len(paces) < limits["probe_min_runs"] or np.median(paces) > most:
        return
    yield Problem(
        supply.channel_id,
        "sensor-lag",
        site.start_ts,
        site.end_ts,
        float(np.median(paces)),
        "times",
        int((np.array(paces) <= most).sum()),
        len(paces),
        False,
        "slow probe",
    )


def steepest_pace(minutes: object, limits: Mapping[str, float]) -> float | None:
    """How much steeper than its mean pace supply goes in the steepest of a run's first minutes.

    minutes : supply [°F] of each minute from the start on
    Ordinary equipment rushes off and settles (2 and more); a slow probe creeps all the way (1 is a
    straight line). None for too short a run, or one in which supply hardly moves.
    """
    if not isinstance(minutes, (list, np.ndarray)) or len(minutes) < limits["lag_run_min"]:
        return None
    seen = np.asarray(minutes, float)[: int(limits["lag_look_min"])]
    way = float(seen[-1] - seen[0])
    if abs(way) < limits["lag_way_min_f"]:
        return None
    return float(np.max(np.diff(seen) / way)) * (len(seen) - 1)
