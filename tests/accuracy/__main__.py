"""How right the measures are: `python -m tests.accuracy [--part P] [--systems N] [--jobs N]`.

Prints a table by sample interval, writes figures-PART.csv, events-PART.csv and a page with a plot
to out/accuracy/. The part *reporting* is for figures that are told; thresholds are chosen on
*tuning*.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click
import numpy as np
import pandas as pd

from pipeline.sampling import AT_LEAST, CERTAIN, NOT_GIVEN, standing
from pipeline.thresholds import values_for
from sample_data import world
from sample_data.world.conditions import CONDITIONS
from sample_data.world.faults import on_sheet, plant
from sample_data.world.system import System
from tests.accuracy import held
from tests.accuracy.made import Variant, measured, variants_of, wall

OUT = Path("out/accuracy")
ALWAYS = (Variant(10), Variant(60))
MORE = (Variant(5), Variant(30), Variant(300), Variant(10, "change"))
FINEST = Variant(1)
BATCH = 6  # systems measured together
# what the conditions in turn give too few cases of: balance points, both fuels, hunting, second
# stage that does not come, the equipment's own stops
PLANTED = (
    ("balance point off", 3),
    ("balance point off", 2),
    ("panel's outdoor sensor off", 3),
    ("both fuels at once", 3),
    ("both fuels at once", 2),
    ("static hunting", 3),
    ("static hunting", 2),
    ("second stage never comes", 3),
    ("second stage never comes", 2),
    ("second stage stays in", 3),
    ("furnace's own limit opens", 2),
    ("flame lost", 3),
    ("static hunting", 3),
    ("static hunting", 2),
    ("furnace's own limit opens", 2),
)
# within one set of calls static hunts, and a limit that opens for minutes is seen at 60 s too
IN_LONG_CALLS = ("static hunting", "furnace's own limit opens")
ALLOWED = {  # shares allowed by analog interval, of runtime and of seconds above target
    "runtime": {10: 0.002, 60: 0.01},
    "stage time": {10: 0.002, 60: 0.01},
    "seconds above target": {10: 0.01, 60: 0.03},
    "seconds above, as measured": {10: 0.01, 60: 0.03},
    "steady rise": {10: 0.0, 60: 0.0},  # its bound holds it
    "zone calling": {10: 0.002, 60: 0.01},
    "zone calls": {10: 0.002, 60: 0.01},
}
# figures that the log's interval limits: their measure, its channel, that channel's share of it
MEASURES = {
    "zone calls": ("measure.zone_call", "zone_call_w1", 1.0),
    "seconds above target": ("measure.static_total", "static_pressure", 0.5),
    "seconds above, as measured": ("measure.static_total", "static_pressure", 0.5),
}
# no bound excuses these at 60 s or faster
BY_SHARE = ("seconds above target", "seconds above, as measured")


def systems(part: str, count: int) -> list[System]:
    """So many systems: a third healthy, the others each with a condition of the equipment."""
    some = [world.healthy(part, 300 + n) for n in range(count // 3)]
    some = [replace(s, name=f"{part}-healthy-{s.seed}") for s in some]
    wanted = count - len(some)
    for n in range(wanted):
        condition = CONDITIONS[n % len(CONDITIONS)]
        severity = 2 + n % 2
        some.append(world.with_condition(condition.name, severity, part, 7000 + 13 * n))
    return some


def in_long_calls(system: System) -> System:
    """One zone calls from six in the morning to ten at night, the others do not."""
    first, *others = system.zones
    asks = replace(
        first, heat_f=90.0, cool_f=55.0, heat_back_f=45.0, cool_back_f=95.0,
        back_from_s=79_200.0, back_to_s=21_600.0,
    )  # fmt: skip
    rests = [
        replace(z, heat_f=45.0, cool_f=95.0, heat_back_f=45.0, cool_back_f=95.0) for z in others
    ]
    return replace(system, zones=(asks, *rests))


def past_balance_points(system: System, *, too_cold: bool) -> System:
    """The panel heats with the compressor well below the sheet's low point in this weather, or with
    the furnace well above its high point.
    """
    mean_f = system.weather.season(system.season)[0]
    if too_cold:
        system = plant(system, low_balance_f=mean_f - 15.0, high_balance_f=mean_f + 25.0)
        return on_sheet(system, low_balance_f=mean_f + 8, high_balance_f=mean_f + 25)
    system = plant(system, low_balance_f=mean_f + 15.0, high_balance_f=mean_f + 25.0)
    return on_sheet(system, low_balance_f=mean_f - 25, high_balance_f=mean_f - 8)


def planted(part: str) -> list[System]:
    """A system for each of PLANTED, made so that it shows what it is there for."""
    some = []
    for n, (name, severity) in enumerate(PLANTED):
        system = world.with_condition(name, severity, part, 40_000 + 17 * n)
        if name in IN_LONG_CALLS:
            system = in_long_calls(system)
        if name == "balance point off":
            system = past_balance_points(system, too_cold=severity == 3)
        some.append(system)
    return some


def plan(part: str, count: int, days: float) -> list[tuple[str, System, tuple[Variant, ...]]]:
    """Which system is exported how: so many systems, and those that are planted beside them."""
    jobs = []
    for n, system in enumerate([*systems(part, count), *planted(part)]):
        logging = replace(system.logging, faults=(), static=True)
        system = replace(system, logging=logging, days=days)
        variants = ALWAYS + (MORE if n % 5 == 0 and n < count else ())
        jobs.append((part, system, variants))
        if n % 10 == 3 and n < count:
            jobs.append((part, replace(system, days=min(days, 1.0)), (FINEST,)))
    return jobs


Job = tuple[str, System, tuple[Variant, ...]]


def measure(jobs: list[Job]) -> tuple[list[Any], list[Any], float]:
    """Figures and events of some systems in all their variants, and the seconds of CPU it took.

    They are measured as one batch: a stage costs about the same for one site and for a dozen.
    """
    began = time.process_time()
    folder = Path(tempfile.mkdtemp(prefix="accuracy"))
    figures: list[Any] = []
    events: list[Any] = []
    try:
        made = []
        for n, (part, system, variants) in enumerate(jobs):
            with wall(part):
                found = variants_of(system, variants, folder / str(n))
            made += [(system, variant, *site) for variant, site in found.items()]
        tables = measured([place for _, _, place, _ in made], held.TABLES)
        for (system, variant, _, truth), frames in zip(made, tables.values(), strict=True):
            about = {
                "system": system.name,
                "kind": system.kind,
                "condition": system.condition,
                "interval_s": variant.interval_s,
                "states": variant.states,
            }
            figures += [about | asdict(f) for f in held.figures(truth, frames)]
            found_events = held.events(truth, frames, variant.interval_s, dict(system.sheet))
            events += [about | asdict(e) for e in found_events]
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return figures, events, time.process_time() - began


def gather(jobs: list[Job], processes: int) -> tuple[pd.DataFrame, pd.DataFrame, float]:
    """All figures, all events and the seconds of CPU."""
    batches = [jobs[n : n + BATCH] for n in range(0, len(jobs), BATCH)]
    if processes == 1:
        results = [measure(batch) for batch in batches]
    else:
        with ProcessPoolExecutor(processes) as pool:
            results = list(pool.map(measure, batches))
    figures = pd.DataFrame([row for r in results for row in r[0]])
    events = pd.DataFrame([row for r in results for row in r[1]])
    return with_errors(figures), events, sum(r[2] for r in results)


def as_said(what: str, interval_s: float) -> str:
    """How the tool gives a figure of a log read at this interval: certain, at least, not given."""
    if what not in MEASURES:
        return CERTAIN
    measure, role, times = MEASURES[what]
    told = standing(measure, {role: interval_s * times}, values_for({}))
    return told.result if told else CERTAIN


def with_errors(figures: pd.DataFrame) -> pd.DataFrame:
    """Error as a share of its scale, and whether it lies within the allowed share or the bound."""
    figures = figures.copy()
    figures["off"] = (figures["told"] - figures["true"]).abs()
    figures["share_off"] = figures["off"] / figures["scale"]
    allowed = [
        ALLOWED[what].get(10 if seconds <= 10 else 60, 0.01) if seconds <= 60 else 0.0
        for what, seconds in zip(figures["what"], figures["interval_s"], strict=True)
    ]
    figures["in_bound"] = figures["off"] <= figures["bound"].fillna(0.0) + 1e-6
    said = [
        as_said(what, seconds)
        for what, seconds in zip(figures["what"], figures["interval_s"], strict=True)
    ]
    # "at least" is wrong only where it is more than there was
    figures["in_bound"] |= (np.array(said) == AT_LEAST) & (figures["told"] <= figures["true"])
    by_share = figures["what"].isin(BY_SHARE) & (figures["interval_s"] <= 60)
    by_rule = figures["off"] <= figures["scale"] * allowed
    figures["holds"] = by_rule | (figures["in_bound"] & ~by_share)
    return figures[np.array(said) != NOT_GIVEN]


def tables(figures: pd.DataFrame, events: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Figures and events by kind and export."""
    by = ["what", "interval_s", "states"]
    of_figures = figures.groupby(by).agg(
        n=("off", "size"),
        median_off=("share_off", "median"),
        worst_off=("share_off", "max"),
        holds=("holds", "mean"),
        in_bound=("in_bound", "mean"),
    )
    summed = events.groupby(by)[["n_must", "n_found", "n_told", "n_told_true", "n_sure_wrong"]]
    of_events = summed.sum()
    of_events["recall"] = of_events["n_found"] / of_events["n_must"]
    of_events["precision"] = of_events["n_told_true"] / of_events["n_told"]
    return of_figures, of_events


