"""zonetrail ticket: the one-page sheet for the visit, as PDF, HTML, picture or text."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common, say
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    from pipeline.ticket import Ticket


@click.command(
    epilog="Example: zonetrail ticket larch-14 --format pdf --align",
    short_help="The one-page sheet for the visit: PDF, HTML, picture or text.",
)
@click.argument("site", type=click.Path(path_type=Path))
@click.option(
    "--format",
    "form",
    type=click.Choice(["pdf", "html", "png", "txt"]),
    default="pdf",
    show_default=True,
    help="pdf: one page; html: the same page; png: tall, for a phone; txt: to paste.",
)
@click.option(
    "--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True,
    help="The paper that a pdf or html is set for.",
)  # fmt: skip
@click.option("--from", "from_time", metavar="T", help="Local time to begin at.")
@click.option("--to", "to_time", metavar="T", help="Local time to end at.")
@click.option("--align", is_flag=True, help="Take out clock offsets that the data show.")
@common("units", "json", "strict", "quiet", "redact")
def command(
    site: Path,
    form: str,
    paper: str,
    from_time: str | None,
    to_time: str | None,
    align: bool,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Write the sheet for the next visit to SITE: exactly one page.

    What to stop for, the customer's words against the log, the verdict and what was ruled out,
    how to make it happen, the checks in walking order, what to bring, the settings as found with
    room for as left, what not to do, and the data behind it. Writes report/ticket.pdf (or .html,
    .png, .txt) in the site folder; txt is printed too, under 2,000 characters. PDF and picture
    need a Chromium-family browser; for a PDF, WeasyPrint does too (pip install 'zonetrail[pdf]').

    Exit codes: 0 done; 1 with --strict, if something was rejected, untrusted or could not be
    judged; 2 a file, site.toml or an option cannot be used, or nothing here can print; 3 a fault
    of ours.
    """
    import json

    from pipeline.cli.review import ask_between, is_clean, report_folder, write_whole
    from pipeline.review import review_site
    from pipeline.site_reader import read_site
    from pipeline.ticket import make_ticket, ticket_document
    from reports.paper import find_browser
    from reports.ticket_text import ticket_text

    browser = find_browser() if form in ("pdf", "png") else None
    _refuse_early(form, browser)
    with Progress(quiet or as_json) as progress:
        ask = ask_between(site, from_time, to_time)
        review = review_site(
            site, ask=ask, align=align, units=units, redact=redact, progress=progress.step
        )
        ticket = make_ticket(review.result, read_site(site))
        progress.step("writing the sheet")
        folder = site.parent if site.name == "site.toml" else site
        path = report_folder(folder) / f"ticket.{form}"
        write_whole(path, _content(ticket, form, paper, browser))
    if as_json:
        document = {**ticket_document(ticket), "file": path.name}
        click.echo(json.dumps(document, ensure_ascii=False, indent=2, sort_keys=True))
    elif form == "txt":
        answer(ticket_text(ticket))
        if not quiet:
            say(f"Sheet: {path}")
    else:
        answer(f"{ticket.call.upper()}: {ticket.sentence}\n\nSheet: {path}")
    return NOT_CLEAN if strict and not is_clean(review) else DONE


def _refuse_early(form: str, browser: str | None) -> None:
    """Say what is missing before the work, not after it."""
    from pipeline.errors import InputError
    from reports.paper import BROWSER_VARIABLE, has_weasyprint, nothing_prints

    if form == "png" and browser is None:
        raise InputError(
            "there is no browser here that can draw the picture",
            found="no Chromium-family browser",
            expected=f"a browser on the PATH, or its path in {BROWSER_VARIABLE}",
            hint="--format html, pdf or txt carry the same",
        )
    if form == "pdf" and browser is None and not has_weasyprint():
        raise nothing_prints()


def _content(ticket: Ticket, form: str, paper: str, browser: str | None) -> str | bytes:
    from reports.paper import picture_png, print_pdf
    from reports.ticket import LEVELS, fitting_level, render_ticket
    from reports.ticket_text import ticket_text

    if form == "txt":
        return ticket_text(ticket) + "\n"
    if form == "html":
        return render_ticket(ticket, paper)
    if form == "png":
        assert browser is not None
        return picture_png(render_ticket(ticket, paper), browser)
    # the estimate is on the safe side, but fonts differ: what is printed is counted
    for level in range(fitting_level(ticket), len(LEVELS)):
        printed = print_pdf(render_ticket(ticket, paper, level), browser)
        if printed.pages == 1:
            return printed.pdf
    raise RuntimeError("the sheet does not fit on one page at its least")
