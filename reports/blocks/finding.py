"""The findings in order: sentence, evidence figures, causes, checks, cautions, events."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.result import Finding
from pipeline.threshold_words import number_said
from pipeline.thresholds import FIXED_KINDS, THRESHOLDS
from pipeline.words import joined
from reports.block import Block, Model
from reports.blocks.first import all_cautions, check_html
from reports.display import plural
from reports.drawing import figure_html
from reports.evidence import evidence_figure
from reports.figure import TimeFigure
from reports.markup import fill, slug
from reports.table import Column, Table, table_html
from reports.theme import CALL_MEANS, CALL_WORDS, call_hue, call_shape

KIND_WORDS = {
    "standard": "published standard",
    "safety": "guards people or equipment; cannot be changed",
    "trade": "common practice",
    "ours": "chosen here",
    "site": "stands in where the site file gives none",
}

_HTML = """
<article class="finding rule-{{ hue }}" id="finding-{{ key }}" aria-labelledby="h-{{ key }}">
<div class="said"><p class="call c-{{ hue }}">{{ shape }} <b>{{ word }}</b>
<span>{{ means }}</span></p>
<h3 id="h-{{ key }}">{{ f.title }}</h3>
<p class="lead">{{ f.summary }}</p></div>
{% if folds %}<details class="rest" open><summary>Evidence, causes and checks</summary>{% endif %}
<p class="basis"><b class="certainty">{{ f.certainty|capitalize }}.</b>
{% if basis %}Behind it: {{ basis }}.{% endif %}
{% if f.about == 'log' %}This is about the log, not the installation.{% endif %}</p>
{{ figures }}
{% if rest %}<details class="evidence"><summary>{{ more }}: {{ titles }}</summary>
{{ rest }}</details>{% endif %}
{% if f.ruled_out %}<h4>Ruled out</h4><ul>
{% for s in f.ruled_out %}<li>{{ s }}</li>{% endfor %}</ul>{% endif %}
<div class="two">
{% if f.causes %}<div><h4>Possible causes, likeliest first</h4><ol class="causes">
{% for c in f.causes %}<li><b>{{ c.cause }}</b> {{ c.because }}
{% if c.replay %} Try it on this log: <code>{{ c.replay }}</code>{% endif %}</li>{% endfor %}
</ol></div>{% endif %}
{% if checks %}<div><h4>Check next</h4><ol class="checks">
{% for c in checks %}<li>{{ c }}</li>{% endfor %}</ol></div>{% endif %}
</div>
{% if f.cautions %}<p class="care"><b>Take care:</b> {{ care }} at the
<a href="#care">head of the page</a>.</p>{% endif %}
{{ events }}
{{ numbers }}
<p class="source"><b>Source of the rule:</b> {{ f.source }}</p>
{% if folds %}</details>{% endif %}
</article>
"""


MAX_EVENTS = 60
"""Events listed under a finding; the sentence above the list counts all of them."""


def render(model: Model) -> Block:
    """Every finding of the result, in its order."""
    parts, figures = [], []
    for finding in model.result.findings:
        html, drawn = _finding(model, finding)
        parts.append(html)
        figures += drawn
    if not parts:
        return Block(
            "findings", "Findings", Markup('<p class="absent">No rule found anything.</p>')
        )
    return Block("findings", "Findings", Markup("").join(parts), tuple(figures), nav="Findings")


def _finding(model: Model, finding: Finding) -> tuple[Markup, list[TimeFigure]]:
    figures = [evidence_figure(model, finding, window) for window in finding.windows]
    first, rest = figures[:1], figures[1:]
    html = fill(
        _HTML,
        f=finding,
        folds=finding.severity not in ("act", "plan"),
        key=slug(finding.code),
        hue=call_hue(finding.severity),
        word=CALL_WORDS[finding.severity],
        means=CALL_MEANS[finding.severity],
        shape=Markup(call_shape(finding.severity)),
        basis=model.show.basis(finding.coverage, finding.resolution_s),
        checks=[check_html(c) for c in finding.checks],
        figures=Markup("").join(figure_html(f, model.clock) for f in first),
        rest=Markup("").join(figure_html(f, model.clock) for f in rest),
        care=_care(model, finding),
        more=plural(len(rest), "more stretch", "more stretches"),
        titles=joined([f.title.removesuffix(".") for f in rest]),
        events=_events(model, finding),
        numbers=threshold_table(model, finding.thresholds, "Numbers this finding was judged by"),
    )
    return html, figures


def _care(model: Model, finding: Finding) -> str:
    """'cautions 1, 3 and 4' by their numbers at the head of the page."""
    numbered = all_cautions(model)
    at = [str(numbered.index(c) + 1) for c in finding.cautions]
    return f"{'caution' if len(at) == 1 else 'cautions'} {joined(at)}"


def _events(model: Model, finding: Finding) -> Markup:
    """The events, folded: the caption says how many of how many are listed."""
    if finding.table:
        columns = [title for title, _ in finding.table]
        rows = tuple(zip(*(values for _, values in finding.table), strict=True))[:MAX_EVENTS]
        seen = len(finding.evidence)
        note = ""
        if seen > len(rows):
            note = (
                f"{len(rows):,} of {seen:,} are listed, as the finding orders them; "
                f"the minutes of all {seen:,} are in review.json."
            )
        return table_html(
            Table(
                f"The events behind it{f': {len(rows):,} of {seen:,}' if note else ''}",
                tuple(Column(c, "wide" if i else "text") for i, c in enumerate(columns)),
                rows,
                note=note,
                folded=True,
            )
        )
    if not finding.evidence:
        return Markup()
    rows = tuple(
        (model.clock.span(s.start_ts, s.end_ts, seconds=True), s.label) for s in finding.evidence
    )
    return table_html(
        Table("When it was seen", (Column("Local time"), Column("What", "wide")), rows, folded=True)
    )


def threshold_table(model: Model, names: tuple[str, ...], caption: str) -> Markup:
    """Judgement numbers with unit, meaning, kind and source; the site's own value is named."""
    rows = []
    for name in names:
        t = THRESHOLDS.get(name)
        if t is None:
            rows.append((name.replace("_", " "), "–", "not in the table of numbers", "", ""))
            continue
        value = model.result.thresholds.get(name, t.value)
        shown = number_said(name, value, model.result.units)
        kind = KIND_WORDS.get(t.kind, t.kind)
        if value != t.value and t.kind not in FIXED_KINDS:
            usual = number_said(name, t.value, model.result.units)
            kind = f"set by the site file; {usual} otherwise ({kind})"
        source = "" if t.source == "common practice, no source" else t.source
        rows.append((shown, t.means, t.applies_when, kind, source))
    if not rows:
        return Markup()
    head = ("Number", "Meaning", "Applies to", "Kind", "Why this number")
    kinds = ("number", "wide", "wide", "wide", "wide")
    return table_html(
        Table(
            caption,
            tuple(Column(h, k) for h, k in zip(head, kinds, strict=True)),
            tuple(rows),
            folded=True,
            is_whole=True,
        )
    )
