"""Which edges of two loggers answer one another, and how long the answer may take.

The delays' bounds are thresholds. On- and off-edges of one thing form a pair: a board that delays
the fan does so by different times at its start and its stop, so a pair that answers alike has no
timer in between.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from pipeline.measures.clock_logger import Logger
from pipeline.measures.edge_match import Link
from pipeline.measures.edges import (
    Edges,
    Floats,
    Series,
    fan_edges,
    stretches,
    turns,
)

SOURCES = ("output_w1", "output_w2", "output_y1", "output_y2", "output_aux")
OUTPUTS = (*SOURCES, "output_g")
CALLS = (
    "zone_call_w1",
    "zone_call_w2",
    "zone_call_y1",
    "zone_call_y2",
    "zone_call_aux",
    "zone_call_emergency",
)
COMPRESSOR_CALLS = ("zone_call_y1", "zone_call_y2")
FAN_RAISES = {"static_pressure": 1.0, "return_static": -1.0}
ANALOG = (*FAN_RAISES, "supply_temp")

# cause, effect, their words, bounds of the answer to on and to off (thresholds)
SWITCHES: tuple[tuple[tuple[str, ...], tuple[str, ...], str, str, str, str], ...] = (
    (
        ("output_y1",),
        ("compressor_run", "outdoor_fan_run"),
        "Y",
        "the compressor",
        "clock_delay_prompt_s",
        "clock_delay_prompt_s",
    ),
    (
        ("output_w1",),
        ("gas_valve", "flame"),
        "W",
        "the burner",
        "clock_delay_gas_fan_s",
        "clock_delay_prompt_s",
    ),
    (
        ("output_g",),
        ("blower_run",),
        "G",
        "the blower",
        "clock_delay_fan_on_s",
        "clock_delay_fan_off_s",
    ),
    (
        SOURCES,
        ("output_g",),
        "an output",
        "G",
        "clock_delay_prompt_s",
        "clock_delay_gas_fan_s",
    ),
    (
        CALLS,
        SOURCES,
        "a call",
        "an output",
        "clock_delay_call_on_s",
        "clock_delay_call_off_s",
    ),
)


@dataclass(frozen=True)
class Candidate:
    """A link between two loggers and what its refinement needs.

    pair : on- and off-edges of one pair that answer alike have no timer between; '' where they may
    turning : the temperature whose turn is the effect; None if the effect is a switch or a fan
    others_s : every edge of the reference that may bend that temperature
    """

    link: Link
    pair: str
    is_on: bool
    turning: Series | None = None
    downwards: bool = False
    others_s: Floats = field(default_factory=lambda: np.empty(0))


def candidates(
    reference: Logger, other: Logger, has_burner: bool, limits: Mapping[str, float]
) -> list[Candidate]:
    """Every link by which the other logger's clock may be compared with the reference's.

    has_burner : W is a gas furnace, not strip heat
    limits : thresholds in force
    Empty where the two logged nothing that answers. Links without edges are left out.
    """
    found = [
        *_fan(reference, other, has_burner, limits),
        *_supply(reference, other, has_burner, limits),
        *_switches(reference, other, limits),
    ]
    return [c for c in found if len(c.link.cause) and len(c.link.effect)]


def nothing_sharp(logger: Logger, reference: Logger) -> str:
    """Why two loggers cannot be compared at all."""
    if not logger.roles:
        return "None of its channels is used, so nothing of it can be compared."
    named = ", ".join(sorted(logger.roles)).replace("_", " ")
    if logger.roles & set(ANALOG):
        return (
            f"Logged here ({named}): no fan start or stop and no turn of supply air to set beside "
            f"what {reference.name} shows."
        )
    return (
        f"Logged here ({named}): nothing that changes sharply when {reference.name} shows an "
        "output go on or off. Static pressure, supply air or a run contact would show it."
    )


def _fan(
    reference: Logger, other: Logger, has_burner: bool, limits: Mapping[str, float]
) -> list[Candidate]:
    """Static against what starts and stops the fan."""
    bridge_s = limits["chatter_max_s"]
    causes: list[tuple[str, str, Edges, Edges, float, float]] = []  # pair, word, on, off, bounds
    on_s, off_s = limits["clock_delay_fan_on_s"], limits["clock_delay_fan_off_s"]
    prompt_s = limits["clock_delay_prompt_s"]
    gas_s = limits["clock_delay_gas_fan_s"]
    burner = reference.switching(["output_w1"], bridge_s) if has_burner else None
    blower = reference.switching(["blower_run"], bridge_s)
    if blower is not None:
        causes.append(("", "the blower", blower.on, blower.off, prompt_s, prompt_s))
    fan = reference.switching(["output_g"], bridge_s)
    compressor = reference.switching(["output_y1"], bridge_s)
    strip = None if has_burner else reference.switching(["output_w1", "output_aux"], bridge_s)
    if fan is not None:
        # G that comes or goes with W may wait for the furnace's own fan timer
        with_on, alone_on = _split(fan.on, burner.on if burner else None)
        with_off, alone_off = _split(fan.off, burner.off if burner else None)
        causes.append(("G", "G", alone_on, alone_off, on_s, off_s))
        causes.append(("G", "G with W", with_on, with_off, gas_s, gas_s))
        if burner is not None and len(with_on) < len(burner.on) / 2:  # the furnace's own fan
            causes.append(("", "W", burner.on, burner.off, gas_s, gas_s))
    elif blower is None:
        for word, source in (("Y", compressor), ("aux heat", strip)):
            if source is not None:
                causes.append((word, word, source.on, source.off, on_s, off_s))
        if burner is not None:
            causes.append(("", "W", burner.on, burner.off, gas_s, gas_s))
    if not causes:
        calls = reference.switching(CALLS, bridge_s)
        if calls is not None:
            wait_s = limits["clock_delay_call_on_s"] + gas_s
            causes.append(("", "a call", calls.on, calls.off, wait_s, wait_s))
    found = []
    for role, sign in FAN_RAISES.items() if causes else ():
        series = other.series(role)
        if series is None:
            continue
        series = Series(series.at_s, sign * series.value, series.interval_s)
        rise, fall = fan_edges(series, limits["fan_static_over_off_inwc"])
        seen = stretches(series, limits["hold_max_intervals"])
        jitter_s = limits["clock_jitter_switch_s"]
        for pair, word, on, off, high_on, high_off in causes:
            for is_on, cause, effect, high in (
                (True, on, rise, high_on),
                (False, off, fall, high_off),
            ):
                words = f"{word} goes {'on' if is_on else 'off'}"
                does = "static rises" if is_on else "static falls"
                # a contact that proves air or turning opens only as the fan has coasted down
                coast_s = limits["clock_coast_s"] if word == "the blower" and not is_on else 0.0
                link = Link(words, does, cause, effect, -coast_s, high, jitter_s, *seen)
                found.append(Candidate(link, f"{role} {pair}" if pair else "", is_on))
    return found


def heat_told_backwards(
    reference: Logger, other: Logger, has_burner: bool, limits: Mapping[str, float]
) -> list[Candidate]:
    """Supply air's turn down as heat goes on: answered only where on and off are exchanged.

    A compressor is left out: its going on in cooling turns supply down.
    """
    found = _supply(reference, other, has_burner, limits, after_on=True)
    return [c for c in found if len(c.link.cause) and len(c.link.effect)]


def _supply(
    reference: Logger,
    other: Logger,
    has_burner: bool,
    limits: Mapping[str, float],
    *,
    after_on: bool = False,
) -> list[Candidate]:
    """Supply air's turn after heat or cooling goes off; `after_on`: after heat goes on."""
    series = other.series("supply_temp")
    if series is None:
        return []
    bridge_s = limits["chatter_max_s"]
    gas_s, strip_s = limits["clock_delay_burner_off_s"], limits["clock_delay_strip_off_s"]
    causes = [
        (["gas_valve", "flame"], "the burner", gas_s),
        (["output_w1"], "W", gas_s if has_burner else strip_s),
        (["output_aux"], "aux heat", strip_s),
        (["output_y1"], "Y", limits["clock_delay_compressor_off_s"]),
    ]
    if not reference.roles & {*SOURCES, "gas_valve", "flame"}:
        wait_s = limits["clock_delay_call_off_s"]
        compressor_s = limits["clock_delay_compressor_off_s"]
        causes = [
            ([r for r in CALLS if r not in COMPRESSOR_CALLS], "the last call", wait_s + gas_s),
            (list(COMPRESSOR_CALLS), "the last call", wait_s + compressor_s),
        ]
    if after_on:
        causes = [c for c in causes if c[0][0] != "output_y1" and c[0][0] not in CALLS]
    down, up = turns(series, limits["clock_turn_min_f"])
    seen = stretches(series, limits["hold_max_intervals"])
    others_s = _all_edges(reference, bridge_s)
    found = []
    for roles, word, high in causes:
        switching = reference.switching(roles, bridge_s)
        if switching is None:
            continue
        off = _undisturbed(switching.on if after_on else switching.off, others_s)
        # Y off ends heating or cooling; which of the two, the air shows. Looked for one way only,
        # the next start after a compressor's rest would be taken for the answer
        for downwards in (
            (True, False) if {"output_y1", *COMPRESSOR_CALLS} & set(roles) else (True,)
        ):
            does = f"supply air turns {'down' if downwards else 'up'}"
            effect = down if downwards else up
            jitter_s = limits["clock_jitter_turn_s"]
            link = Link(f"{word} goes off", does, off, effect, 0.0, high, jitter_s, *seen)
            found.append(Candidate(link, "", False, series, downwards, others_s))
    return found


