"""The page of a comparison in a real browser: one sheet of paper, asks nothing, fits a phone."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from pipeline.compare import compare
from reports.compare import render_comparison
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
