"""How often inspect's guesses are right, not sure, or wrong and confident, over site folders.

The truth is each folder's own site.toml. A guess counts as right only if role, zone and unit all
are, and as sure from `columns.SURE` on.

Run: python tests/benchmarks/guess_rates.py FOLDER... (default: the corpus and the sample site)
"""

from __future__ import annotations

import csv
import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from pipeline.errors import UserError
from pipeline.ingest.column_look import ColumnLook
from pipeline.ingest.columns import SURE, split_header
from pipeline.ingest.look import FileLook, look_at_folder
from pipeline.ingest.match import matches
from pipeline.site import Channel
from pipeline.site_reader import read_site

CORPUS = Path(__file__).parents[1] / "exports"
SAMPLE = Path(__file__).parents[2] / "sample_data" / "larch-14"
KINDS = ("right and sure", "right, not sure", "not sure", "wrong and sure")


def judged(folder: Path) -> Iterable[tuple[str, str]]:
    """Per channel of a site folder: (one of KINDS, what was guessed and what is true)."""
    try:
        site = read_site(folder)
    except UserError:
        return
    for look in look_at_folder(folder):
        if look.problem is not None:
            continue
        for column in look.columns:
            true = next(
                (
                    c
                    for c in site.channels
                    if c.column == column.name and (c.file is None or matches(look.path, c.file))
                ),
                None,
            )
            if true is not None and true.role != "ignore":
                written = _long_unit(folder, look, column)
                yield kind_of(column, true, written), told(folder, column, true)


def _long_unit(folder: Path, look: FileLook, column: ColumnLook) -> str | None:
    """The unit that a long file names for a channel, read here by the standard library."""
    if look.long is None:
        return None
    with (folder / look.path).open(encoding="utf-8", newline="") as file:
        lines = list(csv.reader(file, delimiter=";"))
    at = next((k for k, name in enumerate(lines[0]) if name == "Unit"), None)
    marks = {row[at] for row in lines if at is not None and column.name in row}
    return {"°C": "degC", "°F": "degF", "Pa": "Pa"}.get(next(iter(marks), ""))


def kind_of(column: ColumnLook, true: Channel, written: str | None) -> str:
    guess = column.guess
    is_right = (guess.role, guess.zone) == (true.role, true.zone)
    if true.meaning.kind == "analog":
        unit = true.unit or written or split_header(true.column)[1]
        is_right &= guess.unit == unit
    if guess.confidence >= SURE:
        return "right and sure" if is_right else "wrong and sure"
    return "right, not sure" if is_right else "not sure"


def told(folder: Path, column: ColumnLook, true: Channel) -> str:
    guess = column.guess
    return (
        f"{folder.name}: {column.name!r}: guessed {guess.role} {guess.zone} {guess.unit} "
        f"({guess.confidence:.0%}: {guess.reason}); is {true.role} {true.zone} {true.unit}"
    )


def rates(folders: Iterable[Path]) -> tuple[Counter[str], list[str]]:
    """Channels by kind, and what is said of those that are not right and sure."""
    counts: Counter[str] = Counter()
    others = []
    for folder in folders:
        for kind, text in judged(folder):
            counts[kind] += 1
            if kind != "right and sure":
                others.append(f"{kind}: {text}")
    return counts, others


def as_text(counts: Counter[str]) -> str:
    total = sum(counts.values())
    shares = [f"{kind} {counts[kind]} ({counts[kind] / max(1, total):.1%})" for kind in KINDS]
    return f"{total} channels: " + ", ".join(shares)


def main() -> None:
    folders = [Path(a) for a in sys.argv[1:]] or [
        *(p for p in sorted(CORPUS.iterdir()) if (p / "site.toml").is_file()),
        SAMPLE,
    ]
    counts, others = rates(folders)
    print("\n".join(others))
    print(as_text(counts))


if __name__ == "__main__":
    main()
