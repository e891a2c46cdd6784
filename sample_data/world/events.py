"""What happened, as the definitions count it, from the one-second record."""

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_data.world.known import (
    BROKEN_CALL_S,
    CHATTER_S,
    SHORT_BURNER_S,
    SHORT_COMPRESSOR_S,
    Flags,
    Known,
    last_for,
    merged,
    segments,
)

Event = dict[str, Any]


def runs(k: Known, name: str, flag: Flags) -> list[Event]:
    """Runs of an output: on-again within 15 s neither ends nor starts one."""
    short_s = SHORT_COMPRESSOR_S if name in ("output_y1", "output_y2") else SHORT_BURNER_S
    out = []
    for start, end in merged(segments(flag & k.span), CHATTER_S):
        closed = start > k.first and end < k.end
        length = end - start
        out.append(
            {
                "start": start,
                "end": end,
                "seconds": int(flag[start:end].sum()),
                "closed": closed,
                "short": closed and length < short_s,
                "in_visit": bool(k.in_visit[start] or k.in_visit[end - 1]),
                "cooling": bool(k.cooling[start:end].any()) if name == "output_y1" else False,
            }
        )
    return out


def rests(k: Known, some: list[Event]) -> list[Event]:
    """Rests between closed runs of an output; short below the sheet's minimum-off less 15 s."""
    minutes = k.setting("compressor_min_off_min")
    least = 60 * minutes - 15 if minutes is not None else 180
    return [
        {"start": a["end"], "end": b["start"], "short": b["start"] - a["end"] < least}
        for a, b in itertools.pairwise(some)
        if not a["in_visit"] and not b["in_visit"]
    ]


def limit_trips(k: Known, high: bool) -> list[Event]:
    """The panel's limit opened and took outputs away with a zone calling on for 30 s.

    One that opens with nothing left on (a technician has just taken the output off) drops nothing.
    `peak_f` is at the logger's probe.
    """
    flag = k.record.flag("limit" if high else "low_limit") & k.span
    active = k.heating if high else k.cooling
    calls = k.heat_calls if high else k.cool_calls
    found = []
    for start, end in segments(flag):
        if not active[start - 1] or not calls[:, start : start + 30].any(axis=0).all():
            continue
        part = k.supply[max(0, start - 30) : start + 90]
        peak = float(part.max() if high else part.min())
        on_again = active[end : end + 3600]
        back = end + int(np.argmax(on_again)) if on_again.any() else end
        found.append(
            {
                "kind": "high" if high else "low",
                "opened_by": "panel",
                "drop": start,
                "limit_closed": end,
                "heat_back": back,
                "peak_f": round(peak, 1),
                "zones_calling": k.zones_at(start),
                "stage": int(k.stage[start - 1]),
                "static_inwc": round(float(k.static[start - 1]), 3),
                "in_visit": bool(k.in_visit[start]),
            }
        )
    return found


def cut_outs(k: Known) -> list[Event]:
    """Burner or compressor stopped by itself with its output on for 10 s before and after."""
    found = []
    for name, output, reason in (("flame", k.w1, "own_limit"), ("compressor", k.y1, "protect")):
        runs_on = k.record.flag(name)
        stopped = runs_on[:-1] & ~runs_on[1:] & output[1:] & output[:-1]
        for at in (np.flatnonzero(stopped) + 1).tolist():
            if not output[at : at + 10].all():
                continue
            limit = bool(k.record.flag(reason)[at])
            kind = "own limit" if limit and name == "flame" else "flame lost"
            if name == "compressor":
                kind = "compressor protection"
            on_again = runs_on[at : at + 7200] | ~output[at : at + 7200]
            found.append(
                {
                    "kind": kind,
                    "start": at,
                    "end": at + int(np.argmax(on_again)) if on_again.any() else k.end,
                    "supply_f": round(float(k.supply[at]), 1),
                    "fan": bool(k.blower[at]),
                    "in_visit": bool(k.in_visit[at]),
                }
            )
    return sorted(found, key=lambda event: event["start"])


def excursions(k: Known, target: float) -> list[Event]:
    """Over target with the fan on for 60 s or more; over once below target - 0.02 for 10 s."""
    fan = k.blower & k.span
    above = fan & (k.static > target)
    stop = ~fan | last_for(k.static < target - 0.02, 10)
    starts, stops = np.flatnonzero(above), np.flatnonzero(stop)
    found, at = [], 0
    while at < len(starts):
        start = int(starts[at])
        place = int(np.searchsorted(stops, start))
        end = int(stops[place]) if place < len(stops) else k.end
        if end < len(fan) and fan[end]:
            end -= 9  # the end is where the ten seconds below begin
        if end - start >= 60:
            found.append(
                {
                    "start": start,
                    "end": end,
                    "max_inwc": round(float(k.static[start:end].max()), 3),
                    "zones_calling": k.zones_at(start),
                    "in_visit": bool(k.in_visit[start]),
                }
            )
        at = int(np.searchsorted(starts, max(end, start + 1)))
    return found


def call_clock(k: Known, mode: str) -> NDArray[np.int64]:
    """Seconds that the longest zone call of the mode has lasted, by zone (rows) and second.

    Breaks under 30 s do not count; the clock starts again when outputs come back after a trip.
    """
    calls = k.heat_calls if mode == "heating" else k.cool_calls
    active = k.heating if mode == "heating" else k.cooling
    index = np.arange(calls.shape[1])
    clock = np.zeros(calls.shape, dtype=np.int64)
    tripped = k.record.flag("limit") | k.record.flag("low_limit")
    resets = np.zeros(len(index), dtype=np.int64)
    for start, end in segments(tripped):
        on_again = active[end : end + 3600]
        resets[start:] = end + (int(np.argmax(on_again)) if on_again.any() else 0)
    for zone in range(len(calls)):
        for start, end in merged(segments(calls[zone]), BROKEN_CALL_S - 1):
            clock[zone, start:end] = index[start:end] - np.maximum(start, resets[start:end])
    return np.where(calls, np.maximum(clock, 0), 0)


