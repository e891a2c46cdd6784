"""zonetrail inspect: what each export is, and what is wrong with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common, say
from pipeline.guard import CANNOT, DONE, NOT_CLEAN

if TYPE_CHECKING:
    from pipeline.ingest.column_look import ColumnLook
    from pipeline.ingest.look import FileLook


@click.command(
    epilog="Example: zonetrail inspect larch-14/exports --draft larch-14/site.toml",
    short_help="Say what each export is, and draft a site file.",
)
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--draft",
    "draft_to",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write a site.toml with the guesses; never over one that is there.",
)
@common("units", "json", "strict", "quiet", "redact")
def command(
    paths: tuple[Path, ...],
    draft_to: Path | None,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Say what each FILE, or each export below a DIR, is and why; nothing is loaded.

    Ranges are shown as the logger wrote them. What a person must confirm is marked in the draft.

    Exit codes: 0 done; 1 with --strict, if rows would be rejected or a column's meaning is not
    sure; 2 a file cannot be read as it is; 3 a fault of ours.
    """
    import json

    del units, redact  # common to all verbs; exports are shown as written and name no site
    with Progress(quiet or as_json) as progress:
        looks = _looks(paths, progress)
    if draft_to is not None:
        _write_draft(draft_to, looks)
        if not quiet:
            say(f"Draft: {draft_to}; lines marked CONFIRM are guesses.")
    if as_json:
        documents = [as_document(look) for look in looks]
        document = {"schema": "zonetrail.inspect/1", "files": documents}
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
    else:
        answer("\n\n".join(as_text(look) for look in looks))
    problems = [look.problem for look in looks if look.problem is not None]
    for problem in problems:
        say(str(problem))
    if problems:
        return CANNOT
    return DONE if not strict or all(_is_clean(look) for look in looks) else NOT_CLEAN


def as_text(look: FileLook) -> str:
    """One file's look, for a terminal."""
    lines = [look.path]
    for what, value, reason in look.facts:
        lines.append(f"  {what:16} {value}" + (f"  ({reason})" if reason else ""))
    if look.problem is not None:
        return "\n".join([*lines, f"  {'problem':16} {look.problem.what}"])
    lines.append(f"  {'rows':16} {look.n_rows:,}, {look.n_odd_rows:,} of them without a reading")
    if look.interval_s is not None:
        lines.append(f"  {'interval':16} {look.interval_s:g} s")
    if look.first_ts is not None and look.last_ts is not None:
        span = f"{_clock(look, look.first_ts)} to {_clock(look, look.last_ts)}"
        lines.append(f"  {'span':16} {span}")
    for start, end in look.gaps[:12]:
        length = (end - start) / 60e6
        lines.append(f"  {'gap':16} {_clock(look, start)} to {_clock(look, end)}, {length:.1f} min")
    if look.n_out_of_order:
        lines.append(f"  {'out of order':16} {look.n_out_of_order:,} rows step back in time")
    if look.n_same_time:
        lines.append(f"  {'same time':16} {look.n_same_time:,} rows repeat an instant")
    for line, text, reason in look.odd_rows:
        lines.append(f"  {'line ' + str(line):16} {reason}: {text}")
    lines += [f"  {'note':16} {note}" for note in look.notes]
    lines.append("  columns")
    lines += [f"    {column.name:28} {_column(column)}" for column in look.columns]
    return "\n".join(lines)


