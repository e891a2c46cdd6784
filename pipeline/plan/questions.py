"""What can be asked of a log: every finding about the installation, and the measures beside them.

Findings bring their own needs (`Declaration.needs_roles`); here stands only what they do not
declare: the plain word they can be asked by, the mode, the state that must occur, and the channels
that settle their causes. A finding that is not named here is placed by the channels it needs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline.channels import INFERRED_ROLES
from pipeline.findings import NOT_LOOKED_AT, rules
from pipeline.findings._base import Declaration
from pipeline.plan.installed import COOL, EITHER, HEAT

GROUPS = {
    "trips": "limits, trips and cut-outs",
    "cycling": "short cycling and chatter",
    "runtime": "what ran, for how long",
    "static": "static pressure and relief",
    "staging": "second stage",
    "fuel": "balance points and fuel",
    "comfort": "zones and setbacks",
    "air": "rise, split and airflow",
    "defrost": "defrost",
}
"""Plain words to ask by."""
BY_RUNS, BY_DAMPERS = "runs", "dampers"
RUNS = set(INFERRED_ROLES)


@dataclass(frozen=True)
class Question:
    """One thing that can be asked, of any site.

    needs : groups of roles, of each at least one; figure : in measure.coverage, if a rule names it
    mode : HEAT, COOL or EITHER; state : a key of make.STATES; also : what else it takes
    tables : those that answer it; is_judged : a rule or measure of this version answers it
    by_inference : BY_RUNS or BY_DAMPERS where inferred runs or calls answer it too
    """

    name: str
    group: str
    title: str
    question: str
    needs: tuple[tuple[str, ...], ...]
    helps: tuple[str, ...]
    mode: str
    state: str
    figure: str | None = None
    also: str = ""
    is_judged: bool = True
    tables: tuple[str, ...] = ()
    by_inference: str = ""


_ONE_EACH = "20 starts before a share is judged"
_CAUSES_HEAT = ("static_pressure", "return_temp", "output_w2", "zone_damper", "equipment_limit")
# code: (group, mode, state, helps, also)
_ABOUT: dict[str, tuple[str, str, str, tuple[str, ...], str]] = {
    "high-limit-trips": ("trips", HEAT, "heat", (*_CAUSES_HEAT, "outdoor_temp"), ""),
    "low-limit-trips": (
        "trips", COOL, "cool",
        ("static_pressure", "return_temp", "outdoor_temp", "zone_damper", "float_switch"), "",
    ),
    "equipment-cut-outs": (
        "trips", HEAT, "heat",
        ("gas_valve", "flame", "equipment_limit", "static_pressure", "zone_damper"), "",
    ),
    "limit-did-not-act": ("trips", HEAT, "heat", ("static_pressure",), "the panel's high limit"),
    "short-cycling": (
        "cycling", EITHER, "any", ("zone_call_w1", "zone_call_y1", "supply_temp"), _ONE_EACH,
    ),
    "output-chatter": ("cycling", EITHER, "any", ("zone_call_w1", "zone_call_y1"), ""),
    "second-stage-early": (
        "staging", EITHER, "second", ("supply_temp", "zone_temp"), "the stage-up delay as set",
    ),
    "second-stage-too-few-zones": (
        "staging", EITHER, "second", ("supply_temp", "static_pressure"),
        "the minimum calling zones as set",
    ),
    "second-stage-stayed-in": (
        "staging", EITHER, "second", ("supply_temp", "static_pressure"),
        "the minimum calling zones and the release setting",
    ),
    "balance-point-mismatch": ("fuel", HEAT, "change", (), "the low and high balance point as set"),
    "both-fuels": ("fuel", HEAT, "change", (), ""),
    "aux-too-readily": ("fuel", HEAT, "change", (), "the high balance point as set"),
    "too-much-defrost": ("defrost", HEAT, "frost", ("outdoor_fan_run",), ""),
    "no-defrost": ("defrost", HEAT, "frost", ("outdoor_fan_run",), ""),
    "cooling-in-cold-weather": ("cycling", COOL, "cool", (), ""),
    "equipment-without-fan": (
        "trips", EITHER, "any", ("blower_run", "static_pressure", "supply_temp"), "",
    ),
    "no-purge-after-heat": ("trips", HEAT, "heat", ("blower_run", "static_pressure"), ""),
    "near-limit": ("trips", EITHER, "any", ("static_pressure",), "the panel's limits"),
    "stage-drop-on-limit": (
        "trips", EITHER, "second", ("zone_call_w2", "static_pressure"), "the panel's high limit",
    ),
    "compressor-stops-in-call": (
        "trips", COOL, "cool", ("outdoor_temp", "compressor_run", "return_temp"), "",
    ),
    "cooling-does-not-cool": ("air", COOL, "cool", ("compressor_run", "static_pressure"), ""),
    "coil-icing": ("air", COOL, "cool", ("outdoor_temp",), ""),
    "second-stage-never-came-on": (
        "staging", EITHER, "long", ("zone_heat_setpoint", "zone_cool_setpoint"),
        "the minimum calling zones and the stage-up delay as set",
    ),
    "second-stage-no-effect": ("staging", HEAT, "second", ("static_pressure", "return_temp"), ""),
    "second-stage-not-by-panel": ("staging", HEAT, "heat", ("zone_damper",), ""),
    "static-peak-in-purge": ("static", EITHER, "any", ("zone_damper", "static_pressure"), ""),
    "static-above-target": (
        "static", EITHER, "fan",
        ("zone_call_w1", "zone_call_y1", "zone_damper", "return_static", "output_g", "supply_temp"),
        "the static target as set; the fan off for 10 min now and then, to check the zero",
    ),
    "relief-missing": (
        "static", EITHER, "fan", ("zone_damper", "output_w1", "output_y1"),
        "the static target as set; relief zones, wait and travel",
    ),
    "relief-used-up": (
        "static", EITHER, "fan", ("output_w2", "output_y2"), "the static target as set",
    ),
    "static-hunting": ("static", EITHER, "fan", ("zone_damper",), ""),
    "rise-outside-plate": (
        "air", HEAT, "steady", ("static_pressure", "zone_call_w1"), "the plate's temperature rise",
    ),
    "airflow-low": (
        "air", EITHER, "steady", ("static_pressure", "zone_call_w1", "return_static"),
        "the plate's rise and outputs",
    ),
    "airflow-falling": (
        "air", EITHER, "steady", ("static_pressure", "outdoor_temp", "zone_call_w1"), "",
    ),
    "bypass-recirculation": ("air", EITHER, "any", ("zone_damper",), "whether there is a bypass"),
    "static-low": ("static", EITHER, "fan", ("supply_temp", "return_temp"), ""),
    "damper-did-not-open": ("comfort", EITHER, "any", ("zone_damper", "static_pressure"), ""),
    "damper-did-not-close": ("comfort", EITHER, "any", ("zone_damper",), "which zones may relieve"),
    "thermostat-in-air-stream": ("comfort", EITHER, "any", ("supply_temp",), ""),
    "zone-overheats": ("comfort", HEAT, "any", ("zone_damper", "static_pressure"), ""),
    "zone-overcools": ("comfort", COOL, "any", ("zone_damper", "static_pressure"), ""),
    "zone-sensor-off": ("comfort", EITHER, "any", ("supply_temp",), ""),
    "zone-not-keeping-up": (
        "comfort", EITHER, "any",
        ("zone_heat_setpoint", "zone_cool_setpoint", "supply_temp", "zone_damper"), "",
    ),
}  # fmt: skip
_ALL_OUTPUTS = (
    "output_w1", "output_w2", "output_y1", "output_y2", "output_ob", "output_aux",
)  # fmt: skip
_ALL_CALLS = ("zone_call_w1", "zone_call_y1", "zone_call_ob", "zone_call_aux")
_MEASURES = (
    Question(
        "runtime", "runtime", "Runtime per stage",
        "How long did each stage run, and how often did it start?",
        (_ALL_OUTPUTS,), ("supply_temp", "compressor_run", "gas_valve", "blower_run"),
        EITHER, "any", tables=("measure.runtime", "measure.stage_time"), by_inference=BY_RUNS,
    ),
    Question(
        "calls", "runtime", "Zones calling",
        "How long did each zone call, and how many at once?",
        (_ALL_CALLS,), (), EITHER, "any", tables=("measure.zone_call", "measure.zones_calling"),
        by_inference=BY_DAMPERS,
    ),
)  # fmt: skip
# Asked for on site, whatever rules there are; judged once NOT_LOOKED_AT no longer names them.
_SUBJECTS: tuple[tuple[str, Question], ...] = (
    ("balance points", Question(
        "fuel", "fuel", "Balance points",
        "At which outdoor temperatures does it change fuel, and do both ever run at once?",
        (("outdoor_temp",), ("output_w1",), ("output_y1",)),
        ("supply_temp", "output_ob", "compressor_run", "zone_call_emergency"), HEAT, "change",
        also="the low and high balance point as set",
    )),
    ("comfort", Question(
        "comfort", "comfort", "Zones that cannot hold",
        "Which zones cannot hold their setpoint, or overheat when not calling?",
        (("zone_temp",), _ALL_CALLS),
        ("zone_heat_setpoint", "zone_cool_setpoint", "zone_damper", "supply_temp"), EITHER, "any",
    )),
    ("recovery after a setback", Question(
        "recovery", "comfort", "Recovery after a setback",
        "How long does it take to come back after a setback, and with which stage?",
        (("zone_temp",), _ALL_CALLS, _ALL_OUTPUTS), ("zone_heat_setpoint", "zone_cool_setpoint"),
        EITHER, "setback",
    )),
    ("temperature rise", Question(
        "air", "air", "Rise, split and airflow",
        "Are rise and split as the plate and the season want them, and is the air getting less?",
        (("supply_temp",), ("return_temp",), _ALL_OUTPUTS),
        ("static_pressure", "return_rh", "mixed_temp"), EITHER, "steady",
        also="the plate's rise and outputs",
    )),
    ("defrost", Question(
        "defrost", "defrost", "Defrost", "How often and how long does it defrost?",
        (("supply_temp",), ("output_y1",), ("outdoor_temp",)),
        ("outdoor_fan_run", "compressor_run", "output_ob"), HEAT, "frost",
    )),
)  # fmt: skip
NEEDS_PUMP = frozenset({"defrost"})
"""Only a compressor that heats can raise these."""
NEEDS_TWO_FUELS = frozenset({"fuel"})


def questions() -> tuple[Question, ...]:
    """All that can be asked, findings in their own order within each group of GROUPS."""
    found = [
        _of_rule(r.code, r.declaration) for r in rules() if r.declaration.about == "installation"
    ]
    subjects = [
        replace(q, is_judged=not any(n.startswith(start) for n in NOT_LOOKED_AT))
        for start, q in _SUBJECTS
        if q.name not in {f.name for f in found}
    ]
    order = list(GROUPS)
    return tuple(sorted([*found, *_MEASURES, *subjects], key=lambda q: order.index(q.group)))


def _of_rule(code: str, d: Declaration) -> Question:
    group, mode, state, helps, also = _ABOUT.get(code) or _placed(d)
    helps = (*helps, *(r for r in d.compares if r not in helps))
    return Question(
        code,
        group,
        d.title,
        d.question,
        d.needs_roles,
        helps,
        mode,
        state,
        d.figure,
        also,
        tables=d.needs_tables,
        by_inference=BY_RUNS if d.needs_roles and all(set(g) & RUNS for g in d.needs_roles) else "",
    )


def _placed(d: Declaration) -> tuple[str, str, str, tuple[str, ...], str]:
    """Group, mode and state of a finding that is not named here, from what it needs."""
    roles = {r for group in d.needs_roles for r in group}
    mode = {"heating": HEAT, "cooling": COOL}.get(d.clears, EITHER)
    for group, state, marks in (
        ("comfort", "any", {"zone_temp"}),
        ("fuel", "change", {"outdoor_temp"}),
        ("static", "fan", {"static_pressure"}),
        ("staging", "second", {"output_w2", "output_y2"}),
        ("air", "steady", {"return_temp"}),
        ("trips", "any", {"supply_temp"}),
    ):
        of_group = any(marks & set(g) and set(g) <= marks for g in d.needs_roles)
        if of_group or (len(marks) == 1 and marks <= roles):
            return group, mode, state, (), ""
    return "runtime", mode, "any", (), ""
