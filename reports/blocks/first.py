"""What to check first and what not to do, gathered from the findings that weigh most."""

from __future__ import annotations

import re

from markupsafe import Markup

from pipeline.first_checks import in_order
from pipeline.result import Finding
from reports.block import Block, Model
from reports.markup import fill, slug

MOST_CHECKS = 4
"""So many checks and every caution stand on the first printed page together with the verdict."""
MOST_AT_A_PLACE = 2
SAME_WORDS = 5

_HTML = """
<div class="two">
<div><h2 id="h-first">Check first</h2>
<ol class="checks">
{% for place, items in places %}
<li>{% if items|length > 1 %}<b>{{ place }}</b><ul>
{% for text in items %}<li>{{ text }}</li>
{% endfor %}</ul>{% else %}<b>{{ place }}</b> {{ items[0] }}{% endif %}</li>
{% endfor %}
</ol>
{% if more %}<p class="fnote">{{ more }} more under the findings.</p>{% endif %}
</div>
{% if cautions %}
<div class="caution" id="care"><h2>Take care</h2>
<ol>{% for c in cautions %}<li>{{ c }}</li>{% endfor %}</ol></div>
{% endif %}
</div>
"""


def render(model: Model) -> Block:
    """The first checks by place, and every caution once; the house before the log.

    Findings often send to the same place: what is to be read there stands in one list.
    """
    places: dict[str, dict[str, Markup]] = {}
    total: set[str] = set()
    found = in_order(model.result.findings)
    log = [f for f in found[1:] if f.about == "log" and f.severity != "note"]
    # the house first; what the verdict opens with of the log second, as the terminal says it
    opening = [(f, f.checks[:1]) for f in (*found[:1], *log)]
    for finding, checks in (*opening, *((f, f.checks[:2]) for f in found)):
        total.update(finding.checks)
        for check in checks:
            place, rest = place_of(check)
            at = places.get(place, {})
            shown = sum(len(p) for p in places.values())
            told = any(_begins(rest) == _begins(place_of(other)[1]) for other in at)
            if shown < MOST_CHECKS and len(at) < MOST_AT_A_PLACE and not told:
                places[place] = at | {check: check_html(rest, slug(finding.code))}
    cautions = all_cautions(model)
    if not places and not cautions:
        return Block("first", "", fill(""))
    html = fill(
        _HTML,
        places=[(place, list(at.values())) for place, at in places.items()],
        more=len(total) - sum(len(at) for at in places.values()),
        cautions=cautions,
    )
    return Block("first", "", html)


def _begins(check: str) -> list[str]:
    """What a check sends one to look at: two that begin alike would have it read twice."""
    return check.lower().split()[:SAME_WORDS]


def by_weight(model: Model) -> list[Finding]:
    """The findings in order, those about the log itself last."""
    return sorted(model.result.findings, key=lambda f: f.about == "log")


def all_cautions(model: Model) -> list[str]:
    """Every caution of every finding, each once, in the order of the findings."""
    return list(dict.fromkeys(c for f in by_weight(model) for c in f.cautions))


def place_of(check: str) -> tuple[str, str]:
    """('At the panel:', 'Read ...') of a check that begins with its place; ('', check) else."""
    found = re.match(r"((?:At|Along|In|On|Under|Outside|Before) [^:.]{2,40}:) (\S.*)", check, re.S)
    if not found:
        return "", check
    rest = found.group(2)
    return found.group(1), rest[:1].upper() + rest[1:]


def check_html(check: str, why: str = "") -> Markup:
    """A check with what is good, and what a bad result means, on lines of their own.

    why : the finding it is linked to, '' for no link
    """
    parts = re.split(r" (?=Good: |If not: )", check)
    return fill(
        "{{ what }}{% if why %} <a class=from href='#finding-{{ why }}'>why</a>{% endif %}"
        "{% for o in outcomes %} <span class=outcome>{{ o }}</span>{% endfor %}",
        what=parts[0],
        why=why,
        outcomes=parts[1:],
    )
