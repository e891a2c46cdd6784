"""A site whose every name is an attack: its pages show them as text, run and ask for nothing.

Ticket and comparison have such names in their own tests.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.cli import zonetrail
from pipeline.guard import run_command
from tests.fleet_sites import write_site

MARKS = (
    "<img src=x onerror=window.hacked=1>",
    "</script><script>window.hacked=1</script>",
    "</style><style>*{background:url(https://example.invalid/x)}</style>",
    '"><svg onload=window.hacked=1>',
    "<iframe src=https://example.invalid></iframe>",
    "<a href=javascript:window.hacked=1>x</a>",
    "%{y}<b>{{7*7}}${window.hacked=1}",
    '=HYPERLINK("https://example.invalid")\u202e',
    "'); drop table file; --",
)
ALL = "".join(MARKS)
PAGES = ("report.html", "plan.html")


def quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fleet of one such site, with every page that there is of it."""
    folder = tmp_path_factory.mktemp("hostile") / "fleet"
    site = folder / "site"
    text = quoted(ALL)
    write_site(
        site, "site", range(2), cold=range(1, 2), every_min=5,
        more=f'name = "{text}"\ncomplaint = "{text}"\n',
        tail=f'\n[[visit]]\nfrom = "2026-01-06T01:00"\nto = "2026-01-06T02:00"\nwhat = "{text}"\n',
    )  # fmt: skip
    toml = site / "site.toml"
    said = toml.read_text(encoding="utf-8")
    said = said.replace('name = "Down"', f'name = "{quoted(MARKS[0])}"')
    said = said.replace('name = "Up"', f'name = "{quoted(MARKS[1])}"')
    column = MARKS[0].replace(",", "")
    said = said.replace('column = "supply_temp"', f'column = "{quoted(column)}"')
    toml.write_text(said, encoding="utf-8")
    export = site / "exports" / "day00.csv"
    rows = export.read_text(encoding="utf-8").replace("supply_temp", column, 1)
    rows += f"2026-01-07 00:00,{MARKS[0]},{MARKS[1].replace(',', '')}\n{MARKS[4]}\n"
    export.unlink()
    (site / "exports" / f"{MARKS[3].replace('/', '')}.csv").write_text(rows, encoding="utf-8")
    ran = ["--quiet"]
    for command in (
        ["review", site, *ran],
        ["plan", site, "--format", "html"],
        ["fleet", folder, "--on", "2026-02-01", "--jobs", "1", *ran],
        ["export", site, "--to", folder / "exported", *ran],
    ):
        assert run_command(zonetrail, [str(a) for a in command]) in (0, 1), command
    return folder


def pages(fleet: Path) -> list[Path]:
    own = [p for p in (fleet / "site" / "report").glob("*.html")]
    return sorted([*own, *(fleet / "report").rglob("*.html")])


def test_every_page_shows_hostile_names_as_text_and_does_nothing(
    fleet: Path, look: Callable[..., Any]
) -> None:
    found = pages(fleet)
    assert {p.name for p in found} >= {*PAGES, "index.html", "site.html"}
    for path in found:
        with look(path) as seen:
            seen.page.wait_for_timeout(300)
            for folded in seen.page.locator("details").all():
                folded.evaluate("d => d.open = true")
            shown = seen.page.locator("body").inner_text()
            assert seen.page.evaluate("window.hacked") is None, path.name
            assert not [f for f in seen.faults() if not f.startswith("wider")], path.name
            assert seen.page.locator("img[src=x], iframe, svg[onload]").count() == 0, path.name
            assert "onerror=window.hacked=1" in shown, path.name


def test_csv_that_a_spreadsheet_opens_runs_no_formula(fleet: Path) -> None:
    files = [fleet / "report" / "list.csv", *(fleet / "exported").glob("*.csv")]
    assert len(files) > 3
    cells = 0
    for file in files:
        with file.open(newline="", encoding="utf-8") as opened:
            for row in csv.reader(opened):
                for cell in row:
                    is_number = cell.lstrip("+-").replace(".", "").replace("e", "").isdigit()
                    assert is_number or not cell.startswith(("=", "+", "@", "\t", "\r")), cell
                    assert not cell.startswith("-") or is_number or cell[1:2].isdigit(), cell
                    cells += "onerror" in cell
    assert cells
