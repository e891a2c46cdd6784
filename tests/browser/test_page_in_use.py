"""The sample site's page, used as a reviewer would use it, in a real browser."""

from __future__ import annotations

import csv
import io
import random
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from markupsafe import Markup

from pipeline.review import review_site
from reports.block import Block
from reports.page import page_html
from reports.site import render_site
from reports.table import Column, Table, table_html
from sample_data.unpack import unpack_site

STAGING = "table[aria-label^='Starts of second stage']"
MOST_BYTES = 1_600_000
MOST_SHEETS = 36
STATES = [
    pytest.param(1280, False, "screen", id="desktop"),
    pytest.param(1280, True, "screen", id="dark"),
    pytest.param(390, False, "screen", id="phone"),
    pytest.param(1000, False, "print", id="print"),
]

# What the whole log draws of its densest line between two instants, against all its readings there.
PEAKS = """([a, b]) => {
  const gd = document.querySelector('#fig-whole-log .live');
  return gd.data.filter(t => t.full).map(t => {
    const inside = (x, y) => { const out = [];
      for (let i = 0; i < x.length; i++) {
        if (x[i] >= a && x[i] <= b && !Number.isNaN(y[i])) out.push(y[i]);
      }
      return [out.length, Math.min(...out), Math.max(...out)]; };
    return {name: t.meta.name, drawn: inside(t.x, t.y), all: inside(t.full.x, t.full.y)};
  });
}"""


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("page")
    result = review_site(unpack_site("larch-14", folder), align=True).result
    page = folder / "report.html"
    page.write_text(render_site(result), encoding="utf-8")
    return page


def test_page_is_light(path: Path) -> None:
    assert path.stat().st_size <= MOST_BYTES


@pytest.mark.parametrize("width, dark, media", STATES)
def test_no_barrier_and_no_fault(
    path: Path, look: Callable[..., Any], width: int, dark: bool, media: str
) -> None:
    with look(path, width, dark=dark, media=media) as seen:
        if media == "screen" and width >= 700:
            seen.scrolled_to("whole-log")
            seen.page.evaluate("scrollTo(0, 0)")
        assert seen.barriers() == []
        assert seen.faults() == []


def test_a_link_down_the_page_arrives_and_what_lies_between_is_left_as_it_was(
    path: Path, look: Callable[..., Any]
) -> None:
    """Charts that opened on the way used to push the chart asked for out of sight."""
    with look(path, 1280) as seen:
        seen.page.emulate_media(reduced_motion="no-preference")
        seen.page.click("nav.contents a[href='#timeline']")
        seen.page.wait_for_selector("#fig-whole-log[data-state=drawn]")
        top, passed = seen.page.evaluate(
            """() => [
              document.getElementById('timeline').getBoundingClientRect().top,
              [...document.querySelectorAll('#findings figure[data-live]')]
                .map(f => f.dataset.state),
            ]"""
        )
        assert abs(top) < 2
        assert len(passed) > 3
        assert set(passed) == {None}


@pytest.mark.parametrize("width", [360, 768, 1280, 2560])
def test_nothing_scrolls_sideways(path: Path, look: Callable[..., Any], width: int) -> None:
    with look(path, width) as seen:
        assert seen.faults() == []
        # the word of a verdict is never broken
        lines = "[...document.querySelectorAll('.call b')].map(b => b.offsetHeight / parseFloat("
        lines += "getComputedStyle(b).fontSize))"
        assert max(seen.page.evaluate(lines)) < 2
        seen.picture(f"site-{width}", whole=width < 2560)
        seen.page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        assert seen.faults() == []


def test_page_stands_without_scripts(path: Path, look: Callable[..., Any]) -> None:
    with look(path, scripts=False) as seen:
        drawings = seen.page.locator("figure .poster")
        assert drawings.count() > 10 and drawings.first.is_visible()
        assert seen.page.locator("h1").inner_text()


def test_a_row_leads_to_its_minute_and_the_values_there(
    path: Path, look: Callable[..., Any]
) -> None:
    with look(path) as seen:
        go = (
            seen.page.locator("section", has_text="Starts of second stage")
            .last.locator(".go")
            .first
        )
        words = go.inner_text()
        go.click()
        seen.page.wait_for_selector("#fig-whole-log[data-state=drawn]", timeout=20_000)
        output = seen.page.locator("#fig-whole-log output")
        seen.page.wait_for_function(
            "w => document.querySelector('#fig-whole-log output').textContent === w",
            arg=words.replace("\u00a0", " "),
            timeout=10_000,
        )
        low, high = seen.page.evaluate(
            "document.querySelector('#fig-whole-log .live').layout.xaxis.range.map("
            "v => typeof v === 'number' ? v : Date.parse(v.replace(' ', 'T') + 'Z'))"
        )
        assert high - low == pytest.approx(90 * 60_000, abs=2)
        marked = seen.page.evaluate(
            "document.querySelector('#fig-whole-log .live').layout.shapes.at(-1)"
        )
        assert marked["x0"] == marked["x1"] == pytest.approx((low + high) / 2, abs=1)
        values = seen.page.locator("#fig-whole-log .values").inner_text()
        # second stage came on at this very instant
        assert "W2 out on" in values.replace("\n", " ") and output.is_visible()
        focused = "document.activeElement === document.querySelector('#fig-whole-log input')"
        assert seen.page.evaluate(focused)
        assert seen.faults() == []
        seen.picture("site-row-to-minute", whole=False)


