"""The answer: call, sentence, how sure, what was ruled out, what the log cannot tell, findings."""

from __future__ import annotations

from markupsafe import Markup

from reports.block import Block, Model
from reports.markup import fill, slug
from reports.theme import CALL_MEANS, CALL_WORDS, call_hue, call_shape

SHORT = 2
"""What was ruled out is named at the top for this many; the rest opens."""

LISTED = 6
"""So many of what was ruled out, or cannot be told, stand open before the findings."""

_HTML = """
<div class="verdict rule-{{ hue }}">
<p class="call c-{{ hue }}">{{ shape }} <b>{{ word }}</b> <span>{{ means }}</span></p>
<h2 id="h-verdict"{% if v.sentence|length > 170 %} class="long"{% endif %}>{{ v.sentence }}</h2>
<dl class="facts">
{% for name, said in facts %}<div><dt>{{ name }}</dt><dd>{{ said }}</dd></div>{% endfor %}
</dl>
</div>
"""
_FOUND = """
{% if findings %}
<ol class="index">
{% for f in findings %}
<li><span class="call c-{{ f.hue }}">{{ f.shape }} <b>{{ f.word }}</b></span>
<span><a href="#finding-{{ f.key }}">{{ f.title }}</a>
{% if f.about == 'log' %}<em>about the log itself</em>{% endif %}</span></li>
{% endfor %}
</ol>
{% else %}
<p class="absent">No rule found anything. Which rules could judge, and which could not, stands
under <a href="#rules">Every rule’s result</a>.</p>
{% endif %}
<div class="two">
{% for name, said in told if said %}<div class="told"><p><b>{{ name }}</b></p>
<ul>{% for s in said[:listed] %}<li>{{ s }}</li>{% endfor %}</ul>
{% if said|length > listed %}<details class="more"><summary>The other
{{ said|length - listed }}</summary>
<ul>{% for s in said[listed:] %}<li>{{ s }}</li>{% endfor %}</ul></details>{% endif %}</div>
{% endfor %}</div>
"""


def render(model: Model) -> Block:
    """The call, the sentence, how sure, what is ruled out in short, and the data behind it."""
    verdict = model.result.verdict
    sure, data = _how_sure(verdict.how_sure)
    out = [_short(s) for s in verdict.ruled_out]
    facts = [("How sure", sure)] if sure else []
    if out:
        more = f"; {len(out) - SHORT} more below" if len(out) > SHORT else ""
        facts.append(("Ruled out", "; ".join(out[:SHORT]) + more + "."))
    facts += [("Data", data)] if data else []
    html = fill(
        _HTML,
        v=verdict,
        hue=call_hue(verdict.call),
        word=CALL_WORDS[verdict.call],
        means=CALL_MEANS[verdict.call],
        shape=Markup(call_shape(verdict.call)),
        facts=facts,
    )
    return Block("verdict", "", html, nav="Verdict")


def render_found(model: Model) -> Block:
    """The list of findings, in the result's order, and what was ruled out or cannot be told."""
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
    verdict = model.result.verdict
    told = (
        ("Ruled out", verdict.ruled_out),
        ("What this log cannot tell", verdict.cannot_tell),
    )
    # one or two more are not worth a fold
    most = max(len(said) for _, said in told)
    html = fill(
        _FOUND,
        findings=findings,
        told=told,
        listed=LISTED if most > LISTED + 2 else most,
    )
    return Block("found", "What was found", html, nav="Found")


def _how_sure(said: str) -> tuple[str, str]:
    """How sure, and the data behind it: what is said of the log belongs to the data."""
    sure, _, data = said.partition(" Looked at: ")
    about = ""
    if sure.startswith("About the log: "):
        about, _, sure = sure.rpartition(". ")
        about = f"{about.removeprefix('About the log: ')}." if about else ""
    return sure, " ".join(part[:1].upper() + part[1:] for part in (data, about) if part)


def _short(said: str) -> str:
    """What was ruled out without its reasons, which stand below."""
    head = said.split(":", 1)[0].rstrip(".")
    rest = said.split(":", 1)[1].strip() if ":" in said else ""
    if rest.startswith(("none", "None", "no ")):  # 'Equipment cut-outs: none in 123 hours ...'
        head = f"{head}: {rest.split('.', 1)[0]}"
    return head[:1].lower() + head[1:]
