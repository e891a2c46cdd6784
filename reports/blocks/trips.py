"""Limit trips: by calling combination with the hours that could show them, and one by one."""

from __future__ import annotations

from collections import Counter, defaultdict

from markupsafe import Markup

from pipeline.clock_left import BESIDE_STATES, clock_note
from reports.block import Block, Model, absent
from reports.display import NONE, number, plural, text
from reports.markup import fill
from reports.table import Cell, Column, Table, table_html

MOST_PRINTED = 100
"""So many trips one by one are four sheets of paper; of a year's the first dozen are printed."""
OPENED_WORDS = {"panel": "panel", "unknown": "limit setting not known"}


def render(model: Model) -> Block:
    """Counts against the hours in the same state, then every trip with its context."""
    title = "Limit trips"
    rows = model.rows("measure.trip_context")
    basis = model.basis("trips")
    if not rows:
        if model.can_tell("high-limit-trips"):
            html = absent("No high-limit trip was seen", f"supply air, outputs and calls {basis}")
        elif model.frame("measure.coverage") is None:
            html = absent("No trips to show", "nothing was measured")
        else:
            html = absent("Limit trips: cannot tell here", model.why_not("high-limit-trips"))
        return Block("trips", title, html, nav="Trips")
    outside = [r for r in rows if not r["in_visit"]]
    lead = fill(
        "<p class=lead>{{ n }} seen{{ visit }}.</p>"
        "<p class=basis>Supply air and outputs: {{ basis }}.</p>",
        n=plural(len(rows), "limit trip"),
        visit=f", {plural(len(rows) - len(outside), 'of them', 'of them')} in a service visit"
        if len(outside) < len(rows)
        else "",
        basis=basis,
    )
    return Block(
        "trips",
        title,
        Markup("").join([lead, _by_combination(model, outside), _one_by_one(model, rows)]),
        nav="Trips",
    )


def _by_combination(model: Model, rows: list[dict[str, object]]) -> Markup:
    if not rows:
        return Markup()
    counts = Counter((text(r["kind"]), number(r["stage"]) or 0, text(r["zones"])) for r in rows)
    hours: dict[tuple[str, float, str], float] = defaultdict(float)
    for c in model.rows("measure.condition_time"):
        kind = {"heating": "high", "cooling": "low"}.get(text(c["class"]))
        if kind:
            hours[(kind, number(c["stage"]) or 0, text(c["zones"]))] += (
                number(c["outside_visit_s"]) or 0
            ) / 3600
    most = max(counts.values())
    body = []
    for key in sorted(counts, key=lambda k: (-counts[k], k)):
        kind, stage, zones = key
        h = hours.get(key, 0.0)
        body.append(
            (
                model.zones(zones),
                f"{'second' if stage >= 2 else 'first'} stage" if stage else NONE,
                kind,
                Cell(str(counts[key]), bar=counts[key] / most, hue="limit"),
                f"{h:.1f} h" if h else NONE,
                f"{counts[key] / h:.1f}" if h >= 1 else "under an hour",
            )
        )
    calm = sorted(
        ((h, key) for key, h in hours.items() if key not in counts and h >= 1), reverse=True
    )[:4]
    note = "Visits left out. The rate is trips per hour in that very state."
    if calm:
        note += " No trip in " + "; ".join(
            f"{h:.1f} h with {model.zones(zones)} on {'second' if stage >= 2 else 'first'} stage"
            for h, (_, stage, zones) in calm
        )
        note += "."
    return table_html(
        Table(
            "By what was calling just before",
            (
                Column("Calling"),
                Column("Stage"),
                Column("Limit"),
                Column("Trips", "number"),
                Column("Hours in that state", "number"),
                Column("Trips an hour there", "number"),
            ),
            tuple(body),
            note=note,
        )
    )


def _one_by_one(model: Model, rows: list[dict[str, object]]) -> Markup:
    body: list[tuple[str, ...]] = []
    for r in sorted(rows, key=lambda r: number(r["start_ts"]) or 0):
        stage = number(r["stage"]) or 0
        tags = [] if r["is_certain"] else ["shorter than two readings"]
        tags += ["in a visit"] if r["in_visit"] else []
        body.append(
            (
                model.clock.moment(r["drop_ts"], seconds=True),
                _opened(r),
                model.show.value("temperature", r["peak_f"]),
                model.zones(r["zones"]),
                "second" if stage >= 2 else "first" if stage else NONE,
                model.show.duration(r["run_before_s"]),
                model.show.value("pressure", r["static_max_inwc"]),
                model.show.value("temperature", r["outdoor_f"], 0),
                model.show.duration(r["recovery_s"]),
                ", ".join(tags),
            )
        )
    if not any(row[-1] for row in body):  # nothing to remark: no empty column
        body = [row[:-1] for row in body]
    heads = (
        ("Outputs dropped at", "text"),
        ("Limit", "text"),
        ("Peak supply", "number"),
        ("Calling", "wide"),
        ("Stage", "text"),
        ("Ran before", "number"),
        ("Highest static before", "number"),
        ("Outdoor", "number"),
        ("Until on again", "number"),
        ("Remark", "wide"),
    )
    return table_html(
        Table(
            "Every trip",
            tuple(Column(t, k) for t, k in heads[: len(body[0])]),
            tuple(body),
            note="Static: highest in the 2 min before. A trip belongs to the panel’s limit; the "
            f"furnace’s own limit is another event. {clock_note(model.result, *BESIDE_STATES)}",
            fold_after=12,
            is_printed=len(body) <= MOST_PRINTED,
        )
    )


def _opened(row: dict[str, object]) -> str:
    by = text(row["opened_by"])
    return f"{text(row['kind'])}, {OPENED_WORDS.get(by, by)}"
