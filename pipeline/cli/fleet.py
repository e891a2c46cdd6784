"""zonetrail fleet: every site brought up to date, ranked; the visit list."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common, say
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from pipeline.fleet_result import FleetResult, FleetSite

SHOWN = 10
"""Sites of the ranking that the terminal shows."""
TOLD_EVERY = 50
"""Pages between two lines of progress."""


@click.command(
    epilog="Example: zonetrail fleet agreements --jobs 2 --since 2026-01-01",
    short_help="Every site brought up to date and ranked: whom to visit first, and why.",
)
@click.argument("fleet", type=click.Path(path_type=Path))
@click.option(
    "--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Processes to use."
)
@click.option(
    "--scheduler", metavar="ADDRESS", default="",
    help="An existing Dask cluster does it: its workers see FLEET under the same path.",
)  # fmt: skip
@click.option("--since", metavar="DATE", help="What is first seen from then on is new.  [a month]")
@click.option("--on", metavar="DATE", help="Count ages and the season from that day.  [today]")
@click.option(
    "--full",
    type=click.IntRange(0),
    default=0,
    metavar="N",
    help="Write the full report of the N sites that come first, too.",
)
@common("units", "json", "strict", "quiet", "redact")
def command(
    fleet: Path,
    jobs: int,
    scheduler: str,
    since: str | None,
    on: str | None,
    full: int,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Bring every site in the folder FLEET up to date, rank them, and write the fleet's page.

    Every folder below FLEET with a site.toml is a site. What is new is loaded, the weeks it belongs
    to are judged again, and fleet.duckdb keeps the rest. A site that cannot be read is named with
    the reason and stops no other; a run that was stopped goes on where it stopped. Writes in
    FLEET report/index.html, a light page of each site in report/sites/, and report/list.csv for the
    dispatcher.

    Exit codes: 0 done; 1 with --strict, if a site could not be read or is not cleared; 2 the folder
    or an option cannot be used; 3 a fault of ours.
    """
    import datetime as dt

    from pipeline.cli.review import report_folder, write_whole
    from pipeline.errors import InputError
    from pipeline.fleet.lists import fleet_json, list_csv
    from pipeline.fleet.whole import run_fleet

    if scheduler and jobs > 1:
        raise InputError(
            "--jobs and --scheduler are two ways to do one thing",
            found=f"--jobs {jobs} --scheduler {scheduler}",
            expected="one of them",
        )
    run_day = _day(on, "--on") or dt.date.today()
    with Progress(quiet or as_json) as progress:
        result = run_fleet(
            fleet.resolve() if scheduler else fleet,
            run_day=run_day,
            since=_day(since, "--since"),
            jobs=jobs,
            scheduler=scheduler,
            units=units,
            redact=redact,
            tell=progress.step,
        )
        failed = write_full(result, fleet, full, progress.step, units=units, redact=redact)
        target = report_folder(fleet)
        write_whole(target / "list.csv", list_csv(result))
        write_pages(with_pages(result, fleet), target, progress.step)
    if not quiet:
        if result.run.was_of_another_version:
            say(
                "fleet.duckdb was of another version of zonetrail: it was made anew from the "
                "sites; the ranks of earlier days were taken over."
            )
        for site in result.sites:
            if site.broken:
                say(f"{site.folder}: {site.broken}")
        for folder, message in failed:
            say(f"{folder}: no full report: {message}")
    if as_json:
        click.echo(fleet_json(result))
    else:
        answer(
            f"{summary_text(result)}\n\nPage: {target / 'index.html'}\nList: {target / 'list.csv'}"
        )
    is_clean = all(not s.broken and s.group != "not cleared" for s in result.sites)
    return NOT_CLEAN if strict and not is_clean else DONE


def write_full(
    result: FleetResult,
    fleet: Path,
    n: int,
    tell: Callable[[str], None],
    *,
    units: str,
    redact: bool,
) -> list[tuple[str, str]]:
    """The full reports of the first n sites; returns (folder, why) of those that could not be."""
    from pipeline.cli.review import review_and_write
    from pipeline.guard import run_site

    failed = []
    for site in [s for s in result.sites if s.group != "broken"][:n]:
        tell(f"writing the full report of {site.site_id}")
        folder = fleet / site.folder
        made = run_site(
            lambda folder=folder: review_and_write(  # type: ignore[misc]
                folder, units=units, redact=redact, quiet=True
            )
        )
        if made.message is not None:
            failed.append((site.folder, made.message))
    return failed


