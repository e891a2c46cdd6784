"""Every rule's result: found, not found or cannot tell, and why."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup

from pipeline.words import joined
from reports.block import Block, Model, absent
from reports.markup import fill, slug
from reports.table import Cell, Column, Table, table_html
from reports.theme import call_shape, result_shape

ORDER = ("found", "not found", "cannot tell")


def render(model: Model) -> Block:
    """One row per rule of the tool, none left out."""
    title = "Every rule’s result"
    judged = model.result.judged
    if not judged:
        return Block("rules", title, absent("No rule was run", "the log could not be measured"))
    counts = Counter(j.result for j in judged)
    said = joined([f"{counts[w]} {w}" for w in ORDER if counts[w]])
    lead = fill(
        "<p class=lead>{{ n }} rules: {{ said }}.</p><p class=basis>“Not found” means not seen in "
        "these hours. It is not a safety check: nothing here measures carbon monoxide, gas leaks, "
        "venting or wiring.</p>",
        n=len(judged),
        said=said,
    )
    tables = [_table(model, w) for w in (*ORDER, *sorted(counts.keys() - set(ORDER))) if counts[w]]
    return Block("rules", title, Markup("").join([lead, *tables]), nav="Rules")


def _table(model: Model, result: str) -> Markup:
    """The rules with one result; those that found nothing open on demand and are printed."""
    found = {f.code: call_shape(f.severity) for f in model.result.findings}
    body = tuple(
        (
            Cell(
                j.title,
                href=f"#finding-{slug(j.code)}" if j.code in found else "",
                # a finding's own mark: a diamond on all of them would call a trip a thing to watch
                icon=found.get(j.code, result_shape(j.result)) + " ",
            ),
            j.question,
            j.why,
        )
        for j in model.result.judged
        if j.result == result
    )
    columns = (Column("Rule"), Column("Question", "wide"), Column("Why", "wide"))
    folded = result != "found"
    return table_html(
        Table(f"Asked of this log: {result}", columns, body, folded=folded, is_printed=folded)
    )
