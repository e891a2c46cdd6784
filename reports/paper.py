"""HTML on paper or as a picture, by what is installed: a browser, else WeasyPrint, else refused.

Nothing is fetched: the page carries all it needs and its policy forbids the rest. The browser gets
an empty profile that is deleted afterwards, and is stopped when it takes too long.
"""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import InputError

BROWSER_VARIABLE = "ZONETRAIL_BROWSER"
_NAMES = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge",
    "microsoft-edge",
)  # fmt: skip
_PLACES = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
SECONDS = 60
PHONE_PX, PHONE_SCALE = 540, 2
"""A picture 1,080 pixels wide, as wide as a phone's screen, read without zooming."""
_TALLEST_PX = 8000

_MEASURE = """<!DOCTYPE html><html><head><title>0</title></head><body style="margin:0">
<iframe id="f" src="{page}" style="width:{width}px;height:600px;border:0"></iframe><script>
const f = document.getElementById('f');
f.addEventListener('load', () => {{
  const d = f.contentDocument.documentElement;
  document.documentElement.dataset.height = Math.ceil(d.querySelector('footer')
    .getBoundingClientRect().bottom + 16);
}});
</script></body></html>"""


def find_browser() -> str | None:
    """The browser that can print: from the environment, the PATH or the usual places; else None.

    Raises InputError where the environment names one that is not there.
    """
    named = os.environ.get(BROWSER_VARIABLE)
    if named:
        found = shutil.which(named)
        if found is None:
            raise InputError(
                f"the browser that {BROWSER_VARIABLE} names is not there",
                found=named,
                expected="the path of a Chromium-family browser, or the variable left unset",
            )
        return found
    for name in (*_NAMES, *_PLACES):
        found = shutil.which(name)
        if found:
            return found
    return None


def has_weasyprint() -> bool:
    """Whether WeasyPrint is installed."""
    return importlib.util.find_spec("weasyprint") is not None


@dataclass(frozen=True)
class Printed:
    """A tagged PDF with selectable text, and on how many pages it stands."""

    pdf: bytes
    pages: int


def print_pdf(page: str, browser: str | None) -> Printed:
    """The page as a PDF, by this browser, else by WeasyPrint.

    Raises InputError where neither can.
    """
    if browser is None:
        return _by_weasyprint(page)

    def work(folder: Path) -> bytes:
        target = folder / "page.pdf"
        arguments = ("--no-pdf-header-footer", f"--print-to-pdf={target}")
        _run(browser, folder, *arguments, _written(folder, page))
        return _made(target, browser)

    pdf = _in_folder(work)
    counts = re.findall(rb"/Type\s*/Pages\b.*?/Count\s+(\d+)", pdf, re.S)
    if not counts:
        raise _failed(browser, "its PDF does not say how many pages it has")
    return Printed(pdf, max(int(n) for n in counts))


def picture_png(page: str, browser: str) -> bytes:
    """The page as one tall picture, in the layout of a phone. Raises InputError where it fails."""

    def work(folder: Path) -> bytes:
        address = _written(folder, page)
        outer = folder / "measure.html"
        outer.write_text(_MEASURE.format(page=address, width=PHONE_PX), encoding="utf-8")
        told = _run(
            browser, folder, "--allow-file-access-from-files", "--virtual-time-budget=3000",
            "--dump-dom", outer.as_uri(),
        )  # fmt: skip
        found = re.search(r'data-height="(\d+)"', told)
        if not found:
            raise _failed(browser, "the page's height could not be read")
        height = min(int(found.group(1)), _TALLEST_PX)
        target = folder / "page.png"
        _run(
            browser, folder, f"--window-size={PHONE_PX},{height}",
            f"--force-device-scale-factor={PHONE_SCALE}", f"--screenshot={target}", address,
        )  # fmt: skip
        return _made(target, browser)

    return _in_folder(work)


def nothing_prints() -> InputError:
    """The error of a machine with neither a browser nor WeasyPrint."""
    return InputError(
        "there is nothing here that can print a page",
        found="no Chromium-family browser, no WeasyPrint",
        expected=f"a browser on the PATH, its path in {BROWSER_VARIABLE}, or WeasyPrint: "
        "pip install 'zonetrail[pdf]'",
        hint="--format html writes the same page; print it from any browser",
    )


def _by_weasyprint(page: str) -> Printed:
    if not has_weasyprint():
        raise nothing_prints()
    import weasyprint

    document = weasyprint.HTML(string=page).render()
    pdf = document.write_pdf(pdf_tags=True)
    assert isinstance(pdf, bytes)
    return Printed(pdf, len(document.pages))


def _in_folder(work: Callable[[Path], bytes]) -> bytes:
    # the browser may still write into its profile while it ends
    with tempfile.TemporaryDirectory(prefix="zonetrail-", ignore_cleanup_errors=True) as name:
        return work(Path(name))


def _written(folder: Path, page: str) -> str:
    path = folder / "page.html"
    path.write_text(page, encoding="utf-8")
    return path.as_uri()


def _run(browser: str, folder: Path, *arguments: str) -> str:
    """What the browser wrote to its output. Raises InputError where it fails or takes too long."""
    root = ["--no-sandbox"] if getattr(os, "geteuid", lambda: 1)() == 0 else []
    command: Sequence[str] = [
        browser, "--headless", *root, "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        "--hide-scrollbars", f"--user-data-dir={folder / 'profile'}", *arguments,
    ]  # fmt: skip
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, errors="replace", timeout=SECONDS, check=True
        )
    except subprocess.TimeoutExpired as error:
        raise _failed(browser, f"it did not end within {SECONDS} s") from error
    except (OSError, subprocess.CalledProcessError) as error:
        raise _failed(browser, str(error).splitlines()[0][:200]) from error
    return done.stdout


def _made(target: Path, browser: str) -> bytes:
    if not target.is_file() or not target.stat().st_size:
        raise _failed(browser, "it wrote nothing")
    return target.read_bytes()


def _failed(browser: str, why: str) -> InputError:
    return InputError(
        "the browser could not print the page",
        file=browser,
        found=why,
        expected="a Chromium-family browser that runs headless",
        hint="--format html writes the same page; print it from any browser",
    )
