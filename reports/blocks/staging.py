"""The stage-up audit: every start of second stage against the settings as given."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup

from pipeline.words import joined
from reports.block import Block, Model, absent
from reports.blocks.runtime import SOURCE_WORDS
from reports.display import NONE, number, plural, text
from reports.markup import fill
from reports.table import Cell, Column, Table, table_html

CLOCK_WORDS = {
    "zone_call": "from the longest call",
    "equipment_start": "from the start of the equipment",
}


def render(model: Model) -> Block:
    """The starts out of order first, then the rest, each in time order."""
    title = "Second-stage starts"
    rows = model.rows("measure.stage_up")
    if not rows:
        told = max(model.covered("output_w2"), model.covered("output_y2"))
        if told:
            why = f"second stage never came on in what was logged, {model.show.share(told)}"
            html = absent("No start of second stage", why)
        else:
            html = absent("Second-stage starts: cannot tell here", "second stage was not logged")
        return Block("staging", title, html, nav="Staging")
    counts = Counter(text(r["result"]) for r in rows)
    inside = sum(1 for r in rows if r["in_visit"] is True)
    visits = f" ({inside} of them in a service visit, left out of the findings)" if inside else ""
    said = f"{plural(len(rows), 'start')}{visits}: " + joined(
        [f"{n} {word}" for word, n in sorted(counts.items(), key=lambda k: -k[1])]
    )
    lead = fill(
        "<p class=lead>{{ said }}.</p><p class=basis>Outputs and calls: {{ basis }}. A setting "
        "that nobody gave is not audited.</p>",
        said=said,
        basis=model.basis("staging"),
    )
    ordered = sorted(
        rows, key=lambda r: (text(r["result"]) == "in order", number(r["start_ts"]) or 0)
    )
    return Block("staging", title, lead + _table(model, ordered), nav="Staging")


def _table(model: Model, rows: list[dict[str, object]]) -> Markup:
    body = []
    for r in rows:
        need = number(r["min_zones_setting"])
        delay = number(r["delay_setting_s"])
        result = text(r["result"])
        early = number(r["early_by_s"])
        words = result + (f" by {model.show.duration(early)}" if early else "")
        words += " (in a visit)" if r["in_visit"] else ""
        stayed = number(r["stayed_in_s"])
        body.append(
            (
                model.clock.moment(r["start_ts"], seconds=True),
                f"{SOURCE_WORDS.get(text(r['source']), text(r['source']))}, {text(r['mode'])}",
                f"{model.zones(r['zones'])}"
                + (f" ({round(number(r['n_zones']) or 0)} of {need:g} needed)" if need else ""),
                model.show.duration(r["longest_call_s"]),
                model.show.duration(r["run_before_s"]),
                model.show.duration(delay) if delay is not None else "not given",
                Cell(words, word="" if result in ("in order", "not audited") else "strong"),
                model.show.duration(r["length_s"]),
                NONE if stayed is None else model.show.duration(stayed),
            )
        )
    clocks = sorted({text(r["clock_used"]) for r in rows} - {""})
    how = joined([CLOCK_WORDS.get(c, c) for c in clocks])
    heads = (
        ("Second stage on", "text"),
        ("Source", "text"),
        ("Calling", "wide"),
        ("Longest call", "number"),
        ("Ran before", "number"),
        ("Delay as set", "number"),
        ("Result", "wide"),
        ("On for", "number"),
        ("Stayed in", "number"),
    )
    return table_html(
        Table(
            "Starts of second stage, those out of order first",
            tuple(Column(t, k) for t, k in heads),
            tuple(body),
            note=f"The delay is counted {how}." if how else "",
            fold_after=12,
        )
    )
