"""What a planted condition brings about beside what its labels name, and labels that ask too much.

The world's labels are the first word. Where building the findings showed one to be wrong about what
such a house does, it stands here with its physical reason; never because a finding says otherwise.
Facts are those of the trade that the world was planted from (numbers as there).
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sample_data.world.conditions import BY_NAME
from sample_data.world.system import System

ASKS = ("must", "may", "must_not")

_TO_OTHERS = "air that a shut way turns back goes to the other rooms (F3.11, F3.12)"
_LESS_AIR = "whatever closes before the tap lowers supply static (F3.6; section 9, no. 13)"

MAY: dict[str, dict[str, str]] = {
    "damper stuck closed": {
        "zone-overheats": _TO_OTHERS,
        "zone-overcools": _TO_OTHERS,
        "relief-used-up": "the shut zone's air opens every relief damper there is (F3.11)",
    },
    "return side clogging by the day": {"static-low": _LESS_AIR},
    "ignition retried": {
        "second-stage-no-effect": "where nothing burns, second stage makes no difference either",
    },
    "zone sensor off": {
        "zone-overcools": "a thermostat that reads warm cools its room past the setpoint (no. 17)",
    },
    "thermostat in the air stream": {
        "zone-sensor-off": "it does read off its room while the air blows on it",
    },
    "damper stuck open": {
        "zone-overcools": "a room that moves with the equipment when it does not call (no. 17)",
    },
    "dampers of two zones exchanged": {
        "zone-overcools": "the room that gets the other's air, in cooling (no. 17)",
    },
    "thermostats of two zones exchanged": {
        "zone-overcools": "the room that gets the other's air, in cooling (no. 17)",
    },
    "target below what the ducts need": {
        "zone-overcools": "relief that never rests, in cooling (no. 18)",
    },
    "low limit in one-zone cooling": {
        "short-cycling": "each trip ends a run: the compressor cycles by its limit",
        "static-low": _LESS_AIR,
    },
    "panel's limits do not act": {
        "sensor-out-of-range": "its own limit is planted at 230 °F: no furnace gives such air",
    },
    "contactor stays in": {
        "clock-offset": "rooms that go on cooling after each call look like a clock that is off",
    },
    "burner over-fired": {
        "short-cycling": "more heat than one zone takes satisfies it in minutes (no. 8)",
    },
    "reversing valve wrong": {
        "no-defrost": "it cools the house when heat is wanted: a hot outdoor coil never frosts",
    },
    "no heat": {
        "second-stage-no-effect": "where nothing burns, second stage makes no difference either",
    },
    "zones exchanged in the log": {
        "zone-sensor-off": "a room logged under another's name stands off the other's setpoint",
    },
    "lines spoilt": {
        "logging-gap": "a line that cannot be read is a reading that lacks; several leave a hole",
    },
    "blower does not run": {
        "sensor-out-of-range": "with no air moving a return duct takes the attic's temperature",
        "sensor-spikes": "and comes back from it as air moves by itself",
    },
}

PLAIN_FACTS = ("near-limit",)
"""What supply air read is so, whatever was planted: how often, it never sends anybody."""

LOWERED: dict[str, dict[str, str]] = {
    "output chatters": {
        "second-stage-early": "a second stage that comes back with its first after seconds goes on",
    },
    "opposing calls": {
        "zone-not-keeping-up": "it waits while the other mode runs: that is told by its own name",
    },
    "stage dropped on supply limit": {
        "second-stage-never-came-on": "it came on and was dropped: that is told by its own name",
    },
}

_MOST_CHATTER_S = 15.0
"""A relay that chatters is off for so long at the most; three readings in it would show it."""
_PROBE_DOUBT_F = 2.0
"""An outdoor probe is off by as much; what lies nearer to a balance point is on neither side."""


_STAGED_S = 600
"""Second stage for less than this in a week is one run: its runs end before the furnace's timer."""
_STEADY_S = 600
"""Gas heat that in a week was steady for less than this shows no rise."""
_SLOPE_S = 300
"""A room's pace takes five minutes to be seen."""
_FADES = 3
"""So often ice is seen to form; formed once, a coil whose compressor hardly rests stays frozen."""
_THAW = pd.Timedelta(minutes=20)
"""A coil is not clear of ice in less."""
_FEW_CALLS = 5
"""So few answers of a room in a week are no habit: a guess at it would be a coin thrown."""
_HELD_SHARE = 0.8
"""Of the time in which one of the two called: with both dampers open the air does not tell them."""


def _no_call_waited(system: System, truth: dict[str, Any]) -> bool:
    return bool(truth["call_without_output_s"] == 0)


def _never_over_the_balance_point(system: System, truth: dict[str, Any]) -> bool:
    high_f = dict(system.sheet).get("high_balance_f")
    return high_f is not None and truth["outdoor_f"]["max"] <= float(high_f) + _PROBE_DOUBT_F


