"""What to check first and what not to do, gathered from the findings that weigh most."""

from __future__ import annotations

from reports.block import Block, Model
from reports.markup import fill, slug

MOST_CHECKS = 5
MOST_CAUTIONS = 6

_HTML = """
<div class="two">
<div><h2 id="h-first">Check first</h2>
<ol class="checks">
{% for c in checks %}
<li>{{ c.text }} <a class="from" href="#finding-{{ c.key }}">why</a></li>
{% endfor %}
</ol>
{% if more %}<p class="fnote">{{ more }} more under the findings.</p>{% endif %}
</div>
{% if cautions %}
<div class="caution"><h2>Take care</h2>
<ul>{% for c in cautions %}<li>{{ c }}</li>{% endfor %}</ul></div>
{% endif %}
</div>
"""


def render(model: Model) -> Block:
    """The first checks in the findings' order, each once, and every caution that goes with them."""
    checks: list[dict[str, str]] = []
    cautions: list[str] = []
    total: set[str] = set()
    for finding in model.result.findings:
        total.update(finding.checks)
        for check in finding.checks[:2]:
            if len(checks) < MOST_CHECKS and check not in (c["text"] for c in checks):
                checks.append({"text": check, "key": slug(finding.code)})
        for caution in finding.cautions:
            if caution not in cautions:
                cautions.append(caution)
    if not checks and not cautions:
        return Block("first", "", fill(""))
    more = len(total) - len(checks)
    html = fill(_HTML, checks=checks, more=more, cautions=cautions[:MOST_CAUTIONS])
    return Block("first", "", html)
