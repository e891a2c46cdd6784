"""The plan in a real browser: two sheets of paper, no sideways scroll on a phone."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from pipeline.plan import make_plan
from pipeline.plan.record import Logged
from pipeline.site_reader import read_site
from reports.plan import render_plan

LARCH = Path(__file__).parents[2] / "sample_data" / "larch-14" / "site.toml"


def _browser() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "page_in_browser", Path(__file__).with_name("test_page_in_browser.py")
    )
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


browser = _browser()
pytestmark = pytest.mark.skipif(browser.CHROMIUM is None, reason="no chromium on this machine")


@pytest.fixture(scope="module")
def page() -> str:
    """The longest plan there is: two fuels, every question, with a column of what is logged."""
    return render_plan(make_plan(read_site(LARCH), (), (Logged("supply_temp", None, 10.0),)))


def test_plan_and_form_are_one_sheet_each(page: str, tmp_path: Path) -> None:
    path, pdf = tmp_path / "plan.html", tmp_path / "plan.pdf"
    path.write_text(page, encoding="utf-8")
    browser.run(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", path.as_uri())
    counts = re.findall(rb"/Type\s*/Pages\b.*?/Count\s+(\d+)", pdf.read_bytes(), re.S)
    assert counts and max(int(c) for c in counts) == 2  # shorten a text if a new row breaks it


def test_phone_needs_no_sideways_scroll(page: str, tmp_path: Path) -> None:
    told = browser.looked_at(page, tmp_path, width=390)
    assert browser.faults(told) == []
