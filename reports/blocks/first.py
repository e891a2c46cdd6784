"""What to check first and what not to do, gathered from the findings that weigh most."""

from __future__ import annotations

import re

from markupsafe import Markup

from reports.block import Block, Model
from reports.markup import fill, slug

MOST_CHECKS = 5
MOST_CAUTIONS = 6

_HTML = """
<div class="two">
<div><h2 id="h-first">Check first</h2>
<ol class="checks">
{% for text, key in checks %}
<li>{{ text }} <a class="from" href="#finding-{{ key }}">why</a></li>
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
    """The first checks and every caution, each once; what is about the house before the log."""
    checks: dict[str, tuple[Markup, str]] = {}
    cautions: list[str] = []
    total: set[str] = set()
    installation_first = sorted(model.result.findings, key=lambda f: f.about == "log")
    for finding in installation_first:
        total.update(finding.checks)
        for check in finding.checks[:2]:
            if len(checks) < MOST_CHECKS:
                checks.setdefault(check, (check_html(check), slug(finding.code)))
        for caution in finding.cautions:
            if caution not in cautions:
                cautions.append(caution)
    if not checks and not cautions:
        return Block("first", "", fill(""))
    more = len(total) - len(checks)
    html = fill(_HTML, checks=list(checks.values()), more=more, cautions=cautions[:MOST_CAUTIONS])
    return Block("first", "", html)


def check_html(check: str) -> Markup:
    """A check with what is good, and what a bad result means, on lines of their own."""
    parts = re.split(r" (?=Good: |If not: )", check)
    return fill(
        "{{ what }}{% for o in outcomes %} <span class=outcome>{{ o }}</span>{% endfor %}",
        what=parts[0],
        outcomes=parts[1:],
    )
