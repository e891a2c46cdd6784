"""Every rule's result: found, not found or cannot tell, and why."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup

from pipeline.words import joined
from reports.block import Block, Model, absent
from reports.markup import fill, slug
from reports.table import Cell, Column, Table, table_html
from reports.theme import result_shape

ORDER = ("found", "not found", "cannot tell")


def render(model: Model) -> Block:
    """One row per rule of the tool, none left out."""
    title = "Every rule’s result"
    judged = model.result.judged
    if not judged:
        return Block("rules", title, absent("No rule was run", "the log could not be measured"))
    counts = Counter(j.result for j in judged)
    said = joined([f"{counts[w]} {w}" for w in ORDER if counts[w]])
    codes = {f.code for f in model.result.findings}
    body = tuple(
        (
            Cell(j.title, href=f"#finding-{slug(j.code)}" if j.code in codes else ""),
            j.question,
            Cell(
                j.result,
                icon=result_shape(j.result) + " ",
                word="strong" if j.result == "found" else "",
            ),
            j.why,
        )
        for j in sorted(judged, key=lambda j: ORDER.index(j.result) if j.result in ORDER else 9)
    )
    lead = fill(
        "<p class=lead>{{ n }} rules: {{ said }}.</p><p class=basis>“Not found” means not seen in "
        "these hours. It is not a safety check: nothing here measures carbon monoxide, gas leaks, "
        "venting or wiring.</p>",
        n=len(judged),
        said=said,
    )
    table = Table(
        "What was asked of this log",
        (Column("Rule"), Column("Question", "wide"), Column("Result"), Column("Why", "wide")),
        body,
    )
    return Block("rules", title, Markup("").join([lead, table_html(table)]), nav="Rules")
