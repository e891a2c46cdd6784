"""The days at a glance: one row per local day, what ran in which stage, trips and gaps."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict

import pandas as pd

from pipeline.result import Span
from pipeline.units import MICROSECONDS
from reports.block import Block, Model, absent, records
from reports.display import number, plural, text
from reports.drawing import figure_html
from reports.evidence import uncovered
from reports.figure import DayFigure, DayPart, DayRow
from reports.svg_year import MANY_DAYS, year_notes
from reports.table import Cell, Column, Table
from reports.unusual import LABEL, flagged, notes

Spans = list[tuple[int, int]]
HIGH_LIMIT = "high-limit-trips"
"""The rule whose result says whether “no trip” may be said."""
_HOUR_US = 3600 * MICROSECONDS
_WORKING = ("w1", "w2", "y1", "y2", "aux")


def render(model: Model) -> Block:
    """A row per local day of the window; what is not known is hatched, never drawn as off."""
    days = model.rows("run.day")
    conditions = model.frame("interval.condition")
    title = "The days at a glance"
    if not days or conditions is None:
        return Block("days", title, absent("No picture of the days", "no outputs were logged"))
    figure = day_figure(model, days, conditions)
    return Block("days", title, figure_html(figure), (figure,), nav="Days")


def day_figure(model: Model, days: list[dict[str, object]], conditions: pd.DataFrame) -> DayFigure:
    """The figure and, from the same parts, its sentence and table."""
    parts = _parts(model, conditions)
    starts, ends = [a for _, a, _ in parts], [b for _, _, b in parts]
    trips = [(_ts(t["start_ts"]), text(t["kind"])) for t in model.rows("interval.trip")]
    shortest = model.result.thresholds.get("gap_finding_min_s", 600) * MICROSECONDS
    gaps = [
        _ends(g)
        for g in model.gaps()
        if g["position"] == "inside" and _ts(g["end_ts"]) - _ts(g["start_ts"]) >= shortest
    ]
    window = model.window
    knows_trips = model.can_tell(HIGH_LIMIT)
    knows_outputs = any(k != "unknown" for k, _, _ in parts)
    odd_days = flagged(model.result.unusual)
    rows, table = [], []
    months: dict[str, dict[str, float]] = {}
    total: dict[str, float] = defaultdict(float)
    for day in days:
        a, b = _ends(day)
        # parts follow each other
        own = parts[bisect_right(ends, a) : bisect_left(starts, b)]
        inside = [(k, max(s, a), min(e, b)) for k, s, e in own]
        drawn = tuple(DayPart(s, e, k) for k, s, e in inside if k not in ("", "unknown"))
        unknown = [(s, e) for k, s, e in inside if k == "unknown"]
        seen = _merged([(s, e) for _, s, e in inside])
        first, last = max(a, window.start_ts), min(b, window.end_ts)
        unknown += uncovered(tuple(seen), Span(first, max(first, last)))
        outside = [(a, min(window.start_ts, b))] if window.start_ts > a else []
        outside += [(max(window.end_ts, a), b)] if window.end_ts < b else []
        marks = tuple(ts for ts, _ in trips if a <= ts < b)
        hours = _hours(drawn)
        for kind, value in hours.items():
            total[kind] += value
        label = model.clock.day(a)
        rows.append(
            DayRow(
                label=label
                if len(days) > MANY_DAYS
                else label.rsplit(" ", 2)[0] + " " + label.rsplit(" ", 1)[1],
                start_ts=a,
                end_ts=b,
                parts=drawn,
                marks=marks,
                unknown=tuple(_merged(unknown)),
                outlined=tuple(
                    _merged([(max(s, a), min(e, b)) for s, e in gaps if s < b and e > a])
                ),
                outside=tuple(outside),
                month=model.clock.month(a),
                note=LABEL if a in odd_days else "",
            )
        )
        missing = sum(e - s for s, e in _merged(unknown)) / MICROSECONDS
        month = months.setdefault(rows[-1].month, defaultdict(float))
        for name, value in (
            *hours.items(),
            ("days", 1),
            ("trips", len(marks)),
            ("trip_days", bool(marks)),
            ("missing", missing),
        ):
            month[name] += value
        table.append(
            (
                label,
                *(model.show.hours(hours.get(k, 0.0)) for k in ("heat", "second", "cool")),
                model.show.count(len(marks)) if marks else "none" if knows_trips else "cannot tell",
                model.show.duration(missing) if missing >= 1 else "none",
                *([odd_days.get(a, "")] if odd_days else []),
            )
        )
    n_trips = sum(len(r.marks) for r in rows)
    trip_days = sum(1 for r in rows if r.marks)
    said = []
    if total["heat"]:
        second = f" ({model.show.duration(total['second'])} of it in second stage)"
        said.append(
            f"heat ran {model.show.duration(total['heat'])}" + (second if total["second"] else "")
        )
    elif knows_outputs:
        said.append("no heat ran")
    if total["cool"]:
        cool = [r for r in model.rows("interval.source_run") if text(r["mode"]) == "cooling"]
        visit = ", in a visit" if cool and all(r["in_visit"] is True for r in cool) else ""
        said.append(f"cooling ran {model.show.duration(total['cool'])}{visit}")
    elif knows_outputs:
        said.append("no cooling ran")
    if not knows_outputs:
        said.append("what ran cannot be told, outputs were not recorded")
    if n_trips:
        said.append(f"{plural(n_trips, 'limit trip')} on {plural(trip_days, 'day')}")
    elif knows_trips:
        said.append("no limit trip was seen")
    else:
        said.append(f"limit trips: cannot tell here ({model.why_not(HIGH_LIMIT)})")
    sentence = f"In {plural(len(rows), 'local day')}: " + "; ".join(said) + "."
    odd = [
        f"{r.label} has {round((r.end_ts - r.start_ts) / _HOUR_US)} hours: clocks change that day; "
        "its bars lie at hours since midnight."
        for r in rows
        if round((r.end_ts - r.start_ts) / _HOUR_US) != 24
    ]
    return DayFigure(
        key="days",
        title="Midnight to midnight.",
        sentence=sentence,
        rows=tuple(rows),
        hours=model.clock.hours,
        notes=(
            *odd,
            *year_notes(rows),
            f"Visits included. Outputs {model.basis('outputs')}.",
            *notes(model.result.unusual),
        ),
        by_month=_by_month(model, months, knows_trips) if len(rows) > MANY_DAYS else None,
        table=Table(
            "The same by day, in hours",
            (
                Column("Day"),
                Column("Heat", "number"),
                Column("of it second stage", "number"),
                Column("Cooling", "number"),
                Column("Limit trips", "number"),
                Column("Outputs not recorded", "number"),
                *([Column("Unusual for its weather")] if odd_days else []),
            ),
            tuple(table),
            folded=True,
        ),
    )


def _by_month(model: Model, months: dict[str, dict[str, float]], knows_trips: bool) -> Table:
    """What the days' table says, added up: a year is read by its months."""
    most = max((m["heat"] + m["cool"] for m in months.values()), default=0) or 1
    none = "none" if knows_trips else "cannot tell"
    columns: list[tuple[str, list[str | Cell]]] = [
        ("Days", [f"{m['days']:.0f}" for m in months.values()]),
        ("Heat", [_bar(model, m["heat"], most, "on") for m in months.values()]),
    ]
    # a column that says nothing of any month is left to the days' table
    for title, name, hue in (("of it second stage", "second", ""), ("Cooling", "cool", "cool")):
        if any(m[name] for m in months.values()):
            columns.append(
                (title, [_bar(model, m[name], most if hue else 0, hue) for m in months.values()])
            )
    for title, name in (("Limit trips", "trips"), ("on days", "trip_days")):
        told = [model.show.count(m[name]) if m["trips"] else none for m in months.values()]
        columns.append((title, list(told)))
    if any(m["missing"] >= 1 for m in months.values()):
        lacking = (m["missing"] for m in months.values())
        said = [model.show.duration(s) if s >= 1 else "none" for s in lacking]
        columns.append(("Outputs not recorded", list(said)))
    return Table(
        "The same by month, in hours",
        (Column("Month"), *(Column(title, "number") for title, _ in columns)),
        tuple(zip(months, *(cells for _, cells in columns), strict=True)),
    )


