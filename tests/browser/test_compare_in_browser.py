"""The page of a comparison in a real browser: one sheet of paper, asks nothing, fits a phone."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from pipeline.compare import compare
from reports.compare import CAPTION, COLUMNS, render_comparison
from reports.paper import print_pdf


def _module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).parent
browser = _module(HERE / "test_page_in_browser.py")
made = _module(HERE.parent / "test_compare.py")
pytestmark = pytest.mark.skipif(browser.CHROMIUM is None, reason="no chromium on this machine")


@pytest.fixture(scope="module")
def page() -> str:
    return render_comparison(compare(made.made(), *made.sides()))


def test_one_page_of_paper(page: str) -> None:
    printed = print_pdf(page, browser.CHROMIUM)
    assert printed.pages == 1 and b"/StructTreeRoot" in printed.pdf


@pytest.mark.parametrize("width", [390, 1280])
def test_nothing_is_asked_for_and_nothing_scrolls_sideways(
    page: str, width: int, tmp_path: Path
) -> None:
    assert browser.faults(browser.looked_at(page, tmp_path, width)) == []


SHOWN = """[...document.querySelectorAll(".cmp tbody tr")].map(row =>
  [...row.querySelectorAll("td")].filter(c => c.offsetHeight).map(c =>
    getComputedStyle(c, "::before").content))"""


def test_on_a_phone_every_cell_says_what_it_is(
    page: str, look: Callable[..., Any], tmp_path: Path
) -> None:
    """The head row is out of sight there, so that a figure without its title is none."""
    path = tmp_path / "compare.html"
    path.write_text(page, encoding="utf-8")
    with look(path, 390) as seen:
        cards = seen.page.evaluate(SHOWN)
        titles = [f'"{c.title}"' for c in COLUMNS[1:]]
        assert cards and cards[0] == titles
        # a row that cannot be compared has nothing to draw
        assert all(card in (titles, [t for t in titles if t != '"Drawn"']) for card in cards)
        # named once, above, in a line or two: not one letter under the other
        named = seen.page.get_by_text(CAPTION, exact=True)
        assert named.count() == 1 and named.bounding_box()["height"] < 60
