"""zonetrail review: load, measure, find; the report, review.json and the verdict."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common, say
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.result import Finding, SiteResult
    from pipeline.review import Review
    from pipeline.run_tables import Ask


@click.command(
    epilog="Example: zonetrail review larch-14 --align --from 2026-01-14 --to 2026-01-16T12:00",
    short_help="From exports to a verdict, a report and review.json.",
)
@click.argument("site", type=click.Path(path_type=Path))
@click.option("--from", "from_time", metavar="T", help="Local time to begin at.")
@click.option("--to", "to_time", metavar="T", help="Local time to end at.")
@click.option("--align", is_flag=True, help="Take out clock offsets that the data show.")
@click.option("--timings", is_flag=True, help="Say what each step took, on standard error.")
@common("units", "json", "strict", "quiet", "redact", "memory")
def command(
    site: Path,
    from_time: str | None,
    to_time: str | None,
    align: bool,
    timings: bool,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
    memory: str | None,
) -> int:
    """Bring SITE's store up to date, measure, judge, and write report/ in the site folder.

    In a folder without site.toml, one is drafted from its exports/ and what was guessed is said.
    Writes report/report.html (one file, no network needed) and report/review.json, and prints the
    verdict. A logger whose clock is off is always reported; --align puts it right.

    Exit codes: 0 done; 1 with --strict, if something was rejected, untrusted or could not be
    judged; 2 a file, site.toml or an option cannot be used; 3 a fault of ours.
    """
    from pipeline.cli.load import MADE_ANEW
    from pipeline.errors import UserError
    from pipeline.review_json import review_text

    drafted = _draft_if_missing(site)
    try:
        ask = ask_between(site, from_time, to_time)
        review = review_and_write(
            site,
            ask=ask,
            align=align,
            units=units,
            redact=redact,
            memory=memory,
            quiet=quiet or as_json,
        )
    except UserError:
        if drafted is not None:
            drafted.unlink()  # a draft from exports that cannot be used is no site file
        raise
    guesses = review.result.site.guesses
    if review.load.was_unusable and not quiet:
        say(MADE_ANEW)
    if drafted is not None:
        say(f"There was no site.toml: one was drafted, {drafted}")
    if guesses:
        say(f"{len(guesses)} guesses to confirm in {site / 'site.toml'}:")
        say("".join(f"  {line}\n" for line in guesses))
    if as_json:
        click.echo(review_text(review.result))
    else:
        answer(f"{verdict_text(review)}\n\nReport: {site / 'report' / 'report.html'}")
    if timings:
        for step, took_s in review.seconds:
            say(f"{took_s:7.3f} s  {step}")
    return NOT_CLEAN if strict and not is_clean(review) else DONE


def review_and_write(
    folder: Path,
    *,
    ask: Ask | None = None,
    align: bool = False,
    units: str = "us",
    redact: bool = False,
    memory: str | None = None,
    quiet: bool = False,
) -> Review:
    """The review of one site folder, with report.html and review.json written, each whole."""
    import time
    from concurrent.futures import ThreadPoolExecutor
    from dataclasses import replace

    from pipeline.review import review_site
    from pipeline.review_json import review_text
    from reports.site import render_site

    with Progress(quiet) as progress:
        review = review_site(
            folder,
            ask=ask,
            align=align,
            units=units,
            redact=redact,
            memory=memory,
            progress=progress.step,
        )
        progress.step("writing the report")
        started = time.perf_counter()
        target = report_folder(folder)
        with ThreadPoolExecutor(1) as beside:  # a page's packing leaves the interpreter free
            text = beside.submit(review_text, review.result)
            write_whole(target / "report.html", render_site(review.result))
            write_whole(target / "review.json", text.result())
        took_s = time.perf_counter() - started
    return replace(review, seconds=(*review.seconds, ("report", took_s)))


def _draft_if_missing(folder: Path) -> Path | None:
    """The site.toml drafted where exports lie without one; None if one is there."""
    from pipeline.ingest.draft import draft_site
    from pipeline.ingest.exports import list_exports
    from pipeline.site import SITE_FILE

    path = folder / SITE_FILE
    exports = folder / "exports"
    if path.exists() or not exports.is_dir() or not list_exports(exports)[0]:
        return None  # reading the site file says what is missing
    write_whole(path, draft_site(folder))
    return path


def report_folder(folder: Path) -> Path:
    """The site's report folder, made where there is none; InputError where it cannot be."""
    return made_folder(folder / "report")