def _bar(model: Model, seconds: float, most: float, hue: str) -> Cell:
    bar = seconds / most if seconds and most else None
    return Cell(model.show.hours(seconds), bar=bar, hue=hue or "on")


def _parts(model: Model, conditions: pd.DataFrame) -> list[tuple[str, int, int]]:
    """(what is drawn, begin, end) in order of time; touching ones that are drawn alike are one."""
    runs = sorted(
        (*_ends(r), text(r["source"]), text(r["mode"])) for r in model.rows("interval.source_run")
    )
    logged = [text(r["role"]) for r in model.rows("channel.channel")]
    outputs = [r.removeprefix("output_") for r in logged if r.startswith("output_")]
    ordered = conditions.sort_values("start_ts", kind="stable")
    names = ("start_ts", "end_ts", "class", "stage", "source")
    told: dict[tuple[object, ...], str] = {}
    parts: list[tuple[str, int, int]] = []
    for n, (a, b, *state) in enumerate(zip(*(ordered[c].tolist() for c in names), strict=True)):
        key = tuple(state)
        if key[0] == "unknown" or key not in told:  # the outputs of its own row still tell
            told[key] = _kind(records(ordered.iloc[[n]])[0], outputs, runs)
        kind = told[key]
        if parts and parts[-1][0] == kind and parts[-1][2] == a:
            parts[-1] = (kind, parts[-1][1], b)
        else:
            parts.append((kind, a, b))
    return parts