def test_no_peak_is_lost_at_any_zoom(path: Path, look: Callable[..., Any]) -> None:
    rng = random.Random(7)
    with look(path) as seen:
        seen.scrolled_to("whole-log")
        whole = seen.page.evaluate(
            "document.querySelector('#fig-whole-log .live').layout.xaxis.range.map("
            "v => typeof v === 'number' ? v : Date.parse(v.replace(' ', 'T') + 'Z'))"
        )
        for minutes in (10_000, 2_000, 300, 60, 10):
            wide = min(minutes * 60_000, whole[1] - whole[0])
            a = whole[0] + rng.random() * (whole[1] - whole[0] - wide)
            seen.page.evaluate(
                "([a, b]) => Plotly.relayout(document.querySelector('#fig-whole-log .live'), "
                "{'xaxis.range': [a, b]})",
                [a, a + wide],
            )
            found = seen.page.evaluate(PEAKS, [a, a + wide])
            assert len(found) >= 3
            for line in found:
                assert line["drawn"][1:] == line["all"][1:], (minutes, line)
                assert line["drawn"][0] <= 3 * 1200 + 2, line
                if minutes <= 60:  # looked at closely: every reading
                    assert line["drawn"][0] == line["all"][0], line
        assert seen.faults() == []


def test_a_window_of_another_width_keeps_a_chart_as_high_as_it_was(
    path: Path, look: Callable[..., Any]
) -> None:
    """The whole log, which is thinned anew at every width, used to fall over what stands below."""
    heights = """() => ['.live', '.svg-container', '.main-svg'].map(
        s => document.querySelector('#fig-whole-log ' + s).getBoundingClientRect().height)"""
    with look(path, 1280) as seen:
        seen.scrolled_to("whole-log")
        before = seen.page.evaluate(heights)
        assert len(set(before)) == 1 and before[0] > 300
        seen.page.evaluate(
            "window.n = 0; document.querySelector('#fig-whole-log .live')"
            ".on('plotly_afterplot', () => { window.n += 1; })"
        )
        for n, wide in enumerate((1281, 900, 1500), start=1):
            seen.page.set_viewport_size({"width": wide, "height": 900})
            # drawn at its new width, then once more with the readings that this width shows
            seen.page.wait_for_function("n => window.n >= n", arg=2 * n, timeout=10_000)
            assert seen.page.evaluate(heights) == before, wide
        assert seen.faults() == []


def test_a_table_can_be_taken_away(path: Path, look: Callable[..., Any]) -> None:
    with look(path) as seen:
        table = seen.page.locator(STAGING).first
        name = table.get_attribute("aria-label")
        with seen.page.expect_download() as download:
            seen.page.get_by_role("button", name=f"CSV: {name}").click()
        text = Path(download.value.path()).read_text(encoding="utf-8-sig")
        rows = list(csv.reader(io.StringIO(text)))
        # the first rows and those that fold are one table
        there = seen.page.locator(f"{STAGING} tbody tr").count()
        assert rows[0][0] == "Second stage on" and len(rows) == 1 + there
        assert there > table.locator("tbody tr").count()
        assert download.value.suggested_filename.startswith("starts-of-second-stage")
        assert seen.faults() == []


def test_rows_that_a_page_does_not_list_are_there_to_take_and_to_see(
    look: Callable[..., Any], tmp_path: Path
) -> None:
    head = (Column("Row"), Column("Twice", "number"))
    # five, 400 that fold and are listed, and 596 that are not, the last of which would end a script
    rows = [(f"row {n}", str(2 * n)) for n in range(1_000)] + [("</script><b>", "=1")]
    table = table_html(Table("Long", head, tuple(rows), fold_after=5))
    page = tmp_path / "long.html"
    block = Block("long", "Long", table)
    page.write_text(page_html("Long", Markup(), [block], Markup()), encoding="utf-8")
    with look(page) as seen:
        seen.page.get_by_text("The other 996 rows").click()
        listed = seen.page.locator(".scroll[data-rest] tbody tr")
        assert listed.count() == 400
        said = "405 of 1,001 rows are listed; the other 596 are in this page too"
        assert seen.page.get_by_text(said).is_visible()
        with seen.page.expect_download() as download:
            seen.page.get_by_role("button", name="CSV: Long").first.click()
        text = Path(download.value.path()).read_text(encoding="utf-8-sig")
        saved = [tuple(row) for row in csv.reader(io.StringIO(text))]
        assert saved == [("Row", "Twice"), *rows[:-1], ("</script><b>", "'=1")]
        more = seen.page.get_by_role("button", name="Show")
        for words in ("200 more of 596", "200 more of 396", "the other 196"):
            assert more.inner_text() == f"Show {words}"
            more.click()
            seen.page.wait_for_function("t => !document.body.innerText.includes(t)", arg=words)
        assert listed.count() == 996 and more.count() == 0
        assert listed.last.inner_text().split() == ["</script><b>", "=1"]
        assert seen.faults() == []