def with_pages(result: FleetResult, fleet: Path) -> FleetResult:
    """The record with where each site's pages are, and without the path to the fleet's folder."""
    from dataclasses import replace

    def below(text: str) -> str:
        for prefix in (fleet.resolve(), fleet):
            text = text.replace(f"{prefix}{os.sep}", "")
        return text

    def paged(site: FleetSite) -> FleetSite:
        full = f"{site.folder}/report/report.html"
        return replace(
            site,
            page="" if site.group == "broken" else f"sites/{site.site_id}.html",
            full_report=full if (fleet / full).is_file() else "",
            broken=below(site.broken),
            reasons=tuple(below(reason) for reason in site.reasons),
        )

    return replace(result, sites=tuple(paged(site) for site in result.sites))


def write_pages(result: FleetResult, target: Path, tell: Callable[[str], None]) -> None:
    """index.html and a page of each site; pages of sites that are not there any more go."""
    from pipeline.cli.review import made_folder, write_whole
    from reports.fleet import render_fleet
    from reports.fleet_model import FleetModel
    from reports.fleet_site import render_site

    folder = made_folder(target / "sites")
    model = FleetModel(result)
    paged = [site for site in result.sites if site.page]
    for n, site in enumerate(paged):
        if n % TOLD_EVERY == 0:
            tell(f"writing pages, {n} of {len(paged)}")
        write_whole(target / site.page, render_site(model, site.site_id))
    for old in set(folder.glob("*.html")) - {target / site.page for site in paged}:
        old.unlink()
    write_whole(target / "index.html", render_fleet(result))


def summary_text(result: FleetResult) -> str:
    """What the terminal shows: who stands on top, the first of the ranking, sums of the rest."""
    import shutil
    import textwrap

    from pipeline import words

    width = min(shutil.get_terminal_size((100, 24)).columns, 100)

    def row(site: FleetSite, lead: str) -> str:
        text = f"{site.name}: {' '.join(site.reasons)}"
        return textwrap.fill(
            text, width, initial_indent=lead, subsequent_indent=" " * len(lead), tabsize=1
        )

    of = {
        g: [s for s in result.sites if s.group == g]
        for g in ("on top", "ranked", "not cleared", "nothing found", "broken")
    }
    blocks = []
    if of["on top"]:
        blocks.append(["Before anything else:", *(row(s, "  !  ") for s in of["on top"])])
    if of["ranked"]:
        first = of["ranked"][:SHOWN]
        lines = [row(s, f"{s.rank:>3}. ") for s in first]
        more = len(of["ranked"]) - len(first)
        if more:
            lines.append(f"     and {words.count(more, 'site')} more, in the list")
        blocks.append(["Visit, in this order:", *lines])
    if result.shared:
        blocks.append(["Behind many sites:", *(f"  -  {s.sentence}" for s in result.shared[:5])])
    new = sum(c.status != "gone" for c in result.changes)
    gone = sum(c.status == "gone" for c in result.changes)
    blocks.append(
        [
            f"Since {words.day(result.run.since)}: {words.count(new, 'finding')} new or back, "
            f"{words.count(gone, 'finding')} gone.",
            f"Not cleared: {len(of['not cleared'])}. Nothing found: {len(of['nothing found'])}. "
            f"Could not be read: {len(of['broken'])}.",
            f"{words.count(result.run.n_sites, 'site')}: {words.count(result.run.n_made, 'week')} "
            f"judged, {result.run.n_reused} taken as they were.",
        ]
    )
    return "\n\n".join("\n".join(block) for block in blocks)


def _day(text: str | None, option: str) -> dt.date | None:
    import datetime as dt

    from pipeline.errors import InputError

    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            f"{option} is not a date", found=text, expected="a date such as 2026-01-14"
        ) from error
