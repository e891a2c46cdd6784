"""What changed and what stands out: new and gone, one cause behind many, unusual days and sites."""

from __future__ import annotations

from datetime import date, timedelta

from markupsafe import Markup

from pipeline.fleet_result import Change, FleetSite, UnusualDay
from reports.block import Block
from reports.display import plural
from reports.fleet_model import FleetModel, in_short, mark, told
from reports.markup import clean, fill

MOST_ROWS = 75
"""Rows that one of these lists holds at most: the rest stands on the sites' own pages."""
MOST_SITES = 12
RECENT_DAYS = 30
MOST_SENTENCE = 220
MOST_FINDING = 150

_TABLE = """
<table class="fl cut {{ kind }}" aria-label="{{ label }}"><thead><tr>
{%- for c in columns %}<th scope=col>{{ c }}</th>{% endfor %}</tr></thead>
<tbody>{{ rows }}</tbody></table>
{% if rest %}<p class="tnote">{{ rest }} on the sites’ own pages.</p>{% endif %}
"""
_SHARED = """
<p class="basis">More than chance lets such sites have in common. It is a reason to look, not yet a
cause: who sets up many sites sets them up alike.</p>
<ul class="behind">{% for s in shared %}
<li><p><b>{{ s.sentence }}</b></p><p class="bars" aria-hidden="true">
<span>these</span><u style="--h:{{ s.with }}%"></u><span>others</span>
<u style="--h:{{ s.other }}%"></u></p>
<p class="who">{{ s.links }} <button type="button" class="only noprint" hidden
data-only="{{ s.only }}" data-words="{{ s.words }}">Show only these</button></p></li>
{% endfor %}</ul>
"""


def render_shared(model: FleetModel) -> Block:
    """One setting, one installer or one year behind many sites."""
    shared = [
        {
            "sentence": clean(s.sentence, 300),
            "with": round(100 * s.n_found / s.n_with) if s.n_with else 0,
            "other": round(100 * s.n_other_found / s.n_other) if s.n_other else 0,
            "links": model.links(s.site_ids, MOST_SITES),
            "only": " ".join(str(model.index[i]) for i in s.site_ids if i in model.index),
            "words": clean(f"{s.name} {s.value}".strip(), 60),
        }
        for s in model.result.shared
    ]
    title = "One thing behind many sites"
    if not shared:
        return Block("shared", title, Markup())
    return Block("shared", title, fill(_SHARED, shared=shared), nav=f"{title} ({len(shared)})")


def render_changes(model: FleetModel) -> Block:
    """Came back, new and gone since the date asked about."""
    changes = sorted(
        model.result.changes, key=lambda c: _STATUS.index(c.status) if c.status in _STATUS else 9
    )
    title = f"Changed since {model.day(model.result.run.since)} ({len(changes):,})"
    if not changes:
        why = f"No finding is new, came back or is gone since {model.day(model.result.run.since)}."
        return Block("changes", title, fill('<p class="absent">{{ w }}</p>', w=why), nav="Changed")
    parts = []
    for status, head in _HEADS.items():
        some = [c for c in changes if c.status == status]
        if some:
            by_site: dict[str, list[Change]] = {}
            for change in some:
                by_site.setdefault(change.site_id, []).append(change)
            parts.append(fill("<h3>{{ h }} ({{ n }})</h3>", h=head, n=f"{len(some):,}"))
            rows = [_change(model, of) for of in by_site.values()]
            parts.append(_table("ch", head, ("Day", "Site", "Finding"), rows))
    return Block("changes", title, Markup("").join(parts), nav=f"Changed ({len(changes):,})")


_HEADS = {
    "came back": "Came back",
    "new": "New",
    "gone": "Gone",
    "not seen lately": "Could not be looked at lately",
}
_STATUS = tuple(_HEADS)


def _change(model: FleetModel, changes: list[Change]) -> Markup:
    """One site's changes of one kind: the gravest in full, the others by name."""
    change = changes[0]
    site = model.by_id.get(change.site_id)
    finding = next((f for f in site.findings if f.code == change.code), None) if site else None
    said, after = change.sentence, ""
    if finding is not None and finding.status == change.status:
        after = finding.came_back_after
        said = "" if change.status == "gone" else finding.summary
    if change.status == "gone":
        title = ", ".join(c.title for c in changes)
    else:
        title = change.title
    also = [c.title for c in changes[1:]] if change.status != "gone" else []
    return Markup(
        "<tr><td class=d>{}<th scope=row>{}<td class=y>{} <b>{}</b>{}<span class=s>{}</span>{}"
    ).format(
        told(model.day(max(c.day for c in changes))),
        model.link(site) if site else told(change.site_id),
        mark(change.severity) if change.status != "gone" else "",
        told(clean(title, MOST_SENTENCE)),
        Markup(" <i>after {}</i>").format(told(clean(after, 80))) if after else "",
        told(in_short(clean(said), MOST_FINDING)),
        Markup("<small>Also: {}</small>").format(told(", ".join(also))) if also else "",
    )


