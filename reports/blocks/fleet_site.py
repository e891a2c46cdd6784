"""The blocks of a site's light page: where it stands and why, findings with their history, days."""

from __future__ import annotations

from markupsafe import Markup

from pipeline import words
from pipeline.fleet_result import DayFigures, FleetFinding, FleetSite
from reports.block import Block
from reports.blocks.first import check_html
from reports.blocks.fleet_list import doubts
from reports.blocks.fleet_rest import logged
from reports.display import NONE, plural
from reports.fleet_drawing import day_figure, week_figure
from reports.fleet_model import (
    STATUS_WORDS,
    TOP_WORDS,
    WAY_WORDS,
    FleetModel,
    lead_of,
    path_url,
    points,
)
from reports.markup import clean, fill, slug
from reports.table import Cell, Column, Table, table_html
from reports.theme import CALL_WORDS, call_hue, call_shape

MOST_CAUSES = 3
MOST_CHECKS = 4
MOST_TEXT = 400
MOST_DAYS = 56
MOST_UNUSUAL = 12
MOST_PEERS = 12
MOST_VISITS = 12

_TOP = """
<p class="up noprint"><a href="{{ back }}">All sites</a>
{% if full %}<a href="{{ full }}">Full report of this site</a>{% endif %}</p>
<div class="verdict rule-{{ hue }}">
<p class="call c-{{ hue }}">{{ shape }} <b>{{ word }}</b> <span>{{ where }}</span></p>
<h2 id="h-first"{% if sentence|length > 110 %} class="long"{% endif %}>{{ sentence }}</h2>
<dl class="facts">
{% for name, said in facts %}<div><dt>{{ name }}</dt><dd>{{ said }}</dd></div>
{% endfor %}</dl></div>
{% if cautions %}<div class="caution"><h2>Take care</h2><ul>
{% for c in cautions %}<li>{{ c }}</li>{% endfor %}</ul></div>{% endif %}
"""
_FINDING = """
<article class="finding rule-{{ hue }}" aria-labelledby="h-{{ key }}">
<p class="call c-{{ hue }}">{{ shape }} <b>{{ word }}</b> <span>{{ f.certainty }}
{%- if became %} · {{ became }}{% endif %}</span></p>
<h3 id="h-{{ key }}">{{ f.title }}</h3>
<p class="lead">{{ summary }}</p>
<p class="basis">{{ history }}</p>
<div class="two">
{% if causes %}<div><h4>Possible causes, likeliest first</h4><ol>
{% for c in causes %}<li>{{ c }}</li>{% endfor %}</ol></div>{% endif %}
{% if checks %}<div><h4>Check</h4><ol class="checks">
{% for c in checks %}<li>{{ c }}</li>{% endfor %}</ol></div>{% endif %}
</div>
</article>
"""
_LIST = "<h3>{{ head }}</h3><ul>{% for s in said %}<li>{{ s }}</li>{% endfor %}</ul>"


def render_first(model: FleetModel, site: FleetSite) -> Block:
    """Where the site stands among all, in one sentence, and what it takes."""
    lead = lead_of(site)
    call = {"on top": "act", "nothing found": "clear", "ranked": lead.severity if lead else "plan"}
    shown = call.get(site.group, "cannot judge")
    depth = "../" * site.page.count("/")
    html = fill(
        _TOP,
        back=path_url(f"{depth}index.html"),
        full=path_url(f"{depth}../{site.full_report}") if site.full_report else "",
        hue=call_hue(shown),
        shape=Markup(call_shape(shown)),
        word=TOP_WORDS.get(site.top) or CALL_WORDS[shown],
        where=_where(model, site),
        sentence=_sentence(model, site, lead),
        facts=[fact for fact in _facts(model, site) if fact[1]],
        cautions=list(
            dict.fromkeys(c for f in site.findings if f.status != "gone" for c in f.cautions)
        ),
    )
    return Block("first", "", html)


def _where(model: FleetModel, site: FleetSite) -> str:
    ranked = model.group("ranked")
    return {
        "on top": "outside the ranking: do not wait",
        "ranked": f"place {site.rank} of {len(ranked):,} by expected harm",
        "not cleared": "nothing found, and the log could not have shown it",
        "nothing found": "not seen in these hours; no safety check",
        "broken": "could not be read",
    }.get(site.group, "")


def _sentence(model: FleetModel, site: FleetSite, lead: FleetFinding | None) -> str:
    if site.broken and site.group == "broken":
        return clean(site.broken, MOST_TEXT)
    if lead is not None:
        on = model.exposure(lead.harm).split(";")[0]
        return f"{lead.title}: {on or f'last seen {model.day(lead.last_seen)}'}."
    return clean(" ".join(site.reasons[:2]), MOST_TEXT) or "Nothing was found in what was logged."


