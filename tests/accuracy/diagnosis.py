"""How right the findings are: `python -m tests.accuracy.diagnosis [--part P] [--only WORD] ...`.

Systems of the simulated world with every condition and every fault of the log at three severities,
with several at once, healthy ones and odd but fine ones; each reviewed as a technician would
(loggers' clocks left as they are), reports off, in batches of sites. What must, may and must not be
found is what the world's labels say, mended by `beside.py`; they share no code with the pipeline.

Prints a table by condition and pooled figures with 95 % Wilson intervals; writes every site's
outcome to out/diagnosis/PART.csv and a page with the confusion of findings.
"""

from __future__ import annotations

import re
import shutil
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import click
import pandas as pd

from pipeline.findings import rules
from pipeline.ingest.load import load_site
from pipeline.review import judge, measure_sites
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working
from sample_data import world
from sample_data.world.conditions import CONDITIONS
from sample_data.world.log_faults import LOG_FAULTS, ODD
from sample_data.world.system import System
from tests.accuracy.beside import asked
from tests.accuracy.causes import FIRST_CAUSE
from tests.accuracy.intervals import wilson
from tests.accuracy.made import wall

OUT = Path("out/diagnosis")
BATCH = 16
PAIRS = 20
WORTH_A_VISIT = ("act", "plan")


@dataclass(frozen=True)
class Ask:
    """Which systems: seeds for each condition and severity, how many healthy ones, a word.

    first : the first seed; with another one all systems are others
    """

    part: str
    seeds: int
    healthy: int
    severities: tuple[int, ...] = (1, 2, 3)
    only: str = ""
    first: int = 0


def systems(ask: Ask) -> list[System]:
    """Descriptions only; nothing is simulated."""
    names = [c.name for c in CONDITIONS] + [t.name for t in LOG_FAULTS]
    some = [
        world.with_condition(name, severity, ask.part, 3000 + 53 * i + 7 * seed)
        for i, name in enumerate(names)
        for severity in ask.severities
        for seed in range(ask.first, ask.first + ask.seeds)
        if ask.only in name
    ]
    if ask.only:
        return some
    for n in range(min(PAIRS, 4 * ask.seeds)):
        pair = _pair(n, ask)
        if pair is not None:
            some.append(pair)
    return some


