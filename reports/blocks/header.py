"""Whose log this is: site, system, stretch, clock; the page's only h1."""

from __future__ import annotations

from reports.block import Block, Model
from reports.display import NONE, number, plural
from reports.markup import fill

KIND_WORDS = {
    "furnace_ac": "furnace and air conditioner",
    "heat_pump": "heat pump",
    "dual_fuel": "heat pump with furnace (dual fuel)",
    "furnace": "furnace",
    "ac": "air conditioner",
}

_HTML = """
<div class="sitehead"><div>
<h1>{{ name }}</h1>
<p>{{ system }}</p></div>
<dl>
<div><dt>Logged</dt><dd>{{ logged }}</dd></div>
<div><dt>Local time</dt><dd>{{ zone }}</dd></div>
<div><dt>Read</dt><dd>{{ channels }}</dd></div>
</dl></div>
{% if complaint %}<p class="complaint"><b>Customer’s words</b> “{{ complaint }}”</p>{% endif %}
"""


def render(model: Model) -> Block:
    """The head of the page; with redaction only the site's id stands for it."""
    site, window = model.result.site, model.window
    name = site.site_id if model.result.redacted else (site.name or site.site_id)
    system = KIND_WORDS.get(site.kind, site.kind)
    if site.zones:
        system = f"{len(site.zones)}-zone {system}"
    if not model.result.redacted and site.name:
        system += f" · site {site.site_id}"
    zones = [model.clock.name(window.start_ts)]
    if model.clock.name(window.end_ts) not in zones:
        zones.append(model.clock.name(window.end_ts))
    html = fill(
        _HTML,
        name=name,
        system=system,
        logged=_logged(model),
        zone=f"{site.timezone} ({', then '.join(zones)})",
        channels=_channels(model),
        complaint="" if model.result.redacted else site.complaint or "",
    )
    return Block("top", "", html)


def _logged(model: Model) -> str:
    """From when to when, with the year once where the days do not carry theirs."""
    window, year = model.window, str(model.clock.local(model.window.end_ts).year)
    said = model.clock.span(window.start_ts, window.end_ts)
    return said if year in said else f"{said}, {year}"


def _channels(model: Model) -> str:
    rows = model.rows("channel.channel")
    if not rows:
        return NONE
    loggers = {row["logger"] for row in rows}
    steps = sorted({n for row in rows if row["is_sampled"] and (n := number(row["interval_s"]))})
    out = f"{plural(len(rows), 'channel')} of {plural(len(loggers), 'logger')}"
    if not steps:
        return out
    fine, coarse = model.show.duration(steps[0]), model.show.duration(steps[-1])
    return f"{out}, every {fine}" + (f" to {coarse}" if coarse != fine else "")
