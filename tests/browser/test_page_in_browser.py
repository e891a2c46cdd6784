"""The page in a real browser: nothing loads from outside, nothing fails, it prints, it fits.

Headless Chromium is run as a program: what a page says of itself is written into an attribute by a
small listener put in front of a copy of the page, and read from the dumped document. A dump
paints no frame, so the figure is opened by its button, as on a phone, not by scrolling. Where no
Chromium is found the tests are skipped and say so.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from types import ModuleType

import pytest

from reports.site import render_site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
SECONDS = 25
MOST_PAGES = 12
"""The sample has two findings and two days; its tables fold, so it stays a short print."""

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

LISTENER = """
const seen = {errors: [], violations: [], requests: []};
addEventListener('error', e => seen.errors.push(String(e.message)));
addEventListener('unhandledrejection', e => seen.errors.push(String(e.reason)));
addEventListener('securitypolicyviolation', e => seen.violations.push(e.violatedDirective));
const complain = console.error;
console.error = (...a) => { seen.errors.push(a.join(' ')); complain(...a); };
new PerformanceObserver(list => {
  for (const e of list.getEntries()) seen.requests.push(e.name);
}).observe({type: 'resource', buffered: true});
const report = () => {
  const figure = document.querySelector('figure[data-live]');
  seen.state = figure ? figure.dataset.state || 'waiting' : 'none';
  seen.plots = document.querySelectorAll('.live .main-svg').length;
  seen.width = innerWidth;
  seen.across = document.documentElement.scrollWidth;
  document.documentElement.dataset.seen = JSON.stringify(seen);
};
addEventListener('load', () => {
  const figure = document.querySelector('figure[data-live]');
  if (figure && innerWidth >= 700) figure.querySelector('.open').click();
  report();
  setInterval(report, 100);
});
"""


def _sample() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "report_sample", Path(__file__).parent.parent / "report_sample.py"
    )
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


sample = _sample()


@pytest.fixture(scope="module")
def page() -> str:
    return render_site(sample.sample_result())


def run(tmp_path: Path, *arguments: str) -> str:
    """What Chromium wrote to its output; fails where it does not end in time."""
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    made = subprocess.run(
        [
            str(CHROMIUM), "--headless", *root, "--disable-gpu", "--disable-quic",
            "--no-first-run", "--disable-sync", "--disable-background-networking",
            "--disable-component-update", "--hide-scrollbars",
            f"--user-data-dir={tmp_path / 'profile'}", *arguments,
        ],
        capture_output=True, text=True, timeout=SECONDS, check=True,
    )  # fmt: skip
    return made.stdout


def listened(page: str) -> str:
    """The page with the listener in front, its hash added to the page's own policy."""
    digest = base64.b64encode(hashlib.sha256(LISTENER.encode()).digest()).decode()
    allowed = page.replace("script-src ", f"script-src 'sha256-{digest}' ", 1)
    return allowed.replace("<title>", f"<script>{LISTENER}</script>\n<title>", 1)


def looked_at(page: str, tmp_path: Path, width: int = 1280) -> dict:
    """Errors, violations, requests, state of the first figure and width, as the page tells."""
    path = tmp_path / "page.html"
    path.write_text(listened(page), encoding="utf-8")
    inner = path.as_uri()
    if width < 500:  # a window cannot be this narrow, a frame can
        outer = tmp_path / "phone.html"
        outer.write_text(
            f'<title></title><iframe id="f" src="{inner}" style="width:{width}px;height:700px">'
            "</iframe><script>setInterval(() => { const d = document.getElementById('f')"
            ".contentDocument.documentElement; if (d && d.dataset.seen) "
            "document.documentElement.dataset.seen = d.dataset.seen; }, 100)</script>",
            encoding="utf-8",
        )
        inner = outer.as_uri()
    dumped = run(
        tmp_path, "--allow-file-access-from-files", "--window-size=1280,900",
        "--virtual-time-budget=8000", "--dump-dom", inner,
    )  # fmt: skip
    found = re.search(r'data-seen="([^"]*)"', dumped)
    assert found, "the listener did not run"
    told = json.loads(found.group(1).replace("&quot;", '"').replace("&amp;", "&"))
    assert isinstance(told, dict)
    return told


def faults(told: dict) -> list[str]:
    """What is wrong with a page, in words; the broken page below guards that this sees it."""
    out = [f"error: {e}" for e in told["errors"]]
    out += [f"against the policy: {v}" for v in told["violations"]]
    out += [
        f"request: {r}" for r in told["requests"] if not r.startswith(("file:", "data:", "blob:"))
    ]
    if told["across"] > told["width"]:
        out.append(f"wider than the screen: {told['across']} > {told['width']}")
    return out


def test_page_draws_its_first_figure_and_asks_for_nothing(page: str, tmp_path: Path) -> None:
    told = looked_at(page, tmp_path)
    assert faults(told) == []
    assert told["state"] == "drawn" and told["plots"] > 0


def test_phone_needs_no_sideways_scroll_and_draws_only_on_demand(page: str, tmp_path: Path) -> None:
    told = looked_at(page, tmp_path, width=360)
    assert faults(told) == []
    assert told["width"] == 360 and told["state"] == "waiting"


def test_broken_page_is_seen_as_broken(page: str, tmp_path: Path) -> None:
    broken = page.replace(
        "</main>",
        '<p style="width:3000px">wide</p><img src="https://example.invalid/x.png">'
        "<script>alert(1)</script></main>",
    )
    said = " ".join(faults(looked_at(broken, tmp_path)))
    assert "wider than the screen" in said and "against the policy: img-src" in said
    assert "script-src" in said


def test_figure_that_cannot_be_unpacked_is_seen(page: str, tmp_path: Path) -> None:
    torn = re.sub(r'(id="figures">)[^<]{40}', r"\1" + "A" * 40, page)
    told = looked_at(torn, tmp_path)
    assert told["state"] == "failed" and faults(told)


def test_first_printed_page_holds_verdict_checks_and_cautions(page: str, tmp_path: Path) -> None:
    path, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    path.write_text(page, encoding="utf-8")
    run(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", path.as_uri())
    counts = re.findall(rb"/Type\s*/Pages\b.*?/Count\s+(\d+)", pdf.read_bytes(), re.S)
    assert counts and 1 <= max(int(c) for c in counts) <= MOST_PAGES
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext: pages were counted, the first page's text was not read")
    said = subprocess.run(
        ["pdftotext", "-l", "1", str(pdf), "-"],
        capture_output=True, text=True, timeout=SECONDS, check=True,
    ).stdout  # fmt: skip
    said = re.sub(r"\s+", " ", said)
    result = sample.sample_result()
    assert result.verdict.sentence in said
    assert "Check first" in said and "Read the minimum zones." in said
    assert result.findings[0].cautions[0] in said
