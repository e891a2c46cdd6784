"""How far inferred runs are off: simulated systems with their outputs hidden, against the truth.

    python -m tests.accuracy.inferred [--part tuning|reporting] [--systems N] [--no-more]

The first healthy systems of the part, and the further ones of MORE, which were chosen by their
description before anything was simulated. Each system is exported at 10 s, 30 s and 60 s as a site
that has supply, return and outdoor temperature only, loaded and measured like any other. Runs that
touch a visit are left out on both sides. The truth of a burner is its flame, of a compressor its Y;
"W" compares the burner's time with the usual ignition added to what W1 was really on. Constants and
expected errors come from the tuning part; the reporting part is for figures.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
import pandas as pd

from pipeline.thresholds import THRESHOLDS
from sample_data.world import System, healthy, record, reporting_run
from sample_data.world.catalogue import FIRST_REPORTING_SEED
from sample_data.world.export import utc_s
from sample_data.world.known import Known, merged, segments
from sample_data.world.loop import Record
from tests.accuracy.only import BARE, every, tables_of, write_site

KEPT = ("supply_temp", "return_temp", "outdoor_temp")
CHATTER_S = 15
MORE = {
    # cooling of one stage in an attic (six gulf coast, four low desert), and elsewhere; furnaces
    "tuning": (96, 104, 130, 150, 184, 214, 241, 264, 284, 329, 339, 51, 54, 69, 43, 48, 63, 75),
    # one stage, heating or cooling, then one-stage cooling in an attic alone
    "reporting": (
        *(41, 44, 45, 48, 51, 53, 59, 60, 63, 65, 66, 67, 76, 84, 87, 88),
        *(127, 140, 147, 186, 252, 271, 282, 319, 355, 434),
    ),
}
FRESH = 100
"""Reporting systems from this number on had never been looked at when the estimator was settled;
those below may have been."""
Runs = list[tuple[float, float]]


@dataclass(frozen=True)
class Score:
    """Errors of one system, mode and interval, as shares of the truth."""

    system: str
    number: int
    kind: str
    mode: str
    stages: int
    in_attic: bool
    interval_s: int
    true_s: float
    true_starts: int
    runtime_error: float
    starts_error: float
    asked_error: float | None
    source_error: float | None


def scores(system: System, kept: Record, interval_s: int, folder: Path) -> Iterator[Score]:
    """One score per mode that ran for more than an hour."""
    write_site(system, kept, KEPT.__contains__, folder, **every(interval_s), **BARE, static=False)
    found, states = tables_of(folder, "interval.source_run", "run_state.inferred_state")
    known = Known(system, kept)
    flame, pump = kept.flag("flame"), known.pumping
    truth = {
        "heating": (flame | pump) if system.plant.furnace > 0 else (pump | known.aux),
        "cooling": known.cooling,
    }
    inside = np.flatnonzero(~known.in_visit)
    first, last = float(inside[0]), float(inside[-1])
    began = utc_s(system)

    def outside_visits(runs: Runs) -> Runs:
        return [(a, b) for a, b in runs if a >= first and b <= last]

    for mode, flags in truth.items():
        true = outside_visits(merged(segments(flags), CHATTER_S))
        true_s = sum(b - a for a, b in true)
        if true_s < 3600:
            continue
        own = found[found["mode"] == mode]
        runs = outside_visits(
            list(zip(own["start_ts"] / 1e6 - began, own["end_ts"] / 1e6 - began, strict=True))
        )
        total_s = sum(b - a for a, b in runs)
        asked = None
        if mode == "heating" and system.kind in ("furnace", "furnace_ac"):
            w1 = outside_visits(merged(segments(known.w1), CHATTER_S))
            usual_s = THRESHOLDS["ignition_usual_s"].value
            asked = (total_s + usual_s * len(runs)) / sum(b - a for a, b in w1) - 1
        source = None
        if mode == "heating" and system.kind == "dual_fuel":
            by_burner = sum(
                b - a
                for a, b in outside_visits(
                    [
                        (a / 1e6 - began, b / 1e6 - began)
                        for a, b, s in zip(
                            states["start_ts"], states["end_ts"], states["source"], strict=True
                        )
                        if s == "burner"
                    ]
                )
            )
            lit = sum(b - a for a, b in outside_visits(segments(flame)))
            source = (by_burner - lit) / true_s
        heats = system.plant.furnace > 0 and mode == "heating"
        yield Score(
            system=system.name,
            number=system.seed % FIRST_REPORTING_SEED,
            kind=system.kind,
            mode=mode,
            stages=int(system.plant.heating_stages if heats else system.plant.compressor_stages),
            in_attic=system.plant.in_attic > 0,
            interval_s=interval_s,
            true_s=true_s,
            true_starts=len(true),
            runtime_error=total_s / true_s - 1,
            starts_error=len(runs) / len(true) - 1,
            asked_error=asked,
            source_error=source,
        )


def measured(
    part: str, numbers: tuple[int, ...], intervals: tuple[int, ...], path: Path | None = None
) -> pd.DataFrame:
    """Scores of healthy systems of a part, one row per system, mode and interval.

    path : where the scores so far are written after each system
    """
    rows: list[Score] = []
    wall = reporting_run() if part == "reporting" else contextlib.nullcontext()
    with wall:
        for number in numbers:
            system = healthy(part, number)
            kept = record(system)
            for interval_s in intervals:
                with tempfile.TemporaryDirectory() as folder:
                    rows += scores(system, kept, interval_s, Path(folder) / "site")
            if path is not None:
                pd.DataFrame([vars(r) for r in rows]).to_csv(path, index=False)
    return pd.DataFrame([vars(r) for r in rows])


def table(rows: pd.DataFrame) -> pd.DataFrame:
    """Per mode, kind of equipment, stages and interval: systems, runs and errors in percent."""

    def said(own: pd.DataFrame) -> pd.Series:
        runtime, starts = own["runtime_error"].abs(), own["starts_error"].abs()
        asked = own["asked_error"].dropna().abs()
        source = own["source_error"].dropna().abs()
        return pd.Series(
            {
                "systems": len(own),
                "runs": own["true_starts"].sum(),
                "runtime median": 100 * runtime.median(),
                "runtime 9 in 10": 100 * runtime.quantile(0.9),
                "pooled": 100
                * ((own["runtime_error"] * own["true_s"]).sum() / own["true_s"].sum()),
                "within 3 %": (runtime <= 0.03).sum(),
                "starts median": 100 * starts.median(),
                "starts 9 in 10": 100 * starts.quantile(0.9),
                "within 5 %": (starts <= 0.05).sum(),
                "W 9 in 10": 100 * asked.quantile(0.9) if len(asked) else np.nan,
                "source median": 100 * source.median() if len(source) else np.nan,
            }
        )

    rows = rows.assign(
        equipment=rows["kind"]
        .where(rows["mode"] == "heating", "any")
        .replace("furnace", "furnace_ac")
    )
    by = ["mode", "equipment", "stages", "interval_s"]
    return rows.groupby(by)[list(rows.columns)].apply(said).round(1).reset_index()


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--systems", default=40, help="So many healthy systems of the part.")
@click.option("--intervals", default="10,30,60", help="Sampling intervals in seconds.")
@click.option("--more/--no-more", default=True, help="The further systems chosen by description.")
@click.option("--csv", "path", type=click.Path(path_type=Path), help="Every score as a table.")
def main(part: str, systems: int, intervals: str, more: bool, path: Path | None) -> None:
    """Print the errors of inferred runtime and starts."""
    numbers = (
        (*range(systems), *(n for n in MORE[part] if n >= systems)) if more else range(systems)
    )
    rows = measured(part, tuple(numbers), tuple(int(s) for s in intervals.split(",")), path)
    with pd.option_context("display.width", 200, "display.max_columns", 30, "display.max_rows", 99):
        click.echo(table(rows).to_string(index=False))
        click.echo("\nOne stage, 60 s or faster, systems in an attic and elsewhere:")
        one = rows[(rows["stages"] == 1) & (rows["interval_s"] <= 60)]
        one = one[(one["mode"] == "cooling") | one["kind"].isin(["furnace", "furnace_ac"])]
        click.echo(
            table(
                one.assign(kind=one["in_attic"].map({True: "attic", False: "house"})).assign(
                    mode=one["mode"] + one["in_attic"].map({True: " (attic)", False: ""})
                )
            ).to_string(index=False)
        )
        fresh = one[one["number"] >= FRESH]
        if part == "reporting" and not fresh.empty:
            click.echo("\nOf these, systems that nobody had looked at:")
            click.echo(table(fresh).to_string(index=False))


if __name__ == "__main__":
    main()
