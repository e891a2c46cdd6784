"""zonetrail load: a site's exports into its store, every row accounted for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    from pipeline.ingest.load import FileAccount, LoadReport


@click.command(
    epilog="Example: zonetrail load larch-14",
    short_help="Bring new exports into the store, every row accounted for.",
)
@click.argument("site", type=click.Path(path_type=Path))
@common("units", "json", "strict", "quiet", "redact")
def command(site: Path, units: str, as_json: bool, strict: bool, quiet: bool, redact: bool) -> int:
    """Bring new exports of SITE into its store and account for every row.

    SITE is a folder with site.toml and exports/. Prints, per file, rows read = loaded + rejected
    + repeated. Loading again changes nothing; rows of a file that has vanished stay.

    Exit codes: 0 done; 1 with --strict, if rows or cells were rejected or values contradict one
    another; 2 a file or site.toml cannot be used; 3 a fault of ours.
    """
    import json

    from pipeline.ingest.load import load_site

    del units, redact  # common to all verbs; an account of rows has no units and names no site

    with Progress(quiet or as_json) as progress:
        report = load_site(site, progress.step)
    if as_json:
        click.echo(json.dumps(as_document(report), indent=1, ensure_ascii=False))
    else:
        answer(as_text(report))
    is_clean = report.total("n_rejected") + report.total("n_bad_cells") + report.n_conflicts == 0
    return NOT_CLEAN if strict and not is_clean else DONE


MADE_ANEW = (
    "site.duckdb was of another version of zonetrail, or damaged: it was made anew from exports/."
)


def as_text(report: LoadReport) -> str:
    """The account of a load, one line a file and what else a reader should know."""
    rows: list[tuple[str, ...]] = [
        ("file", "read", "=", "loaded", "+", "rejected", "+", "repeated", "bad cells")
    ]
    for f in report.files:
        numbers = [f"{n:,}" for n in (f.n_read, f.n_loaded, f.n_rejected, f.n_repeated)]
        cells = [numbers[0], "=", numbers[1], "+", numbers[2], "+", numbers[3]]
        rows.append((f.path, *cells, f"{f.n_bad_cells:,}"))
    if len(report.files) > 1:
        names = ("n_read", "n_loaded", "n_rejected", "n_repeated", "n_bad_cells")
        read, loaded, rejected, repeated, bad = (f"{report.total(n):,}" for n in names)
        rows.append(("all", read, "=", loaded, "+", rejected, "+", repeated, bad))
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [row[0].ljust(widths[0])]
        cells += [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append("  ".join(cells).rstrip())
    lines += [
        f"{copy}: the same bytes as {original}; not loaded twice"
        for copy, original in report.copies
    ]
    for f in report.files:
        lines.append(f"{f.path}: {_lines_of(f)}")
        if not f.is_present:
            gone = "no longer in exports/; its rows stay (delete site.duckdb to forget them)"
            lines.append(f"{f.path}: {gone}")
        elif f.was_loaded:
            lines.append(f"{f.path}: already loaded")
        if f.unused_columns:
            lines.append(f"{f.path}: not used: {', '.join(f.unused_columns)}")
        lines += [f"{f.path}: {note}" for note in f.notes]
    lines += [f"{path}: not read, no table by its name" for path in report.not_read]
    if report.n_conflicts:
        lines.append(
            f"{report.n_conflicts:,} instants have two different values for one channel; neither "
            "is used"
        )
    if report.was_unusable:
        lines.append(MADE_ANEW)
    if not report.is_rebuilt:
        lines.append("The store was up to date.")
    return "\n".join(lines)


def _lines_of(f: FileAccount) -> str:
    """What the physical lines of a file are."""
    parts = (
        (f.n_preamble, "before the header"),
        (f.n_header, "header"),
        (f.n_read, "rows"),
        (f.n_blank, "blank"),
        (f.n_footer, "after the rows"),
        (f.n_continued, "that a row goes on in"),
    )
    return f"{f.n_lines:,} lines = " + " + ".join(f"{n:,} {what}" for n, what in parts if n)


def as_document(report: LoadReport) -> dict[str, object]:
    """The same as JSON."""
    names = ("n_read", "n_loaded", "n_rejected", "n_repeated", "n_bad_cells")
    total = {n.removeprefix("n_"): report.total(n) for n in names}
    return {
        "schema": "zonetrail.load/1",
        "rows": total | {"conflicts": report.n_conflicts},
        "files": [
            {
                "file": f.path,
                "logger": f.logger,
                "kind": f.kind,
                "timezone": f.timezone,
                **{n.removeprefix("n_"): getattr(f, n) for n in names},
                "lines": f.n_lines,
                "present": f.is_present,
                "already_loaded": f.was_loaded,
                "unused_columns": list(f.unused_columns),
                "notes": list(f.notes),
            }
            for f in report.files
        ],
        "copies": [{"file": copy, "same_as": original} for copy, original in report.copies],
        "not_read": list(report.not_read),
        "rebuilt": report.is_rebuilt,
    }
