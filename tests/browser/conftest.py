"""One Chromium for the tests that use a page as its reader would: scroll, click, look, print.

Playwright drives the browser that is installed (nothing is downloaded); axe-core, which ships with
axe-playwright-python, judges accessibility. Where either or the browser is missing the tests are
skipped and say so.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SCREENS = Path(os.environ.get("ZONETRAIL_SCREENS", "out/screens"))
"""Where pictures of the pages go, for people to look at."""


class Look:
    """A page being looked at, with everything it asked for and complained of."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.requests: list[str] = []
        self.errors: list[str] = []
        page.on("request", lambda r: self.requests.append(r.url))
        page.on("console", lambda m: self.errors.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda e: self.errors.append(str(e)))

    def faults(self) -> list[str]:
        """What is wrong with the page, in words."""
        local = ("file:", "data:", "blob:", "about:")
        out = [f"error: {e}" for e in self.errors]
        out += [f"request: {r}" for r in self.requests if not r.startswith(local)]
        across, wide = self.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        if across > wide:
            out.append(f"wider than the screen: {across} > {wide}")
        return out

    def barriers(self) -> list[str]:
        """What axe finds against WCAG 2.2 AA and best practice, with the first element of each."""
        from axe_playwright_python.sync_playwright import Axe

        # only violations are worked out in full: a page has tens of thousands of elements
        options = {
            "runOnly": {"type": "tag", "values": RULES},
            "resultTypes": ["violations"],
        }
        found = Axe().run(self.page, options=options)
        return [
            f"{v['id']}: {v['help']} ({len(v['nodes'])}, first {v['nodes'][0]['html'][:120]})"
            for v in found.response["violations"]
        ]

    def scrolled_to(self, key: str, state: str = "drawn") -> Any:
        """The figure, scrolled to and drawn."""
        figure = self.page.locator(f"#fig-{key}")
        figure.scroll_into_view_if_needed()
        self.page.wait_for_selector(f"#fig-{key}[data-state={state}]", timeout=20_000)
        return figure

    def picture(self, name: str, whole: bool = True) -> Path:
        """A screenshot for people to look at."""
        SCREENS.mkdir(parents=True, exist_ok=True)
        path = SCREENS / f"{name}.png"
        self.page.screenshot(path=path, full_page=whole)
        return path


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as p:
        browser = p.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox"] if os.geteuid() == 0 else [],
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def look(chromium: Any) -> Callable[..., Any]:
    """look(path, width, dark=, touch=, scripts=): a context manager that gives a Look."""

    @contextmanager
    def opened(
        path: Path, width: int = 1280, *, dark: bool = False, media: str = "screen",
        scripts: bool = True,
    ) -> Iterator[Look]:  # fmt: skip
        context = chromium.new_context(
            viewport={"width": width, "height": 900},
            color_scheme="dark" if dark else "light",
            java_script_enabled=scripts,
            accept_downloads=True,
            reduced_motion="reduce",
        )
        try:
            page = context.new_page()
            seen = Look(page)
            page.emulate_media(media=media, color_scheme="dark" if dark else "light")
            page.goto(path.as_uri(), wait_until="load", timeout=20_000)
            yield seen
        finally:
            context.close()

    return opened