def _facts(model: FleetModel, site: FleetSite) -> list[tuple[str, object]]:
    harm = ""
    if site.harm is not None and site.group == "ranked":
        p = site.harm.points
        harm = (
            f"{points(p.expected)} points in the next {model.number('fleet_month_days'):g} days, "
            f"{points(p.low)} to {points(p.high)} by chance"
        )
    reasons = [clean(r, MOST_TEXT) for r in site.reasons]
    why: object = ""
    if reasons:
        why = fill("<ul>{% for r in reasons %}<li>{{ r }}</li>{% endfor %}</ul>", reasons=reasons)
    way = WAY_WORDS.get(site.way, site.way)
    if site.why_way:
        way = f"{way}. {clean(site.why_way, MOST_TEXT)}"
    visit = clean(model.visit(site), 80)
    return [
        ("Why here", why if site.group != "broken" else ""),
        ("Harm ahead", harm),
        ("Takes", way),
        ("Bring", clean(", ".join(site.parts), 200)),
        ("Visit", visit[:1].upper() + visit[1:]),
        ("Doubts", "; ".join(doubts(model, site)) if site.group != "broken" else ""),
    ]


def render_findings(model: FleetModel, site: FleetSite, n_full: int, n_letters: int) -> Block:
    """The first findings in full, a line for each other one and for what is gone."""
    there = [f for f in site.findings if f.status != "gone"]
    gone = [f for f in site.findings if f.status == "gone"]
    parts = [_finding(model, f, n_letters) for f in there[:n_full]]
    if rest := there[n_full:]:
        parts.append(_history_table(model, "Also found", rest))
    if gone:
        parts.append(_history_table(model, "Gone", gone))
    return Block("found", "Findings and their history", Markup("").join(parts), nav="Findings")


def _finding(model: FleetModel, finding: FleetFinding, n_letters: int) -> Markup:
    became = STATUS_WORDS.get(finding.status, finding.status)
    if finding.came_back_after:
        became = f"came back after {clean(finding.came_back_after, 160)}"
    return fill(
        _FINDING,
        f=finding,
        key=slug(finding.code),
        hue=call_hue(finding.severity),
        shape=Markup(call_shape(finding.severity)),
        word=CALL_WORDS[finding.severity],
        became=became,
        summary=clean(finding.summary, n_letters),
        history=history(model, finding),
        causes=[clean(c, n_letters) for c in finding.causes[:MOST_CAUSES]],
        checks=[check_html(clean(c, n_letters)) for c in finding.checks[:MOST_CHECKS]],
    )


def history(model: FleetModel, finding: FleetFinding) -> str:
    """'First seen Aug 12, last seen Sep 29, in 5 of 7 weeks that could show it; on 9 of ...'."""
    weeks = words.of_all(finding.n_weeks_found, finding.n_weeks_looked)
    said = (
        f"First seen {model.day(finding.first_seen)}, last seen {model.day(finding.last_seen)}, in "
        f"{weeks} weeks that could show it; last looked at {model.day(finding.last_looked)}."
    )
    if exposure := model.exposure(finding.harm):
        said += f" On {exposure}."
    if finding.harm is not None and finding.harm.fleet_rate is not None:
        said += f" All sites that could show it: {model.show.share(finding.harm.fleet_rate)} of "
        said += "such days."
    if finding.harm is not None and finding.harm.is_shrunk:
        said += " So few days that the fleet’s experience says more than the site’s own."
    return said


def _history_table(model: FleetModel, caption: str, findings: list[FleetFinding]) -> Markup:
    head = ("Finding", "Severity", "First seen", "Last seen", "Gone since", "Weeks seen")
    return table_html(
        Table(
            caption,
            tuple(Column(h) for h in head),
            tuple(
                (
                    f.title,
                    CALL_WORDS.get(f.severity, f.severity),
                    model.day(f.first_seen),
                    model.day(f.last_seen),
                    model.day(f.gone_since),
                    f"{f.n_weeks_found} of {f.n_weeks_looked}",
                )
                for f in findings
            ),
        )
    )


def render_days(model: FleetModel, site: FleetSite) -> Block:
    """The last days at a glance, unusual ones marked, with what made them so; lasting changes."""
    days = site.days[-MOST_DAYS:]
    parts = []
    if days:
        parts += [day_figure(days), _days_table(model, days)]
    unusual = sorted(site.unusual_days, key=lambda d: d.day, reverse=True)
    if unusual:
        said = [f"{model.day(d.day)}: {clean(' '.join(d.reasons), MOST_TEXT)}"
                for d in unusual[:MOST_UNUSUAL]]  # fmt: skip
        more = len(unusual) - MOST_UNUSUAL
        head = f"Unusual days, weather taken into account ({len(unusual):,})"
        parts.append(fill(_LIST, head=head, said=said + ([f"{more} earlier ones"] * (more > 0))))
    if site.step_changes:
        said = [clean(c.sentence, MOST_TEXT) for c in site.step_changes[-MOST_UNUSUAL:]]
        parts.append(fill(_LIST, head="Changed and stayed so, at like weather", said=said))
    return Block("days", "Day by day", Markup("").join(parts), nav="Days")


