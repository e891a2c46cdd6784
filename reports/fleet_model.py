"""A fleet's record with the words of one page: names, links, dates, harm; what all blocks share."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from urllib.parse import quote

from markupsafe import Markup, escape

from pipeline import words
from pipeline.fleet_result import FleetFinding, FleetResult, FleetSite, Harm
from pipeline.thresholds import THRESHOLDS
from reports.display import NONE, Display, plural
from reports.markup import clean, kept_together
from reports.theme import CALL_WORDS

KIND_SHORT = {
    "furnace_ac": "furnace and AC",
    "heat_pump": "heat pump",
    "dual_fuel": "dual fuel",
    "furnace": "furnace",
    "ac": "AC",
}
TOP_WORDS = {"safety": "Safety", "no heat": "No heat", "no cooling": "No cooling"}
WAY_WORDS = {
    "phone": "Phone call",
    "truck": "Truck",
    "two people": "Truck, two people",
    "licence": "Licensed person",
}
STATUS_WORDS = {
    "came back": "came back",
    "new": "new",
    "standing": "",
    "not seen lately": "could not be looked at lately",
    "gone": "gone",
}
_SENTENCE_END = re.compile(r"(?<=[.?!])(?<!\bin\.)(?<!w\.c\.) (?=[A-Z0-9])|(?<=w\.c\.) (?=[A-Z])")
_TIMES = re.compile(r": (?:on (?:\d+ days?|one day), )?first (?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) .*$")
SEVERITIES = ("act", "plan", "watch", "note")
MOST_NAME = 60


@dataclass(frozen=True)
class FleetModel:
    """What a block of the fleet page, or of a site's light page, is given."""

    result: FleetResult

    @cached_property
    def show(self) -> Display:
        """Numbers in the page's units."""
        return Display(self.result.units)

    @cached_property
    def by_id(self) -> dict[str, FleetSite]:
        """Every site by its id."""
        return {site.site_id: site for site in self.result.sites}

    @cached_property
    def index(self) -> dict[str, int]:
        """Every site's place in the record, by its id."""
        return {site.site_id: n for n, site in enumerate(self.result.sites)}

    def group(self, name: str) -> tuple[FleetSite, ...]:
        """The sites of a group, in the record's order."""
        return tuple(site for site in self.result.sites if site.group == name)

    def name(self, site: FleetSite) -> str:
        """What the site is called; its id where names are left out."""
        return site.site_id if self.result.redacted else (site.name or site.site_id)

    def link(self, site: FleetSite, up: str = "") -> Markup:
        """The site's name, leading to its light page if it has one; up : to report/ from here."""
        shown = escape(clean(self.name(site), MOST_NAME))
        if not site.page:
            return shown
        return Markup('<a href="{}">{}</a>').format(path_url(up + site.page), shown)

    def links(self, site_ids: Iterable[str], most: int, up: str = "") -> Markup:
        """Names of sites as links, the first `most` of them and how many more."""
        ids = list(site_ids)
        shown = [
            self.link(self.by_id[i], up) if i in self.by_id else escape(clean(i, MOST_NAME))
            for i in ids[:most]
        ]
        more = f" and {len(ids) - most:,} more" if len(ids) > most else ""
        return Markup(", ").join(shown) + more

    def number(self, name: str) -> float:
        """A judgement number of this run; the tool's own where the record does not carry it."""
        told = dict(self.result.run.numbers)
        return told[name] if name in told else THRESHOLDS[name].value

    def day(self, day: date | None) -> str:
        """'Tue Jan 13', with the year where it is not the run's."""
        if day is None:
            return NONE
        run = self.result.run.run_day
        far = day.year != run.year and abs((day - run).days) > 180
        return words.day(day) + (f" {day.year}" if far else "")

    def visit(self, site: FleetSite) -> str:
        """'add to Wed Oct 14 visit'; the site file's own words where it gives no date; ''."""
        if site.next_visit is None:
            return site.next_visit_text
        if site.next_visit < self.result.run.run_day:
            return f"was booked for {self.day(site.next_visit)}"
        if site.group == "on top":
            return f"booked {self.day(site.next_visit)}; do not wait for it"
        return f"add to {self.day(site.next_visit)} visit"

    def exposure(self, harm: Harm | None) -> str:
        """'9 of 12 days with heat; 26 such days in the next 30'."""
        if harm is None or harm.n_looked is None or harm.n_found is None:
            return ""
        said = f"{harm.n_found} of {harm.n_looked} {harm.per or 'days'}"
        month = self.number("fleet_month_days")
        return f"{said}; {round(harm.season * month)} such days in the next {month:.0f}"

    def system(self, site: FleetSite) -> str:
        """'dual fuel, 3 zones'."""
        kind = KIND_SHORT.get(site.kind, site.kind.replace("_", " "))
        zones = plural(site.n_zones, "zone") if site.n_zones else ""
        return ", ".join(part for part in (kind, zones) if part)


def lead_of(site: FleetSite) -> FleetFinding | None:
    """The finding that a site's row speaks of: on top the one that puts it there, else the worst.

    What is gone leads nowhere.
    """
    there = [f for f in site.findings if f.status != "gone" and f.about == "installation"]
    if not there:
        return None
    if site.group == "on top":
        return there[0]
    return max(there, key=lambda f: (f.harm.points.expected if f.harm else -1.0, -rank_of(f)))


def others_of(site: FleetSite) -> list[FleetFinding]:
    """What else is there: findings of the installation that are not gone and more than notes."""
    lead = lead_of(site)
    return [
        f
        for f in site.findings
        if f is not lead
        and f.status != "gone"
        and f.about == "installation"
        and f.severity != "note"
    ]


def rank_of(finding: FleetFinding) -> int:
    """Place of a finding's severity, 0 the gravest."""
    known = SEVERITIES.index(finding.severity) if finding.severity in SEVERITIES else 9
    return known


def in_short(said: str, limit: int) -> str:
    """The first sentence without its list of times; where that is long, part of it and “…”."""
    first = _SENTENCE_END.split(said, maxsplit=1)[0]
    first = _TIMES.sub(".", first)
    if len(first) <= limit:
        return first
    cut = first[:limit]
    marks = [cut.rfind(mark) for mark in (": ", "; ", ", ", " (")]
    return f"{cut[: max(marks)] if max(marks) > limit // 2 else cut.rsplit(' ', 1)[0]} …"


def points(value: float) -> str:
    """Points of harm as written: whole from 10 on."""
    return f"{value:,.0f}" if value >= 9.95 else f"{value:.1f}"


def path_url(path: str) -> str:
    """A relative path as an address: it can name no scheme and no host, nor end the attribute."""
    return quote(path, safe="/.-_~").lstrip("/")


def told(value: str) -> Markup:
    """Text for a row built by hand: cleaned, held together, escaped."""
    return escape(kept_together(clean(value)))


def mark(severity: str) -> Markup:
    """The severity as a word with its shape, drawn by the style sheet."""
    return Markup("<b class=k-{0}>{1}</b>").format(severity, CALL_WORDS.get(severity, severity))
