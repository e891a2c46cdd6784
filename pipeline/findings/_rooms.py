"""What findings about rooms share: names, modes, rows of one zone, pick-up of the room itself."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pipeline import words
from pipeline.findings._base import MAX_TABLE_ROWS
from pipeline.findings._site import SiteFrames, number, records
from pipeline.findings._states import MODE_WORDS

SHORT = {"heating": "under", "cooling": "over"}
"""On which side of its setpoint a room is that its mode cannot hold."""


def name_of(site: SiteFrames, zone: int) -> str:
    """The zone's name."""
    return site.zones(str(int(zone)))


def in_mode(mode: str) -> str:
    """'in heat', 'in cooling'."""
    return f"in {MODE_WORDS[mode]}"


def row_of(site: SiteFrames, table: str, **equals: Any) -> Any:
    """The first row of the table with these values as a record; None if there is none."""
    rows = site.table(table)
    for column, value in equals.items():
        rows = rows[rows[column] == value]
    return None if rows.empty else records(rows.head(1))[0]


def pick_up(site: SiteFrames, zone: int, mode: str, *, calling: bool = True) -> tuple[float, int]:
    """How fast the room moves towards its setpoint [°F/h], and in how many runs; (0, 0): unknown.

    Pooled over what its damper was shown to do, each by its number of runs.
    """
    rows = site.table("measure.zone_response")
    rows = rows[(rows["zone"] == zone) & (rows["mode"] == mode) & (rows["is_calling"] == calling)]
    known = [r for r in records(rows) if number(r.slope_f_per_h) is not None]
    n = sum(int(r.n_run) for r in known)
    if not n:
        return 0.0, 0
    return sum(float(r.slope_f_per_h) * int(r.n_run) for r in known) / n, n


def rate(site: SiteFrames, value_f_per_h: float) -> str:
    """A room's pace: '3.2 °F an hour', in the units of the report."""
    if site.units == "us":
        return f"{value_f_per_h:.1f} °F an hour"
    return f"{site.temperature_difference(value_f_per_h)} an hour"


def beyond_drift(site: SiteFrames, mode: str, value_f_per_h: float) -> str:
    """How a room moves against what it would do by itself: 'warms 1.2 °F an hour faster'."""
    verb = "warms" if mode == "heating" else "cools"
    return f"{verb} {rate(site, abs(value_f_per_h))} {'faster' if value_f_per_h >= 0 else 'slower'}"


def apart(site: SiteFrames, value_f: float) -> str:
    """A difference of temperatures to a tenth: '2.6 °F', in the units of the report."""
    return f"{value_f:.1f} °F" if site.units == "us" else site.temperature_difference(value_f)


def columns(
    rows: Sequence[Any], *titled: tuple[str, Iterable[str]]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """A finding's table: columns of text, the first rows of many."""
    most = min(len(rows), MAX_TABLE_ROWS)
    return tuple((title, tuple(values)[:most]) for title, values in titled)


def days(n: int) -> str:
    """'on one day', 'on three days'."""
    return f"on {words.number(n)} {'day' if n == 1 else 'days'}"
