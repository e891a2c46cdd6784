"""What happened, as the definitions count it: runs, trips, excursions, second-stage starts."""

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

import numpy as np

from sample_data.simulator import larch_14 as site
from sample_data.simulator.known import (
    CHATTER_S,
    COMPRESSOR_MIN_OFF_S,
    HIGH_LIMIT_F,
    SENSOR_TOLERANCE_F,
    SHORT_RUN_S,
    STAGE2_MIN_ZONES,
    STAGE_UP_S,
    TARGET_INWC,
    TRAVEL_S,
    Fact,
    Flags,
    Known,
    first_true,
    segments,
    utc,
)


def runs(known: Known, point: str) -> list[Fact]:
    """Runs of an output: on-again within 15 s neither ends nor starts one."""
    merged: list[list[int]] = []
    for start, end in segments(known.points[point]):
        if merged and start - merged[-1][1] <= CHATTER_S:
            merged[-1][1] = end
        else:
            merged.append([start, end])
    found = []
    for start, end in merged:
        closed = start > known.first and end < known.end
        if end >= known.end:
            ended_by = "log"
        elif known.service[end]:
            ended_by = "service"
        elif known.limit[end]:
            ended_by = "limit"
        else:
            ended_by = "calls"
        found.append(
            {
                "start": utc(start),
                "end": utc(end),
                "seconds": end - start,
                "closed": closed,
                "ended_by": ended_by,
                "in_visit": bool(known.in_visit[start]),
                "cooling": bool(known.points["O/B"][start]),
            }
        )
    return found


def cycles(known: Known, point: str, listed: Sequence[Fact]) -> Fact:
    """Starts, short runs and short rests of an output, whole span and without the visits."""

    def counted(some: Sequence[Fact]) -> Fact:
        short = [run for run in some if run["closed"] and run["seconds"] < SHORT_RUN_S[point]]
        own = [run for run in short if run["ended_by"] != "limit"]
        days = [local_day(run["start"]) for run in own]
        return {
            "starts": sum(run["start"] != utc(known.first) for run in some),
            "closed_runs": sum(run["closed"] for run in some),
            "short_runs": len(short),
            "short_runs_not_ended_by_limit": len(own),
            "short_runs_not_ended_by_limit_by_day": {d: days.count(d) for d in sorted(set(days))},
            "lengths_s": [run["seconds"] for run in some if run["closed"]],
        }

    on = segments(known.points[point])
    rests = [b[0] - a[1] for a, b in pairwise(on)]
    fact = {
        "short_below_s": SHORT_RUN_S[point],
        "whole_span": counted(listed),
        "without_visits": counted([run for run in listed if not run["in_visit"]]),
        "chatter": sum(rest <= CHATTER_S for rest in rests),
    }
    if point == "Y1":
        shortest = COMPRESSOR_MIN_OFF_S - 1 - 15
        fact["short_rests"] = sum(CHATTER_S < rest < shortest for rest in rests)
        fact["shortest_rest_s"] = min(rests, default=None)
    return fact


def local_day(instant: str) -> str:
    """The site's date of a UTC instant (standard time throughout the record)."""
    offset = site.START.utcoffset() or timedelta()
    return str(np.datetime64(instant[:-1]) + np.timedelta64(offset))[:10]


def trips(known: Known) -> tuple[list[Fact], list[Fact]]:
    """Panel limit trips, and drops at the limit that a call's end within 30 s makes normal ends."""
    found: list[Fact] = []
    not_trips: list[Fact] = []
    off = ~(known.points["W1"] | known.points["Y1"])
    none_calling = known.calling == 0
    for drop, _ in segments(known.limit):
        reached = drop
        while known.heat[reached - 1] and known.supply[reached - 1] >= (
            HIGH_LIMIT_F - SENSOR_TOLERANCE_F
        ):
            reached -= 1
        on_again = first_true(~off, drop)
        calls_end = first_true(none_calling, drop)
        end = min(on_again, calls_end)
        around = known.supply[drop : drop + 120]
        fact = {
            "kind": "high",
            "opened_by": "panel",
            "start": utc(reached),
            "drop": utc(drop),
            "end": utc(end),
            "ended_by": "heat on again" if on_again <= calls_end else "last call ended",
            "zones_calling": known.zones_at(drop - 1),
            "stage": int(known.stage[drop - 1]),
            "peak_f": round(float(around.max()), 2),
            "peak_at": utc(drop + int(around.argmax())),
            "static_inwc": round(float(known.static[drop - 1]), 3),
            "in_visit": bool(known.in_visit[drop]),
        }
        (found if calls_end - drop >= 30 else not_trips).append(fact)
    return found, not_trips


