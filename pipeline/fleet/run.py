"""A fleet brought up to date: sites found, loaded, judged week by week, and what that comes to.

One pass over the folder: `look` loads each site and cuts its log into units; units whose
fingerprints are not in fleet.duckdb are done in batches, each batch written whole by this process
alone. So a run that was stopped goes on where it stopped, and a run with nothing new does nothing.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline import words
from pipeline.fleet.look import Look, LookTask, look_at
from pipeline.fleet.measured import Task, UnitResult, measure_batch
from pipeline.fleet.sites import Found, find_sites
from pipeline.fleet.store import FILE, FleetStore
from pipeline.fleet.units import Unit
from pipeline.fleet.workers import Each, alone, crew

BATCH_UNITS = 40
"""Units of a batch: fewer pay more for each statement, more gain nothing (see DEVELOPERS.md)."""
BATCH_READINGS = 300_000
"""Instants of a batch: bounds what a worker holds, to some 0.8 GiB (see DEVELOPERS.md)."""

Tell = Callable[[str], None]


@dataclass
class Fleet:
    """A fleet as it stands after a run, before anything is made of it.

    sites : as found; looks : by key, of those with a site file that can be read
    broken : by key, why a site could not be read or measured
    """

    folder: Path
    run_day: dt.date
    sites: list[Found]
    looks: dict[str, Look] = field(default_factory=dict)
    broken: dict[str, str] = field(default_factory=dict)
    n_units: int = 0
    n_made: int = 0
    jobs: int = 1


def bring_up_to_date(
    folder: Path,
    store: FleetStore,
    run_day: dt.date,
    *,
    jobs: int = 1,
    scheduler: str = "",
    tell: Tell | None = None,
) -> Fleet:
    """The fleet with every unit in the store that there is, and no other.

    Raises what find_sites raises; a site that cannot be used is named in `broken`.
    """
    say = tell or (lambda step: None)
    fleet = Fleet(folder, run_day, find_sites(folder), jobs=jobs)
    kept = store.units()
    with crew(folder, jobs, scheduler) as each_of:
        _look(fleet, store, each_of, say)
        wanted = _wanted(fleet, kept)
        pending = [u for u in wanted.values() if _is_new(u, kept)]
        store.begin({unit.site_id for unit in pending})
        failed = _do(fleet, store, pending, each_of, say)
    fleet.n_units = len(wanted)
    fleet.n_made = len(pending) - len(failed)
    store.forget([key for key in kept if key not in wanted or key in failed])
    store.write_sites(_site_rows(fleet))
    return fleet


def open_fleet(folder: Path) -> FleetStore:
    """The fleet's store. Raises InputError where the folder is none, StoreError where it is."""
    if not folder.is_dir():
        find_sites(folder)  # raises what is wrong with it
    return FleetStore(folder / FILE)


def _look(fleet: Fleet, store: FleetStore, each_of: Each, say: Tell) -> None:
    loaded = {} if store.is_new else store.loaded()
    fleet.broken |= {s.key: s.broken for s in fleet.sites if s.site is None}
    tasks = [
        LookTask(s.key, s.site.folder, fleet.run_day, loaded.get(s.key, ""))
        for s in fleet.sites
        if s.site is not None
    ]
    clock = _Clock(len(tasks), say, "reading exports of", "site")
    for task, look in each_of(look_at, tasks, lost=lambda t: Look(t.key, broken=_LOST)):
        if look.broken:
            fleet.broken[task.key] = look.broken
        else:
            fleet.looks[task.key] = look
        clock.done(1)


def _wanted(
    fleet: Fleet, kept: dict[tuple[str, str, int], Unit]
) -> dict[tuple[str, str, int], Unit]:
    """Every unit that there is: those just cut, and those of sites in which nothing changed.

    A site that cannot be read for now keeps what it had.
    """
    as_before = {s.key for s in fleet.sites if s.key not in fleet.looks}
    as_before |= {key for key, look in fleet.looks.items() if look.units is None}
    wanted = {key: unit for key, unit in kept.items() if unit.site_id in as_before}
    for look in fleet.looks.values():
        wanted |= {unit.key: unit for unit in look.units or ()}
    return wanted


