"""How far off calls are that are read off dampers: systems that logged both, calls hidden.

    python -m tests.accuracy.damper_calls [--part tuning|reporting] [--systems N]

Each system is exported with outputs and dampers and without calls; the truth is its calls. Calls
that touch a visit are left out on both sides.
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
from sample_data.world.known import BROKEN_CALL_S, Known, merged, segments
from sample_data.world.loop import Record
from tests.accuracy.only import tables_of, write_site

TABLE = "run_state.damper_call"
LEAST_S = 3600


def is_kept(role: str) -> bool:
    """Whether the channel stays in the log: outputs and dampers do, calls do not."""
    return role.startswith("output_") or role == "zone_damper"


def scores(system: System, kept: Record, folder: Path) -> pd.DataFrame:
    """Errors of time and number of calls per zone and mode that called for more than an hour."""
    write_site(system, kept, is_kept, folder, dampers=True)
    (found,) = tables_of(folder, TABLE)
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