def _days_table(model: FleetModel, days: tuple[DayFigures, ...]) -> Markup:
    unit = model.show.unit("temperature").label
    head = (("Day", "text"), ("Logged h", "number"), ("Heat h", "number"), ("Cooling h", "number"),
            (f"Outdoors {unit}", "number"), ("Trips", "number"), ("Starts", "number"),
            ("Over target h", "number"), ("Unusual", "text"))  # fmt: skip
    rows = []
    for d in reversed(days):
        hours = [_hours(v) for v in (d.covered_h, d.heat_h, d.cool_h)]
        outdoor = NONE if d.outdoor_f is None else model.show.bare("temperature", d.outdoor_f, 0)
        counts = [model.show.count(v) for v in (d.n_trips, d.n_starts)]
        rows.append((model.day(d.day), *hours, outdoor, *counts, _hours(d.above_target_h),
                     Cell("yes", word="strong") if d.is_unusual else ""))  # fmt: skip
    return table_html(
        Table("The same days in numbers", tuple(Column(*h) for h in head), tuple(rows), folded=True)
    )


def _hours(value: float | None) -> str:
    return NONE if value is None else f"{value:.1f}"


def render_weeks(model: FleetModel, site: FleetSite) -> Block:
    """Key rates of the site by week."""
    title = "By week"
    known = [t for t in site.trends if any(v is not None for v in t.values)]
    if not known:
        return Block("weeks", title, Markup())
    figures = Markup("").join(week_figure(t) for t in known)
    return Block("weeks", title, Markup('<div class="few">{}</div>').format(figures), nav=title)


def render_peers(model: FleetModel, site: FleetSite) -> Block:
    """The sites most like it, and how it differs; why nothing is compared."""
    title, peers = "Against the sites most like it", site.peers
    if peers is None:
        return Block("peers", title, Markup())
    if not peers.is_compared:
        why = peers.why_not or "There are too few sites like it."
        return Block("peers", title, fill('<p class="absent">{{ w }}</p>', w=clean(why, MOST_TEXT)))
    up = "../" * site.page.count("/")
    html = fill(
        """<p>{{ said }}</p>{% if differs %}<ul>{% for d in differs %}<li>{{ d }}</li>{% endfor %}
</ul>{% endif %}<p class="basis">Compared with {{ n }}: {{ alike }}. {{ links }}.</p>""",
        said="Unlike them:" if peers.is_unusual else "Much as they are.",
        differs=[clean(d, MOST_TEXT) for d in peers.differs] if peers.is_unusual else (),
        n=plural(len(peers.site_ids), "site"),
        alike=clean(peers.alike, MOST_TEXT),
        links=model.links(peers.site_ids, MOST_PEERS, up),
    )
    return Block("peers", title, html, nav="Sites like it")


def render_visits(model: FleetModel, site: FleetSite) -> Block:
    """Service work that the site file tells of, newest first."""
    if not site.visits:
        return Block("visits", "Visits", Markup())

    def when(start_ts: int, end_ts: int) -> str:
        units = model.result.units
        return words.clock_span(start_ts, end_ts, site.timezone, with_year=True, units=units)

    said = [
        f"{when(v.start_ts, v.end_ts)}: {clean(v.label, 160) or 'visit'}"
        for v in sorted(site.visits, key=lambda v: -v.start_ts)[:MOST_VISITS]
    ]
    html = fill("<ul>{% for s in said %}<li>{{ s }}</li>{% endfor %}</ul>", said=said)
    return Block("visits", "Visits", html, nav="Visits")


_HEAD = """
<div class="sitehead"><div><h1>{{ name }}</h1><p>{{ about }}</p></div>
<dl><div><dt>Logged</dt><dd>{{ logged }}</dd></div>
{% for term, said in told %}<div><dt>{{ term }}</dt><dd>{{ said }}</dd></div>{% endfor %}</dl></div>
{% if complaint %}<p class="complaint"><b>Customer’s words</b> “{{ complaint }}”</p>{% endif %}
"""


def head(model: FleetModel, site: FleetSite) -> Markup:
    """Whose site, what is installed, how much was logged."""
    stages = []
    if site.heating_stages:
        stages.append(plural(site.heating_stages, "heating stage"))
    if site.cooling_stages:
        stages.append(plural(site.cooling_stages, "cooling stage"))
    about = [model.system(site), *stages]
    if site.site_id != model.name(site):
        about.append(site.site_id)
    installed = " by ".join(part for part in (site.installed, site.installer) if part)
    told = (("Region", site.region), ("Agreement", site.agreement), ("Installed", installed))
    return fill(
        _HEAD,
        name=clean(model.name(site), 120),
        about=" · ".join(part for part in about if part)
        + (" · call first" if site.call_first else ""),
        logged=logged(model, site),
        told=[(term, clean(said, 80)) for term, said in told if said],
        complaint="" if model.result.redacted else clean(site.complaint, 300),
    )
