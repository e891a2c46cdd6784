"""The page of a logging plan: what to log on the first sheet, the form to fill on the second."""

from __future__ import annotations

from collections.abc import Callable

from pipeline import __version__
from pipeline.plan.record import Plan
from reports.block import Block
from reports.blocks import plan_channels, plan_form, plan_questions
from reports.blocks.header import KIND_WORDS
from reports.display import plural
from reports.markup import fill
from reports.page import page_html

BLOCKS: tuple[Callable[[Plan], Block], ...] = (
    plan_channels.render,
    plan_channels.render_care,
    plan_questions.render,
    plan_form.render,
)
"""The page in reading order."""

_HEAD = """
<div class="sitehead"><div>
<h1>Logging plan: {{ name }}</h1>
<p>{{ system }}</p></div>
<dl>
<div><dt>Asked</dt><dd>{{ asked }}</dd></div>
</dl></div>
"""
_FOOT = (
    "<p>Made by zonetrail {{ version }}. Work on gas, refrigerant, limits and wiring belongs to "
    "licensed practice, local codes and the equipment’s own instructions.</p>"
)


def render_plan(plan: Plan) -> str:
    """The plan as one HTML file: no script, nothing that loads."""
    system = KIND_WORDS.get(plan.kind, plan.kind)
    if plan.zones:
        system = f"{len(plan.zones)}-zone {system}"
    if plan.site_id and plan.site_id != plan.name:
        system += f" · site {plan.site_id}"
    asked = ", ".join(plan.asked) or f"all it can show: {plural(len(plan.questions), 'question')}"
    return page_html(
        f"Logging plan: {plan.name}",
        fill(_HEAD, name=plan.name, system=system, asked=asked),
        [block(plan) for block in BLOCKS],
        fill(_FOOT, version=__version__),
        skip="Skip to the plan",
        styles="plan.css",
    )
