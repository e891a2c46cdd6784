"""The fleet by week, and what to have on the shelf for the visits to come."""

from __future__ import annotations

from markupsafe import Markup

from reports.block import Block
from reports.fleet_drawing import week_figure
from reports.fleet_model import FleetModel
from reports.markup import fill
from reports.table import Column, Table, table_html

_NOTE = """
<p class="basis">All sites together, over the hours in which each could show. A week with too little
of them is hatched, never nought. Rates are per hour run; weather is not otherwise
taken out.</p>
"""


def render_parts(model: FleetModel) -> Block:
    """Parts that the findings on the list may need, and at how many sites."""
    parts = model.result.parts
    title = "To have on the shelf"
    if not parts:
        return Block("parts", title, Markup())
    table = Table(
        "What the visits on this list may need",
        (Column("Part", "wide"), Column("Sites", "number")),
        tuple((part, f"{n:,}") for part, n in parts),
        note="By the findings’ likely causes. The checks at the unit decide what is fitted.",
    )
    return Block("parts", title, table_html(table), nav="Parts")


def render_trends(model: FleetModel) -> Block:
    """Key rates of the whole fleet by week."""
    title = "The fleet by week"
    if not model.result.trends:
        return Block("trends", title, Markup())
    figures = Markup("").join(week_figure(t) for t in model.result.trends)
    return Block("trends", title, fill(_NOTE) + Markup('<div class="few">{}</div>').format(figures),
                 nav="By week")  # fmt: skip
