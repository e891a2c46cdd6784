"""What an export seems to be, before anybody has said anything about it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.ingest import merge
from pipeline.ingest.column_look import (
    MAX_SHOWN,
    ColumnLook,
    column_looks,
    in_context,
    long_place,
)
from pipeline.ingest.containers import read_exports
from pipeline.ingest.export_file import OpenExport, open_export
from pipeline.ingest.exports import Export, list_exports
from pipeline.ingest.file_clock import Clock, read_clock
from pipeline.ingest.file_reading import guess_kind
from pipeline.ingest.leftover_rows import refuse_other_header
from pipeline.ingest.match import export_block
from pipeline.ingest.rows import Rows, read_rows
from pipeline.ingest.sniff import DELIMITER_NAMES
from pipeline.ingest.written_times import Flags, Ints
from pipeline.site import Site
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class FileLook:
    """One export: what it is, why, and what is wrong with it.

    facts : (what, value, reason) in reading order, as texts
    columns : without the time columns
    long : the columns that name the channel and hold its value, in a file of one reading a line
    problem : why it cannot be loaded as it is; None if it can
    odd_rows : (line, text, reason) of the first rows that give no reading
    gaps : (last reading before, first after) on the file's clock as UTC microseconds
    """

    path: str
    facts: tuple[tuple[str, str, str], ...]
    columns: tuple[ColumnLook, ...] = ()
    kind: str | None = None
    interval_s: float | None = None
    first_ts: int | None = None
    last_ts: int | None = None
    timezone: str | None = None
    timezone_source: str | None = None
    n_rows: int = 0
    n_odd_rows: int = 0
    odd_rows: tuple[tuple[int, str, str], ...] = ()
    gaps: tuple[tuple[int, int], ...] = ()
    n_out_of_order: int = 0
    n_same_time: int = 0
    notes: tuple[str, ...] = field(default=())
    long: tuple[str, str] | None = None
    problem: InputError | None = None


def look_at_folder(folder: Path, site: Site | None = None) -> list[FileLook]:
    """A look at every export of a site folder, or at every table below any other folder."""
    inside = folder / "exports"
    tables, _ = list_exports(inside if inside.is_dir() else folder)
    return side_by_side([look for path in tables for look in look_at(path, folder, site)])


def side_by_side(looks: Sequence[FileLook]) -> list[FileLook]:
    """The looks at several files of one site, each with what the others and its name tell."""
    states: list[str] = []
    seen: list[FileLook] = []
    for look in looks:
        # A file that goes on where another of its name ended holds the same columns again.
        if not any(_goes_on(look, other) for other in seen):
            states += [c.name for c in look.columns if c.is_state]
        seen.append(look)
    return [
        replace(look, columns=tuple(in_context(look.path, look.columns, states))) for look in looks
    ]


def _goes_on(look: FileLook, other: FileLook) -> bool:
    if None in (look.first_ts, look.last_ts, other.first_ts, other.last_ts):
        return False
    if re.sub(r"\d+", "", look.path) != re.sub(r"\d+", "", other.path):
        return False
    spans = sorted([(look.first_ts, look.last_ts), (other.first_ts, other.last_ts)])
    return bool(spans[1][0] >= spans[0][1])  # type: ignore[operator]


def look_at(path: Path, folder: Path, site: Site | None = None) -> list[FileLook]:
    """A look at one file, or at each export in an archive; what is wrong is part of the answer.

    folder : what its path is told below; site : its site file, if there is one
    """
    try:
        exports, _ = read_exports(path, folder)
    except InputError as error:
        inside = path.relative_to(folder) if path.is_relative_to(folder) else Path(path.name)
        return [FileLook(inside.as_posix(), (), problem=error)]
    return [_look_at(export, site) for export in exports]


def _look_at(export: Export, site: Site | None) -> FileLook:
    try:
        opened = open_export(export, export_block(site, export.path) if site else None)
    except InputError as error:
        return FileLook(export.path, (), problem=error)
    facts = _facts(opened)
    rows = read_rows(opened.text, opened.dialect, list(range(opened.dialect.width)))
    zone_names = {z.name.lower(): z.number for z in site.zones} if site else {}
    try:
        clock = read_clock(opened, rows, site.timezone if site else "UTC")
        for line, text, _ in _odd_rows(opened, rows, clock):
            refuse_other_header(opened, line, text)
        long = long_place(opened, rows, clock.ts[clock.good])
        columns = column_looks(opened, rows, long, zone_names)
    except InputError as error:
        columns = column_looks(opened, rows, None, zone_names)
        return FileLook(
            export.path, facts, columns, n_rows=len(rows.line) - len(rows.blank), problem=error
        )
    look = _timed(opened, rows, clock, columns, facts, has_site=site is not None, long=long)
    names = opened.dialect.header
    return replace(look, long=None if long is None else (names[long[0]], names[long[1]]))


def _facts(opened: OpenExport) -> tuple[tuple[str, str, str], ...]:
    text, dialect = opened.text, opened.dialect
    decimal = "comma" if dialect.decimal_sign == "," else "point"
    header = f"line {dialect.header_line}" if dialect.header_line else "none"
    return (
        ("size", f"{len(opened.export.content):,} bytes, {text.n_lines:,} lines", ""),
        ("encoding", text.encoding, text.reason),
        ("delimiter", DELIMITER_NAMES[dialect.delimiter], dialect.reasons["delimiter"]),
        ("decimal sign", decimal, dialect.reasons["decimal sign"]),
        ("header", header, dialect.reasons["header"]),
        ("lines before it", f"{dialect.n_preamble}", ""),
        ("quoted cells", "yes" if dialect.is_quoted else "no", ""),
    )


def _timed(
    opened: OpenExport,
    rows: Rows,
    clock: Clock,
    columns: tuple[ColumnLook, ...],
    facts: tuple[tuple[str, str, str], ...],
    has_site: bool,
    long: tuple[int, int] | None,
) -> FileLook:
    ts = clock.ts[clock.good]
    cells = sum(c.n_values + c.n_blank for c in columns)
    blank_share = sum(c.n_blank for c in columns) / cells if cells else 0.0
    kind, why = guess_kind(ts, all(c.is_state for c in columns), blank_share)
    if long is not None:
        kind, why = "long", "one column names the channel, another holds its value"
    if opened.said is not None and opened.said.kind is not None:
        kind, why = opened.said.kind, "site.toml says so"
    steps = np.diff(ts)
    distinct = np.unique(ts)
    interval = merge.nominal_interval_us(distinct) if kind in ("sampled", "long") else None
    gaps = _gaps(distinct) if kind == "sampled" else ()
    odd = _odd_rows(opened, rows, clock)
    zone_said = {
        "file": "named in the file",
        "site_file": "site.toml says so",
        "rows": "its rows ran on through a change of the clocks",
        "assumed": "the site's own" if has_site else "not named in the file; shown as if UTC",
    }[clock.timezone_source]
    facts += (
        (
            "date and time",
            clock.time_format,
            "; ".join(r for r in (opened.dialect.reasons.get("time"), clock.order.reason) if r),
        ),
        ("clock", clock.timezone, zone_said),
        ("kind", (kind or "cannot tell").replace("_", " "), why),
    )
    return FileLook(
        path=opened.export.path,
        facts=facts,
        columns=columns,
        kind=kind,
        interval_s=None if interval is None else interval / MICROSECONDS,
        first_ts=int(ts.min()) if len(ts) else None,
        last_ts=int(ts.max()) if len(ts) else None,
        timezone=clock.timezone,
        timezone_source=clock.timezone_source,
        n_rows=len(rows.line) - len(rows.blank) + len(rows.odd),
        n_odd_rows=len(odd),
        odd_rows=tuple(odd[:MAX_SHOWN]),
        gaps=gaps,
        n_out_of_order=int((steps < 0).sum()),
        n_same_time=0 if long is not None else len(ts) - len(distinct),
        notes=tuple(n for n in (opened.text.note, *clock.notes) if n),
    )


def _odd_rows(opened: OpenExport, rows: Rows, clock: Clock) -> list[tuple[int, str, str]]:
    width = opened.dialect.width
    odd = [(o.line, o.text[:120], f"{o.n_cells} cells, the header has {width}") for o in rows.odd]
    for k, reason in clock.why.items():
        line = int(rows.line[k])
        odd.append((line, opened.text.line(line)[:120], reason))
    return sorted(odd)


def _gaps(ts: Ints) -> tuple[tuple[int, int], ...]:
    found = []
    for first, last, nominal in merge.constant_rates(ts):
        stretch = ts[first : last + 1]
        wide: Flags = np.diff(stretch) > THRESHOLDS["hold_max_intervals"].value * nominal
        found += [(int(stretch[k]), int(stretch[k + 1])) for k in np.flatnonzero(wide)]
    return tuple(found)
