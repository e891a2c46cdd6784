"""Ground truth of a system: segments, events, sums and labels, from the one-second record.

Everything lies within the panel log's span; UTC instants as ISO 8601, seconds, °F, in. w.c. Shares
no code with the pipeline.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from sample_data.world import events as e
from sample_data.world.channels import panel_states
from sample_data.world.export import Export
from sample_data.world.hunting import hunting
from sample_data.world.known import Flags, Known, segments
from sample_data.world.labels import labels
from sample_data.world.loop import Record
from sample_data.world.system import System

Fact = dict[str, Any]
SECONDS = ("at", "start", "end", "drop", "limit_closed", "heat_back", "off", "on")
PROOF = ("flame", "compressor", "blower", "defrost", "own_limit", "limit", "low_limit", "iced")


def gather(k: Known) -> Fact:
    """All events and sums, instants as seconds of the record."""
    outputs = {
        "output_w1": k.w1, "output_w2": k.w2, "output_y1": k.y1, "output_y2": k.y2,
        "output_g": k.g, "output_ob": k.ob, "output_aux": k.aux,
    }  # fmt: skip
    listed = {name: e.runs(k, name, flag) for name, flag in outputs.items()}
    target = float(k.system.plant.static_target_inwc)
    told = k.setting("static_target_inwc")
    target = told if told is not None else target
    fan = k.blower & k.judged
    heat_call = k.heat_calls.any(axis=0)
    hot = k.supply > (k.setting("high_limit_f") or 1e9) + 15
    outdoor = k.outdoor
    low = k.setting("low_balance_f")
    high = k.setting("high_balance_f")
    calling = k.calling
    burner = k.w1 & k.judged
    lit = k.slow(k.record.flag("flame").astype(float), 300) > 0  # a flame within five minutes
    return {
        "runs": listed,
        "rests": {name: e.rests(k, listed[name]) for name in ("output_w1", "output_y1")},
        "runtime_s": {name: int(flag.sum()) for name, flag in outputs.items()},
        "runtime_without_visits_s": {
            name: int((flag & ~k.in_visit).sum()) for name, flag in outputs.items()
        },
        "stages_s": {
            "heating": {
                "burner_first": int((k.w1 & ~k.w2).sum()),
                "burner_second": int((k.w1 & k.w2).sum()),
                "compressor_first": int((k.pumping & ~k.y2).sum()),
                "compressor_second": int((k.pumping & k.y2).sum()),
                "aux": int(k.aux.sum()),
                "any": int(k.heating.sum()),
            },
            "cooling": {
                "first": int((k.cooling & ~k.y2).sum()),
                "second": int((k.cooling & k.y2).sum()),
            },
        },
        "proof_s": {name: int((k.record.flag(name) & k.span).sum()) for name in PROOF},
        "trips": e.limit_trips(k, True) + e.limit_trips(k, False),
        "hunting": hunting(k),
        "cut_outs": e.cut_outs(k),
        "stage_drops": [
            {"start": a, "end": b, "in_visit": bool(k.in_visit[a])}
            for a, b in segments(k.record.flag("dropped") & k.span)
        ],
        "limit_did_not_act_s": int(e.last_for(hot & k.heating & k.blower, 120).sum()),
        "static": {
            "target_inwc": target,
            "fan_s": int(fan.sum()),
            "above_target_s": int((fan & (k.static > target)).sum()),
            "above_target_plus_0.05_s": int((fan & (k.static > target + 0.05)).sum()),
            "judged_above_plus_0.05_s": int((fan & ~moving(k) & (k.static > target + 0.05)).sum()),
            "median_inwc": round(float(np.median(k.static[fan])), 3) if fan.any() else None,
            "max_inwc": round(float(k.static[fan].max()), 3) if fan.any() else None,
            "above_target_by_zones_calling_s": {
                str(n): int((fan & (k.static > target) & (calling == n)).sum())
                for n in range(k.record.zones + 1)
            },
            "excursions": e.excursions(k, target),
        },
        "second_stage": {mode: e.second_stage(k, mode) for mode in ("heating", "cooling")},
        "heating_starts": e.heating_starts(k),
        "balance": {
            "compressor_below_low_s": int((k.pumping & (outdoor < low)).sum()) if low else 0,
            "furnace_above_high_s": int((k.w1 & (outdoor > high)).sum()) if high else 0,
            "both_fuels_s": int((k.w1 & k.pumping & k.judged).sum()),
            "both_fuels": [
                {"start": a, "end": b} for a, b in segments(k.w1 & k.pumping & k.judged)
            ],
        },
        "defrosts": [
            {"start": a, "end": b} for a, b in segments(k.record.flag("defrost") & k.span)
        ],
        "chatter": e.chatter(k),
        "rise": e.steady_rise(k),
        "fault_contact": [
            {"start": a, "end": b} for a, b in segments(k.record.flag("fault") & k.span)
        ],
        "power_out": [
            {"start": a, "end": b} for a, b in segments(~k.record.flag("powered") & k.span)
        ],
        "burner_without_fan_s": int(e.last_for(burner & lit & ~k.blower, 180).sum()),
        "hours": {
            "heating": round(float((k.heating & k.judged).sum()) / 3600, 2),
            "cooling": round(float((k.cooling & k.judged).sum()) / 3600, 2),
            "judged": round(float(k.judged.sum()) / 3600, 2),
        },
        "zones": [
            {
                "zone": i + 1,
                "heat_calling_s": int(k.heat_calls[i].sum()),
                "cool_calling_s": int(k.cool_calls[i].sum()),
                "calls": len(segments(k.heat_calls[i])) + len(segments(k.cool_calls[i])),
                "off_by_2f_90min_days": days_off(k, i),
                "mean_f": round(float(k.record.signal(f"zone_{i}_f")[k.judged].mean()), 2),
            }
            for i in range(k.record.zones)
        ],
        "zones_calling_s": {
            str(n): int((k.span & (np.maximum(k.heat_calls.sum(axis=0),
            k.cool_calls.sum(axis=0)) == n)).sum())
            for n in range(k.record.zones + 1)
        },
        "call_without_output_s": int(
            e.last_for((heat_call | k.cool_calls.any(axis=0)) & (k.stage == 0) & k.judged, 1800)
            .sum()
        ),
        "outdoor_f": {
            "min": round(float(outdoor[k.span].min()), 1),
            "max": round(float(outdoor[k.span].max()), 1),
        },
    }  # fmt: skip


def moving(k: Known) -> Flags:
    """True for damper travel and the panel's wait after any damper command has changed."""
    p = k.system.plant
    after = int(max(b.travel_s for b in k.system.branches) + p.relief_wait_s + 15)
    told = np.stack([k.record.flag(f"damper_{i}") for i in range(k.record.zones)])
    changed = np.zeros(told.shape[1], dtype=bool)
    changed[1:] = (told[:, 1:] != told[:, :-1]).any(axis=0)
    index = np.arange(len(changed))
    last = np.maximum.accumulate(np.where(changed, index, -(10**9)))
    return np.asarray(index - last < after)