def _pair(n: int, ask: Ask) -> System | None:
    """The n-th condition and the first far from it in the table that a house can have as well.

    Both in one season and on one kind of equipment: else one of them never has its hour.
    """
    first = CONDITIONS[n]
    for step in range(len(CONDITIONS) // 2, len(CONDITIONS)):
        other = CONDITIONS[(n + step) % len(CONDITIONS)]
        if not set(first.kinds) & set(other.kinds) or not set(first.seasons) & set(other.seasons):
            continue
        try:
            return world.combined(
                (first.name, other.name), 3, ask.part, 8000 + 11 * n + 400 * ask.first
            )
        except ValueError:  # one takes away what the other needs
            continue
    return None


def fine(ask: Ask) -> list[System]:
    """Healthy systems, and odd but fine ones among them."""
    n_odd = min(ask.healthy // 3, 4 * len(ODD))
    odd = [
        world.odd(name, ask.part, 600 + 29 * i + k + 4 * ask.first)
        for k in range(4)
        for i, name in enumerate(ODD)
    ][:n_odd]
    numbers = range(100 + 1000 * ask.first, 100 + 1000 * ask.first + ask.healthy - len(odd))
    return odd + [world.healthy(ask.part, n) for n in numbers]


def outcomes(batch: list[System], part: str) -> list[dict[str, Any]]:
    """One row per system: what was asked for, what was found, how severe, why, when first."""
    folder = Path(tempfile.mkdtemp(prefix="diagnosis"))
    try:
        told = {}
        with wall(part):
            for n, system in enumerate(batch):
                place = folder / str(n)
                told[place] = (system, world.make_site(system, place))
        sites = []
        for n, place in enumerate(told):
            text = (place / "site.toml").read_text(encoding="utf-8")
            # two systems may have one name up to the length of an id
            text = re.sub(r'^id = ".*"$', f'id = "site-{n}"', text, count=1, flags=re.M)
            (place / "site.toml").write_text(text, encoding="utf-8")
            load_site(place)
            sites.append(read_site(place))
        with connect_working() as con:
            attach_sites(con, {site.id: site.store_path for site in sites})
            measure_sites(con, sites)
            said = [judge(con, site) for site in sites]
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return [
        _row(system, truth, judgement)
        for (system, truth), judgement in zip(told.values(), said, strict=True)
    ]


def _row(system: System, truth: dict[str, Any], said: Any) -> dict[str, Any]:
    labels = asked(system, truth)
    found = {j.code for j in said.judged if j.result == "found"}
    shown = {f.code: f for f in said.findings}
    blind = {j.code: j.why for j in said.judged if j.result == "cannot tell"}
    first_h = {
        code: min((e.start_ts for e in f.evidence), default=said.window.start_ts)
        for code, f in shown.items()
    }
    return {
        "system": system.name,
        "kind": system.kind,
        "condition": system.condition,
        "severity": system.severity,
        "single": len(system.conditions) == 1,
        **labels,
        "found": sorted(found),
        "severities": {code: f.severity for code, f in shown.items()},
        "first_cause": {code: f.causes[0].cause if f.causes else "" for code, f in shown.items()},
        "first_h": {
            code: round((ts - said.window.start_ts) / 3.6e9, 1) for code, ts in first_h.items()
        },
        "blind": {code: why for code, why in blind.items() if code in labels["must"]},
    }


def gather(some: list[System], part: str, jobs: int) -> pd.DataFrame:
    """All outcomes, in batches of sites, in so many processes."""
    batches = [some[i : i + BATCH] for i in range(0, len(some), BATCH)]
    work = partial(outcomes, part=part)
    if jobs == 1:
        return pd.DataFrame([row for batch in batches for row in work(batch)])
    with ProcessPoolExecutor(jobs) as pool:
        return pd.DataFrame([row for rows in pool.map(work, batches) for row in rows])


def share(hit: int, of: int) -> str:
    """A share with its interval, as text."""
    low, high = wilson(hit, of)
    return f"{hit}/{of} = {hit / of:.3f} ({low:.3f} to {high:.3f})" if of else "none"


def by_code(rows: pd.DataFrame, built: Iterable[str]) -> pd.DataFrame:
    """Recall by severity and precision of every finding that exists; `may` counts neither way."""
    out = []
    for code in sorted(built):
        must = rows[rows["must"].map(lambda some, c=code: c in some)]
        hits = must["found"].map(lambda some, c=code: c in some)
        wrong = rows[
            rows["found"].map(lambda some, c=code: c in some)
            & rows["must_not"].map(lambda some, c=code: c in some)
        ]
        row: dict[str, Any] = {"code": code, "must": len(must), "found": int(hits.sum())}
        for severity in (1, 2, 3):
            mine = must["severity"] == severity
            row[f"s{severity}"] = f"{int(hits[mine].sum())}/{int(mine.sum())}"
        row["not asked for"] = len(wrong)
        row["of them act, plan"] = sum(
            said.get(code) in WORTH_A_VISIT for said in wrong["severities"]
        )
        out.append(row)
    return pd.DataFrame(out)


def causes_right(rows: pd.DataFrame) -> pd.DataFrame:
    """First causes of single-fault sites against what was planted, where it says what is right."""
    out = []
    for row in rows[rows["single"]].itertuples():
        for code, pattern in FIRST_CAUSE.get(row.condition, {}).items():
            if code in row.first_cause and code in row.must:
                told = row.first_cause[code]
                right = bool(re.search(pattern, told, re.IGNORECASE))
                out.append({"condition": row.condition, "code": code, "right": right, "told": told})
    return pd.DataFrame(out, columns=["condition", "code", "right", "told"])


def summary(rows: pd.DataFrame, healthy: pd.DataFrame) -> list[str]:
    """The pooled figures, a line each."""
    built = {rule.code for rule in rules()}
    lines = []
    for name, mine in (
        ("recall at severities 2 and 3", rows[rows["severity"] >= 2]),
        ("recall at severity 1", rows[rows["severity"] == 1]),
    ):
        asked = [(code, row.found) for row in mine.itertuples() for code in row.must]
        have = [(code, found) for code, found in asked if code in built]
        hits = sum(code in found for code, found in have)
        lines.append(f"{name}: {share(hits, len(have))}")
        if len(asked) > len(have):
            lines.append(f"  and {len(asked) - len(have)} asked of findings that do not exist")
    everything = pd.concat([rows, healthy]) if len(healthy) else rows
    right = sum(len(set(r.found) & set(r.must)) for r in everything.itertuples())
    wrong = sum(len(set(r.found) & set(r.must_not)) for r in everything.itertuples())
    lines.append(f"precision (may left out): {share(right, right + wrong)}")
    causes = causes_right(rows)
    lines.append(f"first cause right: {share(int(causes['right'].sum()), len(causes))}")
    for severity in WORTH_A_VISIT:
        false = [
            f"{row.system}: {code}"
            for row in healthy.itertuples()
            for code, said in row.severities.items()
            if said == severity and code in row.must_not
        ]
        lines.append(f"false {severity} in {len(healthy)} healthy site-weeks: {len(false)}")
        lines += [f"  {one}" for one in false]
    return lines


def draw(rows: pd.DataFrame, path: Path) -> None:
    """Which findings come with which condition, as a page with one picture."""
    import plotly.express as px

    pairs = [
        (row.condition, code) for row in rows[rows["severity"] >= 2].itertuples()
        for code in row.found
    ]  # fmt: skip
    counts = pd.DataFrame(pairs, columns=["condition", "finding"])
    grid = pd.crosstab(counts["condition"], counts["finding"])
    chart = px.imshow(grid, aspect="auto", height=1400, color_continuous_scale="Blues")
    chart.write_html(path, include_plotlyjs=True)


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--seeds", default=5, help="Systems per condition and severity.")
@click.option("--first-seed", "first", default=0, help="The first of these seeds.")
@click.option("--healthy", default=300, help="Healthy site-weeks, odd but fine ones among them.")
@click.option("--severity", "severities", multiple=True, type=int, default=(1, 2, 3))
@click.option("--only", default="", help="Only conditions with this word; no healthy systems.")
@click.option("--jobs", default=2, help="Processes.")
@click.option("--misses", is_flag=True, help="List every miss and every finding not asked for.")
def main(
    part: str, seeds: int, first: int, healthy: int, severities: tuple[int, ...], only: str,
    jobs: int, misses: bool,
) -> None:  # fmt: skip
    """Review systems of the world and hold the findings to the labels."""
    began = time.perf_counter()
    ask = Ask(part, seeds, healthy, severities, only, first)
    rows = gather(systems(ask), part, jobs)
    well = gather(fine(ask), part, jobs) if healthy and not only else rows.iloc[:0]
    OUT.mkdir(parents=True, exist_ok=True)
    everything = pd.concat([rows, well])
    everything.to_csv(OUT / f"{part}.csv", index=False)
    draw(rows, OUT / f"confusion-{part}.html")
    with pd.option_context("display.width", 160, "display.max_rows", 200):
        click.echo(by_code(everything, {rule.code for rule in rules()}).to_string(index=False))
    click.echo("\n".join(summary(rows, well)))
    if misses:
        for row in everything.itertuples():
            missed = sorted(set(row.must) - set(row.found))
            extra = sorted(set(row.found) & set(row.must_not))
            if missed or extra:
                why = "; ".join(f"{code}: {said}" for code, said in row.blind.items())
                click.echo(f"{row.system}: missed {missed}, not asked for {extra} {why}")
    n = len(everything)
    click.echo(f"{n} site-weeks in {time.perf_counter() - began:.0f} s, {jobs} processes")


if __name__ == "__main__":
    main()
