"""The head of the fleet page: how many sites need somebody, what changed, what is not known."""

from __future__ import annotations

from collections import Counter

from markupsafe import Markup

from pipeline import words
from pipeline.words import joined
from reports.block import Block
from reports.display import plural
from reports.fleet_model import FleetModel
from reports.markup import fill

_HEAD = """
<div class="sitehead"><div><h1>{{ name }}</h1>
<p>{{ sites }}, as of {{ day }} {{ year }}</p></div>
<dl><div><dt>Changes since</dt><dd>{{ since }}</dd></div>
<div><dt>Ranked for</dt><dd>the {{ month }} days to come</dd></div></dl></div>
"""
_HTML = """
<div class="verdict rule-{{ hue }}"><h2 id="h-first">{{ sentence }}</h2>
<dl class="facts">
{% for name, said in facts %}<div><dt>{{ name }}</dt><dd>{{ said }}</dd></div>
{% endfor %}</dl></div>
"""


def head(model: FleetModel) -> Markup:
    """Whose fleet, how many sites, from which day things are new."""
    run = model.result.run
    return fill(
        _HEAD,
        name=model.result.name,
        sites=plural(run.n_sites, "site"),
        day=words.day(run.run_day),
        year=run.run_day.year,
        since=model.day(run.since),
        month=f"{model.number('fleet_month_days'):g}",
    )


def render(model: FleetModel) -> Block:
    """One sentence, and four lines of what to do about it."""
    top, ranked = model.group("on top"), model.group("ranked")
    return Block(
        "first",
        "",
        fill(
            _HTML,
            hue="act" if top else "plan" if ranked else "clear",
            sentence=_sentence(model, len(top), len(ranked)),
            facts=[fact for fact in _facts(model) if fact[1]],
        ),
    )


def _sentence(model: FleetModel, n_top: int, n_ranked: int) -> str:
    n = model.result.run.n_sites
    of = f"of {plural(n, 'site')}"
    if n_top and n_ranked:
        return (
            f"{n_top:,} {of} {'needs' if n_top == 1 else 'need'} somebody now; "
            f"{n_ranked:,} more are worth a visit or a call."
        )
    if n_top:
        return f"{n_top:,} {of} {'needs' if n_top == 1 else 'need'} somebody now."
    if n_ranked:
        return f"No site is on top; {n_ranked:,} {of} are worth a visit or a call."
    return f"Nothing that is worth a visit was found at any {of}."


def _facts(model: FleetModel) -> list[tuple[str, Markup]]:
    sites = [*model.group("on top"), *model.group("ranked")]
    tops = Counter(s.top for s in model.group("on top"))
    changes = Counter(c.status for c in model.result.changes)
    on_phone = sum(s.way == "phone" for s in sites)
    booked = sum(
        s.next_visit is not None and s.next_visit >= model.result.run.run_day and s.way != "phone"
        for s in sites
    )
    n_open, n_broken = len(model.group("not cleared")), len(model.group("broken"))
    unusual = sum(bool(s.peers and s.peers.is_unusual) for s in model.result.sites)
    return [
        ("Now", _linked("top", [f"{n} {top}" for top, n in tops.items() if top])),
        (
            "Changed",
            _linked(
                "changes",
                [
                    f"{n:,} {words_of}"
                    for status, words_of in _CHANGED.items()
                    if (n := changes[status])
                ],
                f" since {model.day(model.result.run.since)}",
            ),
        ),
        (
            "Easy",
            _linked(
                "ranked",
                [f"{on_phone:,} can be settled by phone"] * bool(on_phone)
                + [f"{booked:,} can be added to a visit already booked"] * bool(booked),
            ),
        ),
        (
            "Not known",
            _linked(
                "open",
                [f"{plural(n_open, 'site')} not cleared"] * bool(n_open)
                + [f"{n_broken:,} could not be read"] * bool(n_broken)
                + [f"{unusual:,} run unlike sites like them"] * bool(unusual),
            ),
        ),
    ]


_CHANGED = {
    "came back": "came back after a visit or a quiet time",
    "new": "new",
    "gone": "gone",
}


def _linked(key: str, parts: list[str], after: str = "") -> Markup:
    if not parts:
        return Markup()
    return fill('<a href="#{{ k }}">{{ s }}</a>{{ a }}', k=key, s=joined(parts), a=after)