def days_off(k: Known, zone: int) -> list[int]:
    """Local days (counted from the first) with 90 min over 2 °F off, recovery left out.

    Recovery: three hours (five for heat pumps) after the setpoint moved away from the room.
    """
    z = k.system.zones[zone]
    off = k.slow(k.zone_error(zone), 300) > 2.0
    if z.back_from_s != z.back_to_s:
        of_day = (k.system.first_second + np.arange(len(off))) % 86400
        since = (of_day - z.back_to_s) % 86400
        off &= ~(since < (18000 if k.system.plant.heats > 0 else 10800))
    long = e.last_for(off & k.judged, 5400)
    return sorted({int(day) for day in np.unique(k.day[long])})


def in_utc(k: Known, told: Any) -> Any:
    """The same facts with instants as ISO 8601 instead of seconds of the record."""
    if isinstance(told, dict):
        return {
            key: k.utc(value) if key in SECONDS and isinstance(value, int) else in_utc(k, value)
            for key, value in told.items()
        }
    if isinstance(told, list):
        return [in_utc(k, value) for value in told]
    return told


def file_facts(k: Known, export: Export) -> Fact:
    """What is true of one exported file."""
    gap = export.gap
    return {
        "rows": len(export.seconds),
        "interval_s": export.interval_s,
        "clock_offset_s": export.clock_offset_s,
        "drift_s_per_day": export.drift_s_per_day,
        "first": k.utc(int(export.seconds[0])),
        "last": k.utc(int(export.seconds[-1])),
        "gaps": [{"last_before": k.utc(gap[0]), "first_after": k.utc(gap[1]),
                  "seconds": gap[1] - gap[0]}] if gap else [],
        "spoilt_lines": list(export.spoilt_lines),
    }  # fmt: skip


