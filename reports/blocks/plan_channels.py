"""What to log: the answer in a sentence, every channel with its place, what to mind."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.plan.record import Plan, PlannedChannel
from pipeline.plan.say import headline, how_long, set_to, standing_text
from reports.block import Block
from reports.markup import fill
from reports.table import Cell, Column, Table, table_html

_ANSWER = """
<div class="verdict">
<h2 class="long" id="h-plan">{{ headline }}</h2>
<p class="sure">{{ how_long }}</p>
{% if standing %}<p class="sure"><b>{{ standing }}</b></p>{% endif %}
</div>
"""
_CARE = "<ul>{% for text in lines %}<li>{{ text }}</li>{% endfor %}</ul>"


def render(plan: Plan) -> Block:
    """The answer and the channels: those without which something fails, then those that help."""
    answer = fill(
        _ANSWER, headline=headline(plan), how_long=how_long(plan), standing=standing_text(plan)
    )
    needed = [c for c in plan.channels if c.is_needed]
    helping = [c for c in plan.channels if not c.is_needed]
    parts = [answer, table_html(_table(plan, needed, "What to log, worth most first"))]
    if helping:
        parts.append(table_html(_table(plan, helping, "Worth adding: they settle causes")))
    return Block("plan", "", Markup("").join(parts))


def render_care(plan: Plan) -> Block:
    """The cautions of the work."""
    return Block("care", "Take care", fill(_CARE, lines=plan.cautions))


def _table(plan: Plan, channels: list[PlannedChannel], title: str) -> Table:
    columns = [Column("Channel"), Column("Set to"), Column("Where the probe goes", "wide")]
    columns.append(Column("Without it, unknown", "wide"))
    if plan.has_logged:
        columns.append(Column("Logged now"))
    rows = []
    for c in channels:
        zones = f"\u00a0×\u00a0{len(c.zones)}" if len(c.zones) > 1 else ""
        place = f"{c.where}; {c.care}" if c.care else c.where
        cells: list[Cell | str] = [c.label + zones, _unbroken(set_to(c)), place, c.without]
        if plan.has_logged:
            cells.append(_unbroken(c.logged))
        rows.append(tuple(cells))
    note = (
        "Worth: each subject that was asked for counts one, shared among its questions; a channel "
        "that only helps with causes counts half. One logger reads all its channels at its fastest."
        if channels and channels[0].is_needed
        else ""
    )
    return Table(title, tuple(columns), tuple(rows), note=note)


def _unbroken(text: str) -> str:
    return text.replace(" ", "\u00a0")
