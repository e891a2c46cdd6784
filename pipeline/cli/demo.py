"""zonetrail demo: the whole job on the sample site, and on the sample fleet."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli.options import answer, common

SAMPLE_SITE = "larch-14"
SAMPLE_FLEET = "fleet"
FLEET_ON = "2026-01-27"
"""The day after the sample fleet's loggers were taken, for ages and the season to come."""
FLEET_JOBS = 2
"""Processes for the fleet, where the machine has as many: it is most of the demo's work."""


@click.command(
    epilog="Example: zonetrail demo first-look",
    short_help="Run the whole job on the sample site and the sample fleet.",
)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--fleet/--no-fleet", default=True, help="With the sample fleet's 24 sites.  [with]")
@common("units", "quiet")
@click.pass_context
def command(
    context: click.Context, folder: Path | None, fleet: bool, units: str, quiet: bool
) -> None:
    """Copy the samples to FOLDER (default: a new one here), run the whole job, say where it is.

    The sample site is reviewed, clocks put right; then the sample fleet, 24 sites of two weeks
    each, is brought up to date and ranked. One of its sites cannot be read, on purpose.

    Exit codes: 0 done; 2 the samples are already in FOLDER; 3 a fault of ours.
    """
    from pipeline.cli.review import review_and_write, verdict_text
    from sample_data.unpack import unpack_fleet, unpack_site

    target = folder if folder is not None else _new_folder()
    for name in (SAMPLE_SITE, SAMPLE_FLEET) if fleet else (SAMPLE_SITE,):
        _refuse_there(target, name)
    site = unpack_site(SAMPLE_SITE, target)
    review = review_and_write(site, align=True, units=units, quiet=quiet)
    report = site / "report"
    clocks = review.result.frames["trust.clock_offset"]
    moved = [str(c.logger) for c in clocks.itertuples() if c.applied_s]
    said = f"Put on one clock, as `review --align` does: {', '.join(moved)}.\n\n" if moved else ""
    answer(
        f"{verdict_text(review)}\n\n{said}"
        f"Site:   {site}\nReport: {report / 'report.html'}\nData:   {report / 'review.json'}"
    )
    if fleet:
        run_sample_fleet(context, unpack_fleet(target / SAMPLE_FLEET), units, quiet)


def run_sample_fleet(context: click.Context, folder: Path, units: str, quiet: bool) -> None:
    """`zonetrail fleet` on the sample fleet unpacked in `folder`."""
    import os

    from pipeline.cli.fleet import command as of_fleet

    jobs = min(FLEET_JOBS, os.cpu_count() or 1)
    answer(f"\nThe sample fleet, as `zonetrail fleet {folder} --on {FLEET_ON}` does:\n")
    context.invoke(of_fleet, fleet=folder, jobs=jobs, on=FLEET_ON, units=units, quiet=quiet)
    answer(f"\nFleet: {folder}")


def _refuse_there(target: Path, name: str) -> None:
    """Raise InputError where a sample is already in the folder: nothing is overwritten."""
    from pipeline.errors import InputError

    if (target / name).exists():
        raise InputError(
            "the samples are already there",
            file=target / name,
            expected="a folder without them",
            hint="name another folder, or give none for a new one",
        )


def _new_folder() -> Path:
    """A folder name that is not taken: zonetrail-demo, zonetrail-demo-2, ..."""
    number = 1
    while True:
        folder = Path("zonetrail-demo" if number == 1 else f"zonetrail-demo-{number}")
        if not folder.exists():
            return folder
        number += 1