def truth_of(system: System, record: Record, files: Sequence[Export]) -> Fact:
    """Everything that is true of a system."""
    k = Known(system, record)
    facts = gather(k)
    states = {}
    for channel in panel_states(system, record):
        name = channel.role if channel.zone < 0 else f"{channel.role}.{channel.zone + 1}"
        states[name + channel.damper] = segments(np.asarray(channel.values, bool) & k.span)
    for name in PROOF:
        states[name] = segments(record.flag(name) & k.span)
    told = labels(system, facts)
    return {
        "site": system.name,
        "part": system.part,
        "seed": system.seed,
        "kind": system.kind,
        "season": system.season,
        "climate": system.climate,
        "conditions": [{"name": n, "severity": level} for n, level in system.conditions],
        "odd": system.odd,
        "units": "UTC instants, seconds, °F, in. w.c.",
        "window": {"start": k.utc(k.first), "end": k.utc(k.end)},
        "files": {export.name: file_facts(k, export) for export in files},
        "states": {name: [[k.utc(a), k.utc(b)] for a, b in some] for name, some in states.items()},
        **in_utc(k, facts),
        "labels": told,
        "identities": {
            **identities(k, facts, states),
            "labels are disjoint": len({code for some in told.values() for code in some})
            == sum(len(some) for some in told.values()),
        },
    }


def identities(k: Known, facts: Fact, states: dict[str, list[tuple[int, int]]]) -> dict[str, bool]:
    """What must hold whatever happened, checked on arrays and facts."""
    span_s = k.end - k.first
    heating = facts["stages_s"]["heating"]
    heat_runs = [
        (run["start"], run["end"]) for name in ("output_w1", "output_y1", "output_aux")
        for run in facts["runs"][name]
    ]  # fmt: skip
    over = facts["static"]
    p = k.system.plant
    return {
        "segments add up to runtime": all(
            sum(b - a for a, b in states[name]) == seconds
            for name, seconds in facts["runtime_s"].items()
            if name in states
        ),
        "zones calling add up to the window": sum(facts["zones_calling_s"].values()) == span_s,
        "run lengths add up to runtime": all(
            sum(run["seconds"] for run in some) == facts["runtime_s"][name]
            for name, some in facts["runs"].items()
        ),
        "burner stages add up": heating["burner_first"] + heating["burner_second"]
        == facts["runtime_s"]["output_w1"],
        "compressor stages add up": heating["compressor_first"] + heating["compressor_second"]
        + sum(facts["stages_s"]["cooling"].values()) == facts["runtime_s"]["output_y1"],
        "second stage only with first": not ((k.w2 & ~k.w1) | (k.y2 & ~k.y1)).any(),
        "trips end runs": all(
            any(a < trip["drop"] <= b for a, b in heat_runs) for trip in facts["trips"]
        ),
        "high trips peak near the limit": all(
            abs(trip["peak_f"] - p.high_limit_f) < 12
            for trip in facts["trips"] if trip["kind"] == "high" and not trip["in_visit"]
        ),
        "flame only with W1": not (k.record.flag("flame") & k.span & ~k.w1).any(),
        "compressor only with Y1": not (k.record.flag("compressor") & k.span & ~k.y1).any(),
        "above target adds up": over["above_target_s"]
        == sum(over["above_target_by_zones_calling_s"].values()),
        "both fuels only where planted": facts["balance"]["both_fuels_s"] == 0
        or p.overlap_s > 0,
    }  # fmt: skip
