"""The list of sites: who needs somebody now, then who is worth a visit, by expected harm."""

from __future__ import annotations

from markupsafe import Markup, escape

from pipeline.fleet_result import FleetSite, Harm
from reports.block import Block
from reports.display import plural
from reports.fleet_model import (
    STATUS_WORDS,
    TOP_WORDS,
    WAY_WORDS,
    FleetModel,
    in_short,
    lead_of,
    mark,
    others_of,
    points,
    told,
)
from reports.markup import clean, fill

SHOWN = 25
"""Rows of a list that stand open at first where a script can open the rest; paper has these."""
MOST_WHY = 150
MOST_ALSO = 4

_TABLE = """
<p class="basis">{{ note }}</p>
<table class="fl cut {{ kind }}" data-list="{{ key }}" aria-label="{{ label }}">
<thead><tr>{% for key, title in columns %}<th scope=col
{%- if key %} data-sort="{{ key }}"{% endif %}>{{ title }}</th>{% endfor %}</tr></thead>
<tbody>{{ rows }}</tbody></table>
"""
_TOP_NOTE = "Outside the ranking: somebody may be harmed, cold or hot, whatever the odds."
_RANKED_NOTE = (
    "By harm ahead: bad days to be expected in the next {{ month }}, {{ weights }}. The bar "
    "shows what chance leaves open, the tick what is expected; among places with a “=” chance "
    "alone decides the order."
)


def render_top(model: FleetModel) -> Block:
    """Safety, no heat, no cooling: above everything, with the first caution."""
    sites = model.group("on top")
    columns = (("", "What"), ("name", "Site"), ("", "Why"), ("", "Takes"), ("visit", "Visit"))
    return list_block(
        model, "top", f"First of all ({len(sites):,})", "First of all", sites, columns, _TOP_NOTE,
        "top", [top_row(model, s) for s in sites],
    )  # fmt: skip


def render_ranked(model: FleetModel) -> Block:
    """The ranked sites: place, why, harm with its interval, what it takes, the next visit."""
    sites = model.group("ranked")
    columns = (
        ("rank", "Place"), ("name", "Site"), ("", "Why"), ("harm", "Harm ahead"), ("way", "Takes"),
        ("visit", "Visit"),
    )  # fmt: skip
    most = max((s.harm.points.high for s in sites if s.harm), default=1.0) or 1.0
    ties: dict[int | None, list[int]] = {}
    for site in sites:
        ties.setdefault(site.tie, []).append(site.rank or 0)
    note = str(
        fill(
            _RANKED_NOTE,
            month=plural(model.number("fleet_month_days"), "day"),
            weights=_weights(model),
        )
    )
    return list_block(
        model, "ranked", f"Worth a visit or a call ({len(sites):,})", "Worth a visit", sites,
        columns, Markup(note), "rk", [ranked_row(model, s, most, ties[s.tie]) for s in sites],
    )  # fmt: skip


def list_block(
    model: FleetModel,
    key: str,
    title: str,
    nav: str,
    sites: tuple[FleetSite, ...],
    columns: tuple[tuple[str, str], ...],
    note: str | Markup,
    kind: str,
    rows: list[Markup],
) -> Block:
    """A list of sites as a table of its own; '' where the group is empty.

    columns : (sort key or '', title); kind : class of the table, which says how its rows stand
    """
    if not sites:
        return Block(key, title, Markup())
    html = fill(
        _TABLE,
        note=note,
        key=key,
        label=title,
        kind=kind,
        columns=columns,
        rows=Markup("\n").join(rows),
    )
    return Block(key, title, html, nav=f"{nav} ({len(sites):,})")


def top_row(model: FleetModel, site: FleetSite) -> Markup:
    """A site on top: what it is, why, since when, the caution, what it takes."""
    lead = lead_of(site)
    care = next((c for f in site.findings for c in f.cautions if f.status != "gone"), "")
    seen = Markup()
    if lead is not None:
        on = model.exposure(lead.harm).split(";")[0]
        last = f"Last seen {model.day(lead.last_seen)}"
        seen = Markup("<small>{}</small>").format(told(", on ".join(p for p in (last, on) if p)))
    caution = Markup("<small class=care><b>Take care:</b> {}</small>").format(told(care))
    return Markup(
        "<tr data-s={n}><td class=pl><b class=k-act>{what}</b>{head}<td class=y>{why}{takes}"
    ).format(
        n=model.index[site.site_id],
        what=TOP_WORDS.get(site.top, site.top or "First"),
        head=site_head(model, site),
        why=why(site, seen + (caution if care else "")),
        takes=takes(model, site),
    )


