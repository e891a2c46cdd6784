"""How long a page takes to build, to paint, and to open a chart, in headless Chromium.

    python tests/benchmarks/page.py [--year | PAGE.html ...]

Without arguments the sample site is reviewed and its page built; with --year also the year of
one-minute rows that year_site.py makes. Medians of five openings, each in
a fresh context; seconds only mean something beside others of the same run, so a page with one
paragraph is opened in turn as the reference.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from year_site import write_site

from pipeline.review import review_site
from reports.site import render_site
from sample_data.unpack import unpack_site

TIMES = 5
WIDTHS = (1280, 390)
AT_REST_MS = 1500
"""Nobody scrolls while a page is still being laid out: the verdict is read first."""
CHART = """() => new Promise((done, fail) => {
  const figure = document.getElementById('fig-whole-log'), start = performance.now();
  const seen = () => {
    if (figure.dataset.state === 'drawn') setTimeout(() => done(performance.now() - start));
  };
  new MutationObserver(seen).observe(figure, {attributeFilter: ['data-state']});
  figure.scrollIntoView();
  if (innerWidth < 700) figure.querySelector('.open').click();
  seen();
  setTimeout(() => fail(new Error('the chart was not drawn in a minute')), 60000);
})"""
"""Milliseconds from scrolling to the whole log until its zoomable chart has been drawn."""


def built(site: Path) -> Path:
    """The site's page, with what making it took: seconds by the clock, and of the processor."""
    start, used = time.perf_counter(), time.process_time()
    result = review_site(site, align=True).result
    reviewed, used_then = time.perf_counter(), time.process_time()
    page = site.parent / f"{site.name}.html"
    page.write_text(render_site(result), encoding="utf-8")
    print(
        f"{site.name}: review {reviewed - start:.1f} s (processor {used_then - used:.1f} s), "
        f"page {time.perf_counter() - reviewed:.1f} s ({time.process_time() - used_then:.1f} s), "
        f"{page.stat().st_size:,} bytes"
    )
    return page


def sites(folder: Path, year: bool) -> list[Path]:
    """The sample site, with the year before it if it was asked for."""
    sample = unpack_site("larch-14", folder)
    return [write_site(folder / "larch-year"), sample] if year else [sample]


def opened(browser: Any, page: Path, width: int) -> dict[str, float]:
    """Milliseconds: first paint, all laid out, the zoomable whole log once it is scrolled to."""
    context = browser.new_context(viewport={"width": width, "height": 900})
    view = context.new_page()
    view.goto(page.as_uri(), wait_until="load")
    told = view.evaluate(
        "[performance.getEntriesByType('paint').find(e => e.name === 'first-contentful-paint')"
        "?.startTime ?? NaN, performance.getEntriesByType('navigation')[0].loadEventEnd]"
    )
    out = {"first paint": told[0], "loaded": told[1]}
    if view.evaluate("document.getElementById('fig-whole-log') !== null"):
        view.wait_for_timeout(AT_REST_MS)
        # taken inside the page: a question asked from outside walks through all of its elements
        out["chart"] = view.evaluate(CHART)
        start = time.perf_counter()
        view.evaluate(
            "async () => { const g = document.querySelector('#fig-whole-log .live');"
            "const [a, b] = g.layout.xaxis.range.map(v => +new Date(v));"
            "await window.Plotly.relayout("
            "g, {'xaxis.range': [a + (b - a) * .4, a + (b - a) * .5]}); }"
        )
        out["zoom"] = (time.perf_counter() - start) * 1000
    context.close()
    return out


def main(pages: list[Path], year: bool = False) -> None:
    """A line per page and width."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as name, sync_playwright() as p:
        folder = Path(name)
        bare = folder / "bare.html"
        bare.write_text("<!doctype html><title>bare</title><p>One paragraph.", encoding="utf-8")
        shown = [*(pages or [built(site) for site in sites(folder, year)]), bare]
        browser = p.chromium.launch(
            executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
            args=["--no-sandbox"] if os.geteuid() == 0 else [],
        )
        for width in WIDTHS:
            taken: dict[Path, list[dict[str, float]]] = {page: [] for page in shown}
            for _ in range(TIMES):
                for page in shown:
                    taken[page].append(opened(browser, page, width))
            for page, times in taken.items():
                said = ", ".join(
                    f"{what} {statistics.median(t[what] for t in times):.0f} ms"
                    for what in times[0]
                )
                print(f"{width} px  {page.name} ({page.stat().st_size:,} bytes): {said}")
        browser.close()


if __name__ == "__main__":
    main([Path(a) for a in sys.argv[1:] if a != "--year"], "--year" in sys.argv)