def test_nothing_in_a_table_taken_away_runs_as_a_formula(
    path: Path, look: Callable[..., Any]
) -> None:
    given = ["=1+1", "+A1", "-cmd|' /C calc'!A0", "@SUM(A1)", "\uff1dA1", "-5", "1,234", 'say "x"']
    with look(path) as seen:
        table = seen.page.locator(STAGING).first
        name = table.get_attribute("aria-label")
        table.evaluate(
            "(t, given) => { t.tBodies[0].innerHTML = ''; for (const g of given) "
            "t.tBodies[0].insertRow().insertCell().textContent = g; }",
            given,
        )
        with seen.page.expect_download() as download:
            seen.page.get_by_role("button", name=f"CSV: {name}").first.click()
        text = Path(download.value.path()).read_text(encoding="utf-8-sig")
        cells = [row[0] for row in list(csv.reader(io.StringIO(text)))[1:]]
        assert cells[: len(given)] == [
            "'=1+1",
            "'+A1",
            "'-cmd|' /C calc'!A0",
            "'@SUM(A1)",
            "'\uff1dA1",
            *given[5:],
        ]


def test_a_broken_page_is_seen_as_broken(
    path: Path, look: Callable[..., Any], tmp_path: Path
) -> None:
    broken = tmp_path / "broken.html"
    text = path.read_text(encoding="utf-8").replace(
        "</main>",
        '<p style="width:3000px">wide</p><img src="https://example.invalid/x.png">'
        "<script>alert(1)</script><button></button></main>",
    )
    broken.write_text(text, encoding="utf-8")
    with look(broken) as seen:
        said = " ".join(seen.faults() + seen.barriers())
    assert "wider than the screen" in said and "Content Security Policy" in said
    assert "button-name" in said and "image-alt" in said


def test_a_figures_numbers_are_a_table_and_a_file(path: Path, look: Callable[..., Any]) -> None:
    with look(path, 390) as seen:  # where no chart opens by itself
        figure = seen.page.locator("#fig-high-limit-trips-1")
        show = figure.get_by_role("button", name="As a table")
        show.click()
        figure.locator("table").first.wait_for()
        assert show.get_attribute("aria-expanded") == "true"
        heads = figure.locator("thead th").all_inner_texts()
        assert heads[0] == "Local time" and "Supply air, °F" in heads and "W2 out" in heads
        rows = figure.locator("tbody tr")
        assert 30 <= rows.count() <= 60
        first = rows.first.locator("th, td").all_inner_texts()
        with seen.page.expect_download() as download:
            figure.get_by_role("button", name="CSV").click()
        text = Path(download.value.path()).read_text(encoding="utf-8-sig")
        saved = list(csv.DictReader(io.StringIO(text)))
        assert list(saved[0]) == heads
        # supply air is logged every 10 s: some 52 min of it, each reading once, in order of time
        supply = [(r["Local time"], float(r[heads[1]])) for r in saved if r["Supply air, °F"]]
        assert 300 < len(supply) < 330 and supply == sorted(set(supply))
        assert heads[1] == "Supply air, °F"
        # the limit opened in these minutes, at its 150 °F and a little over
        assert 150 < max(v for _, v in supply) < 156
        assert {r["W2 out"] for r in saved} == {"on", "off"}
        # the first row stands at a whole minute, between two readings
        assert first[0] == "Fri Jan 16, 8:33 pm" and supply[0][0] < "2026-01-16 20:33:00"
        assert supply[1][1] <= float(first[1]) <= supply[0][1]
        assert seen.faults() == []
        assert seen.barriers() == []
        show.click()
        assert figure.locator("table").count() == 0


def test_the_first_printed_page_holds_every_caution_and_room_for_one_more(
    path: Path, look: Callable[..., Any], tmp_path: Path
) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext: the printed page's text cannot be read")
    printed = tmp_path / "page.pdf"
    with look(path, media="print") as seen:
        cautions = seen.page.locator("#care li")
        seen.page.evaluate(
            "document.querySelector('#care ol').insertAdjacentHTML('beforeend', "
            "'<li>' + 'A sentence of seven words stands here. '.repeat(3) + 'Last.</li>')"
        )
        assert cautions.count() == 10
        seen.page.pdf(path=printed, prefer_css_page_size=True, print_background=True)
    said = subprocess.run(
        ["pdftotext", str(printed), "-"], capture_output=True, text=True, timeout=60, check=True
    ).stdout.split("\f")
    assert "Last." in said[0]
    assert len(said) - 1 <= MOST_SHEETS
