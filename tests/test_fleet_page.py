"""The fleet page and the light pages: all of the record in few bytes, nothing foreign runs."""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pytest

from pipeline.fleet_result import FleetResult
from reports.blocks.fleet_list import SHOWN
from reports.fleet import BLOCKS, render_fleet
from reports.fleet_model import FleetModel, in_short, lead_of, path_url
from reports.fleet_site import render_site

MOST_BYTES_400 = 300_000
MOST_BYTES_SITE = 60_000
HOSTILE = (
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "Den </script><script>alert(2)</script>",
    "=cmd|' /C calc'!A0",
    "\u202eevil\u2066 name\u200f",
    "javascript:alert(1)",
    "x" * 10_000,
    "{{ 7*7 }} {% raw %} %}",
)


def _module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


sample = _module(Path(__file__).with_name("fleet_sample.py"))
tags = _module(Path(__file__).with_name("test_reports.py"))


@pytest.fixture(scope="module")
def fleet() -> FleetResult:
    return sample.fleet(24)


@pytest.fixture(scope="module")
def page(fleet: FleetResult) -> str:
    return render_fleet(fleet)


class Rows(HTMLParser):
    """Text of every row with a site's place, in the order of the page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.rows: list[tuple[int, str]] = []
        self._open = False
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "tr":
            place = dict(attrs).get("data-s")
            self._open = place is not None
            if place is not None:
                self.rows.append((int(place), ""))

    def handle_endtag(self, tag: str) -> None:
        if tag == "tbody":
            self._open = False

    def handle_data(self, data: str) -> None:
        if self._open:
            place, said = self.rows[-1]
            self.rows[-1] = (place, f"{said}{data} ".replace("\u00a0", " "))


def test_every_site_has_one_row_and_stands_in_its_group(fleet: FleetResult, page: str) -> None:
    rows = Rows(page).rows
    assert sorted(n for n, _ in rows) == list(range(len(fleet.sites)))
    for n, said in rows:
        site = fleet.sites[n]
        assert site.name in said and site.region in said
        lead = lead_of(site)
        if site.group in ("on top", "ranked"):
            assert lead is not None and lead.title in said
            assert lead.summary.removesuffix(sample.TAIL) in said
        if site.group == "ranked":
            assert site.harm is not None and lead is not None and lead.harm is not None
            assert f"{lead.harm.n_found} of {lead.harm.n_looked} {lead.harm.per}" in said
            assert f"{site.harm.points.expected:.0f}" in said or site.harm.points.expected < 10
        if site.broken:
            assert site.broken[:60] in said and site.folder in said
        if site.group == "not cleared":
            assert all(reason in said for reason in site.reasons)
        if site.call_first:
            assert "call first" in said


def test_order_is_the_records_with_the_grave_ones_on_top(fleet: FleetResult, page: str) -> None:
    groups = [fleet.sites[n].group for n, _ in Rows(page).rows]
    order = ["on top", "ranked", "not cleared", "broken", "nothing found"]
    assert groups == sorted(groups, key=order.index)
    ranks = [fleet.sites[n].rank for n, _ in Rows(page).rows if fleet.sites[n].rank]
    assert ranks == sorted(ranks)


def test_a_place_that_chance_decides_is_marked(fleet: FleetResult, page: str) -> None:
    for n, said in Rows(page).rows:
        site = fleet.sites[n]
        if site.group == "ranked":
            alike = [s.rank for s in fleet.sites if s.tie == site.tie and s.group == "ranked"]
            place = said.split()[0]
            assert place == (f"{min(alike)}=" if len(alike) > 1 else str(site.rank))


def test_booked_visit_can_be_added_to_but_nobody_waits_for_it_without_heat(
    fleet: FleetResult,
) -> None:
    model = FleetModel(fleet)
    day = fleet.run.run_day.replace(day=14)
    top, ranked = fleet.sites[0], model.group("ranked")[0]
    assert model.visit(replace(ranked, next_visit=day)) == "add to Wed Oct 14 visit"
    assert "do not wait" in model.visit(replace(top, next_visit=day))
    past = fleet.run.run_day.replace(month=9)
    assert model.visit(replace(ranked, next_visit=past)).startswith("was booked for Tue Sep 1")
    assert model.visit(replace(ranked, next_visit=None, next_visit_text="spring")) == "spring"


def test_what_changed_and_what_stands_behind_many_is_said(fleet: FleetResult, page: str) -> None:
    said = tags.words(page).replace("\u00a0", " ")
    by_id = FleetModel(fleet).by_id
    for change in fleet.changes:
        of = {f.code: f for f in by_id[change.site_id].findings}
        assert change.title in said
        if change.code not in of:
            assert change.sentence in said
    for status in ("new", "came back"):
        firsts = {c.site_id: c for c in reversed(fleet.changes) if c.status == status}
        for change in firsts.values():  # the gravest of each site is told in full
            finding = next(f for f in by_id[change.site_id].findings if f.code == change.code)
            assert finding.summary.removesuffix(sample.TAIL) in said
    for shared in fleet.shared:
        assert shared.sentence in said
    for part, _ in fleet.parts:
        assert part in said
    for trend in fleet.trends:
        assert trend.label in said and trend.unit in said


def test_page_loads_nothing_and_runs_its_own_script_alone(page: str) -> None:
    allowed = tags.policy(page)
    assert allowed.startswith("default-src 'none'") and "unsafe-eval" not in allowed
    scripts = re.findall(r"<script>(.*?)</script>", page, re.S)
    assert len(scripts) == 1
    digest = base64.b64encode(hashlib.sha256(scripts[0].encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}';" in allowed
    for tag, attributes in tags.Tags(page).tags:
        assert tag not in ("link", "img", "iframe", "object", "embed", "base")
        assert not any(a.startswith("on") for a in attributes)
        if href := attributes.get("href"):
            assert ":" not in href and not href.startswith("/"), href


def test_record_of_the_script_is_that_of_the_rows(fleet: FleetResult, page: str) -> None:
    found = re.search(r'id="record">(.*?)</script>', page, re.S)
    assert found
    record = json.loads(found.group(1))
    for site, row in zip(fleet.sites, record["rows"], strict=True):
        assert row[0] == site.site_id
        assert record["lists"]["region"][row[2]] == site.region
        assert [record["lists"]["code"][c] for c in row[7][:1]] == [
            f.title for f in [lead_of(site)] if f
        ]
        assert bool(row[11]) == site.call_first


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_names_stay_text(fleet: FleetResult, name: str) -> None:
    page = render_fleet(sample.renamed(fleet, name))
    seen = [tag for tag, _ in tags.Tags(page).tags]
    assert seen.count("script") == 2 and "img" not in seen
    assert "\u202e" not in page and "\u2066" not in page
    assert len(page.encode()) < 120_000 + 24 * 3_000  # long names are cut in rows
    for _, attributes in tags.Tags(page).tags:
        assert not (attributes.get("href") or "").startswith("javascript")


def test_paths_cannot_become_schemes() -> None:
    assert path_url("javascript:alert(1)") == "javascript%3Aalert%281%29"
    assert path_url('a"b/../c d.html') == "a%22b/../c%20d.html"
    assert path_url("//host/x.html") == "host/x.html"
    assert path_url("../x/report/report.html") == "../x/report/report.html"


def test_four_hundred_sites_are_light_and_a_thousand_grow_alike() -> None:
    small, large = (len(render_fleet(sample.fleet(n)).encode()) for n in (400, 1000))
    assert small <= MOST_BYTES_400
    assert large <= 2.5 * small  # as many bytes a site, or fewer


def test_same_record_same_bytes(fleet: FleetResult, page: str) -> None:
    assert render_fleet(sample.fleet(24)) == page


def test_an_empty_fleet_and_one_of_a_single_site_have_a_page(fleet: FleetResult) -> None:
    one = replace(fleet.sites[-2], group="nothing found", peers=None, unusual_days=(), trends=())
    bare = replace(fleet, sites=(one,), shared=(), changes=(), parts=(), trends=(),
                   run=replace(fleet.run, n_sites=1))  # fmt: skip
    said = tags.words(render_fleet(bare))
    assert "Nothing that is worth a visit was found" in said and one.name in said


def test_redacted_page_names_nobody(fleet: FleetResult) -> None:
    page = render_fleet(replace(fleet, redacted=True))
    assert not any(s.name in page for s in fleet.sites)
    assert fleet.sites[0].site_id in page


def test_rows_beyond_the_first_stand_in_the_page_for_readers_without_a_script() -> None:
    css = Path(__file__).parents[1] / "reports" / "assets" / "fleet.css"
    script = css.with_name("fleet.js").read_text(encoding="utf-8")
    # three places say how many rows stand open at first: style sheet, script, block
    assert f"nth-child(n+{SHOWN + 1})" in css.read_text(encoding="utf-8")
    assert f"AT_ONCE = {SHOWN};" in script


def test_blocks_have_their_own_ids(fleet: FleetResult) -> None:
    keys = [block(FleetModel(fleet)).key for block in BLOCKS]
    assert len(keys) == len(set(keys))


def _fullest(fleet: FleetResult) -> FleetResult:
    """The first ranked site with more of everything than a site is likely to have."""
    site = next(s for s in fleet.sites if s.group == "ranked")
    one = replace(
        site.findings[0],
        summary="Second stage came on before the delay as set, with one zone calling. " * 6,
        causes=("The stage-up delay at the panel is shorter than what the sheet says. " * 3,) * 5,
        checks=("At the panel: read the delay. Good: 10 min. If not: " + "set it so. " * 20,) * 6,
        cautions=("Do not raise, jumper or defeat a limit; licensed practice, local codes. " * 3,)
        * 3,
        status="came back",
        came_back_after="the visit of Thu Sep 10 (filter changed, delay set, loggers left)",
    )
    codes = ("high-limit-trips", "short-cycling", *(f"finding-{n}" for n in range(10)))
    days = tuple(d for s in fleet.sites for d in s.days)[:200]
    full = replace(
        site,
        findings=tuple(replace(one, code=c) for c in codes)
        + tuple(replace(one, code=f"gone-{n}", status="gone") for n in range(8)),
        days=days,
        unusual_days=tuple(replace(u, reasons=(u.reasons[0] * 3,) * 3)
                           for s in fleet.sites for u in s.unusual_days)[:30],
        step_changes=tuple(c for s in fleet.sites for c in s.step_changes)[:20],
        trends=tuple(replace(site.trends[0], figure=f"rate-{n}") for n in range(5)),
        reasons=("A reason as long as reasons are likely to become, with its days. " * 2,) * 6,
        full_report=f"{site.folder}/report/report.html",
    )  # fmt: skip
    return replace(fleet, sites=tuple(full if s is site else s for s in fleet.sites))


def test_light_pages_of_every_group_are_light_and_say_what_the_record_says(
    fleet: FleetResult,
) -> None:
    for site in fleet.sites:
        page = render_site(fleet, site.site_id)
        assert len(page.encode()) <= MOST_BYTES_SITE
        said = tags.words(page).replace("\u00a0", " ")
        assert site.name in said and "<script" not in page
        assert "script-src 'none'" in tags.policy(page)
        for finding in site.findings:
            assert finding.title in said and finding.summary in said
            assert finding.checks[0] in said
            assert f"{finding.n_weeks_found} of {finding.n_weeks_looked}" in said
            assert all(c in said for c in finding.cautions)
        for change in site.step_changes:
            assert change.sentence in said
        if site.broken:
            assert site.broken in said
        else:
            assert site.peers is not None and site.peers.alike in said
            assert site.trends[0].label in said


def test_the_fullest_light_page_keeps_to_its_bytes_and_leads_on(fleet: FleetResult) -> None:
    full = _fullest(fleet)
    site = next(s for s in full.sites if s.full_report)
    page = render_site(full, site.site_id)
    assert len(page.encode()) <= MOST_BYTES_SITE
    links = {a["href"] for tag, a in tags.Tags(page).tags if tag == "a" and a.get("href")}
    assert "../index.html" in links
    assert f"../../{site.folder}/report/report.html" in links
    said = tags.words(page).replace("\u00a0", " ")
    assert "came back after the visit of Thu Sep 10" in said
    # what is beyond the findings told in full stands in a line each
    assert all(c in said for c in site.findings[0].cautions)
    assert said.count(site.findings[0].title) >= len(site.findings)
    assert "Also found" in said and "Gone" in said


def test_a_day_not_logged_is_hatched_and_told_and_an_unusual_one_marked(
    fleet: FleetResult,
) -> None:
    site = next(
        s for s in fleet.sites
        if any(d.is_unusual for d in s.days) and any(d.covered_h < 1 for d in s.days)
    )  # fmt: skip
    page = render_site(fleet, site.site_id)
    figure = page[page.index('class="poster weeks"') :].split("</figure>")[0]
    assert "url(#hatch)" in figure
    # the triangle stands over each row of the drawing
    rows = figure.count('class="rowhead"')
    assert figure.count("M-4.5 0h9L0 7z") == rows * sum(d.is_unusual for d in site.days)
    assert "not logged, hatched" in figure


def test_hostile_words_stay_text_on_a_light_page(fleet: FleetResult) -> None:
    for name in HOSTILE:
        named = sample.renamed(fleet, name)
        for site in (named.sites[0], named.sites[4], named.sites[-1]):
            page = render_site(named, site.site_id)
            seen = [tag for tag, _ in tags.Tags(page).tags]
            assert "script" not in seen and "img" not in seen
            assert "\u202e" not in page and len(page.encode()) <= MOST_BYTES_SITE


def test_long_sentences_are_told_in_short_and_marked_so() -> None:
    said = "Static went over 0.40 in. w.c. 423 times, up to 0.88 in. w.c. (8:10 pm). More."
    assert in_short(said, 150) == said.removesuffix(" More.")
    assert in_short(said, 60) == "Static went over 0.40 in. w.c. 423 times …"
    with_times = "It came on 15 times, minimum 2 zones: on 7 days, first Mon 12:04 am, last Tue."
    assert in_short(with_times, 150) == "It came on 15 times, minimum 2 zones."
    assert in_short("Up to 0.88 in. w.c. It fell.", 60) == "Up to 0.88 in. w.c."
    assert in_short("No stop at all", 150) == "No stop at all"
    assert in_short("x" * 500 + " y", 100).endswith("…")