def ranked_row(model: FleetModel, site: FleetSite, most: float, tie: list[int]) -> Markup:
    """A ranked site; most : the highest end of any interval; tie : places chance may exchange."""
    place = f"{min(tie)}=" if len(tie) > 1 else f"{site.rank}"
    lead = lead_of(site)
    notes = Markup("").join(
        Markup("<small>{}</small>").format(told(n)) for n in doubts(model, site)
    )
    return Markup(
        "<tr data-s={n}><td class=pl>{place}{head}<td class=y>{mark} {why}<td class=h>{harm}{takes}"
    ).format(
        n=model.index[site.site_id],
        place=place,
        head=site_head(model, site),
        mark=mark(lead.severity) if lead else "",
        why=why(site, notes),
        harm=harm(model, site.harm, lead.harm if lead else None, most),
        takes=takes(model, site),
    )


def site_head(model: FleetModel, site: FleetSite) -> Markup:
    """The cell that heads a row: name with its link, call-first mark, what and where it is."""
    about = [model.system(site), site.region]
    if site.site_id != model.name(site):
        about.insert(0, site.site_id)
    return Markup("<th scope=row>{link}{first}<small>{about}</small>").format(
        link=model.link(site),
        first=Markup(" <em>call first</em>") if site.call_first else "",
        about=told(clean(" · ".join(part for part in about if part), 90)),
    )


def why(site: FleetSite, more: Markup | str = "") -> Markup:
    """The worst finding, what became of it, its sentence, `more`, and what else was found."""
    lead = lead_of(site)
    said = lead.summary if lead else " ".join(site.reasons[:2])
    title = status = also = Markup()
    if lead is not None:
        title = Markup("<b>{}</b>").format(told(lead.title))
        became = STATUS_WORDS.get(lead.status, lead.status)
        if lead.came_back_after:
            became = f"came back after {lead.came_back_after}"
        status = Markup(" <i>{}</i>").format(told(clean(became, 70))) if became else status
        others = [f.title for f in others_of(site)]
        if others:
            listed = ", ".join(others[:MOST_ALSO])
            rest = len(others) - MOST_ALSO
            others_too = f" and {rest} more" if rest > 0 else ""
            also = Markup("<small>Also: {}{}</small>").format(told(listed), others_too)
    return Markup("{}{}<span class=s>{}</span>{}{}").format(
        title, status, told(in_short(clean(said), MOST_WHY)), more, also
    )


def doubts(model: FleetModel, site: FleetSite) -> list[str]:
    """What makes a row less than sure: a log that stopped, a site that could not be read whole."""
    said = []
    if site.quiet_days is not None and site.quiet_days >= model.number("fleet_quiet_days"):
        said.append(f"Logged to {model.day(site.last_day)} only")
    if site.broken:
        said.append(f"Could not be read whole: {clean(site.broken.splitlines()[0], 120)}")
    return said


def harm(model: FleetModel, of_site: Harm | None, of_lead: Harm | None, most: float) -> Markup:
    """Harm ahead as a number, a bar of what chance leaves open, and the days behind it."""
    if of_site is None:
        return Markup()
    p = of_site.points
    low, mid, high = (round(100 * max(v, 0.0) / most) for v in (p.low, p.expected, p.high))
    few = Markup("<small>few days yet: leans on the fleet</small>") if of_site.is_shrunk else ""
    return Markup(
        '<b>{e}</b> <span class=i>{l} to {h}</span>'
        '<u style="--l:{low}%;--m:{mid}%;--h:{high}%"></u><small>{days}</small>{few}'
    ).format(
        e=points(p.expected), l=points(p.low), h=points(p.high),
        low=low, mid=mid, high=high, days=told(model.exposure(of_lead)), few=few,
    )  # fmt: skip


def takes(model: FleetModel, site: FleetSite) -> Markup:
    """What settles it, and the visit it can be added to."""
    visit = model.visit(site)
    return Markup("<td class=w>{}<td class=v>{}").format(
        WAY_WORDS.get(site.way, escape(site.way)),
        told(clean(visit, 60)) if visit else Markup("<i>no visit booked</i>"),
    )


def _weights(model: FleetModel) -> str:
    """How much a day of each severity weighs, as this run had it."""
    told_of = [
        f"{model.number(f'fleet_weight_{s}'):g} points for a day with something to {word}"
        for s, word in (("act", "act on"), ("plan", "plan for"), ("watch", "watch"))
    ]
    return ", ".join([told_of[0], *(t.replace(" points for a day with something", "", 1)
                                    for t in told_of[1:])])  # fmt: skip