def _no_relay_chattered(system: System, truth: dict[str, Any]) -> bool:
    between = system.logging.states == "sampled" and 3 * system.logging.fast_s > _MOST_CHATTER_S
    # the truth counts every short off: without a bad relay these are a call's end and the next call
    return between or system.plant.chatter_every_s == 0


def _never_staged_by_itself(system: System, truth: dict[str, Any]) -> bool:
    by_itself_s = truth["stages_s"]["heating"]["burner_second"] - truth["runtime_s"]["output_w2"]
    return bool(by_itself_s < _STAGED_S)


def _air_as_the_plate_asks(system: System, truth: dict[str, Any]) -> bool:
    """Steady gas heat in every stage, its rise within the plate's band, and nothing that cools."""
    rise = truth["rise"].values()
    steady_s = sum(told["seconds"] for told in rise)
    if system.season != "heating" or not truth["runtime_s"]["output_w1"]:
        return False
    if truth["runtime_s"]["output_y1"]:
        return False
    return steady_s < _STEADY_S or all(told["median_f"] <= told["band_f"][1] for told in rise)


def _stretches_s(on: npt.NDArray[np.bool_], step_s: int) -> npt.NDArray[np.int_]:
    """Lengths of the stretches in which it was on."""
    edges = np.diff(np.concatenate(([0], on.astype(int), [0])))
    return step_s * (np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1))


def _hardly_told_to_shut(system: System, truth: dict[str, Any]) -> bool:
    """The stuck damper was told to be shut while others were heated or cooled for minutes."""
    at = pd.date_range(truth["window"]["start"], truth["window"]["end"], freq="10s")
    runs = _any_on(truth, at, "output_w1", "output_y1", "output_aux")
    for zone in {int(b.zone) + 1 for b in system.branches if b.stuck > 0}:
        own = _any_on(truth, at, f"zone_call_w1.{zone}", f"zone_call_y1.{zone}")
        shut = runs & ~own & ~_is_on(truth, f"zone_damper.{zone}", at)
        # of half of them the room's own drift is not known: its own call came right before
        if int((_stretches_s(shut, 10) >= _SLOPE_S).sum()) >= 2 * _FEW_CALLS:
            return False
    return True


def _any_on(truth: dict[str, Any], at: pd.DatetimeIndex, *names: str) -> npt.NDArray[np.bool_]:
    told: npt.NDArray[np.bool_] = np.any([_is_on(truth, name, at) for name in names], axis=0)
    return told


def _froze_once(system: System, truth: dict[str, Any]) -> bool:
    """The coil thawed and iced over again fewer than three times: else it was ice all along."""
    iced = [(pd.Timestamp(a), pd.Timestamp(b)) for a, b in truth["states"].get("iced", [])]
    thawed = [(a - last) > _THAW for (_, last), (a, _) in pairwise(iced)]
    return bool(iced) and 1 + sum(thawed) < _FADES


def _nobody_to_miss_it(system: System, truth: dict[str, Any]) -> bool:
    """At each loss of power one zone called at most, and no fan was told to run on after it."""
    for out in truth["power_out"]:
        before = pd.DatetimeIndex([pd.Timestamp(out["start"]) - pd.Timedelta(seconds=2)])
        names = [n for n in truth["states"] if n.startswith(("zone_call_w1.", "zone_call_y1."))]
        if sum(bool(_is_on(truth, name, before)[0]) for name in names) > 1:
            return False
        if _any_on(truth, before, "output_g")[0]:
            return False
    return True


def _exchanged(system: System) -> tuple[int, int] | None:
    """Numbers of the two zones that are crossed in the house or in the log, from 1."""
    moved = [z + 1 for z, zone in enumerate(system.zones) if zone.stat_of >= 0]
    moved += [int(b.zone) + 1 for b in system.branches if b.driven_by >= 0]
    for fault in system.logging.faults:
        if fault.kind == "exchanged":
            last = len(system.zones)
            moved += [(1, 2), (1, last), (last, max(1, last - 1))][int(fault.amount) - 1]
    pair = sorted(set(moved))
    return (pair[0], pair[1]) if len(pair) == 2 else None


def _n_calls(truth: dict[str, Any], zone: int) -> int:
    names = (f"zone_call_w1.{zone}", f"zone_call_y1.{zone}")
    return sum(len(truth["states"].get(name, [])) for name in names)


def _is_on(truth: dict[str, Any], name: str, at: pd.DatetimeIndex) -> npt.NDArray[np.bool_]:
    """Whether a simulated state was on at each instant; off where the house has none such."""
    on = np.zeros(len(at), dtype=bool)
    for start, end in truth["states"].get(name, []):
        on[at.searchsorted(pd.Timestamp(start)) : at.searchsorted(pd.Timestamp(end))] = True
    return on


