"""How an export is written: every dialect is a row of one table, and no loop runs over rows.

Numbers and instants become text by look-up (one text per distinct value), columns are joined by
Arrow. All dialects are our own; none is a brand's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

Texts: TypeAlias = "pa.Array"
Seconds = NDArray[np.int64]


@dataclass(frozen=True)
class Dialect:
    """One way to write a table."""

    name: str
    delimiter: str = ","
    decimal: str = "."
    # ymd, mdy, dmy, named, iso_z, iso_offset, epoch, epoch_ms or sheet_days (since 1899-12-30)
    date: str = "ymd"
    clock: str = "24"  # 24 or 12 (with AM and PM)
    two_columns: bool = False  # date and time apart
    time_column: str = "Time"
    utc: bool = False
    long: bool = False  # one row per reading: time, point, value
    preamble: tuple[str, ...] = ()
    on_off: tuple[str, str] = ("off", "on")
    footer: str = ""
    clock_marks: str = ":"  # between hour, minute and second
    quoted: bool = False  # every cell in quotes
    units: bool = False  # units in a line of their own under the names
    newest_first: bool = False


DIALECTS = {
    d.name: d
    for d in (
        Dialect("plain"),
        Dialect("semicolon", ";", ",", "dmy"),
        Dialect("twelve hour", date="mdy", clock="12", two_columns=True, preamble=(
            "Readings of one logger", "Placed by the technician", "")),
        Dialect("utc", date="iso_z", utc=True, time_column="Timestamp", on_off=("0", "1")),
        Dialect("tabs", "\t", date="ymd", on_off=("OFF", "ON")),
        Dialect("epoch", date="epoch", utc=True, time_column="Unix time", on_off=("0", "1")),
        Dialect("long", date="ymd", long=True),
        Dialect("bars", "|", date="named", time_column="Logged"),
        Dialect("quoted", date="ymd", quoted=True, on_off=("No", "Yes")),
        Dialect("points", "\t", ",", "dmy", clock_marks="."),
        Dialect("milliseconds", date="epoch_ms", utc=True, time_column="Stamp"),
        Dialect("spreadsheet days", ";", date="sheet_days", time_column="Date and time"),
        Dialect("offset", date="iso_offset", on_off=("False", "True")),
        Dialect("unit line", units=True),
        Dialect("newest first", newest_first=True),
    )
}  # fmt: skip


def _look_up(texts: Sequence[str], codes: NDArray[np.int64]) -> Texts:
    return pa.array(texts, pa.string()).take(pa.array(codes))


def numbers(values: NDArray[np.float64], decimals: int, decimal: str) -> Texts:
    """Values as text with that many decimals; one text is made per distinct value."""
    scale = 10**decimals
    codes = np.rint(values * scale).astype(np.int64)
    distinct, places = np.unique(codes, return_inverse=True)
    texts = [f"{code / scale:.{decimals}f}".replace(".", decimal) for code in distinct.tolist()]
    return _look_up(texts, places.astype(np.int64))


def instants(utc_s: Seconds, offset_s: Seconds, dialect: Dialect) -> list[Texts]:
    """The time column, or date and time: seconds since 1970 UTC, `offset_s` the local zone's at
    each of them."""
    if dialect.date == "epoch":
        return [pa.array(utc_s).cast(pa.string())]
    if dialect.date == "epoch_ms":
        return [pa.array(utc_s * 1000).cast(pa.string())]
    local = utc_s if dialect.utc else utc_s + offset_s
    if dialect.date == "sheet_days":  # 25,569 days to 1970-01-01
        return [pa.array([f"{days:.10f}" for days in (local / 86400 + 25569).tolist()])]
    day, second = np.divmod(local, 86400)
    days, at = np.unique(day, return_inverse=True)
    style = {"mdy": "%m/%d/%Y", "dmy": "%d.%m.%Y", "named": "%d %b %Y"}.get(
        dialect.date, "%Y-%m-%d"
    )
    dates = [np.datetime64(int(d), "D").astype("O").strftime(style) for d in days]
    seconds, place = np.unique(second, return_inverse=True)
    clock = []
    for s in seconds.tolist():
        hour, minute, left = s // 3600, s // 60 % 60, s % 60
        if dialect.clock == "12":
            half = "AM" if hour < 12 else "PM"
            clock.append(f"{(hour + 11) % 12 + 1:02d}:{minute:02d}:{left:02d} {half}")
        else:
            clock.append(dialect.clock_marks.join(f"{n:02d}" for n in (hour, minute, left)))
    date_texts, clock_texts = _look_up(dates, at), _look_up(clock, place)
    if dialect.two_columns:
        return [date_texts, clock_texts]
    if dialect.date in ("iso_z", "iso_offset"):
        behind: Texts = pa.scalar("Z")
        if not dialect.utc:
            offsets, at_offset = np.unique(offset_s, return_inverse=True)
            behind = _look_up([_offset(told) for told in offsets.tolist()], at_offset)
        joined = pc.binary_join_element_wise(date_texts, clock_texts, "T")
        return [pc.binary_join_element_wise(joined, behind, "")]
    return [pc.binary_join_element_wise(date_texts, clock_texts, " ")]


def _offset(seconds: int) -> str:
    hours, minutes = divmod(abs(seconds) // 60, 60)
    return f"{'-' if seconds < 0 else '+'}{hours:02d}:{minutes:02d}"


def write(
    dialect: Dialect,
    utc_s: Seconds,
    offset_s: Seconds,
    names: Sequence[str],
    columns: Sequence[Texts],
) -> str:
    """The whole file as text. In a long table empty cells give no row."""
    times = instants(utc_s, offset_s, dialect)
    heads = ["Date", "Time"] if dialect.two_columns else [dialect.time_column]
    if dialect.long:
        rows, count = len(utc_s), len(names)
        order = np.arange(rows * count).reshape(count, rows).T.ravel()  # by time, then by point
        value = pa.chunked_array(columns).combine_chunks().take(pa.array(order))
        point = _look_up(list(names), np.tile(np.arange(count), rows))
        stamps = [t.take(pa.array(np.repeat(np.arange(rows), count))) for t in times]
        kept = pc.not_equal(value, "")
        cells = [c.filter(kept) for c in (*stamps, point, value)]
        heads += ["Point", "Value"]
    else:
        cells = [*times, *columns]
        heads += list(names)
    if dialect.quoted:
        cells = [pc.binary_join_element_wise('"', cell, '"', "") for cell in cells]
        heads = [f'"{head}"' for head in heads]
    lines = pc.binary_join_element_wise(*cells, dialect.delimiter).to_pylist()
    if dialect.newest_first:
        lines.reverse()
    head = [*dialect.preamble, dialect.delimiter.join(heads)]
    if dialect.units:  # `Supply air (°F)` as a name and, under it, its unit
        parts = [name.rstrip(")").partition(" (") for name in heads]
        head = [dialect.delimiter.join(part[n] for part in parts) for n in (0, 2)]
    tail = [dialect.footer] if dialect.footer else []
    return "\n".join([*head, *lines, *tail]) + "\n"