def as_document(look: FileLook) -> dict[str, object]:
    """One file's look as JSON."""
    from pipeline.ingest.columns import SURE

    return {
        "file": look.path,
        "problem": None if look.problem is None else str(look.problem),
        **{
            what.replace(" ", "_"): {"value": value, "reason": reason or None}
            for what, value, reason in look.facts
        },
        "rows": look.n_rows,
        "odd_rows": look.n_odd_rows,
        "interval_s": look.interval_s,
        "start": None if look.first_ts is None else _iso(look.first_ts),
        "end": None if look.last_ts is None else _iso(look.last_ts),
        "timezone": look.timezone,
        "timezone_from": look.timezone_source,
        "gaps": [{"start": _iso(a), "end": _iso(b)} for a, b in look.gaps],
        "out_of_order": look.n_out_of_order,
        "same_time": look.n_same_time,
        "notes": list(look.notes),
        "columns": [
            {
                "column": c.name,
                "role": c.guess.role,
                "zone": c.guess.zone,
                "unit": c.guess.unit,
                "confidence": c.guess.confidence,
                "sure": c.guess.confidence >= SURE,
                "reason": c.guess.reason,
                "state_words": list(c.words),
                "low": c.low,
                "high": c.high,
                "values": c.n_values,
                "blank": c.n_blank,
                "odd": [{"text": text, "count": count} for text, count in c.odd],
            }
            for c in look.columns
        ],
    }


def _looks(paths: tuple[Path, ...], progress: Progress) -> list[FileLook]:
    from pipeline.errors import InputError
    from pipeline.ingest.exports import list_exports
    from pipeline.ingest.look import look_at, side_by_side
    from pipeline.site import SITE_FILE
    from pipeline.site_reader import read_site

    looks = []
    for path in paths:
        if not path.exists():
            raise InputError(
                "there is no such file or folder",
                file=path,
                expected="an export, or a folder with exports",
            )
        folder = path if path.is_dir() else path.parent
        inside = folder / "exports" if (folder / "exports").is_dir() else folder
        files, others = list_exports(inside) if path.is_dir() else ([path], [])
        if not files:
            raise InputError(
                "there is no export in this folder",
                file=path,
                found=", ".join(p.name for p in others[:6]) or "no files",
                expected="files that end in .csv, .txt, .tsv or the like",
            )
        if folder.name == "exports":
            folder = folder.parent
        site = read_site(folder) if (folder / SITE_FILE).is_file() else None
        for file in files:
            progress.step(f"looking at {file}")
            looks += look_at(file, folder, site)
    return side_by_side(looks)


def _write_draft(path: Path, looks: list[FileLook]) -> None:
    from pipeline.errors import InputError
    from pipeline.ingest.draft import draft, site_id_of

    text = draft(looks, site_id_of(path.parent))
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise InputError(
            "there is a site file already",
            file=path,
            expected="a new file",
            hint="draft beside it: --draft site-draft.toml",
        ) from error
    except OSError as error:
        raise InputError(
            "the draft cannot be written",
            file=path,
            found=error.strerror or str(error),
            expected="a path in a folder that can be written to",
        ) from error


def _column(column: ColumnLook) -> str:
    from pipeline.ingest.columns import SURE

    guess = column.guess
    role = "not known" if guess.role is None else guess.role
    where = f" of zone {guess.zone}" if guess.zone is not None else ""
    unit = f", {guess.unit}" if guess.unit is not None else ""
    sure = "" if guess.confidence >= SURE else ", not sure"
    if column.is_state:
        held = "/".join(column.words)
    elif column.low is not None:
        held = f"{column.low:g} to {column.high:g}"
    else:
        held = "nothing"
    odd = "; also " + ", ".join(f"{n} x {t!r}" for t, n in column.odd) if column.odd else ""
    return f"{role}{where}{unit} ({guess.confidence:.0%}{sure}: {guess.reason}); {held}{odd}"


def _is_clean(look: FileLook) -> bool:
    from pipeline.ingest.columns import SURE

    return not look.n_odd_rows and all(
        c.guess.confidence >= SURE and not c.odd for c in look.columns
    )


def _clock(look: FileLook, ts: int) -> str:
    from datetime import UTC, datetime

    from pipeline.ingest.timestamps import zone_of

    local = datetime.fromtimestamp(ts // 1_000_000, UTC).astimezone(zone_of(look.timezone or "UTC"))
    return local.strftime("%Y-%m-%d %H:%M:%S")


def _iso(ts: int) -> str:
    from datetime import UTC, datetime

    return datetime.fromtimestamp(ts // 1_000_000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
