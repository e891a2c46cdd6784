"""What findings about rise, split and airflow share: states in words, static beside the rise."""

from __future__ import annotations

from typing import Any

from pipeline import words
from pipeline.findings._site import SiteFrames, number, records
from pipeline.findings._windows import Event, windows
from pipeline.result import EvidenceWindow, Span

RISE = {"heating": "rise", "cooling": "split"}


def state(site: SiteFrames, row: Any) -> str:
    """The state of a row of measure.rise: 'the furnace on first stage, Den alone calling'."""
    said = f"{words.source(row.source)} on {words.stage(int(row.stage))}"
    if row.is_total or row.zones is None:
        return said
    return f"{said}, {site.calling(row.zones)} calling"


def totals(site: SiteFrames) -> list[Any]:
    """Rows of measure.rise over all calls, as records."""
    rows = site.table("measure.rise")
    return records(rows[rows["is_total"].astype(bool)])


def by_calls(site: SiteFrames, total: Any) -> list[Any]:
    """The rows of measure.rise by calling zones that a total is made of."""
    rows = site.table("measure.rise")
    rows = rows[
        ~rows["is_total"].astype(bool)
        & (rows["mode"] == total.mode)
        & (rows["source"] == total.source)
        & (rows["stage"] == total.stage)
    ]
    return records(rows)


def between(site: SiteFrames, low_f: float | None, high_f: float | None) -> str:
    """A band of differences in whole degrees: '30 to 60 °F'."""
    if low_f is None or high_f is None:
        return site.temperature_difference(high_f if low_f is None else low_f)  # type: ignore[arg-type]
    low, high = site.temperature_difference(low_f), site.temperature_difference(high_f)
    return f"{low.split(' ', 1)[0]} to {high}"


def steady_spans(
    site: SiteFrames, row: Any, low_f: float | None, high_f: float | None, label: str
) -> list[Event]:
    """Steady stretches of a state whose median rise is under low_f or over high_f, by time."""
    rows = site.table("interval.steady_air")
    rows = rows[
        (rows["mode"] == row.mode)
        & (rows["source"] == row.source)
        & (rows["stage"] == row.stage)
        & ~rows["in_visit"].astype(bool)
    ]
    made = []
    for r in records(rows):
        rise_f = number(r.rise_f)
        if rise_f is None:
            continue
        over = 0.0 if high_f is None else rise_f - high_f
        under = 0.0 if low_f is None else low_f - rise_f
        if max(over, under) <= 0:
            continue
        start, end = int(r.steady_ts), int(r.end_ts)
        made.append(
            Event(
                start_ts=start,
                end_ts=max(end, start + 1),
                worth=max(over, under),
                say=(
                    f"{site.clock(start)}, {site.calling(r.zones)}, steady {RISE[row.mode]} "
                    f"{site.temperature_difference(rise_f)}"
                ),
                label=label,
            )
        )
    return made


def shown(
    site: SiteFrames, events: list[Event]
) -> tuple[tuple[Span, ...], tuple[EvidenceWindow, ...]]:
    """Spans and windows of the events, in order of time."""
    events = sorted(events, key=lambda e: e.start_ts)
    return tuple(Span(e.start_ts, e.end_ts, e.label) for e in events), windows(site, events)


def static_at(site: SiteFrames, row: Any) -> float | None:
    """Median supply static of the class and stage with most zones calling; None if not logged."""
    rows = site.table("measure.static_by_calling")
    rows = rows[(rows["class"] == row.mode) & (rows["stage"] == row.stage)]
    known = [r for r in records(rows) if number(r.p50_inwc) is not None and r.settled_s > 0]
    if not known:
        return None
    most = max(known, key=lambda r: (int(r.n_zones or 0), float(r.settled_s)))
    return number(most.p50_inwc)
