"""zonetrail export: readings, runs, daily figures and findings as tables with a dictionary."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli.options import Progress, answer, common, say
from pipeline.guard import DONE, NOT_CLEAN


@click.command(
    epilog="Example: zonetrail export larch-14 --to tables --format parquet",
    short_help="Hand readings, runs, daily figures and findings on as tables.",
)
@click.argument("site", metavar="SITE|FLEET", type=click.Path(path_type=Path))
@click.option(
    "--to", "target", metavar="DIR", required=True, type=click.Path(path_type=Path),
    help="Folder to write to: new, empty, or of a former export, which is replaced.",
)  # fmt: skip
@click.option(
    "--format", "form", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True,
    help="CSV for a spreadsheet; Parquet keeps types, time zones and units.",
)  # fmt: skip
@click.option(
    "--canonical", is_flag=True,
    help="The store instead, every table sorted, to hold two against each other; CSV.",
)  # fmt: skip
@click.option("--align", is_flag=True, help="Take out clock offsets that the data show.")
@common("json", "strict", "quiet", "redact")
def command(
    site: Path,
    target: Path,
    form: str,
    canonical: bool,
    align: bool,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Write the tables of a SITE, or of every site below FLEET, to DIR, one file a table.

    Readings, states, runs, daily figures and findings, each row with its site; dictionary.csv says
    of every column its type, unit and meaning, and how fine it is. Instants are in UTC, values in
    °F, in. w.c. and seconds. Text that a spreadsheet would run as a formula gets an apostrophe in
    front in CSV. A site of a fleet that cannot be read is named and left out.

    Exit codes: 0 done; 1 with --strict, if a site was left out; 2 a site, DIR or an option cannot
    be used; 3 a fault of ours.
    """
    import json
    from functools import partial

    from pipeline import export
    from pipeline.errors import InputError
    from pipeline.export_files import DICTIONARY, ExportFolder
    from pipeline.fleet.sites import find_sites
    from pipeline.guard import run_site
    from pipeline.site import SITE_FILE

    if canonical and (form == "parquet" or align or redact):
        raise InputError(
            "--canonical gives the store as it is, as CSV",
            found="--canonical with --format parquet, --align or --redact",
            expected="zonetrail export SITE --to DIR --canonical",
        )
    is_fleet = not (site / SITE_FILE).is_file()
    found = find_sites(site) if is_fleet else []
    folders = [site / f.folder for f in found] or [site]
    left_out = [(site / f.folder, f.broken) for f in found if f.site is None]
    export.refuse_inside(target, folders)
    wanted = export.canonical() if canonical else export.EXPORTED
    with Progress(quiet or as_json) as progress, ExportFolder(target, form, wanted) as out:

        def one(folder: Path) -> None:
            if canonical:
                export.export_store(folder, out.take, tell=progress.step)
            else:
                export.export_site(folder, out.take, align=align, redact=redact, tell=progress.step)

        for folder in folders:
            if not is_fleet:
                one(folder)
                continue
            if any(folder == broken for broken, _ in left_out):
                continue
            outcome = run_site(partial(one, folder))
            if outcome.message is not None:
                left_out.append((folder, outcome.message))
        if len(left_out) == len(folders):
            raise InputError(
                "no site of the fleet can be read",
                file=site,
                found=left_out[0][1],
                expected="one site at least that can be loaded",
                hint="mend what stands above: zonetrail load SITE says it of each",
            )
    files = {f"{name}.{form}": n for name, n in out.n_rows.items()}
    for folder, message in left_out:
        say(f"left out: {folder}\n{message}")
    if as_json:
        told = {
            "schema": "zonetrail.export/1",
            "folder": str(target),
            "rows": files,
            "left_out": [{"site": str(f), "why": message} for f, message in left_out],
        }
        click.echo(json.dumps(told, indent=1, ensure_ascii=False))
    else:
        width = max(map(len, files))
        for name, n in files.items():
            answer(f"{name.ljust(width)}  {n:12,} rows")
        answer(f"\n{len(folders) - len(left_out)} of {len(folders)} sites. What each column "
                   f"is: {target / DICTIONARY}")  # fmt: skip
    return NOT_CLEAN if strict and left_out else DONE
