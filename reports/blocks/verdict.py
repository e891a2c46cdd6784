"""The answer: call, sentence, how sure, what was ruled out, what the log cannot tell, findings."""

from __future__ import annotations

from markupsafe import Markup

from reports.block import Block, Model
from reports.markup import fill, slug
from reports.theme import CALL_MEANS, CALL_WORDS, call_hue, call_shape

_HTML = """
<div class="verdict rule-{{ hue }}">
<p class="call c-{{ hue }}">{{ shape }} <b>{{ word }}</b> <span>{{ means }}</span></p>
<h2 id="h-verdict"{% if v.sentence|length > 170 %} class="long"{% endif %}>{{ v.sentence }}</h2>
<p class="sure">{{ v.how_sure }}</p>
</div>
<div class="{{ 'two' if findings }}"><div>
{% if findings %}
<h3>What was found</h3>
<ol class="index">
{% for f in findings %}
<li><span class="call c-{{ f.hue }}">{{ f.shape }} <b>{{ f.word }}</b></span>
<span><a href="#finding-{{ f.key }}">{{ f.title }}</a>
{% if f.about == 'log' %}<em>about the log itself</em>{% endif %}</span></li>
{% endfor %}
</ol>
{% else %}
<h3>What was found</h3>
<p class="absent">No rule found anything. Which rules could judge, and which could not, stands
under <a href="#rules">Every rule’s result</a>.</p>
{% endif %}
{% if v.cannot_tell %}<div class="told"><p><b>What this log cannot tell</b></p>
<ul>{% for s in v.cannot_tell %}<li>{{ s }}</li>{% endfor %}</ul></div>{% endif %}
</div>
{% if v.ruled_out %}<div class="told"><p><b>Ruled out</b></p>
<ul>{% for s in v.ruled_out %}<li>{{ s }}</li>{% endfor %}</ul></div>{% endif %}
</div>
"""


def render(model: Model) -> Block:
    """The verdict and the list of findings, in the result's order."""
    verdict = model.result.verdict
    findings = [
        {
            "key": slug(f.code),
            "title": f.title,
            "about": f.about,
            "word": CALL_WORDS[f.severity],
            "hue": call_hue(f.severity),
            "shape": Markup(call_shape(f.severity)),
        }
        for f in model.result.findings
    ]
    html = fill(
        _HTML,
        v=verdict,
        hue=call_hue(verdict.call),
        word=CALL_WORDS[verdict.call],
        means=CALL_MEANS[verdict.call],
        shape=Markup(call_shape(verdict.call)),
        findings=findings,
    )
    return Block("verdict", "", html, nav="Verdict")
