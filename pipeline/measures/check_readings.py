"""Problems that a channel of numbers shows by itself: stuck, leaping, lacking, too coarse."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pandas as pd

from pipeline.measures.trouble import Channel, Problem, SiteChannels

PLENUM = ("supply_temp", "return_temp", "mixed_temp")
DUCT = ("supply_temp", "return_temp", "mixed_temp", "static_pressure")
ROOM = ("zone_temp", "outdoor_temp")
STEP_MATTERS = ("supply_temp", "return_temp", "mixed_temp", "zone_temp")


def problems(site: SiteChannels) -> Iterator[Problem]:
    """Every problem of these kinds of one site."""
    for channel in site.channels:
        yield from _stuck(site, channel)
        yield from _outliers(site, channel)
        yield from _lacking(site, channel)
        yield from _coarse(site, channel)


def look_of(site: SiteChannels, channel: Channel) -> Any:
    """The channel's row of trust.look; None for a state."""
    rows = site.rows_of("trust.look", channel)
    return rows[0] if rows else None


def _stuck(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    if channel.role not in DUCT + ROOM:
        return
    limits, look = site.limits, look_of(site, channel)
    if look is None or look.n_reading == 0:
        return
    step = look.step_value
    fine = pd.notna(step) and step <= limits["stuck_fine_step_f"]
    # without runs the other plenum probes say that air went by, which they may at rest too
    blind = site.table("trust.run").empty and channel.role in PLENUM
    for row in site.rows_of("trust.constant", channel):
        if channel.role in DUCT and not blind:
            least_s = limits["stuck_duct_min_s"]
        else:
            least_s = limits["stuck_room_min_s" if fine else "stuck_coarse_min_s"]
            least_s = max(least_s, limits["stuck_times_usual"] * row.usual_s)
        if row.covered_s < least_s or row.n_start < limits["stuck_min_starts"]:
            continue
        if channel.role == "static_pressure" and abs(row.value) < limits["zero_shift_min_inwc"]:
            continue  # told as flat
        yield Problem(
            channel.channel_id,
            "stuck-sensor",
            int(row.start_ts),
            int(row.end_ts),
            float(row.value),
            "store",
            int(row.n_start),
            int(row.n_start),
            True,
            "stuck at one value",
        )


def _outliers(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    rows = site.rows_of("trust.outlier", channel)
    look = look_of(site, channel)
    if not rows or look is None:
        return
    beyond = [r for r in rows if r.is_beyond]
    n_beyond = sum(r.n_reading for r in beyond)
    if n_beyond >= site.limits["beyond_unit_frac"] * look.n_reading:
        yield _whole(site, channel, look, n_beyond)
        return
    single = Counter(r.low_value for r in beyond if r.n_reading == 1)
    # lone readings at one value are a broken circuit's rail; scattered ones are leaps
    commonest = max(single.values(), default=0)
    is_rail = commonest >= max(2, site.limits["rail_share_min_frac"] * single.total())
    leaps = [r for r in rows if not r.is_beyond or (r.n_reading == 1 and not is_rail)]
    others = [r for r in rows if r.is_beyond and (r.n_reading > 1 or is_rail)]
    for code, mine, reason in (
        ("sensor-spikes", leaps, "leaps and comes back"),
        ("sensor-out-of-range", others, "no sensor there reads that"),
    ):
        n = sum(r.n_reading for r in mine)
        for row in mine:
            yield Problem(
                channel.channel_id,
                code,
                int(row.start_ts),
                int(row.end_ts),
                float(row.high_value if row.high_value > look.high_value else row.low_value),
                "store",
                n,
                int(look.n_reading),
                True,
                reason,
            )


def _whole(site: SiteChannels, channel: Channel, look: Any, n: int) -> Problem:
    """Most readings lie beyond the range: the channel as a whole is wrong."""
    return Problem(
        channel.channel_id,
        "sensor-out-of-range",
        site.start_ts,
        site.end_ts,
        float(look.median_value),
        "store",
        n,
        int(look.n_reading),
        True,
        "no sensor there reads that",
    )


def _lacking(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    look = look_of(site, channel)
    if look is None:
        return
    all_n = int(look.n_reading) + int(look.n_lost)
    if look.n_reading and look.n_lost < site.limits["lost_min_frac"] * all_n:
        return
    yield Problem(
        channel.channel_id,
        "missing-readings",
        site.start_ts if not look.n_reading else int(look.first_ts),
        site.end_ts if not look.n_reading else int(look.last_ts),
        look.n_lost / all_n if look.n_reading else 1.0,
        "share",
        int(look.n_lost),
        all_n,
        False,
        "readings lacking",
    )


def _coarse(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    look = look_of(site, channel)
    if look is None or pd.isna(look.step_value):
        return
    limits = site.limits
    least = (
        limits["coarse_step_inwc"]
        if channel.role == "static_pressure"
        else limits["coarse_step_f"]
        if channel.role in STEP_MATTERS
        else None
    )
    if least is None or look.step_value <= least * 1.001:
        return
    yield Problem(
        channel.channel_id,
        "log-too-coarse",
        int(look.first_ts),
        int(look.last_ts),
        float(look.step_value),
        "store difference",
        int(look.n_reading),
        int(look.n_reading),
        False,
        "steps too coarse",
    )
