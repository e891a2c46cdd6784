"""On/off channels that tell the opposite, or nothing: held against what must go with them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.measures.check_readings import look_of
from pipeline.measures.trouble import Bools, Channel, Problem, SiteChannels
from pipeline.units import MICROSECONDS

PROOF = {
    "flame": ("output_w1",),
    "gas_valve": ("output_w1",),
    "compressor_run": ("output_y1",),
    "outdoor_fan_run": ("output_y1",),
}
SOURCES = ("output_w1", "output_y1", "output_aux")
HEAT_CALLS = ("zone_call_w1", "zone_call_aux")
COLD_CALLS = ("zone_call_y1",)
CALLS = HEAT_CALLS + COLD_CALLS


def problems(site: SiteChannels) -> Iterator[Problem]:
    """Every problem of these kinds of one site."""
    for channel in site.channels:
        if channel.channel_id not in site.states.on:
            continue
        against = _against(site, channel)
        if against is not None:
            yield _problem(site, channel, "state-inverted", *against)
        elif site.states.edges[channel.channel_id] == 0:
            n = _should_have_moved(site, channel)
            if n >= site.limits["dead_min_starts"]:
                yield _problem(site, channel, "state-never-changes", 0.0, n, n)


def _problem(
    site: SiteChannels, channel: Channel, code: str, figure: float, n: int, of_n: int
) -> Problem:
    inverted = code == "state-inverted"
    return Problem(
        channel.channel_id,
        code,
        site.start_ts,
        site.end_ts,
        figure,
        "share",
        n,
        of_n,
        True,
        "told the other way round" if inverted else "never changes",
        "inverted = true" if inverted else None,
    )


def _us(seconds: float) -> int:
    return round(seconds * MICROSECONDS)


def _channels(site: SiteChannels, *roles: str, zone: int | None = None) -> list[Channel]:
    known = site.states.on
    return [
        c
        for c in site.channels
        if c.role in roles and c.channel_id in known and (zone is None or c.zone == zone)
    ]


def _fan_sources(site: SiteChannels) -> list[Channel]:
    """Outputs with which the fan output must be on."""
    by_gas = bool(site.tables["run_state.fan_output"]["covers_gas_heat"].any())
    return _channels(site, "output_y1", "output_aux", *(("output_w1",) if by_gas else ()))


def _against(site: SiteChannels, channel: Channel) -> tuple[float, int, int] | None:
    """How clearly the channel tells the opposite: (share, events, of events); None: it does not."""
    states, limits = site.states, site.limits
    on, known = states.on[channel.channel_id], states.known[channel.channel_id]
    if channel.role == "fault_contact":
        share = states.share(on, known)
        if (
            not _nothing_answers(site)
            and states.hours(known) >= limits["contact_known_min_h"]
            and share >= limits["state_mostly_frac"]
        ):
            return share, 1, 1
        return None
    if channel.role == "zone_damper":
        return _damper_against(site, channel)
    if channel.role == "output_g":
        found = _fan_against(site, channel)
        if found is not None:
            return found
        beside = _fan_sources(site)
    elif channel.role == "blower_run":
        # a furnace that does not light never starts its blower
        beside = [] if _nothing_answers(site) else _channels(site, *SOURCES)
    elif channel.role in PROOF:
        beside = _channels(site, *PROOF[channel.role])
    elif channel.role in SOURCES:
        found = _call_against(site, channel, _channels(site, *CALLS))
        return found or _never_wanted(site, channel)
    elif channel.role in CALLS:
        return _call_against(site, channel, _channels(site, *SOURCES))
    else:
        return None
    if not beside:
        return None
    other, other_known = states.any_on(beside)
    where = known & other_known
    apart = -states.agreement(on, other, where)
    if (
        apart >= limits["state_against_min_frac"]
        and states.hours(where) >= limits["state_known_min_h"]
    ):
        return apart, states.edges[channel.channel_id], states.edges[channel.channel_id]
    return None


def _nothing_answers(site: SiteChannels) -> bool:
    """Most runs bring no warm (cold) air: then a fault contact that stands is to be believed.

    A call that nothing answers may be one run of days: few runs are enough, and one that a visit
    touches counts with the others.
    """
    runs, limits = site.table("trust.run"), site.limits
    runs = runs[runs["supply_f"].notna() & runs["room_f"].notna()]
    if runs.empty:
        return False
    answered = (runs["supply_f"] - runs["room_f"]).abs() > limits["answered_min_f"]
    return bool(answered.mean() < 0.5)


def _call_against(
    site: SiteChannels, channel: Channel, beside: list[Channel]
) -> tuple[float, int, int] | None:
    """A call, or an output, that stands while everything it goes with rests, and breaks in runs."""
    if not beside:
        return None
    states, limits = site.states, site.limits
    on, known = states.on[channel.channel_id], states.known[channel.channel_id]
    other, other_known = states.any_on(beside)
    rests, runs = known & other_known & ~other, known & other_known & other
    if states.hours(rests) < limits["state_known_min_h"]:
        return None
    if states.hours(runs) < limits["state_run_min_h"]:
        return None
    in_rests, in_runs = states.share(on, rests), states.share(on, runs)
    enough = states.edges[channel.channel_id] >= limits["dead_min_starts"]
    # a zone that seldom calls breaks seldom, but where it does the equipment runs
    breaks_in_runs = states.share(runs, (rests | runs) & ~on)
    if (
        enough
        and in_rests >= limits["state_mostly_frac"]
        and (
            in_runs < in_rests - limits["call_breaks_min_frac"]
            or breaks_in_runs >= limits["state_mostly_frac"]
        )
    ):
        return in_rests, states.edges[channel.channel_id], states.edges[channel.channel_id]
    return None


def _never_wanted(site: SiteChannels, channel: Channel) -> tuple[float, int, int] | None:
    """An output that stands all the time, that no zone ever called for and no air ever showed.

    A compressor that may heat or cool is left alone: air tells too little of it.
    """
    heats = channel.role != "output_y1"
    calls = _channels(site, *(HEAT_CALLS if heats else COLD_CALLS))
    supply = site.of_role("supply_temp")
    look = look_of(site, supply) if supply is not None else None
    if not calls or look is None or look.n_reading == 0:
        return None
    if not heats and site.site.get("has_heat_pump"):
        return None
    states, limits = site.states, site.limits
    on, known = states.on[channel.channel_id], states.known[channel.channel_id]
    called, called_known = states.any_on(calls)
    where = known & called_known
    stands = states.share(on, where)
    if states.hours(where & on) < limits["state_known_min_h"]:
        return None
    if stands < limits["state_mostly_frac"] or states.share(called, where & on) > 0:
        return None
    if heats and look.high_value > limits["supply_warm_f"]:
        return None
    if not heats and look.low_value < limits["supply_cold_f"]:
        return None
    return stands, 1, 1


def _fan_against(site: SiteChannels, channel: Channel) -> tuple[float, int, int] | None:
    """G on before runs whose static shows the fan at rest then, and off (or still on) in them."""
    runs, limits = site.runs, site.limits
    runs = runs[runs["static_inwc"].notna() & runs["static_before_inwc"].notna()]
    answer = (runs["static_inwc"] - runs["static_before_inwc"]).to_numpy()
    rested = runs["static_before_inwc"].abs() <= limits["fan_rest_max_share"] * runs["static_inwc"]
    runs = runs[(answer >= limits["static_least_inwc"]) & rested]
    if len(runs) < limits["probe_min_runs"]:
        return None
    before, known = site.states.at(
        channel.channel_id, runs["start_ts"].to_numpy() - _us(limits["state_before_s"])
    )
    n, of_n = int((before & known).sum()), int(known.sum())
    if n >= limits["probe_min_runs"] and n >= limits["probe_share_min_frac"] * of_n:
        return n / of_n, n, of_n
    return None


def _damper_against(site: SiteChannels, channel: Channel) -> tuple[float, int, int] | None:
    """Shut while its own zone calls, open while only others do, with the equipment running."""
    states, limits = site.states, site.limits
    on, known = states.on[channel.channel_id], states.known[channel.channel_id]
    own = _channels(site, *CALLS, zone=channel.zone)
    all_calls = _channels(site, *CALLS)
    equipment = _channels(site, *SOURCES)
    if not own or not equipment:
        return None
    mine, mine_known = states.any_on(own)
    any_call, any_known = states.any_on(all_calls)
    run, run_known = states.any_on(equipment)
    where: Bools = known & mine_known & any_known & run_known & run & any_call
    called, others = where & mine, where & ~mine
    if min(states.hours(called), states.hours(others)) < limits["damper_known_min_h"]:
        return None
    shut, open_ = 1 - states.share(on, called), states.share(on, others)
    least = limits["state_mostly_frac"]
    edges = states.edges[channel.channel_id]
    return (min(shut, open_), edges, edges) if min(shut, open_) >= least else None


def _should_have_moved(site: SiteChannels, channel: Channel) -> int:
    """Events in the log that would have moved the channel; 0: none can be told."""
    states = site.states
    if channel.role == "output_g":
        return max((states.edges[c.channel_id] // 2 for c in _fan_sources(site)), default=0)
    if channel.role in PROOF or channel.role == "blower_run":
        answered = site.runs[
            (site.runs["supply_f"] - site.runs["room_f"]).abs() > site.limits["answered_min_f"]
        ]
        if channel.role != "blower_run":
            by = "has_w" if PROOF[channel.role] == ("output_w1",) else "has_y"
            answered = answered[answered[by].astype(bool)]
        return len(answered)
    if channel.role in SOURCES:
        return max(_output_dead(site, channel), _second_alone(site, channel))
    if channel.role in CALLS and bool(states.on[channel.channel_id].any()):
        run, known = states.any_on(_channels(site, *SOURCES))
        # it stands through rests of the equipment, and the room does not need it
        if states.share(run, known) < site.limits["call_stands_max_frac"] and not _needs(
            site, channel
        ):
            return max(
                (states.edges[c.channel_id] // 2 for c in _channels(site, *SOURCES)), default=0
            )
    return 0


def _needs(site: SiteChannels, call: Channel) -> bool:
    """Whether the zone's room lies so far off its setpoint that its call may well stand for days.

    Then nobody answers it, which is the very thing that the log shall tell.
    """
    middle = {
        c.role: float(look.median_value)
        for c in site.channels
        if c.zone == call.zone and (look := look_of(site, c)) is not None and look.n_reading
    }
    room, off_f = middle.get("zone_temp", np.nan), site.limits["call_stands_off_f"]
    cold = room <= middle.get("zone_heat_setpoint", np.nan) - off_f
    hot = room >= middle.get("zone_cool_setpoint", np.nan) + off_f
    return bool(
        (cold and call.role != "zone_call_y1")
        or (hot and call.role == "zone_call_y1")
        or (cold and bool(site.site.get("has_heat_pump")))
    )


def _second_alone(site: SiteChannels, channel: Channel) -> int:
    """Starts of the second stage of an output that was never on: no panel sends it alone."""
    if bool(site.states.on[channel.channel_id].any()):
        return 0
    second = _channels(site, channel.role.replace("1", "2"))
    second = [c for c in second if c.role != channel.role]
    return max((site.states.edges[c.channel_id] // 2 for c in second), default=0)


def _output_dead(site: SiteChannels, channel: Channel) -> int:
    """Calls that were answered by warm (cold) air with no output of that kind ever on."""
    supply = site.of_role("supply_temp")
    look = look_of(site, supply) if supply is not None else None
    if look is None or look.n_reading == 0 or np.isnan(look.median_value):
        return 0
    heats = channel.role in ("output_w1", "output_aux")
    kinds = ("output_w1", "output_aux", "output_y1") if heats else ("output_y1",)
    others = [c for c in _channels(site, *kinds) if c.channel_id != channel.channel_id]
    if any(site.states.on[c.channel_id].any() for c in others):
        return 0  # another source may have answered
    limits = site.limits
    warm = look.high_value > limits["supply_warm_f"]
    cold = look.low_value < limits["supply_cold_f"]
    calls = _channels(site, *(HEAT_CALLS if heats else COLD_CALLS))
    if not (warm if heats else cold or (warm and bool(site.site.get("has_heat_pump")))):
        return 0
    return max((site.states.edges[c.channel_id] // 2 for c in calls), default=0)
