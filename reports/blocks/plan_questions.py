"""Each question: how fast and why, what must occur, how it stands, what stays unknown."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.plan.record import (
    INFERRED,
    MISSING,
    NOT_KNOWN,
    READY,
    TOO_SLOW,
    Plan,
    PlannedQuestion,
)
from pipeline.plan.say import slowest_text
from pipeline.words import sentence
from reports.block import Block
from reports.display import plural
from reports.markup import fill
from reports.table import Cell, Column, Table, table_html
from reports.theme import result_shape

_SHAPES = {
    READY: "found",
    INFERRED: "found",
    MISSING: "cannot tell",
    TOO_SLOW: "cannot tell",
    NOT_KNOWN: "not found",
}
_NOTES = """
{% if later %}<p class="basis">Not yet judged by a rule of this version, but worth logging now:
{{ later }}.</p>{% endif %}
{% if not_here %}<p class="basis">Not on this equipment: {{ not_here }}.</p>{% endif %}
"""


def render(plan: Plan) -> Block:
    """One row per question that was asked and that this equipment can raise."""
    columns = [
        Column("Question"),
        Column("Slowest", "number"),
        Column("Why", "wide"),
        Column("What must occur", "wide"),
    ]
    columns.append(Column("As logged now" if plan.has_logged else "Stays unknown", "wide"))
    table = Table(
        f"What was asked: {plural(len(plan.questions), 'question')}",
        tuple(columns),
        tuple(_row(q) for q in plan.questions),
    )
    notes = fill(
        _NOTES,
        later=", ".join(q.title.lower() for q in plan.questions if not q.is_judged),
        not_here="; ".join(f"{title.lower()} ({why})" for title, why in plan.not_here),
    )
    body = Markup('<div class="onscreen">{}{}</div>').format(table_html(table), notes)
    return Block("questions", "Questions, how fast and how long", body)


def _row(q: PlannedQuestion) -> tuple[Cell | str, ...]:
    occur = f"at least {q.hours:g} h of {q.state}: {q.weather}"
    if q.also:
        occur += f"; {q.also}"
    return (
        q.title,
        slowest_text(q.interval),
        sentence(q.interval.why),
        sentence(occur),
        _standing(q),
    )


def _standing(q: PlannedQuestion) -> Cell | str:
    unknown = f" Stays unknown: {'; '.join(q.cannot_tell)}." if q.cannot_tell else ""
    if q.standing is None:
        return f"{'; '.join(q.cannot_tell)}." if q.cannot_tell else "nothing"
    if q.standing == INFERRED:
        lacks = q.inferred.removeprefix(f"{INFERRED} ")
        return Cell(f"Inferred {lacks}.{unknown}", icon=result_shape(_SHAPES[INFERRED]) + " ")
    lacks = "; ".join([f"no {m}" for m in q.missing] + list(q.too_slow))
    said = f"{q.standing.capitalize()}{': ' if lacks else ''}{lacks}."
    return Cell(said + unknown, icon=result_shape(_SHAPES[q.standing]) + " ")
