"""How large the fleet page is and how long it takes: to build, to paint, to order, to filter.

    python tests/benchmarks/fleet_page.py [SITES ...]

Invented fleets of 24, 400 and 1,000 sites unless others are asked for. Medians of five openings,
each in a fresh context; seconds only mean something beside others of the same run, so a page with
one paragraph is opened in turn as the reference. Order and filter: until the next frame is there.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from reports.fleet import render_fleet
from reports.fleet_site import render_site

TIMES = 5
WIDTHS = (1280, 360)
# from the change of a control to the second frame after it, which shows what came of it
CHANGE = """([id, value, event]) => new Promise(done => {
  const control = document.querySelector(id), start = performance.now();
  control.value = value;
  control.dispatchEvent(new Event(event, {bubbles: true}));
  const ran = performance.now() - start;
  requestAnimationFrame(() => requestAnimationFrame(() => done([ran, performance.now() - start])));
})"""
STEPS = {
    "order by name": ("#sort", "name", "change"),
    "search": ("#find", "mill", "input"),
    "filter": ("[data-by=region]", "1", "change"),
}


def opened(browser: Any, page: Path, width: int) -> dict[str, float]:
    """Milliseconds: first paint, loaded with the script run, then each step until it is painted."""
    context = browser.new_context(viewport={"width": width, "height": 900})
    view = context.new_page()
    view.goto(page.as_uri(), wait_until="load")
    told = view.evaluate(
        "[performance.getEntriesByType('paint').find(e => e.name === 'first-contentful-paint')"
        "?.startTime ?? NaN, performance.getEntriesByType('navigation')[0].loadEventEnd]"
    )
    out = {"first paint": told[0], "loaded": told[1]}
    if view.locator("#picking").count():
        for what, step in STEPS.items():
            ran, painted = view.evaluate(CHANGE, list(step))
            out[what] = ran
            out[f"{what}, painted"] = painted
    context.close()
    return out


def main(sizes: list[int]) -> None:
    """A line per page and width."""
    from playwright.sync_api import sync_playwright

    spec = importlib.util.spec_from_file_location(
        "fleet_sample", Path(__file__).parents[1] / "fleet_sample.py"
    )
    assert spec and spec.loader
    sample = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sample)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as p:
        folder = Path(name)
        pages = []
        for n in sizes:
            fleet = sample.fleet(n)
            start = time.process_time()
            page = folder / f"{n}-sites.html"
            page.write_text(render_fleet(fleet), encoding="utf-8")
            built = time.process_time() - start
            start = time.process_time()
            light = [len(render_site(fleet, s.site_id).encode()) for s in fleet.sites[:: n // 24]]
            each = (time.process_time() - start) / len(light)
            print(
                f"{n} sites: {page.stat().st_size:,} bytes, built in {built:.2f} CPU s; "
                f"light pages up to {max(light):,} bytes, {1000 * each:.0f} CPU ms each"
            )
            pages.append(page)
        bare = folder / "bare.html"
        bare.write_text("<!doctype html><title>bare</title><p>One paragraph.", encoding="utf-8")
        browser = p.chromium.launch(
            executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
            args=["--no-sandbox"] if os.geteuid() == 0 else [],
        )
        for width in WIDTHS:
            taken: dict[Path, list[dict[str, float]]] = {page: [] for page in [*pages, bare]}
            for _ in range(TIMES):
                for page in taken:
                    taken[page].append(opened(browser, page, width))
            for page, times in taken.items():
                said = ", ".join(
                    f"{what} {statistics.median(t[what] for t in times):.0f} ms"
                    for what in times[0]
                )
                print(f"{width} px  {page.name}: {said}")
        browser.close()


if __name__ == "__main__":
    main([int(a) for a in sys.argv[1:]] or [24, 400, 1000])