def _kind(
    condition: dict[str, object], outputs: list[str], runs: list[tuple[int, int, str, str]]
) -> str:
    """What is drawn of a stretch. Where calls or blower are unknown the outputs still tell."""
    what, stage = text(condition["class"]), number(condition["stage"]) or 0
    source = text(condition["source"])
    if what == "unknown":
        what, source, stage = _by_outputs(condition, outputs, runs)
    if what == "unknown":
        return "unknown"
    if what == "cooling":
        return "cool2" if stage >= 2 else "cool"
    if what != "heating":
        return ""
    if source == "strip" or source == "both":
        return "aux" if source == "strip" else "second"
    if source == "compressor":
        return "compressor2" if stage >= 2 else "compressor"
    return "second" if stage >= 2 else "first"


def _by_outputs(
    condition: dict[str, object], outputs: list[str], runs: list[tuple[int, int, str, str]]
) -> tuple[str, str, float]:
    """(class, source, stage) from the outputs alone; unknown where one of them is."""
    states = {o: condition.get(o) for o in outputs if o in _WORKING}
    if not states or any(text(v) == "" for v in states.values()):
        return "unknown", "", 0
    on = {o for o, v in states.items() if v}
    if not on:
        return "off", "", 0
    at = _ts(condition["start_ts"])
    i = bisect_right(runs, at, key=lambda r: r[0])
    now = [r for r in runs[max(0, i - 4) : i] if r[1] > at]
    modes = {mode for *_, mode in now}
    if len(modes) != 1 or modes <= {"unknown"}:
        return "unknown", "", 0
    sources = {source for _, _, source, _ in now}
    source = sources.pop() if len(sources) == 1 else "both"
    second = "y2" in on if source == "compressor" else "w2" in on
    return modes.pop(), source, 2 if second else 1


def _hours(parts: tuple[DayPart, ...]) -> dict[str, float]:
    """Seconds by what the table names: heat, of it second stage, cooling."""
    out: dict[str, float] = defaultdict(float)
    for part in parts:
        s = (part.end_ts - part.start_ts) / MICROSECONDS
        out["cool" if part.kind.startswith("cool") else "heat"] += s
        if part.kind in ("second", "compressor2"):
            out["second"] += s
    return out


def _merged(spans: Spans) -> Spans:
    out: Spans = []
    for a, b in sorted(spans):
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(b, out[-1][1]))
        else:
            out.append((a, b))
    return out


def _ts(value: object) -> int:
    return int(number(value) or 0)


def _ends(row: dict[str, object]) -> tuple[int, int]:
    return _ts(row["start_ts"]), _ts(row["end_ts"])
