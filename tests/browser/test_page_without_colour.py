"""The sample's page by keyboard alone, without colour, and on paper: nothing lost, nothing cut."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.review import review_site
from reports.site import render_site
from reports.theme import ROLE_STYLE, zone_style
from sample_data.unpack import unpack_site

# Everything that can be used and is seen, numbered in the order of the page.
NUMBERED = """() => {
  const all = [...document.querySelectorAll(
    'a[href], button, summary, input, select, [tabindex="0"]')].filter(
    e => e.tabIndex >= 0 && !e.disabled && e.checkVisibility());
  all.forEach((e, n) => e.dataset.number = n);
  return all.length;
}"""
HERE = "document.activeElement.dataset.number ?? null"
LEFT = """seen => [...document.querySelectorAll('[data-number]')]
  .filter(e => e.checkVisibility() && !seen.includes(e.dataset.number))
  .map(e => e.outerHTML.slice(0, 120))"""
WIDER = """() => {
  const main = document.getElementById('main').getBoundingClientRect();
  return [...document.querySelectorAll('.poster, .poster svg, table, .fig')]
    .filter(e => e.getClientRects().length)
    .filter(e => { const r = e.getBoundingClientRect();
                   return r.left < main.left - 1 || r.right > main.right + 1; })
    .map(e => e.outerHTML.slice(0, 120));
}"""


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    page = folder / "report.html"
    result = review_site(unpack_site("larch-14", folder)).result
    page.write_text(render_site(result), encoding="utf-8")
    return page


def test_the_keyboard_reaches_everything_in_the_page_s_order(
    path: Path, look: Callable[..., Any]
) -> None:
    """At phone width, where charts open on demand and not as one scrolls by."""
    with look(path, 390) as seen:
        n = seen.page.evaluate(NUMBERED)
        assert n > 100
        reached: list[str] = []
        for _ in range(n + 5):
            seen.page.keyboard.press("Tab")
            at = seen.page.evaluate(HERE)
            if at is not None and at not in reached:
                reached.append(at)
        assert seen.page.evaluate(LEFT, reached) == []
        assert reached == sorted(reached, key=int)


def test_nothing_is_cut_on_paper(path: Path, look: Callable[..., Any]) -> None:
    """Letter less its margins is 7.5 in. wide, 720 px."""
    with look(path, 720, media="print") as seen:
        assert seen.page.evaluate(WIDER) == []


def test_lines_of_one_panel_differ_without_their_colour() -> None:
    for roles in (
        ("supply_temp", "return_temp", "outdoor_temp", "mixed_temp"),
        ("static_pressure", "return_static"),
    ):
        dashes = [ROLE_STYLE[role][1] for role in roles]
        assert len(set(dashes)) == len(roles), roles
    assert len({zone_style(place)[1] for place in range(4)}) == 4
