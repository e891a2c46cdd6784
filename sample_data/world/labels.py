"""Which findings must, may and must not be reported: written rules over events and planted facts.

A code of EVENTS is judged by what happened, planted or not: its rule gives how far the events go
(2 must, 1 may, 0 must not). Any other code is judged by what was planted: its headline must be
found at severity 2 and 3 with at least six hours in the season's mode, and may be at severity 1.
A fault of the log lowers every must that rests on the channel it spoils to may.
"""

from collections.abc import Callable, Iterable
from typing import Any

from sample_data.world.conditions import BY_NAME, CONDITIONS
from sample_data.world.log_faults import LOG_BY_NAME, LOG_FAULTS
from sample_data.world.system import System

Fact = dict[str, Any]
MUST, MAY, MUST_NOT = 2, 1, 0
HOURS_TO_SHOW = 6.0


def outside(some: Iterable[Fact]) -> list[Fact]:
    """Events that do not lie in a visit."""
    return [event for event in some if not event.get("in_visit")]


def level(count: float, must: float, may: float) -> int:
    """2 from `must` on, 1 from `may` on."""
    return MUST if count >= must else (MAY if count >= may else MUST_NOT)


def by_days(some: list[Fact], key: str, count: int, days: int) -> int:
    """Must: `count` events on at least `days` days; may: any event."""
    on_days = {event[key] // 86400 for event in some}
    if len(some) >= count and len(on_days) >= days:
        return MUST
    return MAY if some else MUST_NOT


def trips(kind: str) -> Callable[[System, Fact], int]:
    """Three panel trips on two days must be found, one may be."""
    return lambda system, facts: by_days(
        [t for t in outside(facts["trips"]) if t["kind"] == kind], "drop", 3, 2
    )


def cut_outs(system: System, facts: Fact) -> int:
    """Three cut-outs of a burner with the fan on must be found, one may be."""
    some = [c for c in outside(facts["cut_outs"]) if c["kind"] != "compressor protection"]
    if any(c["kind"] == "compressor protection" for c in facts["cut_outs"]):
        return max(MAY, level(len([c for c in some if c["fan"]]), 3, 1))
    return level(len([c for c in some if c["fan"]]), 3, 1) or (MAY if some else MUST_NOT)


def short_cycling(system: System, facts: Fact) -> int:
    """A tenth of at least 20 starts short, or three a day on two days: must from one half more."""
    worst = MUST_NOT
    for name in ("output_w1", "output_y1"):
        some = outside(facts["runs"][name])
        if not some:
            continue
        limited = {t["drop"] for t in facts["trips"]}
        short = [r["start"] for r in some if r["short"] and r["end"] not in limited]
        short += [r["start"] for r in facts["rests"].get(name, []) if name == "output_y1" and
                  r["short"]]  # fmt: skip
        share = len(short) / len(some)
        daily: dict[int, int] = {}
        for start in short:
            daily[start // 86400] = daily.get(start // 86400, 0) + 1
        often = sum(n >= 3 for n in daily.values()) >= 2
        if len(some) >= 20 and (share >= 0.15 or sum(n >= 5 for n in daily.values()) >= 3):
            worst = max(worst, MUST)
        elif share >= 0.05 or often:
            worst = max(worst, MAY)
    rates = [z.cycles_per_h for z in system.zones]
    fast = any(r > 1.4 * s for r, s in zip(rates, system.cycles_on_sheet, strict=True))
    two_position = any(z.differential_f > 0 for z in system.zones)
    return max(worst, MAY) if fast or two_position else worst


def static_above(system: System, facts: Fact) -> int:
    """Must: 5 % of fan time over target + 0.05, damper movement apart, in 10 excursions."""
    static = facts["static"]
    share = static["judged_above_plus_0.05_s"] / max(1, static["fan_s"])
    excursions = len(outside(static["excursions"]))
    if share >= 0.05 and excursions >= 10:
        return MUST
    return MAY if excursions else MUST_NOT


def staging(which: str) -> Callable[[System, Fact], int]:
    """Starts out of order: three must be found, one may be."""

    def rule(system: System, facts: Fact) -> int:
        starts = [
            start
            for mode in facts["second_stage"].values()
            for start in outside(mode["starts"])
            if start[which]
        ]
        return level(len(starts), 3, 1)

    return rule


def staying(which: str, must: int) -> Callable[[System, Fact], int]:
    """Stretches out of order: `must` of them must be found, one may be."""
    return lambda system, facts: level(
        sum(len(outside(mode[which])) for mode in facts["second_stage"].values()), must, 1
    )


def rise(system: System, facts: Fact) -> int:
    """Must: 3 °F outside the plate in half of a stage's steady time and half an hour."""
    worst = MUST_NOT
    for told in facts["rise"].values():
        out_s, far_s = told["above_s"] + told["below_s"], told["above_3f_s"] + told["below_3f_s"]
        if far_s >= 0.5 * told["seconds"] and far_s >= 1800:
            return MUST
        if out_s >= 0.02 * told["seconds"]:
            worst = MAY
    return worst


def not_keeping_up(system: System, facts: Fact) -> int:
    """Must: 90 min over 2 °F off on three days; may: on one."""
    return level(max(len(zone["off_by_2f_90min_days"]) for zone in facts["zones"]), 3, 1)


def balance(system: System, facts: Fact) -> int:
    """Heating runs begun on the wrong side of a point by 4 °F: five must be found, one may be."""
    sheet = dict(system.sheet)
    if system.kind != "dual_fuel":
        return MUST_NOT
    low, high = float(sheet["low_balance_f"]), float(sheet["high_balance_f"])
    wrong = doubtful = 0
    for run in outside(facts["heating_starts"]):
        past = (
            low - run["outdoor_f"]
            if run["source"] == "compressor"
            else (run["outdoor_f"] - high if run["source"] == "burner" else -99.0)
        )
        wrong += past >= 4.0 and run["source"] == "compressor"
        doubtful += past >= 1.0
        # gas between the points is backup after its delay only: it never begins a run
        if run["source"] == "burner":
            wrong += low + 4.0 <= run["outdoor_f"] < high
            doubtful += low + 1.0 <= run["outdoor_f"] < high
    return level(wrong, 5, 99999) or (MAY if doubtful else MUST_NOT)


EVENTS: dict[str, Callable[[System, Fact], int]] = {
    "high-limit-trips": trips("high"),
    "low-limit-trips": trips("low"),
    "equipment-cut-outs": cut_outs,
    "stage-drop-on-limit": lambda s, f: level(len(outside(f["stage_drops"])), 3, 1),
    "limit-did-not-act": lambda s, f: level(f["limit_did_not_act_s"], 120, 1),
    "static-above-target": static_above,
    "static-hunting": lambda s, f: level(
        sum(h["end"] - h["start"] for h in outside(f["hunting"])), 3600, 1
    ),
    "short-cycling": short_cycling,
    "output-chatter": lambda s, f: level(len(f["chatter"]), 5, 1),
    "second-stage-early": staging("early"),
    "second-stage-too-few-zones": staging("too_few_zones"),
    "second-stage-stayed-in": staying("stayed_in", 3),
    "second-stage-never-came-on": staying("never_came_on", 2),
    "rise-outside-plate": rise,
    "zone-not-keeping-up": not_keeping_up,
    "balance-point-mismatch": balance,
    "coil-icing": lambda s, f: level(f["proof_s"]["iced"], 7200, 600),
    "both-fuels": lambda s, f: level(
        sum(b["end"] - b["start"] > 150 for b in f["balance"]["both_fuels"]), 3, 1
    ),
    "equipment-without-fan": lambda s, f: level(f["burner_without_fan_s"], 600, 1),
    "fault-contact": lambda s, f: level(len(f["fault_contact"]), 1, 1),
    "power-dropout": lambda s, f: level(len(f["power_out"]), 1, 1),
}
# what rests on a role and is not to be trusted where the log of that role is spoilt
RESTS_ON = {
    "supply_temp": ("high-limit-trips", "low-limit-trips", "equipment-cut-outs",
                    "rise-outside-plate", "limit-did-not-act", "stage-drop-on-limit"),
    "return_temp": ("rise-outside-plate",),
    "static_pressure": ("static-above-target", "static-hunting"),
    "zone_temp": ("zone-not-keeping-up", "second-stage-never-came-on"),
    "outdoor_temp": ("balance-point-mismatch",),
    "output_g": ("equipment-without-fan", "fan-never-stops", "static-above-target"),
}  # fmt: skip
EVERY_CODE = tuple(
    sorted(
        set(EVENTS)
        | {code for c in CONDITIONS for code in (*c.codes, *c.also)}
        | {code for t in LOG_FAULTS for code in (t.code, *t.also)}
    )
)


def planted(system: System, facts: Fact) -> dict[str, int]:
    """What the planted conditions and faults of the log ask for, by code."""
    out: dict[str, int] = {}
    hours = facts["hours"]
    for name, severity in system.conditions:
        if name in LOG_BY_NAME:
            trouble = LOG_BY_NAME[name]
            sure = severity >= 2 or name in (
                "supply and return swapped",
                "wrong unit",
                "lines spoilt",
            )
            out[trouble.code] = max(out.get(trouble.code, 0), MUST if sure else MAY)
            for code in trouble.also:
                out[code] = max(out.get(code, 0), MAY)
            continue
        condition = BY_NAME[name]
        mode_hours = max(hours["heating"], hours["cooling"])
        shown = severity >= 2 and mode_hours >= HOURS_TO_SHOW
        for place, code in enumerate((*condition.codes, *condition.also)):
            ask = MUST if shown and place == 0 else MAY
            if code in EVENTS:
                ask = MAY
            out[code] = max(out.get(code, 0), ask)
    return out


def labels(system: System, facts: Fact) -> dict[str, list[str]]:
    """Codes that must, may and must not be reported, each in one list."""
    asked = planted(system, facts)
    told = {code: max(asked.get(code, 0), EVENTS[code](system, facts) if code in EVENTS else 0)
            for code in EVERY_CODE}  # fmt: skip
    for fault in system.logging.faults:
        if fault.kind in ("clock", "drift", "gap"):
            continue
        roles = [fault.role] + (["return_temp"] if fault.kind == "swapped" else [])
        for role in roles:
            for code in RESTS_ON.get(role, ()):
                told[code] = MAY
    if system.plant.emergency > 0:
        told["balance-point-mismatch"] = min(told["balance-point-mismatch"], MAY)
    if max(told["second-stage-too-few-zones"], told["second-stage-early"]) == MUST:
        told["second-stage-stayed-in"] = min(told["second-stage-stayed-in"], MAY)  # same thing
    if any(f.kind in ("clock", "drift") for f in system.logging.faults):
        for code in ("high-limit-trips", "low-limit-trips", "equipment-cut-outs",
                     "rise-outside-plate"):  # fmt: skip
            told[code] = min(told[code], MAY)
    return {
        "must": [code for code, ask in told.items() if ask == MUST],
        "may": [code for code, ask in told.items() if ask == MAY],
        "must_not": [code for code, ask in told.items() if ask == MUST_NOT],
    }