def second_stage(k: Known, mode: str) -> dict[str, list[Event]]:
    """Starts of second stage in and out of order by the sheet, and where it stayed or never came.

    In order: zones calling at least the sheet's minimum, and a zone has called for the delay (by
    either clock unless the sheet names one) or asks for second stage itself.
    """
    none: dict[str, list[Event]] = {"starts": [], "stayed_in": [], "never_came_on": []}
    delay_min, least = k.setting("stage_up_delay_min"), k.setting("stage2_min_zones")
    if delay_min is None or least is None:
        return none
    heating = mode == "heating"
    first: Flags
    second: Flags
    first, second = (
        (k.heating, k.w2 | (k.y2 & k.pumping)) if heating else (k.cooling, k.y2 & k.cooling)
    )
    calls = (k.heat_calls if heating else k.cool_calls).sum(axis=0)
    clocks = call_clock(k, mode)
    longest = clocks.max(axis=0)
    running = np.zeros(len(first), dtype=np.int64)
    for start, end in segments(first & k.span):
        running[start:end] = np.arange(end - start)
    by = str(k.sheet["stage_up_by"])
    clock = running if k.sheet["stage_up_clock"] == "equipment_start" else longest
    timed: Flags = np.asarray(clock >= delay_min * 60)
    asked: Flags = np.asarray(k.asks_second[mode])
    wanted: Flags = np.asarray({"timer": timed, "thermostat": asked, "both": timed | asked}[by])
    for start, _ in merged(segments(np.asarray(second)), CHATTER_S):
        lacking = not wanted[max(0, start - 3) : start + 30].any()
        if by != "thermostat":  # a call that ends just as its clock runs out is no early start
            lacking &= bool(clock[start] < delay_min * 60 - 30)
        none["starts"].append(
            {
                "at": start,
                "zones_calling": int(calls[start]),
                "longest_called_s": int(longest[start]),
                "ran_s": int(running[start]),
                "asked": bool(asked[start]),
                "too_few_zones": bool(calls[start] < least),
                "early": lacking,
                "in_visit": bool(k.in_visit[start]),
            }
        )
    if k.sheet["stage2_release"] == "follows":
        stays = last_for(second & ~(wanted & (calls >= least)), 120)
        none["stayed_in"] = [
            {"start": a - 119, "end": b, "in_visit": bool(k.in_visit[a])}
            for a, b in segments(stays)
        ]
    worst = np.stack([k.zone_error(i) for i in range(k.record.zones)]).max(axis=0)
    quiet = ~k.record.flag("limit") & ~k.record.flag("defrost") & k.span
    lacks = last_for(first & ~second & wanted & (calls >= least) & quiet, 300)
    lacks &= worst > 2.0
    stages = k.system.plant.heating_stages if heating else k.system.plant.compressor_stages
    if k.system.kind == "dual_fuel" and heating and k.system.plant.compressor_stages < 2:
        lacks &= k.w1
    if stages >= 2:
        none["never_came_on"] = [
            {"start": a, "end": b, "in_visit": bool(k.in_visit[a])} for a, b in segments(lacks)
        ]
    return none


def heating_starts(k: Known) -> list[Event]:
    """Starts of heating runs with their source and the outdoor temperature (°F)."""
    found = []
    for start, end in merged(segments(k.heating), CHATTER_S):
        source = "burner" if k.w1[start] else ("compressor" if k.pumping[start] else "strips")
        found.append(
            {
                "start": start,
                "end": end,
                "source": source,
                "outdoor_f": round(float(k.outdoor[start]), 1),
                "in_visit": bool(k.in_visit[start]),
            }
        )
    return found


def chatter(k: Known) -> list[Event]:
    """Off and on again within 15 s, per output."""
    found = []
    for name, flag in (("output_w1", k.w1), ("output_y1", k.y1), ("output_aux", k.aux)):
        some = segments(flag)
        for (_, off), (on, _) in itertools.pairwise(some):
            if on - off <= CHATTER_S and not k.in_visit[off]:
                found.append({"output": name, "off": off, "on": on})
    return found


def steady_rise(k: Known) -> dict[str, Any]:
    """Rise in steady gas heat by stage against the plate: seconds inside, above, below."""
    bands = dict(k.system.equipment).get("temperature_rise_f")
    if bands is None:
        return {}
    parsed = [[float(x) for x in pair.split(",")] for pair in str(bands).strip("[]").split("], [")]
    rise = k.record.signal("supply_f") - k.back
    flame = k.record.flag("flame") & k.judged & k.blower
    out: dict[str, Any] = {}
    for stage, (low, high) in enumerate(parsed, start=1):
        on = last_for(flame & (k.w2 == (stage == 2)) & ~k.y1, 360)
        values = rise[on]
        if len(values) == 0:
            continue
        out[str(stage)] = {
            "seconds": len(values),
            "median_f": round(float(np.median(values)), 1),
            "above_s": int((values > high).sum()),
            "above_3f_s": int((values > high + 3).sum()),
            "below_s": int((values < low).sum()),
            "below_3f_s": int((values < low - 3).sum()),
            "band_f": [low, high],
        }
    return out