def _is_new(unit: Unit, kept: dict[tuple[str, str, int], Unit]) -> bool:
    known = kept.get(unit.key)
    return known is None or known.fingerprint != unit.fingerprint


def _do(
    fleet: Fleet, store: FleetStore, pending: Sequence[Unit], each_of: Each, say: Tell
) -> set[tuple[str, str, int]]:
    """Measure and judge what is pending; returns the keys of units that could not be."""
    folders = {s.key: s.site.folder for s in fleet.sites if s.site is not None}
    batches = [
        [Task(folders[u.site_id], u, fleet.looks[u.site_id].is_still_logging) for u in batch]
        for batch in batched(pending)
    ]
    clock = _Clock(sum(u.n_reading for u in pending), say, "judging", "week", len(pending))
    failed: set[tuple[str, str, int]] = set()
    for tasks, results in each_of(measure_batch, batches, lost=_lost):
        store.write_units(results)
        for result in results:
            if result.broken:
                failed.add(result.unit.key)
                when = words.day(result.unit.day)
                fleet.broken.setdefault(
                    result.unit.site_id,
                    f"the {result.unit.kind} from {when} could not be judged: {result.broken}",
                )
        clock.done(sum(t.unit.n_reading for t in tasks), len(tasks))
    return failed


def batched(pending: Sequence[Unit]) -> list[list[Unit]]:
    """Units in batches in which each is of another site, alike in length, bounded in readings."""
    nth: dict[str, int] = {}
    placed = []
    for unit in sorted(pending, key=lambda u: (u.site_id, u.start_ts, u.kind)):
        nth[unit.site_id] = nth.get(unit.site_id, -1) + 1
        placed.append(((unit.kind, nth[unit.site_id]), unit))
    batches: list[list[Unit]] = []
    last: tuple[str, int] | None = None
    n_reading = 0
    for place, unit in sorted(placed, key=lambda p: (p[0], p[1].site_id)):
        is_full = n_reading + unit.n_reading > BATCH_READINGS
        if place != last or is_full or len(batches[-1]) >= BATCH_UNITS:
            batches.append([])
            n_reading = 0
        batches[-1].append(unit)
        n_reading += unit.n_reading
        last = place
    return batches


_LOST = (
    "the process that worked on this site was ended by the system, most often for want of memory\n"
    "  next:     run again with fewer --jobs"
)


def _lost(tasks: Sequence[Task]) -> list[UnitResult]:
    """The results of a batch that took its worker along: site by site, each by itself."""
    if len(tasks) == 1:
        return [UnitResult(tasks[0].unit, broken=_LOST)]
    return [result for task in tasks for result in alone(measure_batch, [task], _lost)]


def _site_rows(fleet: Fleet) -> list[dict[str, Any]]:
    rows = []
    for found in fleet.sites:
        look = fleet.looks.get(found.key)
        row: dict[str, Any] = {
            "site_id": found.key,
            "folder": found.folder,
            "name": found.site.name if found.site else None,
            "timezone": found.site.timezone if found.site else None,
            "broken": fleet.broken.get(found.key),
        }
        if look is not None:
            row |= {
                name: getattr(look, name)
                for name in ("loaded", "first_ts", "last_ts", "is_still_logging")
            }
            row |= {"n_reading": look.n_reading, "n_rejected": look.n_rejected}
        rows.append(row)
    return rows


class _Clock:
    """Says how far a piece of work is and how long it may still take.

    total : of what `done` counts; n_shown : of what is named, where that is something else
    """

    def __init__(self, total: int, say: Tell, doing: str, noun: str, n_shown: int = 0) -> None:
        self._total, self._say = total, say
        self._text = f"{doing} {words.count(n_shown or total, noun)}"
        self._began = time.monotonic()
        self._so_far = 0
        if total:
            say(self._text)

    def done(self, amount: int, n_shown: int = 0) -> None:
        """That much more is done."""
        self._so_far += amount
        took_s = time.monotonic() - self._began
        left_s = took_s * (self._total - self._so_far) / max(self._so_far, 1)
        share = self._so_far / max(self._total, 1)
        self._say(f"{self._text}: {words.share(share)}, about {words.duration(left_s)} left")
