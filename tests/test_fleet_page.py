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
from reports.fleet_model import FleetModel, lead_of, path_url

MOST_BYTES_400 = 300_000
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
            assert lead is not None and lead.title in said and lead.summary in said
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
    for change in fleet.changes:
        assert change.sentence in said
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
            assert href.startswith(("#", "./")), href


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
    assert path_url("javascript:alert(1)") == "./javascript%3Aalert%281%29"
    assert path_url('a"b/../c d.html') == "./a%22b/../c%20d.html"
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
