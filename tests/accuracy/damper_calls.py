"""How far off calls are that are read off dampers: systems that logged both, calls hidden.

    python -m tests.accuracy.damper_calls [--part tuning|reporting] [--systems N]

Each system is exported with outputs and dampers and without calls; the truth is its calls. Calls
that touch a visit are left out on both sides.
"""

from __future__ import annotations

import contextlib
import tempfile
from dataclasses import replace
from pathlib import Path

import click
import numpy as np
import pandas as pd

from pipeline.ingest.load import load_site
from pipeline.run_tables import prepare
from pipeline.site_reader import read_site
from pipeline.stages import discover, run
from pipeline.store import attach_sites, connect_working
from sample_data.world import System, healthy, record, reporting_run
from sample_data.world.export import exports, utc_s
from sample_data.world.known import BROKEN_CALL_S, Known, merged, segments
from sample_data.world.loop import Record
from sample_data.world.site_file import site_toml

TABLE = "run_state.damper_call"
LEAST_S = 3600


def without_calls(system: System, kept: Record, folder: Path) -> None:
    """A site with outputs and dampers, as the system logged them, and no calls."""
    system = replace(system, logging=replace(system.logging, dampers=True, dialect="plain"))
    files = [
        replace(
            e,
            channels=tuple(
                c for c in e.channels if c.role.startswith("output_") or c.role == "zone_damper"
            ),
        )
        for e in exports(system, kept)
    ]
    files = [e for e in files if e.channels]
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(site_toml(system, files), encoding="utf-8")
    for e in files:
        (folder / "exports" / e.name).write_text(e.text, encoding="utf-8", newline="")


def read_off(folder: Path) -> pd.DataFrame:
    """The calls that the dampers show."""
    site = read_site(folder)
    load_site(folder)
    con = connect_working()
    try:
        attach_sites(con, {site.id: site.store_path})
        prepare(con, [site])
        stages = discover(con)
        last = next(n for n, s in enumerate(stages) if s.table == TABLE)
        run(con, stages[: last + 1])
        return con.execute(f"select * from {TABLE}").df()
    finally:
        con.close()


def scores(system: System, kept: Record, folder: Path) -> pd.DataFrame:
    """Errors of time and number of calls per zone and mode that called for more than an hour."""
    without_calls(system, kept, folder)
    found = read_off(folder)
    known = Known(system, kept)
    inside = np.flatnonzero(~known.in_visit)
    first, last = int(inside[0]), int(inside[-1])
    rows = []
    for zone in sorted(found["zone"].unique()):
        for mode, calls in (("heating", known.heat_calls), ("cooling", known.cool_calls)):
            own = found[(found["zone"] == zone) & (found["mode"] == mode)]
            told = [
                (a / 1e6 - utc_s(system), b / 1e6 - utc_s(system))
                for a, b in zip(own["start_ts"], own["end_ts"], strict=True)
            ]
            told = [(a, b) for a, b in told if a >= first and b <= last]
            true = merged(segments(calls[zone - 1]), BROKEN_CALL_S)
            true = [(a, b) for a, b in true if a >= first and b <= last]
            true_s = sum(b - a for a, b in true)
            if true_s >= LEAST_S:
                rows.append(
                    {
                        "system": system.name,
                        "kind": system.kind,
                        "zone": zone,
                        "mode": mode,
                        "interval_s": system.logging.fast_s,
                        "true_s": true_s,
                        "true_calls": len(true),
                        "time_error": sum(b - a for a, b in told) / true_s - 1,
                        "starts_error": len(told) / len(true) - 1,
                    }
                )
    return pd.DataFrame(rows)


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--systems", default=30, help="So many healthy systems of the part.")
@click.option("--csv", "path", type=click.Path(path_type=Path), help="Every score as a table.")
def main(part: str, systems: int, path: Path | None) -> None:
    """Print the errors of calls that are read off dampers."""
    made = []
    with reporting_run() if part == "reporting" else contextlib.nullcontext():
        for number in range(systems):
            system = healthy(part, number)
            with tempfile.TemporaryDirectory() as folder:
                made.append(scores(system, record(system), Path(folder) / "site"))
    rows = pd.concat(made)
    if path is not None:
        rows.to_csv(path, index=False)
    click.echo(rows.round(3).to_string(index=False))
    errors = rows[["time_error", "starts_error"]].abs().groupby(rows["mode"])
    click.echo(errors.quantile([0.5, 0.9]).round(3).to_string())


if __name__ == "__main__":
    main()
