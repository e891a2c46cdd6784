"""How far off the blower's state is that was not logged: read off static, and off supply air.

    python -m tests.accuracy.fan_state [--part tuning|reporting] [--systems N]

Each system is exported twice, at 10 s and at 60 s: as a site that has supply static and nothing
else, and as one that has supply, return and outdoor temperature only. The truth is air that moves.
Runs that touch a visit are left out on both sides. Errors come from the tuning part.
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
from sample_data.world.known import Known, merged, segments
from sample_data.world.loop import Record
from sample_data.world.site_file import site_toml
from tests.accuracy.inferred import CHATTER_S, KEPT

TABLE = "run_state.fan"
READ_OFF = {"static": ("static_pressure",), "supply": KEPT}
LEAST_S = 3600


def kept_site(
    system: System, kept: Record, roles: tuple[str, ...], interval_s: int, folder: Path
) -> None:
    """A site with these channels of the equipment and nothing else."""
    logging = replace(
        system.logging,
        fast_s=interval_s,
        slow_s=max(60, interval_s),
        dampers=False,
        setpoints=False,
        proof=False,
        return_static=False,
        dialect="plain",
    )
    system = replace(system, logging=logging)
    files = [
        replace(e, channels=tuple(c for c in e.channels if c.role in roles))
        for e in exports(system, kept)
    ]
    files = [e for e in files if e.channels]
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(site_toml(system, files), encoding="utf-8")
    for e in files:
        (folder / "exports" / e.name).write_text(e.text, encoding="utf-8", newline="")


def fan_states(folder: Path) -> pd.DataFrame:
    """run_state.fan of the site, from its exports."""
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


def score(
    system: System, kept: Record, read_off: str, interval_s: int, folder: Path
) -> dict[str, object] | None:
    """Errors of the blower's time and starts as shares of the truth; None where it hardly ran."""
    kept_site(system, kept, READ_OFF[read_off], interval_s, folder)
    found = fan_states(folder)
    inside = np.flatnonzero(~Known(system, kept).in_visit)
    first, last = int(inside[0]), int(inside[-1])

    def outside(runs: list[tuple[float, float]]) -> list[tuple[float, float]]:
        return [(a, b) for a, b in runs if a >= first and b <= last]

    moves = kept.flag("blower")
    true = outside(merged(segments(moves), CHATTER_S))
    on = found[found["is_on"].astype(bool)]
    runs = outside(
        [
            (a / 1e6 - utc_s(system), b / 1e6 - utc_s(system))
            for a, b in zip(on["start_ts"], on["end_ts"], strict=True)
        ]
    )
    true_s = sum(b - a for a, b in true)
    if true_s < LEAST_S:
        return None
    return {
        "system": system.name,
        "kind": system.kind,
        "read_off": read_off,
        "interval_s": interval_s,
        "true_s": true_s,
        "true_starts": len(true),
        "time_error": sum(b - a for a, b in runs) / true_s - 1,
        "starts_error": len(runs) / len(true) - 1,
    }


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--systems", default=15, help="So many healthy systems of the part.")
@click.option("--intervals", default="10,60", help="Sampling intervals in seconds.")
@click.option("--csv", "path", type=click.Path(path_type=Path), help="Every score as a table.")
def main(part: str, systems: int, intervals: str, path: Path | None) -> None:
    """Print the errors of the blower's time and starts."""
    made = []
    with reporting_run() if part == "reporting" else contextlib.nullcontext():
        for number in range(systems):
            system = healthy(part, number)
            kept = record(system)
            for read_off in READ_OFF:
                for interval_s in (int(s) for s in intervals.split(",")):
                    with tempfile.TemporaryDirectory() as folder:
                        made.append(
                            score(system, kept, read_off, interval_s, Path(folder) / "site")
                        )
            if path is not None:
                pd.DataFrame([m for m in made if m]).to_csv(path, index=False)
    rows = pd.DataFrame([m for m in made if m])
    click.echo(rows.round(3).to_string(index=False))
    errors = rows[["time_error", "starts_error"]].abs()
    by = [rows["read_off"], rows["interval_s"]]
    click.echo(errors.groupby(by).quantile([0.5, 0.9]).round(3).to_string())


if __name__ == "__main__":
    main()