def made_folder(target: Path) -> Path:
    """The folder, made where there is none; InputError where it cannot be.

    What runs that were killed have left in it is taken away; none takes an hour.
    """
    import re
    import time

    from pipeline.errors import InputError

    try:
        target.mkdir(exist_ok=True)
        for left in target.glob(".*"):
            is_ours = re.fullmatch(r"\..+\.\w+\.\d+", left.name) is not None
            if is_ours and time.time() - left.stat().st_mtime > 3_600:
                left.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            "the report folder cannot be made",
            file=target,
            found=error.strerror or str(error),
            expected="a folder that can be written to",
        ) from error
    return target


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file beside its place and rename it: a reader finds the old one or the new one.

    Raises InputError where it cannot be written.
    """
    import os

    from pipeline.errors import InputError

    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        beside.replace(path)
    except OSError as error:
        raise InputError(
            "this file cannot be written",
            file=path,
            found=error.strerror or str(error),
            expected="a file, or nothing, in a folder that can be written to",
        ) from error
    finally:
        beside.unlink(missing_ok=True)


def verdict_text(review: Review) -> str:
    """What the terminal shows: the call, what to check and not to do, the findings, the rows."""
    import shutil
    import textwrap

    from pipeline.first_checks import first_cautions, first_checks

    width = min(shutil.get_terminal_size((100, 24)).columns, 100)

    def wrapped(text: str, lead: str = "") -> str:
        indent = " " * len(lead)
        return textwrap.fill(text, width, initial_indent=lead, subsequent_indent=indent)

    result = review.result
    head = result.verdict
    blocks = [[wrapped(f"{head.call.upper()}: {head.sentence}"), wrapped(head.how_sure)]]
    if result.findings:
        first = first_checks(result.findings, 3)
        checks = [wrapped(text, f"  {n}. ") for n, text in enumerate(first, start=1)]
        blocks.append(["Check first:", *checks])
        cautions = first_cautions(result.findings, 2)
        if cautions:
            blocks.append(["Take care:", *(wrapped(t, "  - ") for t in cautions)])
    offered = offered_lines(result.findings)
    if offered:
        blocks.append(offered)
    for title, texts in (("Ruled out:", head.ruled_out), ("Cannot tell:", head.cannot_tell)):
        if texts:
            blocks.append([title, *(wrapped(text, "  - ") for text in texts)])
    if result.findings:
        found = [wrapped(f"{f.title}: {f.summary}", f"  {f.severity:5}  ") for f in result.findings]
        blocks.append(["Findings:", *found])
    blocks.append([rows_text(result)])
    return "\n\n".join("\n".join(block) for block in blocks)


def offered_lines(findings: Iterable[Finding]) -> list[str]:
    """Every line that findings offer for site.toml, as it is to be written; empty: none does.

    Not broken at the terminal's width: a broken line could not be copied.
    """
    offered = dict.fromkeys(lines for f in findings for lines in f.site_lines)
    if not offered:
        return []
    text = ["For site.toml, in place of a line of the same name; then review again:"]
    for lines in offered:
        text += [f"  {lines.block}:", *(f"    {line}" for line in lines.lines)]
    return text


def rows_text(result: SiteResult) -> str:
    """Rows read = loaded + rejected + repeated, over all files."""
    from pipeline import words

    files = result.frames["store.file"]
    read, loaded, rejected, repeated, bad = (
        int(files[c].sum())
        for c in ("n_read", "n_loaded", "n_rejected", "n_repeated", "n_bad_cells")
    )
    return (
        f"{words.count(len(files), 'file')}: {read:,} rows read = {loaded:,} loaded"
        f" + {rejected:,} rejected + {repeated:,} repeated;"
        f" {words.count(bad, 'bad cell')} in loaded rows"
    )


def is_clean(review: Review) -> bool:
    """Whether nothing was rejected, not given or untrusted: what --strict asks."""
    files = review.result.frames["store.file"]
    lost = files[["n_rejected", "n_bad_cells"]].to_numpy().sum()
    about_log = any(f.about == "log" for f in review.result.findings)
    unsure = any(j.result == "cannot tell" for j in review.result.judged)
    return not lost and not about_log and not unsure


def ask_between(folder: Path, from_time: str | None, to_time: str | None) -> Ask:
    """What --from and --to ask for, local times of the site; InputError for what is no time."""
    from pipeline.run_tables import Ask
    from pipeline.site_reader import read_site

    if from_time is None and to_time is None:
        return Ask()
    zone = read_site(folder).zone_info
    return Ask(
        *(
            None if text is None else local_ts(text, option, zone)
            for text, option in ((from_time, "--from"), (to_time, "--to"))
        )
    )


def local_ts(text: str, option: str, zone: dt.tzinfo) -> int:
    """UTC microseconds of a local date or time; InputError names the option if it is none."""
    from pipeline.errors import InputError

    try:
        when = dt.datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            f"{option} is not a time",
            found=text,
            expected="a local date or time such as 2026-01-14 or 2026-01-14T06:30",
        ) from error
    if when.tzinfo is None:
        when = when.replace(tzinfo=zone)
    return int(when.timestamp() * 1_000_000)
