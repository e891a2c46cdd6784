"""How far off the blower's state is that was not logged: read off static, and off supply air.

    python -m tests.accuracy.fan_state [--part tuning|reporting] [--systems N]

Each system is exported twice, at 10 s and at 60 s: as a site that has supply static and nothing
else, and as one that has supply, return and outdoor temperature only. The truth is air that moves.
Runs that touch a visit are left out on both sides. Errors come from the tuning part.
"""

from __future__ import annotations

import contextlib
import tempfile
from pathlib import Path

import click
import numpy as np
import pandas as pd

from sample_data.world import System, healthy, record, reporting_run
from sample_data.world.export import utc_s
from sample_data.world.known import Known, merged, segments
from sample_data.world.loop import Record
from tests.accuracy.inferred import CHATTER_S, KEPT
from tests.accuracy.only import BARE, every, tables_of, write_site

TABLE = "run_state.fan"
READ_OFF = {"static": ("static_pressure",), "supply": KEPT}
LEAST_S = 3600


def score(
    system: System, kept: Record, read_off: str, interval_s: int, folder: Path
) -> dict[str, object] | None:
    """Errors of the blower's time and starts as shares of the truth; None where it hardly ran."""
    kept_roles = READ_OFF[read_off].__contains__
    write_site(system, kept, kept_roles, folder, **every(interval_s), **BARE, return_static=False)
    (found,) = tables_of(folder, TABLE)
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
