"""Site-days of the simulated world, healthy and with conditions, made once and kept.

    python -m tests.accuracy.site_days --part tuning [--keep]

A year of full logs is too dear to simulate (a site-week costs six seconds), so each of six
systems is simulated for nine days in each of three seasons, and for six days each with three
conditions at severity 2 or 3. What is kept are the rows of unusual.site_day that the pipeline makes
of them, with columns that say whose they are: `number`, `season`, `condition` ('' when healthy).
Those of the tuning part are kept beside this file too, for the short form that CI runs.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click
import pandas as pd

from pipeline.review import VIEW_FOLDER
from pipeline.stages import frame, listed, run
from pipeline.store import connect_working
from sample_data import world
from sample_data.world.catalogue import plant
from sample_data.world.channels import channels
from sample_data.world.conditions import BY_NAME
from sample_data.world.kept import cache_folder, source_hash
from sample_data.world.system import System
from tests.accuracy import planted
from tests.accuracy.made import wall

TABLE = "unusual.site_day"
KEPT = Path(__file__).with_name("tuning_site_days.csv.gz")
KINDS = ("furnace_ac", "heat_pump", "dual_fuel")
SEASONS = ("heating", "shoulder", "cooling")
SYSTEMS = 6
HEALTHY_DAYS = 9.0
CONDITION_DAYS = 6.0
INTERVAL_S = 30
BY_SEASON = {
    "heating": (
        "second stage for one zone",
        "return side clogged",
        "furnace's own limit opens",
        "damper stuck closed",
        "second stage early",
        "thermostat cycles too often",
        "blower weak",
        "emergency heat left on",
        "zone cannot hold",
        "call not answered",
        "fan never stops",
        "ignition retried",
        "defrost too often",
        "bypass open",
    ),
    "cooling": (
        "coil clogged in cooling",
        "low on charge",
        "compressor stops inside calls",
        "blower weak",
        "thermostat cycles too often",
        "compressor does not run",
        "float switch",
        "contactor stays in",
        "no relief",
        "low limit in one-zone cooling",
    ),
}


def healthy(part: str, number: int, season: str) -> System:
    """One of the systems in one season: the same house, equipment and climate in all three."""
    system = world.healthy(part, number, KINDS[number % len(KINDS)], season)
    logging = replace(system.logging, fast_s=INTERVAL_S, slow_s=60, states="change")
    return replace(system, days=HEALTHY_DAYS, logging=logging)


def with_conditions(part: str, number: int) -> Iterator[tuple[str, System]]:
    """(season, system) of the conditions of one system: two in heating and one in cooling."""
    for n, season in enumerate(("heating", "heating", "cooling")):
        base = healthy(part, number, season)
        names = [
            name
            for name in BY_SEASON[season]
            if base.kind in BY_NAME[name].kinds
            and BY_NAME[name].zones <= len(base.zones)
            and (not BY_NAME[name].two_stage or base.plant.heating_stages > 1)
        ]
        name = names[(3 * number + 5 * n) % len(names)]
        changed = plant(BY_NAME[name], base, 2 + number % 2)
        yield season, replace(changed, days=CONDITION_DAYS)


def simulated(part: str, number: int) -> pd.DataFrame:
    """All site-days of one system."""
    made = []
    for season in SEASONS:
        made.append(_site_days(healthy(part, number, season), number, season, ""))
    for season, system in with_conditions(part, number):
        made.append(_site_days(system, number, season, system.condition))
    return pd.concat(made, ignore_index=True)


def _site_days(system: System, number: int, season: str, condition: str) -> pd.DataFrame:
    record = world.record(system)
    logged = planted._sampled(system, channels(system, record))
    with tempfile.TemporaryDirectory() as folder, connect_working() as con:
        planted.fill(con, [planted.Plant(system.name[:60], logged)], Path(folder))
        run(con, [s for s in listed() if s.folder < VIEW_FOLDER])
        days = frame(con, TABLE)
    stages = {"heating_stages": system.plant.heating_stages, "n_zones": len(system.zones)}
    return days.assign(
        number=number,
        season=season,
        condition=condition,
        climate=system.climate,
        kind=system.kind,
        **stages,
    )


def site_days(part: str, systems: int = SYSTEMS) -> pd.DataFrame:
    """The site-days of a part, from the world's cache or simulated; inside `wall(part)`."""
    folder = cache_folder() / "site_days"
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for number in range(systems):
        path = folder / f"{part}-{number:03d}-{source_hash()}.parquet"
        if not path.exists():
            click.echo(f"simulating {part} {number}", err=True)
            simulated(part, number).to_parquet(path)
        made.append(pd.read_parquet(path))
    return pd.concat(made, ignore_index=True)


def kept() -> pd.DataFrame:
    """The tuning part's site-days as they were last kept beside this file."""
    days = pd.read_csv(KEPT, parse_dates=["day"])
    return days.assign(condition=days["condition"].fillna(""))


def keep(days: pd.DataFrame) -> None:
    """Write them there: five digits, the same bytes for the same days."""
    numbers = days.select_dtypes("number").columns
    rounded = days.assign(**{c: days[c].astype(float) for c in numbers})
    rounded.to_csv(
        KEPT, index=False, float_format="%.5g", compression={"method": "gzip", "mtime": 0}
    )


@click.command()
@click.option("--part", type=click.Choice(["tuning", "reporting"]), default="tuning")
@click.option("--systems", default=SYSTEMS, help="So many systems of the part.")
@click.option("--keep", "is_kept", is_flag=True, help="Keep the tuning part beside this file.")
def main(part: str, systems: int, is_kept: bool) -> None:
    """Make the site-days of a part and say how many there are."""
    with wall(part):
        days = site_days(part, systems)
    if is_kept:
        if part != "tuning":
            raise click.UsageError("only the tuning part is kept")
        keep(days.drop(columns=["start_ts", "end_ts"]))
    click.echo(days.groupby(["kind", "condition"], as_index=False).size().to_string())


if __name__ == "__main__":
    main()