def draw(figures: pd.DataFrame, path: Path) -> None:
    """Errors by interval as a page with a plot."""
    import plotly.express as px

    shown = figures.assign(interval=figures["interval_s"].astype(str) + " s")
    chart = px.strip(
        shown.sort_values("interval_s"),
        x="interval",
        y="share_off",
        color="what",
        hover_data=["system", "true", "told"],
        log_y=True,
        labels={"share_off": "error, share of the true figure", "interval": "sample interval"},
    )
    chart.write_html(path, include_plotlyjs=True)


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--systems", "count", default=60, help="How many systems.")
@click.option("--days", default=4.0, help="Days of log of each.")
@click.option("--jobs", default=2, help="Processes.")
def main(part: str, count: int, days: float, jobs: int) -> None:
    """Measure systems of the world at several sample intervals and hold them to their truth."""
    began = time.perf_counter()
    figures, events, cpu_s = gather(plan(part, count, days), jobs)
    OUT.mkdir(parents=True, exist_ok=True)
    figures.to_csv(OUT / f"figures-{part}.csv", index=False)
    events.to_csv(OUT / f"events-{part}.csv", index=False)
    draw(figures, OUT / f"errors-{part}.html")
    of_figures, of_events = tables(figures, events)
    with pd.option_context("display.width", 160, "display.max_rows", 200):
        click.echo(of_figures.round(5).to_string())
        click.echo(of_events.round(4).to_string())
    took_s = time.perf_counter() - began
    done = f"{count} and {len(PLANTED)} planted systems of the {part} part"
    click.echo(f"{done} in {took_s:.0f} s, {cpu_s:.0f} s of CPU")


if __name__ == "__main__":
    main()
