"""The form of facts to read off: one printed sheet, in the order of the walk."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.plan.record import Fact, Plan, Station
from reports.block import Block
from reports.markup import fill

_STATION = """
<div class="stop"><h3>{{ title }}</h3><p>{{ first }}</p>
<table aria-label="{{ title }}"><thead><tr><th scope="col">Fact</th>{% if has_given %}
<th scope="col">In site.toml</th>{% endif %}<th scope="col">As found</th></tr></thead><tbody>
{% for f in facts %}
<tr><th scope="row">{{ f.label }} <span>{{ f.write }}</span></th>{% if has_given %}
<td class="given">{{ f.given }}</td>{% endif %}<td class="blank"></td></tr>
{% endfor %}
</tbody></table></div>
"""
_ZONES = """
<div class="stop zones" tabindex="0" role="group" aria-label="{{ title }}">
<h3>{{ title }}</h3><p>{{ first }}</p>
<table aria-label="{{ title }}"><thead><tr><th scope="col">Fact</th>
{% for z in zones %}<th scope="col">{{ z }}</th>{% endfor %}</tr></thead><tbody>
{% for label, cells in rows %}
<tr><th scope="row">{{ label }}</th>{% for c in cells %}<td class="blank">{{ c }}</td>{% endfor %}
</tr>
{% endfor %}
</tbody></table></div>
"""
_HEAD = (
    "<p>{{ name }}. Date and name: <span class=line></span> Ten minutes. What is not known stays "
    "blank.</p>"
)


def render(plan: Plan) -> Block:
    """Every stop of the walk with its lines to fill, beside what site.toml says already."""
    has_given = any(f.given for s in plan.stations for f in s.facts)
    parts = [fill(_HEAD, name=plan.name)]
    parts += [_station(s, has_given) for s in plan.stations]
    body = Markup('<div class="form">{}</div>').format(Markup("").join(parts))
    return Block("form", "Facts to read off, in walking order", body)


def _station(station: Station, has_given: bool) -> Markup:
    if station.facts and station.facts[0].key.startswith("zone."):
        return _zones(station)
    return fill(
        _STATION,
        title=station.title,
        first=station.first,
        facts=station.facts,
        has_given=has_given and any(f.given for f in station.facts),
    )


def _zones(station: Station) -> Markup:
    zones = list(dict.fromkeys(f.write for f in station.facts))
    by_label: dict[str, list[Fact]] = {}
    for fact in station.facts:
        by_label.setdefault(fact.label, []).append(fact)
    return fill(
        _ZONES,
        title=station.title,
        first=station.first,
        zones=[z.capitalize() for z in zones],
        rows=[(label, [f.given for f in facts]) for label, facts in by_label.items()],
    )