def render_unusual(model: FleetModel) -> Block:
    """Days and lasting changes of the last weeks that the weather does not explain; odd sites."""
    from_day = model.result.run.run_day - timedelta(days=RECENT_DAYS)
    days = [
        (s, sorted(recent, key=lambda d: -d.score))
        for s in model.result.sites
        if (recent := [d for d in s.unusual_days if d.day >= from_day])
    ]
    days.sort(key=lambda row: (-row[1][0].score, row[0].site_id))
    steps = [(c.day, s, c) for s in model.result.sites for c in s.step_changes if c.day >= from_day]
    steps.sort(key=lambda row: (-row[0].toordinal(), row[1].site_id))
    odd = [s for s in model.result.sites if s.peers and s.peers.is_unusual]
    odd.sort(key=lambda s: -((s.peers.distance or 0.0) if s.peers else 0.0))
    parts = []
    if model.result.unusual_why_not:
        parts.append(_head("Unusual days"))
        parts.append(fill('<p class="absent">{{ w }}</p>', w=model.result.unusual_why_not))
    since = f"since {model.day(from_day)}, this weather taken into account"
    if steps:
        rows = [_day_row(model, day, s, c.sentence) for day, s, c in steps]
        parts += [_head(f"Changed and stayed so, {since}"), _table("ch", "Lasting changes",
                  ("Day", "Site", "What changed"), rows)]  # fmt: skip
    if days:
        rows = [_day_row(model, d[0].day, s, _unusual(d)) for s, d in days]
        parts += [_head(f"Unusual days {since}, each site’s most unusual one"), _table("ch",
                  "Unusual days", ("Day", "Site", "What was unusual"), rows)]  # fmt: skip
    if odd:
        rows = [_odd(model, s) for s in odd]
        parts += [_head("Unlike the sites most like it"), _table("pe", "Unusual sites",
                  ("Site", "How it differs", "Compared with"), rows)]  # fmt: skip
    return Block("unusual", "Unusual days and sites", Markup("").join(parts), nav="Unusual")


def _unusual(days: list[UnusualDay]) -> str:
    """The reasons of the most unusual day, and how many more there are."""
    more = f" {plural(len(days) - 1, 'more day', 'more days')}." if len(days) > 1 else ""
    return " ".join(days[0].reasons[:2]) + more


def _day_row(model: FleetModel, day: date, site: FleetSite, said: str) -> Markup:
    return Markup('<tr><td class=d>{}<th scope=row>{}<td class=y>{}').format(
        told(model.day(day)), model.link(site), told(clean(said, MOST_SENTENCE))
    )  # fmt: skip


def _odd(model: FleetModel, site: FleetSite) -> Markup:
    peers = site.peers
    assert peers is not None
    ids = [i for i in (site.site_id, *peers.site_ids) if i in model.index]
    button = Markup(
        '<button type="button" class="only noprint" hidden data-only="{}" data-words="{}">'
        "Show them</button>"
    ).format(" ".join(str(model.index[i]) for i in ids), told(f"{model.name(site)} and its like"))
    return Markup("<tr><th scope=row>{}<td class=y>{}<td class=w>{}: {} {}").format(
        model.link(site),
        told(clean(" ".join(d[:1].upper() + d[1:] for d in peers.differs[:2]), MOST_SENTENCE)),
        told(plural(len(peers.site_ids), "site")),
        told(clean(peers.alike, 120)),
        button,
    )


def _head(text: str) -> Markup:
    return fill("<h3>{{ t }}</h3>", t=text)


def _table(kind: str, label: str, columns: tuple[str, ...], rows: list[Markup]) -> Markup:
    rest = len(rows) - MOST_ROWS
    return fill(
        _TABLE,
        kind=kind,
        label=label,
        columns=columns,
        rows=Markup("\n").join(rows[:MOST_ROWS]),
        rest=f"{rest:,} more" if rest > 0 else "",
    )
