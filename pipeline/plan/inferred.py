"""Which questions are answered by what is inferred, from which channels and how far off.

Runs are read off supply and return air where no output was logged, calls off dampers; the bounds
are those the stages and rules themselves go by, the errors those of `pipeline.expected_error`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline import words
from pipeline.channels import OUTPUT_ROLES
from pipeline.expected_error import damper_call_error, expected
from pipeline.plan.installed import COOL, EITHER, HEAT, Installed
from pipeline.plan.questions import BY_DAMPERS, BY_RUNS, Question
from pipeline.plan.record import Logged
from pipeline.site import Zone

AIR = ("supply_temp", "return_temp")


@dataclass(frozen=True)
class ByInference:
    """An answer that rests on what is inferred.

    says : from what, and its expected error, as a sentence's part
    used : the channels that it rests on; enough_s : how often they must be read at least
    cannot_tell : what it leaves open
    """

    says: str
    used: tuple[Logged, ...]
    enough_s: float
    cannot_tell: tuple[str, ...] = ()


def by_inference(
    q: Question,
    here: Installed,
    logged: Sequence[Logged],
    numbers: Mapping[str, float],
    zones: Sequence[Zone],
    names: Mapping[int, str],
) -> ByInference | None:
    """What answers the question though its own channels are not logged; None if nothing does."""
    if q.by_inference == BY_RUNS:
        return _by_runs(q, here, logged, numbers)
    if q.by_inference == BY_DAMPERS:
        return _by_dampers(here, logged, numbers, zones, names)
    return None


def _modes(q_mode: str, here: Installed) -> list[str]:
    """The modes that are asked about and that the equipment has, heating first."""
    return [
        mode
        for mode, other, has in (("heating", COOL, here.heats), ("cooling", HEAT, here.cools))
        if has and q_mode != other
    ]


def _air(logged: Sequence[Logged]) -> tuple[Logged, ...]:
    """Supply and return air as logged; none where one is not, or an output is."""
    have = {x.role for x in logged}
    if not set(AIR) <= have or have & set(OUTPUT_ROLES):
        return ()
    return tuple(x for x in logged if x.role in AIR)


def _by_runs(
    q: Question, here: Installed, logged: Sequence[Logged], numbers: Mapping[str, float]
) -> ByInference | None:
    air = _air(logged)
    if not air:
        return None
    enough_s = numbers["inferred_interval_max_s"]
    errors = {mode: expected(here.kind, mode, enough_s) for mode in _modes(q.mode, here)}
    # a rule that counts starts is not held by a count that may be off by as much
    most = numbers["short_cycling_min_share"] / 2 if q.name == "short-cycling" else 1.0
    fits = {m: e for m, e in errors.items() if e is not None and e.starts_frac <= most}
    if not fits:
        return None
    runtime = max(e.runtime_frac for e in fits.values())
    starts = max(e.starts_frac for e in fits.values())
    lost = [m for m in errors if m not in fits]
    return ByInference(
        f"inferred from supply and return air: run time about ±{words.share(runtime)}, starts "
        f"about ±{words.share(starts)}",
        air,
        enough_s,
        tuple(f"{m}: its inferred starts are too far off" for m in lost),
    )


def _by_dampers(
    here: Installed,
    logged: Sequence[Logged],
    numbers: Mapping[str, float],
    zones: Sequence[Zone],
    names: Mapping[int, str],
) -> ByInference | None:
    """Calls of zones that are not used for relief, at a site that names one that is."""
    if not any(z.relief for z in zones):
        return None
    told = {z.number for z in zones if not z.relief}
    dampers = tuple(x for x in logged if x.role == "zone_damper" and x.zone in told)
    runs = _air(logged) or tuple(x for x in logged if x.role in OUTPUT_ROLES)
    if not dampers or not runs:
        return None
    errors = [damper_call_error(mode) for mode in _modes(EITHER, here)]
    time = words.share(max(e.time_frac for e in errors))
    calls = words.share(max(e.starts_frac for e in errors))
    lost = [names[z.number] for z in zones if z.number not in {x.zone for x in dampers}]
    return ByInference(
        f"inferred from dampers: time called about ±{time}, calls about ±{calls}",
        (*dampers, *runs),
        numbers["inferred_interval_max_s"],
        (f"{words.joined(lost)}: its damper says nothing of calls",) if lost else (),
    )
