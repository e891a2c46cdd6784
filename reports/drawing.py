"""A figure record as its part of the page: caption, still drawing, room for the live one, table."""

from __future__ import annotations

from markupsafe import Markup

from reports.display import Clock
from reports.figure import Band, DayFigure, Figure, TimeFigure
from reports.markup import clean, fill
from reports.svg import paint, time_still
from reports.svg_days import day_still, point_still
from reports.svg_year import MANY_DAYS, year_still
from reports.table import table_html

_FIGURE = """
<figure id="fig-{{ f.key }}" class="fig"
{%- if live %} data-live="{{ f.key }}"{% endif %}>
<figcaption><b>{{ f.title }}</b> {{ f.sentence }}</figcaption>
{{ still }}
{% if live %}
<div class="live" hidden></div>
<div class="tools noprint" hidden>
<button type="button" class="open">Open the zoomable chart</button>
<button type="button" class="whole" hidden>Whole stretch</button>
<label class="slide" hidden>Read values at <output></output>
<input type="range" min="0" max="1000" value="500"></label>
<div class="values" aria-live="polite" hidden></div>
</div>
{% endif %}
{% if marks %}<ol class="marks">
{% for m in marks %}<li><b>{{ loop.index }}</b> {{ m }}</li>{% endfor %}</ol>{% endif %}
{% if bands %}<p class="keys">{{ bands }}</p>{% endif %}
{% for n in f.notes %}<p class="fnote">{{ n }}</p>{% endfor %}
{{ table }}
</figure>
"""


def figure_html(figure: Figure, clock: Clock | None = None) -> Markup:
    """The figure with its caption; without a drawing, a sentence says that there is nothing.

    clock : needed for marks, whose list gives their local times to the second
    """
    if isinstance(figure, TimeFigure):
        if figure.is_empty:
            return fill(
                '<figure id="fig-{{ f.key }}" class="fig"><figcaption><b>{{ f.title }}</b>'
                '</figcaption><p class="absent">Nothing was recorded in this stretch that could '
                "be drawn.</p></figure>",
                f=figure,
            )
        return _filled(figure, time_still(figure), clock)
    if isinstance(figure, DayFigure):
        many = len(figure.rows) > MANY_DAYS
        return _filled(figure, year_still(figure) if many else day_still(figure))
    return _filled(figure, point_still(figure))


def _filled(figure: Figure, still: Markup, clock: Clock | None = None) -> Markup:
    live = isinstance(figure, TimeFigure)
    marks: list[str] = []
    bands = Markup()
    if isinstance(figure, TimeFigure):
        if clock is not None:
            marks = [f"{clock.time(m.ts, seconds=True)}: {m.label}" for m in figure.marks]
        bands = Markup("").join(
            Markup(
                '<span class="key"><svg width="14" height="12" aria-hidden="true">'
                '<rect width="14" height="12" {}/></svg>{}</span>'
            ).format(paint(band.hue), clean(band.label))
            for band in _distinct(figure)
        )
    return fill(
        _FIGURE,
        f=figure,
        still=still,
        live=live,
        marks=marks,
        bands=bands,
        table=Markup("").join(
            table_html(t) for t in (getattr(figure, "by_month", None), figure.table) if t
        ),
    )


def _distinct(figure: TimeFigure) -> list[Band]:
    seen: dict[tuple[str, str], Band] = {}
    for band in figure.bands:
        if band.label:
            seen.setdefault((band.hue, band.label), band)
    return list(seen.values())
