"""Ticket, comparison, plan and a page full of hostile names, in a real browser."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from reports.compare import render_comparison
from reports.site import render_site
from reports.ticket import render_ticket


def _module(path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


TESTS = Path(__file__).parents[1]


def _ticket() -> str:
    return render_ticket(_module(TESTS / "test_ticket.py").long_ticket())


def _comparison() -> str:
    made = _module(TESTS / "test_compare.py")
    from pipeline.compare import compare

    return render_comparison(compare(made.made(), *made.sides()))


def _plan() -> str:
    from pipeline.plan import make_plan
    from pipeline.site_reader import read_site
    from reports.plan import render_plan

    site = read_site(TESTS.parent / "sample_data" / "larch-14" / "site.toml")
    return render_plan(make_plan(site, (), ()))


def _replay() -> str:
    from reports.replay import render_replay

    return render_replay(_module(TESTS / "test_replay.py").SMALL)


PAGES = {"ticket": _ticket, "comparison": _comparison, "plan": _plan, "replay": _replay}


@pytest.mark.parametrize(
    "width, dark, media",
    [
        (1280, False, "screen"),
        (1280, True, "screen"),
        (390, False, "screen"),
        (800, False, "print"),
    ],
    ids=["desktop", "dark", "phone", "print"],
)
@pytest.mark.parametrize("name", PAGES)
def test_no_barrier_and_no_fault(
    name: str, width: int, dark: bool, media: str, look: Callable[..., Any], tmp_path: Path
) -> None:
    path = tmp_path / f"{name}.html"
    path.write_text(PAGES[name](), encoding="utf-8")
    with look(path, width, dark=dark, media=media) as seen:
        assert seen.barriers() == []
        assert seen.faults() == []
        seen.picture(f"{name}-{media}-{width}{'-dark' if dark else ''}")


@pytest.mark.parametrize("width", [390, 1280])
def test_hostile_names_run_nothing_and_move_nothing(
    width: int, look: Callable[..., Any], tmp_path: Path
) -> None:
    reports = _module(TESTS / "test_reports.py")
    for n, name in enumerate(reports.HOSTILE):
        path = tmp_path / f"hostile-{n}.html"
        path.write_text(render_site(reports.hostile_result(name)), encoding="utf-8")
        with look(path, width) as seen:
            asked: list[str] = []
            seen.page.on("dialog", lambda d, asked=asked: (asked.append(d.message), d.dismiss()))
            seen.page.evaluate("document.querySelectorAll('.open').forEach(b => b.click())")
            seen.page.wait_for_selector("figure[data-state=drawn]", timeout=20_000)
            assert seen.faults() == [] and asked == [], name
            # nothing of theirs became a link, a picture or a script
            for foreign in ("img[src=x]", "a[href^='http']", "a[href^='javascript']"):
                assert seen.page.locator(foreign).count() == 0, (name, foreign)
