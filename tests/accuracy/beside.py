"""What a planted condition brings about beside what its labels name, and labels that ask too much.

The world's labels are the first word. Where building the findings showed one to be wrong about what
such a house does, it stands here with its physical reason; never because a finding says otherwise.
Facts are those of the trade that the world was planted from (numbers as there).
"""

from __future__ import annotations

from typing import Any

from sample_data.world.system import System

ASKS = ("must", "may", "must_not")

_TO_OTHERS = "air that a shut way turns back goes to the other rooms (F3.11, F3.12)"
_NEAR = "little air over the coil takes supply air towards the low limit (section 9, no. 4)"
_LESS_AIR = "whatever closes before the tap lowers supply static (F3.6; section 9, no. 13)"

MAY: dict[str, dict[str, str]] = {
    "damper stuck closed": {
        "zone-overheats": _TO_OTHERS,
        "zone-overcools": _TO_OTHERS,
        "relief-used-up": "the shut zone's air opens every relief damper there is (F3.11)",
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
        "static-low": _LESS_AIR,
        "near-limit": _NEAR,
    },
    "coil clogged in cooling": {"near-limit": _NEAR},
    "low on charge": {"near-limit": "a starved coil is colder where it is fed (no. 5)"},
    "static hunting": {
        "near-limit": "relief that opens late and shuts again leaves one zone alone (no. 12)",
    },
    "opposing calls": {
        "near-limit": "one zone cools alone while its neighbours want heat (no. 4)",
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
    "lines spoilt": {
        "logging-gap": "a line that cannot be read is a reading that lacks; several leave a hole",
    },
    "blower does not run": {
        "sensor-out-of-range": "with no air moving a return duct takes the attic's temperature",
    },
}

LOWERED: dict[str, dict[str, str]] = {
    "stage dropped on supply limit": {
        "second-stage-never-came-on": "it came on and was dropped: that is told by its own name",
    },
}

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
    if any(zone["mean_f"] > FURTHEST_F for zone in truth["zones"]):
        # the simulated compressor heats on: readings that no house gives are rightly left out
        of = {code: "may" if ask == "must" else ask for code, ask in of.items()}
        of |= dict.fromkeys(BEYOND_MAY, "may")
    return {ask: sorted(code for code, said in of.items() if said == ask) for ask in ASKS}