def reached_without_trip(known: Known) -> list[Fact]:
    """Times at which the supply came within a degree of the limit and the panel did not trip."""
    found = []
    for start, end in segments((known.supply >= HIGH_LIMIT_F - SENSOR_TOLERANCE_F) & known.span):
        if known.limit[start : end + 120].any():
            continue
        found.append(
            {
                "start": utc(start),
                "end": utc(end),
                "peak_f": round(float(known.supply[start:end].max()), 2),
                "zones_calling": known.zones_at(start),
                "last_call_ended": bool((known.calling[start:end] == 0).any()),
            }
        )
    return found


def static_facts(known: Known, first: int, last: int) -> Fact:
    """Time above target with the fan running, noise-free, while the static logger was in place."""
    logged = np.zeros_like(known.span)
    logged[first:last] = True
    fan = known.points["G"] & logged
    above = fan & (known.static > TARGET_INWC)
    moved = np.zeros_like(above)
    changes = np.flatnonzero((known.calls[1:] != known.calls[:-1]).any(axis=1)) + 1
    for change in changes:
        moved[change : change + TRAVEL_S] = True

    def split(some: Flags) -> Fact:
        table = {
            f"zones_{zones}": {
                f"stage_{stage}": int(
                    (some & (known.calling == zones) & (known.stage == stage)).sum()
                )
                for stage in (0, 1, 2)
            }
            for zones in range(len(site.ZONES) + 1)
        }
        alone = {
            f"zone_{zone}": {
                f"stage_{stage}": int(
                    (
                        some
                        & (known.calling == 1)
                        & known.calls[:, zone - 1]
                        & (known.stage == stage)
                    ).sum()
                )
                for stage in (0, 1, 2)
            }
            for zone in site.ZONES
        }
        return {"by_zones_calling_and_stage": table, "by_zone_alone_and_stage": alone}

    def whole(kept: Flags) -> Fact:
        some = above & kept
        return {
            "fan_s": int((fan & kept).sum()),
            "above_target_s": int(some.sum()),
            "above_target_in_damper_travel_s": int((some & moved).sum()),
            "above_target_plus_0.05_s": int((some & (known.static > TARGET_INWC + 0.05)).sum()),
            "max_inwc": round(float(known.static[fan & kept].max()), 3),
            "within_0.02_of_target_s": int(
                (fan & kept & (np.abs(known.static - TARGET_INWC) < 0.02)).sum()
            ),
            **split(some),
        }

    over = excursions(known, fan)
    return {
        "from": utc(first),
        "to": utc(last),
        "target_inwc": TARGET_INWC,
        "whole_span": whole(known.span),
        "without_visits": whole(known.span & ~known.in_visit),
        "excursions": over,
    }


def excursions(known: Known, fan: Flags) -> list[Fact]:
    """Stretches above target that last 60 s: over once below target - 0.02 for 10 s, or fan off."""
    low = np.convolve(known.static < TARGET_INWC - 0.02, np.ones(10), "full")[: len(fan)] >= 10
    found = []
    at = 0
    above = fan & (known.static > TARGET_INWC)
    stop = ~fan | low
    while above[at:].any():
        start = at + int(np.argmax(above[at:]))
        end = first_true(stop, start)
        if end < len(fan) and fan[end]:
            end -= 9  # the end is where the ten seconds below begin
        if end - start >= 60:
            peak = float(known.static[start:end].max())
            found.append(
                {
                    "start": utc(start),
                    "end": utc(end),
                    "max_inwc": round(peak, 3),
                    "zones_calling": known.zones_at(start),
                    "in_visit": bool(known.in_visit[start]),
                }
            )
        at = max(end, start + 1)
    return found


def second_stage_starts(known: Known) -> list[Fact]:
    """Every start of W2: who calls, how long the longest has called, in order by the sheet or not.

    On again within the chatter time is no start. The clock starts with a zone's call (breaks under
    30 s do not count) and again when heat comes back after a trip or the technician's hand.
    """
    resets = [end for _, end in segments(known.limit | known.service)]
    since: dict[int, list[int]] = {}
    for zone in site.ZONES:
        calls = segments(known.calls[:, zone - 1])
        broken = [b[0] - a[1] >= 30 for a, b in pairwise(calls)]
        since[zone] = [start for (start, _), own in zip(calls, [True, *broken], strict=True) if own]
    found = []
    on = segments(known.points["W2"])
    starts = [on[0][0], *(b[0] for a, b in pairwise(on) if b[0] - a[1] > CHATTER_S)]
    for second in starts:
        zones = known.zones_at(second)
        clocks = []
        for zone in zones:
            events = [at for at in [*since[zone], *resets] if at <= second]
            clocks.append(second - max(events))
        enough = len(zones) >= STAGE2_MIN_ZONES
        late_enough = max(clocks, default=0) >= STAGE_UP_S - 30
        found.append(
            {
                "at": utc(second),
                "zones_calling": zones,
                "longest_called_s": max(clocks, default=0),
                "too_few_zones": not enough,
                "early": not late_enough,
                "in_order": enough and late_enough,
                "in_visit": bool(known.in_visit[second]),
            }
        )
    return found
