"""Whether a fleet's visit list puts faulty houses first.

    python -m tests.accuracy.ranking --part tuning|reporting [--sites 200] [--faulty 0.2]

A fleet of simulated systems of one part in its heating season, a week each at one minute: so many
healthy, odd but fine ones among them, and a share with one condition of the world's table at
severity 2 or 3, in turn. A condition that by the simulation did nothing in its week (a leak control
that trips while nobody calls) makes no house faulty: it is planted, the house is in the fleet, and
another is planted in its place; the figure with such houses counted as faulty is told beside the
other. `zonetrail fleet` makes the list from their exports alone; told is how many of the faulty
houses stand in its first third, and where the others stand.
"""

from __future__ import annotations

import datetime as dt
import re
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import click

from pipeline.fleet.whole import run_fleet
from pipeline.fleet_result import FleetSite
from sample_data import world
from sample_data.world.conditions import CONDITIONS
from sample_data.world.log_faults import ODD
from sample_data.world.system import System
from tests.accuracy.beside import not_come_about
from tests.accuracy.intervals import wilson
from tests.accuracy.made import wall

SEASON = "heating"
RUN_DAY = dt.date(2026, 1, 20)
"""After the simulated weeks; the month to come is a cold one."""
ODD_SHARE = 0.1
INTERVAL_S = 60


@dataclass(frozen=True)
class Planted:
    """A house with a condition, and why it did not come about in its week; '' where it did."""

    system: System
    did_not: str


def faulty(part: str, n: int, first_seed: int) -> Iterator[Planted]:
    """Systems with one condition each that shows in the season, conditions in turn, until `n` of
    the conditions came about by the simulation's truth."""
    made, turn = 0, 0
    while made < n:
        condition = CONDITIONS[turn % len(CONDITIONS)]
        severity = 2 + (turn // len(CONDITIONS) + turn) % 2
        system = world.with_condition(
            condition.name, severity, part, 200 + 53 * turn + 7 * first_seed
        )
        turn += 1
        if system.season == SEASON:
            did_not = not_come_about(system, world.truth(system))
            made += not did_not
            yield Planted(system, did_not)


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
    planted: dict[str, Planted] = {}
    with tempfile.TemporaryDirectory() as name, wall(part):
        folder = Path(name) / "fleet"
        bad = list(faulty(part, round(share * sites), first_seed))
        systems = [p.system for p in bad] + list(fine(part, sites - len(bad), first_seed))
        for n, system in enumerate(systems):
            # the order of names says nothing of who is faulty
            site_id = f"house-{(n * 7919) % 10_007:05d}"
            write_site(system, folder / site_id, site_id)
            if n < len(bad):
                planted[site_id] = bad[n]
        listed = run_fleet(folder, run_day=RUN_DAY, jobs=jobs).sites
    click.echo(f"{part} part, {sites} houses of the seeds from {first_seed}")
    for line in told(listed, planted):
        click.echo(line)


def told(listed: Sequence[FleetSite], planted: dict[str, Planted]) -> Iterator[str]:
    """How many faulty houses stand in the list's first third, by group, and the others by name."""
    place = {site.site_id: n for n, site in enumerate(listed)}
    faulty_ids = {site_id for site_id, p in planted.items() if not p.did_not}
    for what, ids in (
        ("with a condition that came about", faulty_ids),
        ("with a condition, also those where it did not", set(planted)),
    ):
        first = sum(place[site_id] < len(listed) / 3 for site_id in ids)
        low, high = wilson(first, len(ids))
        yield (
            f"{len(ids)} {what}: {first} in the first third, {first / max(1, len(ids)):.3f} "
            f"({low:.3f} to {high:.3f})"
        )
    groups: dict[str, list[bool]] = {}
    for site in listed:
        groups.setdefault(site.group, []).append(site.site_id in faulty_ids)
    for group, hits in groups.items():
        yield f"    {group}: {len(hits)} houses, {sum(hits)} of them faulty"
    for site_id in sorted(planted, key=place.__getitem__):
        site, p = listed[place[site_id]], planted[site_id]
        if p.did_not or place[site_id] >= len(listed) / 3:
            why = f"; did not come about: {p.did_not}" if p.did_not else ""
            yield (
                f"    place {place[site_id] + 1}, {site.group}: {p.system.name}; "
                f"{'; '.join(site.reasons[:2])}{why}"
            )


if __name__ == "__main__":
    main()
