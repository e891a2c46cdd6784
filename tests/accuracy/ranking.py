"""Whether a fleet's visit list puts faulty houses first.

    python -m tests.accuracy.ranking --part tuning|reporting [--sites 200] [--faulty 0.2]

A fleet of simulated systems of one part in its heating season, a week each at one minute: so many
healthy, odd but fine ones among them, and a share with one condition of the world's table at
severity 2 or 3, in turn. `zonetrail fleet` makes the list from their exports alone; told is how
many of the planted houses stand in its first third, and where the others stand.
"""

from __future__ import annotations

import datetime as dt
import re
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click

from pipeline.fleet.whole import run_fleet
from sample_data import world
from sample_data.world.conditions import CONDITIONS
from sample_data.world.log_faults import ODD
from sample_data.world.system import System
from tests.accuracy.diagnosis import wilson
from tests.accuracy.made import wall

SEASON = "heating"
RUN_DAY = dt.date(2026, 1, 20)
"""After the simulated weeks; the month to come is a cold one."""
ODD_SHARE = 0.1
INTERVAL_S = 60


def faulty(part: str, n: int, first_seed: int) -> Iterator[System]:
    """Systems with one condition each that shows in the season, conditions in turn."""
    made, turn = 0, 0
    while made < n:
        condition = CONDITIONS[turn % len(CONDITIONS)]
        severity = 2 + (turn // len(CONDITIONS) + turn) % 2
        system = world.with_condition(
            condition.name, severity, part, 200 + 53 * turn + 7 * first_seed
        )
        turn += 1
        if system.season == SEASON:
            made += 1
            yield system


def fine(part: str, n: int, first_seed: int) -> Iterator[System]:
    """Healthy systems of the season, a tenth of them odd but fine."""
    names = list(ODD)
    n_odd = round(ODD_SHARE * n)
    for i in range(n - n_odd):
        yield world.healthy(part, 5_000 + 17 * i + 7 * first_seed, season=SEASON)
    turn = made = 0
    while made < n_odd:
        system = world.odd(names[turn % len(names)], part, 8_000 + 29 * turn + 7 * first_seed)
        turn += 1
        if system.season == SEASON:
            made += 1
            yield system


def write_site(system: System, folder: Path, site_id: str) -> None:
    """The system's site folder, its log at one minute."""
    logging = replace(system.logging, fast_s=INTERVAL_S, slow_s=INTERVAL_S)
    world.make_site(replace(system, logging=logging), folder)
    path = folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(re.sub(r'^id = ".*"$', f'id = "{site_id}"', text, count=1, flags=re.M), "utf-8")


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--sites", default=200, help="Houses of the fleet.")
@click.option("--faulty", "share", default=0.2, help="Share of them with a condition.")
@click.option("--first-seed", default=0, help="Other houses.")
@click.option("--jobs", default=1, help="Processes of the fleet.")
def main(part: str, sites: int, share: float, first_seed: int, jobs: int) -> None:
    """Print how many planted houses stand in the first third of the list, and the others."""
    n_faulty = round(share * sites)
    planted: dict[str, System] = {}
    with tempfile.TemporaryDirectory() as name, wall(part):
        folder = Path(name) / "fleet"
        systems = [*faulty(part, n_faulty, first_seed), *fine(part, sites - n_faulty, first_seed)]
        for n, system in enumerate(systems):
            # the order of names says nothing of who is faulty
            site_id = f"house-{(n * 7919) % 10_007:05d}"
            write_site(system, folder / site_id, site_id)
            if n < n_faulty:
                planted[site_id] = system
        listed = run_fleet(folder, run_day=RUN_DAY, jobs=jobs).sites
    place = {site.site_id: n for n, site in enumerate(listed)}
    third = len(listed) / 3
    first = [site_id for site_id in planted if place[site_id] < third]
    low, high = wilson(len(first), len(planted))
    click.echo(
        f"{part} part, {sites} houses, {len(planted)} with a condition: {len(first)} in the first "
        f"third, {len(first) / len(planted):.3f} ({low:.3f} to {high:.3f})"
    )
    groups: dict[str, list[int]] = {}
    for site in listed:
        groups.setdefault(site.group, []).append(site.site_id in planted)
    for group, hits in groups.items():
        click.echo(f"    {group}: {len(hits)} houses, {sum(hits)} of them with a condition")
    for site_id in sorted(set(planted) - set(first), key=place.__getitem__):
        site = listed[place[site_id]]
        click.echo(
            f"    place {place[site_id] + 1}, {site.group}: {planted[site_id].name}; "
            f"{'; '.join(site.reasons[:2])}"
        )


if __name__ == "__main__":
    main()