def _switches(reference: Logger, other: Logger, limits: Mapping[str, float]) -> list[Candidate]:
    """States of one logger that answer states of the other, in either direction."""
    bridge_s = limits["chatter_max_s"]
    found = []
    for causes, effects, word, answer, on_name, off_name in SWITCHES:
        for forward in (True, False):
            first, second = (reference, other) if forward else (other, reference)
            cause, effect = first.switching(causes, bridge_s), second.switching(effects, bridge_s)
            if cause is None or effect is None:
                continue
            for is_on, name in ((True, on_name), (False, off_name)):
                a, b = (cause, effect) if forward else (effect, cause)
                here, there = (word, answer) if forward else (answer, word)
                goes = "goes on" if is_on else "goes off"
                link = Link(
                    f"{here} {goes}",
                    f"{there} {goes}",
                    a.on if is_on else a.off,
                    b.on if is_on else b.off,
                    0.0 if forward else -limits[name],
                    limits[name] if forward else 0.0,
                    limits["clock_jitter_switch_s"],
                    b.from_s,
                    b.to_s,
                )
                found.append(Candidate(link, f"{word} {answer} {forward}", is_on))
    return found


def _split(edges: Edges, beside: Edges | None) -> tuple[Edges, Edges]:
    """The edges within 10 s of one of `beside`, and the others."""
    if beside is None or not len(beside):
        return Edges(np.empty(0), edges.half_s), edges
    near = _distance(edges.at_s, beside.at_s) <= 10
    return Edges(edges.at_s[near], edges.half_s), Edges(edges.at_s[~near], edges.half_s)


def _all_edges(logger: Logger, bridge_s: float) -> Floats:
    """On- and off-edges of every output by itself (of the calls where there are none), sorted."""
    roles = [r for r in OUTPUTS if r in logger.roles] or [r for r in CALLS if r in logger.roles]
    found = [logger.switching([role], bridge_s) for role in roles]
    edges = [e.at_s for f in found if f is not None for e in (f.on, f.off)]
    return np.sort(np.concatenate(edges)) if edges else np.empty(0)


def _undisturbed(edges: Edges, others_s: Floats) -> Edges:
    """The edges with no other in the minute before: what bends there is theirs."""
    first = np.searchsorted(others_s, edges.at_s - 60)
    last = np.searchsorted(others_s, edges.at_s - 3)
    return Edges(edges.at_s[first == last], edges.half_s)


def _distance(at: Floats, to: Floats) -> Floats:
    """From each instant to the nearest of `to` (sorted, not empty)."""
    after = np.clip(np.searchsorted(to, at), 1, len(to) - 1) if len(to) > 1 else 0
    before = np.maximum(np.asarray(after) - 1, 0)
    return np.minimum(np.abs(at - to[after]), np.abs(at - to[before]))
