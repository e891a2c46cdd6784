"""Rejected rows: rows or cells of the exports that gave no reading.

What it says
    How many rows and cells of which file gave no reading, why, where the first one stands, and how
    many instants were logged twice with different values.

Why it matters
    Nothing is dropped in silence: what was left out is listed, so that a reader can judge whether
    it matters.

What looks like it but is not
    Blank cells, which are no readings and no mistakes. Rows that are there already with the same
    values (repeated).

Source
    Ours: every row is a reading, a repeat, or a reject with its reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._base import (
    MAX_TABLE_ROWS,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._site import SiteFrames, records

SHORT_TEXT = 40


@dataclass(frozen=True)
class Rejects:
    """What gave no reading.

    rows : store.reject with the file's path, in order of file and line
    """

    site: SiteFrames
    rows: pd.DataFrame
    n_rows: int
    n_cells: int
    n_conflicts: int
    n_read: int

    @property
    def reasons(self) -> list[tuple[str, int]]:
        """Reasons with their number, the commonest first."""
        sizes = self.rows.groupby("reason").size().reset_index(name="n")
        ordered = sizes.sort_values(["n", "reason"], ascending=[False, True])
        return [(str(r.reason), int(r.n)) for r in records(ordered)]


def _as_given(c: Rejects) -> Weighed:
    if c.rows.empty:
        return Weighed(Weight.OPEN, "no single row or cell was rejected")
    reason, n = c.reasons[0]
    first = records(c.rows[c.rows["reason"] == reason].head(1))[0]
    return Weighed(Weight.FITS, f"{reason}: {words.times(n)}, first {_place(first)}")


def _twice(c: Rejects) -> Weighed | None:
    if not c.n_conflicts:
        return None
    return Weighed(
        Weight.FITS,
        f"{words.count(c.n_conflicts, 'time stamp')} logged twice with different "
        "values; neither is used",
    )


FINDING = Declaration(
    title="Rows that gave no reading",
    question="Did every row and cell of the exports give a reading?",
    about="log",
    needs_tables=("store.file", "store.reject", "store.conflict"),
    causes=(
        Cause(
            "error marks, broken lines or values that cannot be right",
            "Named by the commonest reason.",
            _as_given,
        ),
        Cause(
            "two exports of one logger that disagree",
            "Raised when one instant stands twice with different values.",
            _twice,
        ),
    ),
    check_next=(
        Check(
            "office",
            "open this line in a text editor: {first}",
            "{good}",
            "{bad}",
        ),
    ),
    confused_with=("Blank cells, and rows that were loaded before.",),
    source="Ours: rows read = loaded + rejected + repeated, file by file.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the first rejected row, bad cell or conflict; a note."""
    files = site.table("store.file")
    n_rows, n_cells = int(files["n_rejected"].sum()), int(files["n_bad_cells"].sum())
    n_read, n_conflicts = int(files["n_read"].sum()), len(site.table("store.conflict"))
    if not n_rows and not n_cells and not n_conflicts:
        return NotFound(f"all {n_read:,} rows gave readings")
    rows = site.table("store.reject").merge(files[["file_id", "path"]], on="file_id", how="left")
    rows = rows.sort_values(["file_id", "line"]).reset_index(drop=True)
    c = Rejects(site, rows, n_rows, n_cells, n_conflicts, n_read)
    return Found(
        severity="note",
        certainty="shown",
        summary=_summary(c),
        headline=_headline(c),
        facts=c,
        fill=_fill(c),
        table=_table(c),
    )


def _fill(c: Rejects) -> dict[str, str]:
    """The line the step points at, that of the commonest reason, and what it may be."""
    if c.rows.empty:
        return {
            "first": "the first time stamp that is there twice",
            "good": "one of the two exports is known to be the wrong one",
            "bad": "export the logger again and leave the wrong file out",
        }
    reason = c.reasons[0][0]
    row = records(c.rows[c.rows["reason"] == reason].head(1))[0]
    if row.column_name:
        return {
            "first": f"{_place(row)} ({reason})",
            "good": "a mark the logger writes when a probe is off or out of range",
            "bad": "name the mark under missing in the site file's [[export]] "
            "block, or export again",
        }
    return {
        "first": f"{_place(row)} ({reason})",
        "good": "a line that holds no reading: a header repeated, a note, the end of an export "
        "that broke off",
        "bad": "export the logger again",
    }


def _place(r: Any) -> str:
    """'exports/plenum.csv line 4711: "ERR"'."""
    text = str(r.text or "").strip().replace("{", "(").replace("}", ")")
    short = text if len(text) <= SHORT_TEXT else f"{text[:SHORT_TEXT]}..."
    column = f", column {r.column_name}" if r.column_name else ""
    return f'{r.path} line {int(r.line)}{column}: "{short}"'


def _headline(c: Rejects) -> str:
    parts = []
    if c.n_rows:
        parts.append(words.count(c.n_rows, "row"))
    if c.n_cells:
        parts.append(words.count(c.n_cells, "single cell"))
    said = f"{words.joined(parts)} of {c.n_read:,} rows gave no reading" if parts else ""
    twice = (
        f"{words.count(c.n_conflicts, 'time stamp')} logged twice with different values"
        if c.n_conflicts
        else ""
    )
    return "; ".join(part for part in (said, twice) if part)


def _summary(c: Rejects) -> str:
    why = "; ".join(f"{reason} ({n})" for reason, n in c.reasons[:3])
    files = words.joined(sorted(set(c.rows["path"].dropna())))
    return words.sentences(
        _headline(c) + (f", in {files}" if files else ""), f"why: {why}" if why else ""
    )


def _table(c: Rejects) -> tuple[tuple[str, tuple[str, ...]], ...]:
    rows = records(c.rows.head(MAX_TABLE_ROWS))
    return (
        ("File", tuple(str(r.path) for r in rows)),
        ("Line", tuple(str(int(r.line)) for r in rows)),
        ("Column", tuple(str(r.column_name or "whole row") for r in rows)),
        ("Text", tuple(str(r.text or "")[:SHORT_TEXT] for r in rows)),
        ("Why", tuple(str(r.reason) for r in rows)),
    )
