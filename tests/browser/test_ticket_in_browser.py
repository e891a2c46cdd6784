"""The ticket's sheet in a real browser: one page whatever it holds, tagged, asks nothing.

The longest texts are those of tests/test_ticket.py.
"""

from __future__ import annotations

import importlib.util
import re
import shutil
import struct
import subprocess
from pathlib import Path
from types import ModuleType

import pytest

from reports.paper import picture_png, print_pdf
from reports.ticket import render_ticket


def _module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).parent
browser = _module(HERE / "test_page_in_browser.py")
tickets = _module(HERE.parent / "test_ticket.py")
pytestmark = pytest.mark.skipif(browser.CHROMIUM is None, reason="no chromium on this machine")

SHEETS = {"short": tickets.ticket, "long": tickets.long_ticket}


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize("which", SHEETS)
def test_exactly_one_page_tagged_and_light(which: str, paper: str) -> None:
    printed = print_pdf(render_ticket(SHEETS[which](), paper), browser.CHROMIUM)
    assert printed.pages == 1
    assert len(printed.pdf) <= 150_000
    assert b"/StructTreeRoot" in printed.pdf and b"/MarkInfo" in printed.pdf
    width = max(float(w) for w in re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+)", printed.pdf))
    assert abs(width - {"letter": 612, "a4": 595}[paper]) < 1.5  # points: 8.5 in, 210 mm


def test_one_page_too_many_is_seen() -> None:
    """Guards the count above: a sheet with more than fits is not one page."""
    page = render_ticket(tickets.ticket(), level=0).replace(
        "<footer>", "<p>x</p>" * 90 + "<footer>"
    )
    assert print_pdf(page, browser.CHROMIUM).pages > 1


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on this machine")
def test_text_can_be_selected(tmp_path: Path) -> None:
    path = tmp_path / "ticket.pdf"
    path.write_bytes(print_pdf(render_ticket(tickets.ticket()), browser.CHROMIUM).pdf)
    text = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
    for said in ("1 Larch Lane", "shut the heat off once", "Make it happen", "As left", "150 °F"):
        assert said in text.replace("\u00a0", " ")


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("which", SHEETS)
def test_nothing_is_asked_for_nothing_fails_nothing_scrolls_sideways(
    which: str, width: int, tmp_path: Path
) -> None:
    told = browser.looked_at(render_ticket(SHEETS[which]()), tmp_path, width)
    assert browser.faults(told) == []


def test_picture_is_as_wide_as_a_phone_and_whole() -> None:
    png = picture_png(render_ticket(tickets.ticket()), browser.CHROMIUM)
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", png[16:24])
    assert width == 1080 and 2000 < height < 16_000
