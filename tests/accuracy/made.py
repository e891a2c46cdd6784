"""Systems of the world on disk and measured: exported at several intervals, loaded, staged.

The truth comes from the world, which shares no code with the pipeline; the pipeline sees only the
exports and the site file.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.ingest.load import load_site
from pipeline.review import measure_sites
from pipeline.site_reader import read_site
from pipeline.stages import Stage, discover, frame
from pipeline.store import attach_sites, connect_working
from sample_data import world
from sample_data.world.export import exports
from sample_data.world.site_file import site_toml
from sample_data.world.system import System
from sample_data.world.truth import truth_of


@cache
def stages_of(*tables: str) -> tuple[Stage, ...]:
    """The stages that these tables are made of, in running order; looked for once a process."""
    with connect_working() as con:
        stages = {stage.table: stage for stage in discover(con)}
    needed: set[str] = set()
    todo = list(tables)
    while todo:
        table = todo.pop()
        if table in stages and table not in needed:
            needed.add(table)
            todo += stages[table].reads
    return tuple(stage for table, stage in stages.items() if table in needed)


@dataclass(frozen=True)
class Variant:
    """How a system is exported: analog interval [s], and states sampled with it or on change."""

    interval_s: int
    states: str = "sampled"

    @property
    def name(self) -> str:
        """In words."""
        return f"{self.interval_s} s" + (", states on change" if self.states == "change" else "")


@contextlib.contextmanager
def wall(part: str) -> Iterator[None]:
    """The side of the world's wall a run stands on: 'tuning' or 'reporting'."""
    with world.reporting_run() if part == "reporting" else contextlib.nullcontext():
        yield


def write_site(system: System, folder: Path, record: Any = None) -> tuple[Path, dict[str, Any]]:
    """The system's site folder below `folder`, and its truth; truth is not written.

    Beside what the world tells of itself, `air`: supply over return air of every second, so that a
    figure can be held to the very seconds it was taken over.
    """
    kept = world.record(system) if record is None else record
    files = exports(system, kept)
    place = folder / system.name[:60]
    (place / "exports").mkdir(parents=True)
    (place / "site.toml").write_text(site_toml(system, files), encoding="utf-8")
    for export in files:
        path = place / "exports" / export.name
        path.write_text(export.text, encoding="utf-8", newline="")
    truth = truth_of(system, kept, files)
    truth["air"] = {
        "first": system.start.astimezone(UTC).isoformat(),
        "rise_f": (kept.signal("supply_f") - kept.signal("return_f")).astype("float32"),
    }
    return place, truth


def variants_of(
    system: System, variants: Iterable[Variant], folder: Path
) -> dict[Variant, tuple[Path, dict[str, Any]]]:
    """The same record exported in several ways: site folder and truth by variant."""
    record = world.record(system)
    made = {}
    for variant in variants:
        logging = replace(
            system.logging,
            fast_s=variant.interval_s,
            slow_s=max(60, variant.interval_s),
            states=variant.states,
        )
        short = f"{variant.interval_s}s{variant.states[0]}-{system.name}"
        made[variant] = write_site(replace(system, name=short, logging=logging), folder, record)
    return made


def measured(
    folders: Iterable[Path], tables: Iterable[str], *, align: bool = False
) -> dict[str, dict[str, pd.DataFrame]]:
    """The named tables of every site, by site id: loaded and measured as one batch."""
    sites = [read_site(folder) for folder in folders]
    for site in sites:
        load_site(site.path.parent)
    with connect_working() as con:
        attach_sites(con, {site.id: site.store_path for site in sites})
        measure_sites(con, sites, align=align)
        return {site.id: {name: frame(con, name, site.id) for name in tables} for site in sites}
