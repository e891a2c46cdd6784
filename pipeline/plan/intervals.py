"""How fast each question's channels must be read.

Two bounds. From which interval a figure is certain is declared by the measures themselves
(`interval_max_s` at the head of their stage) and read from there. Slower than that a question is
still answered in part, down to the interval at which its shortest event spans no two intervals: a
run, rest or event shorter than that cannot be counted reliably (`count_min_intervals`). Channels
that only change slowly have a bound of their own.
"""

from __future__ import annotations

from collections.abc import Mapping

from pipeline import words
from pipeline.plan.installed import Installed
from pipeline.plan.record import Interval
from pipeline.sampling import declared
from pipeline.site import Settings, Zone

ROUND_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900)
"""Intervals that loggers can be set to."""

SLOW_ROLES = {
    "outdoor_temp": "plan_outdoor_interval_s",
    "zone_temp": "plan_room_interval_s",
    "zone_heat_setpoint": "plan_room_interval_s",
    "zone_cool_setpoint": "plan_room_interval_s",
    "return_rh": "plan_room_interval_s",
}
"""Channels that move in minutes, with the slowest interval that follows them."""

# name: (threshold of the shortest thing, what it is; threshold of the finer thing, what it is)
_BY_NAME: dict[str, tuple[str, str, str, str]] = {
    "equipment-cut-outs": (
        "cut_out_fall_s", "the fall of supply air at a cut-out",
        "cut_out_retry_min_s", "an ignition retry's wait, which tells it from a limit",
    ),
    "limit-did-not-act": (
        "limit_did_not_act_s", "supply air far over the limit with the heat on", "", "",
    ),
    "output-chatter": ("chatter_max_s", "an output's drop-out", "", ""),
    "second-stage-stayed-in": (
        "stage2_stays_after_s", "second stage left on after its condition has gone", "", "",
    ),
    "static-above-target": ("static_excursion_min_s", "time over target that counts", "", ""),
    "fuel": ("plan_both_fuels_s", "furnace and compressor on together", "", ""),
    "defrost": ("plan_defrost_s", "a defrost", "", ""),
    "air": ("plan_steady_s", "the stretch that shows supply air to be steady", "", ""),
}  # fmt: skip
# Those that must see every call or run: by the shortest natural run.
_BY_CYCLES = ("short-cycling", "runtime", "calls", "comfort", "recovery")
_TRIPS = ("high-limit-trips", "low-limit-trips")
# For a rule that is not named above: by the figure that qualifies it.
_BY_FIGURE = {
    "trips": "high-limit-trips",
    "cut_outs": "equipment-cut-outs",
    "static": "static-above-target",
    "staging": "second-stage-early",
    "outputs": "short-cycling",
}


def interval_of(
    name: str,
    figure: str | None,
    read: tuple[str, ...],
    numbers: Mapping[str, float],
    here: Installed,
    settings: Settings,
    zones: tuple[Zone, ...],
) -> Interval:
    """How fast a question's channels must be read on this site.

    read : the tables that answer it
    numbers : the judgement numbers in force; a site's own purge, minimum-off and cycles per hour
        take the place of the usual ones
    """
    certain = list(declared(read).values())
    if not certain:
        return _of_event(name, figure, numbers, here, settings, zones)
    strict = min(certain, key=lambda m: m.interval_max_s or 0.0)
    declared_s = float(strict.interval_max_s or 0.0)
    why = f"at {declared_s:g} s or faster the figures are certain: {strict.resolution}"
    if name not in _BY_NAME and name not in (*_BY_CYCLES, *_TRIPS):
        return Interval(declared_s, why)
    event = _of_event(name, figure, numbers, here, settings, zones)
    full_s = min(declared_s, event.full_s or declared_s)
    if declared_s < event.slowest_s:
        why = f"{event.why}; {why}"
    else:
        why = event.why
    return Interval(event.slowest_s, why, full_s if full_s < event.slowest_s else None)


