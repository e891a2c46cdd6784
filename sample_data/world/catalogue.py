"""The systems of the world by name, and the wall between tuning and reporting.

Seeds under 10,000 belong to *tuning*, from 10,000 on to *reporting*; climates and the equipment's
sizes and duct shares differ too. Thresholds may be chosen by looking at tuning systems; figures
that are reported come from reporting systems. A run says which it is; the other part is refused.
"""

import contextlib
import contextvars
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from sample_data.world.climates import CLIMATES
from sample_data.world.conditions import BY_NAME, CONDITIONS
from sample_data.world.dialects import DIALECTS
from sample_data.world.faults import Condition
from sample_data.world.houses import KINDS, draw
from sample_data.world.log_faults import LOG_BY_NAME, LOG_FAULTS, ODD
from sample_data.world.system import Logging, System

FIRST_REPORTING_SEED = 10_000
_part = contextvars.ContextVar("part", default="tuning")


class OtherPart(RuntimeError):
    """A reporting system was asked for in a tuning run, or the other way round."""


@contextlib.contextmanager
def reporting_run() -> Iterator[None]:
    """Within it reporting systems may be made, and tuning systems may not."""
    token = _part.set("reporting")
    try:
        yield
    finally:
        _part.reset(token)


def check_part(system: System) -> None:
    """Raises OtherPart where the system is not of this run's part."""
    belongs = "tuning" if system.seed < FIRST_REPORTING_SEED else "reporting"
    if belongs != _part.get() or system.part != belongs:
        raise OtherPart(
            f"{system.name} belongs to the {belongs} part and this is a {_part.get()} run: "
            "use catalogue.reporting_run() for figures that are reported, and nothing else"
        )


def _seed(part: str, number: int) -> int:
    return number + (FIRST_REPORTING_SEED if part == "reporting" else 0)


def healthy(
    part: str, number: int, kind: str = "", season: str = "", zones: int | None = None
) -> System:
    """The healthy system of that number; `kind` and `season` else follow from it."""
    seed = _seed(part, number)
    rng = np.random.default_rng([seed, 1])
    climates = [c.name for c in CLIMATES.values() if c.part == part]
    kind = kind or KINDS[number % len(KINDS)]
    season = season or str(rng.choice(["heating", "heating", "cooling", "shoulder"]))
    if kind in ("furnace", "ac") and not season_fits(kind, season):
        season = "heating" if kind == "furnace" else "cooling"
    system = draw(seed, part, kind, str(rng.choice(climates)), season, zones)
    fast = int(rng.choice([5, 10, 10, 30, 60]))
    logging = Logging(
        fast_s=fast,
        slow_s=int(rng.choice([60, 120, 300])),
        states=str(rng.choice(["change", "change", "sampled"])) if fast <= 10 else "change",
        dialect=str(rng.choice(list(DIALECTS))),
        proof=bool(rng.integers(0, 3) == 0),
        return_static=bool(rng.integers(0, 4) == 0),
    )
    return replace(system, logging=logging)


def season_fits(kind: str, season: str) -> bool:
    """Whether equipment of this kind has work in the season."""
    return season == ("cooling" if kind == "ac" else "heating")


def plant(condition: Condition, system: System, severity: int) -> System:
    """The system with the condition planted at severity 1 to 3."""
    changed = condition.change(system, severity)
    return replace(changed, conditions=(*changed.conditions, (condition.name, severity)))


def with_condition(name: str, severity: int, part: str, number: int) -> System:
    """A system of that part with one condition of the table, or one fault of the log."""
    if name in LOG_BY_NAME:
        system = healthy(part, number)
        trouble = LOG_BY_NAME[name]
        told = replace(system.logging, faults=trouble.faults[severity - 1], static=True)
        system = replace(system, logging=told, conditions=((name, severity),))
        return _named(system)
    condition = BY_NAME[name]
    rng = np.random.default_rng([_seed(part, number), 2])
    for attempt in range(200):
        kind = str(rng.choice(condition.kinds))
        season = str(rng.choice(condition.seasons))
        if kind in ("furnace", "ac") and not season_fits(kind, season):
            continue
        count = int(rng.integers(max(2, condition.zones), 7))
        # the equipment is drawn from the number; another draw where a second stage is needed
        base = healthy(part, (number + 1000 * attempt) % 9999, kind, season, count)
        if condition.two_stage == "heating" and base.plant.heating_stages < 2:
            continue
        if season == "heating" and base.climate in ("low desert", "gulf coast"):
            continue  # too little heating there to show anything
        return _named(plant(condition, base, severity))
    raise ValueError(f"no system found for {name}")


def _named(system: System) -> System:
    words = "-".join(f"{name.replace(' ', '-')}-{level}" for name, level in system.conditions)
    name = f"{system.part}-{system.seed:05d}-{words or system.odd.replace(' ', '-') or 'healthy'}"
    return replace(system, name="".join(c for c in name if c.isalnum() or c == "-"))


def odd(name: str, part: str, number: int) -> System:
    """An odd but fine system."""
    return _named(replace(ODD[name](healthy(part, number)), odd=name))


def combined(names: tuple[str, ...], severity: int, part: str, number: int) -> System:
    """A system with several conditions at once, faults of the log among them."""
    first = next((name for name in names if name in BY_NAME), names[0])
    system = with_condition(first, severity, part, number)
    for name in names:
        if name == first:
            continue
        if name in BY_NAME:
            system = plant(BY_NAME[name], system, severity)
        else:
            more = LOG_BY_NAME[name].faults[severity - 1]
            told = replace(system.logging, faults=system.logging.faults + more)
            done = (*system.conditions, (name, severity))
            system = replace(system, logging=told, conditions=done)
    return _named(system)


def catalogue(
    part: str = "tuning", seeds: int = 1, healthy_systems: int = 40, severities: tuple[int, ...] =
    (1, 2, 3),
) -> list[System]:  # fmt: skip
    """Every system of a part: healthy ones, odd but fine ones, and every condition and fault of
    the log at each severity with `seeds` seeds. Descriptions only; nothing is simulated."""
    made = [_named(healthy(part, number)) for number in range(healthy_systems)]
    made += [
        odd(name, part, 500 + 21 * i + seed) for i, name in enumerate(ODD) for seed in range(seeds)
    ]
    names = [c.name for c in CONDITIONS] + [t.name for t in LOG_FAULTS]
    for i, name in enumerate(names):
        for severity in severities:
            for seed in range(seeds):
                made.append(with_condition(name, severity, part, 1000 + 41 * i + seed))
    return made
