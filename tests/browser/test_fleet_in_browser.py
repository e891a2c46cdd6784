"""The fleet page in a real browser: filtered, ordered and taken away as its reader would."""

from __future__ import annotations

import csv
import importlib.util
import io
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from pipeline.fleet_result import FleetResult
from reports.fleet import render_fleet
from reports.fleet_site import render_site


def _module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


TESTS = Path(__file__).parents[1]
sample = _module(TESTS / "fleet_sample.py")
N = 90
SHOWN = """() => [...document.querySelectorAll('table[data-list] tbody tr')]
  .filter(r => !r.hidden && r.offsetParent).map(r => +r.dataset.s)"""
STATES = [
    pytest.param(1280, False, "screen", id="desktop"),
    pytest.param(1280, True, "screen", id="dark"),
    pytest.param(360, False, "screen", id="phone"),
    pytest.param(800, False, "print", id="print"),
]


@pytest.fixture(scope="module")
def fleet() -> FleetResult:
    made = sample.fleet(N)
    ranked = next(s for s in made.sites if s.group == "ranked")
    formula = replace(ranked, name="=cmd|' /C calc'!A0", region='hills, "upper"')
    return replace(made, sites=tuple(formula if s is ranked else s for s in made.sites))


@pytest.fixture(scope="module")
def path(fleet: FleetResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("fleet") / "index.html"
    path.write_text(render_fleet(fleet), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Every part of the page in few rows: what axe has to look at one by one."""
    path = tmp_path_factory.mktemp("small") / "index.html"
    path.write_text(render_fleet(sample.fleet(24)), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def seen(path: Path, look: Callable[..., Any]) -> Iterator[Any]:
    """One page that the tests of use share; each leaves it as it found it."""
    with ExitStack() as stack:
        yield stack.enter_context(look(path))


@pytest.mark.parametrize("width, dark, media", STATES)
def test_no_barrier_and_no_fault(
    small: Path, look: Callable[..., Any], width: int, dark: bool, media: str
) -> None:
    with look(small, width, dark=dark, media=media) as page:
        if media == "screen":
            page.page.locator("#filters summary").click()
            assert page.barriers() == []  # paper has no targets to tap
        assert page.faults() == []
        page.picture(f"fleet-{media}-{width}{'-dark' if dark else ''}")


def test_light_page_has_no_barrier_on_a_phone(
    fleet: FleetResult, look: Callable[..., Any], tmp_path: Path
) -> None:
    path = tmp_path / "site.html"
    path.write_text(render_site(fleet, fleet.sites[3].site_id), encoding="utf-8")
    with look(path, 360) as page:
        assert page.barriers() == []
        assert page.faults() == []
        page.picture("fleet-site-360")


def test_filters_show_what_they_say_and_give_all_back(fleet: FleetResult, seen: Any) -> None:
    page = seen.page
    at_first = page.evaluate(SHOWN)
    ranked = [n for n in at_first if fleet.sites[n].group == "ranked"]
    assert len(ranked) == 25 < sum(s.group == "ranked" for s in fleet.sites)
    page.locator("#filters summary").click()
    page.select_option("[data-by=region]", label=_option(page, "region", "river"))
    page.select_option("[data-by=way]", label=_option(page, "way", "Truck"))
    wanted = [
        n for n, s in enumerate(fleet.sites) if s.region == "river" and s.way == "truck"
    ]  # fmt: skip
    assert wanted and sorted(page.evaluate(SHOWN)) == wanted
    assert page.locator("#shown").inner_text() == f"{len(wanted)} of {N} sites: river, Truck"
    page.fill("#find", "nowhere avenue")
    assert page.evaluate(SHOWN) == []
    page.click("#all")
    assert page.evaluate(SHOWN) == at_first
    page.locator("#filters summary").click()
    assert seen.faults() == []


def test_search_finds_by_street_id_and_finding(fleet: FleetResult, seen: Any) -> None:
    page = seen.page
    site = next(s for s in fleet.sites if s.group == "nothing found")
    page.fill("#find", f"{site.name.split()[1]}  {site.site_id.upper()}")
    assert page.evaluate(SHOWN) == [fleet.sites.index(site)]
    page.fill("#find", "coil icing")
    found = page.evaluate(SHOWN)
    assert found and all(
        any(f.title == "Coil icing" for f in fleet.sites[n].findings) for n in found
    )
    page.fill("#find", "")


def test_order_follows_the_choice_and_the_head_within_each_list(
    fleet: FleetResult, seen: Any
) -> None:
    page = seen.page
    before = page.evaluate(SHOWN)
    page.select_option("#sort", "visit")
    ranked = [fleet.sites[n] for n in page.evaluate(SHOWN) if fleet.sites[n].group == "ranked"]
    booked = [s.next_visit for s in ranked if s.next_visit]
    assert booked == sorted(booked) and len(booked) > 3
    heads = page.locator("table[data-list=ranked] th")
    assert heads.filter(has_text="Visit").get_attribute("aria-sort") == "ascending"
    heads.filter(has_text="Harm ahead").locator("button").click()
    assert page.evaluate(SHOWN) == before
    groups = [fleet.sites[n].group for n in before]
    assert groups[0] == "on top" and groups.index("ranked") == groups.count("on top")


def test_sites_behind_one_setting_are_shown_alone(fleet: FleetResult, seen: Any) -> None:
    page = seen.page
    page.locator("#shared button.only").first.click()
    shared = set(fleet.shared[0].site_ids)
    assert {fleet.sites[n].site_id for n in page.evaluate(SHOWN)} == shared
    assert page.evaluate("document.activeElement.id") == "all"
    page.keyboard.press("Enter")
    assert len(page.evaluate(SHOWN)) > len(shared)


def test_keyboard_reaches_search_order_filters_and_every_row(seen: Any) -> None:
    page = seen.page
    assert not page.evaluate("document.getElementById('filters').open")
    page.focus("#find")
    reached = []
    for _ in range(9):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id || document.activeElement.tagName"))
    assert reached[:4] == ["sort", "csv", "copy", "SUMMARY"]
    assert "A" in reached  # the first site's link
    more = page.locator("#ranked .more button")
    more.focus()
    page.keyboard.press("Enter")
    assert more.get_attribute("aria-expanded") == "true"
    page.keyboard.press("Enter")
    assert more.get_attribute("aria-expanded") == "false"


def test_list_taken_away_is_whole_and_runs_nothing(fleet: FleetResult, seen: Any) -> None:
    page = seen.page
    with page.expect_download() as download:
        page.click("#csv")
    text = Path(download.value.path()).read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [r["site"] for r in rows] == [s.site_id for s in _as_listed(fleet)]
    assert download.value.suggested_filename == "sites-2026-10-01.csv"
    formula = next(r for r in rows if "cmd" in r["name"])
    assert formula["name"] == "'=cmd|' /C calc'!A0" and formula["region"] == 'hills, "upper"'
    site = next(s for s in fleet.sites if s.site_id == formula["site"])
    assert site.harm is not None and site.findings
    assert formula["harm ahead"] == f"{site.harm.points.expected:.0f}"
    assert formula["finding"] in {f.title for f in site.findings}
    assert formula["severity"].lower() in ("act", "plan", "watch")
    assert seen.faults() == []


def test_every_row_can_be_read_without_a_script(
    fleet: FleetResult, path: Path, look: Callable[..., Any]
) -> None:
    with look(path, scripts=False) as page:
        rows = page.page.locator("table[data-list] tbody tr")
        assert rows.count() == len(fleet.sites)
        assert rows.last.is_visible() and rows.nth(60).is_visible()
        assert not page.page.locator("#picking").is_visible()


def test_hostile_names_run_nothing_and_move_nothing(
    fleet: FleetResult, look: Callable[..., Any], tmp_path: Path
) -> None:
    names = _module(TESTS / "test_fleet_page.py").HOSTILE
    sites = tuple(
        replace(s, name=names[n % len(names)], region=names[(n + 1) % len(names)])
        for n, s in enumerate(fleet.sites)
    )
    path = tmp_path / "hostile.html"
    path.write_text(render_fleet(replace(fleet, name=names[0], sites=sites)), encoding="utf-8")
    with look(path, 360) as page:
        asked: list[str] = []
        page.page.on("dialog", lambda d: (asked.append(d.message), d.dismiss()))
        page.page.select_option("#sort", "name")
        page.page.fill("#find", "alert")
        assert page.page.evaluate(SHOWN)
        assert page.faults() == [] and asked == []


def _option(page: Any, by: str, word: str) -> str:
    labels = page.locator(f"[data-by={by}] option").all_inner_texts()
    return str(next(x for x in labels if x.startswith(f"{word} (")))


def _as_listed(fleet: FleetResult) -> list[Any]:
    order = ("on top", "ranked", "not cleared", "broken", "nothing found")
    return sorted(fleet.sites, key=lambda s: order.index(s.group))