def _of_event(
    name: str,
    figure: str | None,
    numbers: Mapping[str, float],
    here: Installed,
    settings: Settings,
    zones: tuple[Zone, ...],
) -> Interval:
    """From the shortest thing that the question looks for."""
    if name not in _BY_NAME and name not in (*_BY_CYCLES, *_TRIPS):
        name = _BY_FIGURE.get(figure or "", name)
    n = numbers["count_min_intervals"]
    if name in _TRIPS:
        given = settings.purge_s
        purge_s = given if given is not None and given > 0 else numbers["purge_unknown_s"]
        after_s = numbers["trip_drop_after_s"]
        return Interval(
            purge_s / n,
            f"a trip lasts at least as long as the purge ({words.duration(purge_s)}) and is "
            f"certain from {n:g} intervals; the drop must lie within {words.duration(after_s)} "
            "of the peak",
            after_s / n,
        )
    if name == "short-cycling":
        return _short_cycling(numbers, here, settings, n)
    if name in _BY_NAME:
        key, what, fine_key, fine = _BY_NAME[name]
        why = f"{what} is {words.duration(numbers[key])}, and must span {n:g} intervals"
        if not fine_key:
            return Interval(numbers[key] / n, why)
        more = f"; {fine}, is {words.duration(numbers[fine_key])}"
        return Interval(numbers[key] / n, why + more, numbers[fine_key] / n)
    return _runtime(numbers, here, zones, n)


def round_down_s(interval_s: float) -> float:
    """The longest usual logger interval that is no longer than this; 1 s at the least."""
    return max((r for r in ROUND_S if r <= interval_s), default=1)


def for_role(role: str, asked_s: float, numbers: Mapping[str, float]) -> float:
    """The interval a question asks of one channel: slow ones need not be as fast as the rest."""
    key = SLOW_ROLES.get(role)
    return asked_s if key is None else max(asked_s, numbers[key])


def _short_cycling(
    numbers: Mapping[str, float], here: Installed, settings: Settings, n: float
) -> Interval:
    runs = {}
    if here.has_furnace or "output_aux" in here.roles:
        runs["a short furnace or strip run"] = numbers["short_run_burner_max_s"]
    if "output_y1" in here.roles:
        runs["a short compressor run"] = numbers["short_run_compressor_max_s"]
        given = settings.compressor_min_off_min
        rest_s = given * 60 if given else numbers["compressor_min_off_unknown_s"]
        runs["a short compressor rest"] = rest_s
    what = min(runs, key=lambda k: runs[k])
    chatter_s = numbers["chatter_max_s"]
    return Interval(
        runs[what] / n,
        f"{what} is under {words.duration(runs[what])}, and must span {n:g} intervals; to say that "
        f"none was missed, a drop-out of {words.duration(chatter_s)} must too, else counts are "
        "“at least”",
        chatter_s / n,
    )


def _runtime(
    numbers: Mapping[str, float], here: Installed, zones: tuple[Zone, ...], n: float
) -> Interval:
    """From the shortest natural run of a thermostat: 15 / Nmax minutes (cycle curve)."""
    usual = [numbers["cycles_per_hour_gas"]] if here.has_furnace else []
    if "output_y1" in here.roles:
        usual.append(numbers["cycles_per_hour_compressor"])
    if "output_aux" in here.roles:
        usual.append(numbers["cycles_per_hour_electric"])
    given = [z.cycles_per_hour for z in zones if z.cycles_per_hour]
    is_given = bool(zones) and len(given) == len(zones)
    per_hour = max(given) if is_given else max(usual)
    run_s = 15 * 60 / per_hour
    return Interval(
        run_s / n,
        f"at {per_hour:g} cycles an hour{'' if is_given else ' (not given, so the usual)'} the "
        f"shortest natural run is {words.duration(run_s)}, and must span {n:g} intervals",
    )