def _crossed_zones_stayed_dumb(system: System, truth: dict[str, Any]) -> bool:
    pair = _exchanged(system)
    if pair is None:
        return False
    if any(_n_calls(truth, zone) < _FEW_CALLS for zone in pair):
        return True
    at = pd.date_range(truth["window"]["start"], truth["window"]["end"], freq="10s")
    calls, opened = [], []
    for zone in pair:
        own = [n for n in truth["states"] if n in (f"zone_call_w1.{zone}", f"zone_call_y1.{zone}")]
        calls.append(np.any([_is_on(truth, n, at) for n in own], axis=0))
        opened.append(_is_on(truth, f"zone_damper.{zone}", at))
    apart = (calls[0] ^ calls[1]) & _is_on(truth, "blower", at)
    both = apart & opened[0] & opened[1]
    return bool(both.sum() >= _HELD_SHARE * max(1, apart.sum()))


NEVER_HAPPENED: dict[str, tuple[str, Callable[[System, dict[str, Any]], bool]]] = {
    "call-without-output": ("by the simulated panel no call waited", _no_call_waited),
    "leak-control": ("nobody called while it stood: nothing was held off", _no_call_waited),
    "float-switch": ("nobody called while it stood: nothing was held off", _no_call_waited),
    "aux-too-readily": (
        "it was never milder than the balance point by more than a probe is off",
        _never_over_the_balance_point,
    ),
    "second-stage-not-by-panel": (
        "runs ended before the furnace's own timer brought second stage",
        _never_staged_by_itself,
    ),
    "airflow-low": (
        "the rise stayed within the plate's band: the furnace got the air its maker asks for, "
        "though less than before; or it was never steady",
        _air_as_the_plate_asks,
    ),
    "damper-did-not-close": (
        "relief held it open whenever others called: it was hardly ever told to shut",
        _hardly_told_to_shut,
    ),
    "coil-icing": (
        "it froze over once or twice and stayed frozen: nothing clear to hold it against",
        _froze_once,
    ),
    "power-dropout": (
        "one zone called at most as the power went, and no fan output was on to be missed after "
        "it: its call's end looks the same",
        _nobody_to_miss_it,
    ),
    "zones-exchanged": (
        "relief held both dampers open while one of the two called, or one of them hardly called: "
        "no room and no damper tells",
        _crossed_zones_stayed_dumb,
    ),
    "output-chatter": (
        "outputs were sampled, and an off is shorter than it takes to be seen; or no relay "
        "was bad, and an output went off as one call ended and on with the next",
        _no_relay_chattered,
    ),
}
"""What was planted and, by what was simulated or by how it was logged, did not come about."""

FURTHEST_F = 125.0
"""No house is warmer for days: a compressor's own pressure switch ends it long before."""
BEYOND_MAY = ("sensor-out-of-range", "sensor-spikes", "rejected-rows", "unit-mismatch")


def asked(system: System, truth: dict[str, Any]) -> dict[str, list[str]]:
    """The codes that must, may and must not be found, by the labels and what stands here."""
    of = {code: ask for ask in ASKS for code in truth["labels"][ask]}
    for name, _ in system.conditions:
        for code in MAY.get(name, {}):
            of[code] = "may" if of.get(code) == "must_not" else of.get(code, "may")
        for code in LOWERED.get(name, {}):
            of[code] = "may" if of.get(code) == "must" else of.get(code, "may")
    for code in PLAIN_FACTS:
        of[code] = "may" if of.get(code) == "must_not" else of.get(code, "may")
    for code, (_, did_not) in NEVER_HAPPENED.items():
        if of.get(code) == "must" and did_not(system, truth):
            of[code] = "may"
    if any(zone["mean_f"] > FURTHEST_F for zone in truth["zones"]):
        # the simulated compressor heats on: readings that no house gives are rightly left out
        of = {code: "may" if ask == "must" else ask for code, ask in of.items()}
        of |= dict.fromkeys(BEYOND_MAY, "may")
    return {ask: sorted(code for code, said in of.items() if said == ask) for ask in ASKS}


def not_come_about(system: System, truth: dict[str, Any]) -> str:
    """Why the planted conditions, by what was simulated, did nothing that anyone could be asked to
    find; '' where they came about.

    A condition came about where some finding that is its own must be found, by the world's labels
    and what stands here: events that happened often enough, or a planted state in a season that
    has hours to show it.
    """
    must = asked(system, truth)["must"]
    planted = [BY_NAME[name] for name, _ in system.conditions]
    own = [code for condition in planted for code in (*condition.codes, *condition.also)]
    if any(code in must for code in own):
        return ""
    for code in own:
        if code in NEVER_HAPPENED and NEVER_HAPPENED[code][1](system, truth):
            return NEVER_HAPPENED[code][0]
    return f"too little of it happened for any of: {', '.join(own)}"
