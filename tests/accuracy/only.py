"""A simulated site of which the log holds some channels only, and the tables it gives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.ingest.load import load_site
from pipeline.run_tables import prepare
from pipeline.site_reader import read_site
from pipeline.stages import run
from pipeline.store import attach_sites, connect_working
from sample_data.world import System
from sample_data.world.export import exports
from sample_data.world.loop import Record
from sample_data.world.site_file import site_toml
from tests.accuracy.made import stages_of

BARE: dict[str, Any] = {"dampers": False, "setpoints": False, "proof": False}
"""How a logger is set that nobody gave more to log than air and static."""


def write_site(
    system: System, kept: Record, is_kept: Callable[[str], bool], folder: Path, **logging: Any
) -> None:
    """The site folder with the channels whose role is kept; exports that hold none are left out.

    logging : how it was logged, laid over the system's own (fields of its `logging`)
    """
    system = replace(system, logging=replace(system.logging, dialect="plain", **logging))
    files = [
        replace(e, channels=tuple(c for c in e.channels if is_kept(c.role)))
        for e in exports(system, kept)
    ]
    files = [e for e in files if e.channels]
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(site_toml(system, files), encoding="utf-8")
    for e in files:
        (folder / "exports" / e.name).write_text(e.text, encoding="utf-8", newline="")


def every(interval_s: int) -> dict[str, int]:
    """Logging at this interval, rooms at a minute or slower."""
    return {"fast_s": interval_s, "slow_s": max(60, interval_s)}


def tables_of(folder: Path, *tables: str) -> list[pd.DataFrame]:
    """The tables of the site, from its exports, in the order in which they are made."""
    site = read_site(folder)
    load_site(folder)
    with connect_working() as con:
        attach_sites(con, {site.id: site.store_path})
        prepare(con, [site])
        run(con, stages_of(*tables))
        return [con.execute(f"select * from {table}").df() for table in tables]
