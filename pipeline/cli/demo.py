"""zonetrail demo: the whole job on the sample site."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli.options import common

SAMPLE_SITE = "larch-14"


@click.command(
    epilog="Example: zonetrail demo first-look",
    short_help="Run the whole job on the sample site.",
)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@common("units", "quiet")
def command(folder: Path | None, units: str, quiet: bool) -> None:
    """Copy the sample site to FOLDER (default: a new one here), review it, say where the report is.

    Exit codes: 0 done; 2 the sample site is already in FOLDER; 3 a fault of ours.
    """
    from pipeline.cli.review import review_and_write, verdict_text
    from pipeline.errors import InputError
    from sample_data.unpack import unpack_site

    target = folder if folder is not None else _new_folder()
    try:
        site = unpack_site(SAMPLE_SITE, target)
    except FileExistsError as error:
        raise InputError(
            "the sample site is already there",
            file=target / SAMPLE_SITE,
            expected="a folder without it",
            hint="name another folder, or give none for a new one",
        ) from error
    review = review_and_write(site, align=True, units=units, quiet=quiet)
    report = site / "report"
    clocks = review.result.frames["trust.clock_offset"]
    moved = [str(c.logger) for c in clocks.itertuples() if c.applied_s]
    said = f"Put on one clock, as `review --align` does: {', '.join(moved)}.\n\n" if moved else ""
    click.echo(
        f"{verdict_text(review)}\n\n{said}"
        f"Site:   {site}\nReport: {report / 'report.html'}\nData:   {report / 'review.json'}"
    )


def _new_folder() -> Path:
    """A folder name that is not taken: zonetrail-demo, zonetrail-demo-2, ..."""
    number = 1
    while True:
        folder = Path("zonetrail-demo" if number == 1 else f"zonetrail-demo-{number}")
        if not folder.exists():
            return folder
        number += 1
