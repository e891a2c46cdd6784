"""zonetrail plan: what to log, where, how fast, how long; the form of facts to read off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import answer, common
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    from pipeline.plan.record import Plan

KINDS = ("furnace_ac", "heat_pump", "dual_fuel", "furnace", "ac")


@click.command(
    epilog="Example: zonetrail plan larch-14 --for high-limit-trips,static --format html",
    short_help="What to log, where, how fast, how long; a form to fill at the unit.",
)
@click.argument("site", type=click.Path(path_type=Path))
@click.option(
    "--for",
    "asked",
    metavar="WORDS",
    help="Findings or plain words (trips, cycling, runtime, static, staging, fuel, comfort, air, "
    "defrost), parted by commas. Default: all that the equipment can show.",
)
@click.option("--kind", type=click.Choice(KINDS), help="What is installed, without a site.toml.")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "html"]),
    default="text",
    show_default=True,
    help="html: writes report/plan.html, with the form to print.",
)
@common("units", "json", "strict", "quiet", "redact")
def command(
    site: Path,
    asked: str | None,
    kind: str | None,
    form: str,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Say what to log on SITE so that the questions can be answered at all.

    Channels in order of worth, where each probe goes, the slowest interval that still answers, how
    long and in which weather, and what cannot be told without a channel. Where exports are loaded,
    says what is there, what is missing and what is read too slowly. In a folder without site.toml:
    give --kind. --format html adds the form of facts to read off at plate, panel and thermostats.

    Exit codes: 0 done; 1 with --strict, if a question cannot be answered with what is logged; 2 a
    word, site.toml or the folder cannot be used; 3 a fault of ours.
    """
    import json
    import shutil

    from pipeline.plan.record import INFERRED, READY
    from pipeline.plan.say import plan_document, plan_text

    del quiet  # a plan has no progress and no notes
    plan = _plan(site, asked, kind, units, redact)
    if form == "html":
        written = _write_page(site, plan)
    if as_json:
        click.echo(json.dumps(plan_document(plan), indent=1, ensure_ascii=False))
    else:
        width = min(shutil.get_terminal_size((100, 24)).columns, 100)
        answer(plan_text(plan, width))
        if form == "html":
            answer(f"\nPlan and form to print: {written}")
        else:
            answer("\nThe form to fill at plate and panel: add --format html")
    is_ready = all(q.standing in (READY, INFERRED) for q in plan.questions)
    return NOT_CLEAN if strict and not is_ready else DONE


def _plan(folder: Path, asked: str | None, kind: str | None, units: str, redact: bool) -> Plan:
    from pipeline.errors import InputError
    from pipeline.plan import logged_channels, make_plan
    from pipeline.site import SITE_FILE
    from pipeline.site_reader import read_site

    names = tuple(dict.fromkeys(w.strip() for w in (asked or "").split(",") if w.strip()))
    if asked is not None and not names:
        raise InputError("--for names nothing", found=repr(asked), expected="trips,static")
    if folder.is_dir() and not (folder / SITE_FILE).exists():
        if kind is None:
            raise InputError(
                "there is no site file, and so no equipment to plan for",
                file=folder / SITE_FILE,
                expected="a site.toml, or what is installed on the command line",
                hint=f"zonetrail plan {folder} --kind dual_fuel",
            )
        return make_plan(kind, names, units=units, redact=redact)
    site = read_site(folder)
    if kind is not None and kind != site.equipment.kind:
        raise InputError(
            "--kind and the site file differ",
            file=site.path,
            found=f"--kind {kind}",
            expected=f'kind = "{site.equipment.kind}", as the site file says',
            hint="leave --kind out, or correct [equipment] kind",
        )
    return make_plan(site, names, logged_channels(site), units=units, redact=redact)


def _write_page(folder: Path, plan: Plan) -> Path:
    from pipeline.cli.review import report_folder, write_whole
    from pipeline.site import SITE_FILE
    from reports.plan import render_plan

    base = folder.parent if folder.name == SITE_FILE else folder
    path = report_folder(base) / "plan.html"
    write_whole(path, render_plan(plan))
    return path
