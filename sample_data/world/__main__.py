"""Print and draw the catalogue: `python -m sample_data.world [--part P] [--only WORD] [--draw N]`.

Pages go to out/world/pictures/, the table to out/world/catalogue-PART.csv; nothing is committed.
"""

import contextlib
import time
from pathlib import Path
from typing import Any

import click
import pandas as pd

from sample_data.world.catalogue import catalogue, reporting_run
from sample_data.world.export import exports
from sample_data.world.kept import cache_folder
from sample_data.world.known import Known
from sample_data.world.make import record
from sample_data.world.pictures import save
from sample_data.world.truth import gather, truth_of


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--only", default="", help="Only systems with this word in their name.")
@click.option("--draw", "drawn", default=10**6, help="At most so many pictures.")
@click.option("--seeds", default=1, help="Systems per condition and severity.")
def main(part: str, only: str, drawn: int, seeds: int) -> None:
    """Simulate every system of a part, print what it is and what must be found, draw it."""
    folder = cache_folder() / "pictures"
    rows: list[dict[str, Any]] = []
    wall = reporting_run() if part == "reporting" else contextlib.nullcontext()
    with wall:
        for system in catalogue(part, seeds):
            if only not in system.name:
                continue
            begun = time.perf_counter()
            kept = record(system)
            simulated = time.perf_counter()
            files = exports(system, kept)
            exported = time.perf_counter()
            facts = truth_of(system, kept, files)
            if len(rows) < drawn:
                save(system, kept, files, gather(Known(system, kept)), folder)
            rows.append(
                {
                    "system": system.name,
                    "kind": system.kind,
                    "season": system.season,
                    "zones": len(system.zones),
                    "condition": system.condition,
                    "severity": system.severity,
                    "must": " ".join(facts["labels"]["must"]),
                    "heating_h": facts["hours"]["heating"],
                    "cooling_h": facts["hours"]["cooling"],
                    "simulate_s": round(simulated - begun, 2),
                    "export_s": round(exported - simulated, 2),
                    "balance": round(
                        (kept.heat_in_btu - kept.heat_out_btu - kept.stored_btu)
                        / kept.throughput_btu,
                        5,
                    ),
                }
            )
            row = rows[-1]
            click.echo(
                f"{row['system']:<64} {row['kind']:<11} {row['season']:<9} {row['zones']} zones  "
                f"{row['must'] or '-'}"
            )
    table = pd.DataFrame(rows)
    path: Path = cache_folder() / f"catalogue-{part}.csv"
    path.parent.mkdir(parents=True, exist_ok=True)
    table.to_csv(path, index=False)
    click.echo(f"{len(table)} systems; table {path}; pictures {folder}")
    if len(table):
        click.echo(
            f"median {table['simulate_s'].median():.2f} s to simulate, "
            f"{table['export_s'].median():.2f} s to export; "
            f"largest energy balance error {table['balance'].abs().max():.4f}"
        )


if __name__ == "__main__":
    main()
