"""Zones exchanged: a zone's temperature answers to another zone's calls, and that one's to its own.

A straight line fit: how far each room moves from reading to reading, on how long each zone called
in between (heat counts up, cooling down). The log cannot tell columns from wires.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.measures.trouble import Channel, Problem, SiteChannels
from pipeline.units import MICROSECONDS

BIN_US = 600 * MICROSECONDS
"""The length of trust.bin's rows."""
LONGEST_BINS = 3.5
"""Readings further apart are no one move: slow loggers write every half hour at the slowest."""
FEWEST_MOVES = 50
"""A line fit on fewer says nothing."""


def problems(site: SiteChannels) -> Iterator[Problem]:
    """Every problem of this kind of one site."""
    rooms = {c.zone: c for c in site.channels if c.role == "zone_temp" and c.zone is not None}
    calls = _calls(site)
    zones = sorted(set(rooms) & set(calls))
    if len(zones) < 2:
        return
    clear = np.array([_answers(site, rooms[z], [calls[k] for k in zones]) for z in zones])
    limits = site.limits
    times, gain = limits["exchange_margin_times"], limits["exchange_gain_times"]
    for i in range(len(zones)):
        for j in range(i + 1, len(zones)):
            crossed = float(np.maximum([clear[i, j], clear[j, i]], 0.0).sum())
            own = float(np.maximum([clear[i, i], clear[j, j]], 0.0).sum())
            least = min(clear[i, j], clear[j, i])
            if least < limits["exchange_clear_times"] or crossed < max(own + gain, times * own):
                continue
            for mine, other in ((zones[i], zones[j]), (zones[j], zones[i])):
                yield Problem(
                    rooms[mine].channel_id,
                    "zones-exchanged",
                    site.start_ts,
                    site.end_ts,
                    float(other),
                    "zone",
                    int(crossed),
                    int(own),
                    True,
                    f"answers to zone {other}",
                )


def _calls(site: SiteChannels) -> dict[int, tuple[np.ndarray, np.ndarray]]:
    """Per zone that called often enough: corner points of heat less cooling called so far."""
    states, found = site.states, {}
    sense = site.site.get("ob_energised_in")
    for zone in sorted({c.zone for c in site.channels if c.zone is not None}):
        mine = {c.role: c for c in site.channels if c.zone == zone and c.channel_id in states.on}
        signed = np.zeros(len(states.seconds))
        edges = 0
        for role in ("zone_call_w1", "zone_call_aux", "zone_call_emergency"):
            if role in mine:
                signed += states.on[mine[role].channel_id]
                edges += states.edges[mine[role].channel_id]
        if "zone_call_y1" in mine:
            y = mine["zone_call_y1"].channel_id
            heats = np.zeros(len(signed), bool)
            if "zone_call_ob" in mine and isinstance(sense, str):
                heats = states.on[mine["zone_call_ob"].channel_id] == (sense == "heating")
            signed += np.where(states.on[y], np.where(heats, 1.0, -1.0), 0.0)
            edges += states.edges[y]
        if edges // 2 >= site.limits["exchange_min_calls"]:
            found[zone] = states.on_until(np.clip(signed, -1.0, 1.0))
    return found


def _answers(
    site: SiteChannels, room: Channel, calls: list[tuple[np.ndarray, np.ndarray]]
) -> np.ndarray:
    """How clearly the room answers each zone's calls: slope over its standard error."""
    rows = site.table("trust.bin")
    rows = rows[rows["channel_id"] == room.channel_id].sort_values("start_ts")
    ts = site.by_outputs_clock(rows["start_ts"].to_numpy(), room)
    value = rows["mean_value"].to_numpy()
    if len(ts) < 2:
        return np.zeros(len(calls))
    hours = np.diff(ts) / 3.6e9
    moved = np.diff(value)
    middle = ts + (BIN_US // 2 - site.limits["room_wait_s"] * MICROSECONDS)
    called = np.stack([np.diff(np.interp(middle, *corner)) / 3600.0 for corner in calls], axis=1)
    keep = hours * 3600 <= LONGEST_BINS * BIN_US / MICROSECONDS
    x = np.column_stack([called, hours])[keep]
    y = moved[keep]
    used = x.any(axis=0)
    out = np.zeros(x.shape[1])
    x = x[:, used]
    square = x.T @ x
    if len(y) < FEWEST_MOVES or np.linalg.cond(square) > 1e10:
        return np.zeros(len(calls))
    slope = np.linalg.solve(square, x.T @ y)
    left = y - x @ slope
    variance = float(left @ left) / (len(y) - x.shape[1])
    error = np.sqrt(np.maximum(variance * np.diag(np.linalg.inv(square)), 1e-18))
    out[used] = slope / error
    return out[: len(calls)]
