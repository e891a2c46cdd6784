"""zonetrail compare: before and after, like hours with like hours."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    from pipeline.compare import Comparison
    from pipeline.result import Span
    from pipeline.site import Site


@click.command(
    epilog="Example: zonetrail compare larch-14 --split 2026-01-16",
    short_help="Before and after: did the fix hold, and what got worse.",
)
@click.argument("site", type=click.Path(path_type=Path))
@click.option("--split", metavar="DATE", help="Before and after this local date, time or visit.")
@click.option("--before", metavar="A..B", help="Window before, local dates or times.")
@click.option("--after", metavar="C..D", help="Window after, local dates or times.")
@click.option("--align", is_flag=True, help="Take out clock offsets that the data show.")
@common("units", "json", "strict", "quiet", "redact")
def command(
    site: Path,
    split: str | None,
    before: str | None,
    after: str | None,
    align: bool,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Compare SITE before and after a date, a visit or in two windows.

    Only like hours are compared: the same outdoor band and the same zones calling, visits left
    out. Each measure is better, worse, no evidence either way, not yet shown (too few like hours)
    or cannot be compared, and why. A --split on the day of a visit parts at that visit; without
    any option the only visit that is not about loggers is taken. Writes report/compare.html and
    report/compare.json in the site folder.

    Exit codes: 0 done; 1 with --strict, if a measure is not yet shown or cannot be compared; 2 the
    two cannot be compared at all, or an option, file or site.toml cannot be used; 3 a fault of
    ours.
    """
    import json

    from pipeline.cli.review import report_folder, write_whole
    from pipeline.compare import compare, comparison_document
    from pipeline.compare_measures import CANNOT, NOT_YET
    from pipeline.review import review_site
    from pipeline.site_reader import read_site
    from reports.compare import comparison_text, render_comparison

    known = read_site(site)
    sides = windows(known, split, before, after)
    with Progress(quiet or as_json) as progress:
        review = review_site(site, align=align, units=units, redact=redact, progress=progress.step)
        progress.step("comparing")
        comparison: Comparison = compare(review.result, *sides)
        document = json.dumps(
            comparison_document(comparison), ensure_ascii=False, indent=2, sort_keys=True,
            allow_nan=False,
        )  # fmt: skip
        target = report_folder(site.parent if site.name == "site.toml" else site)
        write_whole(target / "compare.html", render_comparison(comparison))
        write_whole(target / "compare.json", document + "\n")
    if as_json:
        click.echo(document)
    else:
        answer(f"{comparison_text(comparison)}\n\nPage: {target / 'compare.html'}")
    unsure = any(row.verdict in (NOT_YET, CANNOT) for row in comparison.rows)
    return NOT_CLEAN if strict and unsure else DONE


def windows(
    site: Site, split: str | None, before: str | None, after: str | None
) -> tuple[Span, Span]:
    """The two windows that the options ask for, not yet held against the log.

    Raises InputError for options that cannot be understood or do not settle it.
    """
    from pipeline.cli.review import local_ts
    from pipeline.errors import InputError
    from pipeline.result import Span
    from pipeline.run_tables import ALWAYS_END_TS, ALWAYS_START_TS

    if (before is None) != (after is None) or (split and before):
        raise InputError(
            "the windows are not settled",
            found=" ".join(
                f"--{n} {v}" for n, v in (("split", split), ("before", before), ("after", after))
                if v
            ),
            expected="either --split DATE, or both --before A..B and --after C..D",
        )  # fmt: skip
    if before is not None and after is not None:
        return _between(site, before, "--before"), _between(site, after, "--after")
    if split is None:
        own = [v for v in site.visits if v.what.strip().lower() not in _LOGGERS]
        if len(own) != 1:
            days = [_day(site, v.start_ts) for v in own]
            raise InputError(
                "it is not said where before ends and after begins",
                file=site.path,
                found=f"{len(own)} visits that may have changed something"
                + (f": {', '.join(days)}" if days else ""),
                expected="--split DATE, or --before A..B --after C..D",
            )
        return Span(ALWAYS_START_TS, own[0].start_ts), Span(own[0].end_ts, ALWAYS_END_TS)
    at = local_ts(split, "--split", site.zone_info)
    if "T" not in split and " " not in split:
        for visit in site.visits:
            if _day(site, visit.start_ts) == split:
                return Span(ALWAYS_START_TS, visit.start_ts), Span(visit.end_ts, ALWAYS_END_TS)
    return Span(ALWAYS_START_TS, at), Span(at, ALWAYS_END_TS)


_LOGGERS = ("loggers set", "loggers taken", "visit", "")


def _day(site: Site, ts: int) -> str:
    from pipeline import words

    return words.local(ts, site.timezone).date().isoformat()


def _between(site: Site, text: str, option: str) -> Span:
    """A..B as a window; a date as its end is taken with the whole of its day."""
    import datetime as dt

    from pipeline.cli.review import local_ts
    from pipeline.errors import InputError
    from pipeline.result import Span

    first, dots, last = text.partition("..")
    if not dots or not first or not last:
        raise InputError(
            f"{option} is not a window",
            found=text,
            expected="two local dates or times with two dots between: 2026-01-12..2026-01-15",
        )
    end = local_ts(last, option, site.zone_info)
    if len(last) == len("2026-01-15"):
        next_day = dt.date.fromisoformat(last) + dt.timedelta(days=1)
        end = local_ts(next_day.isoformat(), option, site.zone_info)
    return Span(local_ts(first, option, site.zone_info), end)
