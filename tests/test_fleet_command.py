"""`zonetrail fleet` on tiny sites: what it says and writes, whichever way it got there.

The stages run for real here, so the runs are few: one fleet is built in two steps with one process,
its twin at once with two.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.cli import zonetrail
from pipeline.fleet.run import open_fleet
from pipeline.guard import run_command
from pipeline.tables import fleet_tables
from tests.fleet_sites import write_day, write_site

ON = ("--on", "2026-01-14", "--since", "2026-01-06")
COLD = range(3, 7)
"""Days on which the furnace of 'elm' stays cold."""


def run(*arguments: str | Path) -> int:
    return run_command(zonetrail, [str(a) for a in arguments])


def write_fleet(folder: Path, n_days: int) -> Path:
    write_site(folder / "ash", "ash", range(n_days), more='name = "=1+1"\nregion = "north"')
    write_site(folder / "elm", "elm", range(n_days), cold=COLD, more="call_first = true")
    (folder / "oak").mkdir(parents=True)
    (folder / "oak" / "site.toml").write_text('[site]\nid = "oak"\n', encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def step_by_step(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Seven days, then one more."""
    folder = write_fleet(tmp_path_factory.mktemp("steps") / "fleet", 7)
    assert run("fleet", folder, *ON, "--quiet") == 0
    for site in ("ash", "elm"):
        write_day(folder / site, 7)
    return folder


@pytest.fixture(scope="module")
def told(step_by_step: Path) -> Iterator[dict[str, Any]]:
    """What the second step says as JSON."""
    from contextlib import redirect_stdout

    out = io.StringIO()
    with redirect_stdout(out):
        assert run("fleet", step_by_step, *ON, "--json", "-") == 0
    yield json.loads(out.getvalue())


def site(told: dict[str, Any], site_id: str) -> dict[str, Any]:
    (found,) = [s for s in told["sites"] if s["site_id"] == site_id]
    return found


def test_only_the_new_day_was_judged(told: dict[str, Any]) -> None:
    # two weeks are there from the first step; a day each is new
    assert (told["run"]["n_units"], told["run"]["n_made"], told["run"]["n_reused"]) == (4, 2, 2)


def test_no_heat_stands_on_top_with_its_days(told: dict[str, Any]) -> None:
    elm = told["sites"][0]
    assert (elm["site_id"], elm["group"], elm["top"]) == ("elm", "on top", "no heat")
    (no_heat,) = [f for f in elm["findings"] if f["code"] == "no-heat"]
    assert (no_heat["first_seen"], no_heat["last_seen"]) == ("2026-01-08", "2026-01-11")
    assert (no_heat["severity"], no_heat["status"]) == ("act", "new")
    # eight days with heat are in the log; the furnace was cold on four of them
    assert (no_heat["harm"]["n_found"], no_heat["harm"]["n_looked"]) == (4, 8)
    assert elm["reasons"][0].startswith("No heat on 4 of 8 days with the furnace")
    assert elm["way"] == "licence" and "flame sensor, igniter" in elm["parts"]


def test_a_broken_site_is_listed_with_file_and_line(
    told: dict[str, Any], step_by_step: Path
) -> None:
    oak = told["sites"][-1]
    assert (oak["folder"], oak["group"]) == ("oak", "broken")
    assert str(step_by_step / "oak" / "site.toml") in oak["broken"]
    assert "timezone" in oak["broken"]


def test_days_and_log_of_a_site(told: dict[str, Any]) -> None:
    ash = site(told, "ash")
    assert (ash["first_day"], ash["last_day"], ash["n_days"]) == ("2026-01-05", "2026-01-12", 8)
    # twenty minutes of every hour, read every five: 8 h a day less what the log's edges lose
    assert ash["heat_h"] == pytest.approx(8 * 8, rel=0.05)
    assert ash["days"][0]["day"] == "2026-01-05"


def test_the_way_there_makes_no_difference(
    told: dict[str, Any], step_by_step: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Built at once by two processes the fleet is the same, to six significant digits."""
    folder = write_fleet(tmp_path_factory.mktemp("once") / "fleet", 7)
    for name in ("ash", "elm"):
        write_day(folder / name, 7)
    assert run("fleet", folder, *ON, "--jobs", "2", "--quiet") == 0
    one, other = dump(step_by_step), dump(folder)
    for name in one:
        pd.testing.assert_frame_equal(one[name], other[name], rtol=1e-6, obj=name)
    assert not one["day"].empty and not one["event"].empty and not one["finding"].empty


def dump(folder: Path) -> dict[str, pd.DataFrame]:
    with open_fleet(folder) as store:
        frames = {t.split(".")[1]: store.frame(t.split(".")[1]) for t in fleet_tables()}
    site_rows = frames["site"]
    site_rows["broken"] = site_rows["broken"].str.replace(str(folder), "")
    return frames


def test_list_for_the_dispatcher(told: dict[str, Any], step_by_step: Path) -> None:
    text = (step_by_step / "report" / "list.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [r["site_id"] for r in rows] == [s["site_id"] for s in told["sites"]]
    elm, ash = rows[0], next(r for r in rows if r["site_id"] == "ash")
    assert (elm["why_on_top"], elm["how"], elm["call_first"]) == ("no heat", "licence", "yes")
    assert ash["name"] == "'=1+1"  # a spreadsheet does not run it
    assert ash["region"] == "north"


def test_page_carries_the_run(told: dict[str, Any], step_by_step: Path) -> None:
    page = (step_by_step / "report" / "index.html").read_text(encoding="utf-8")
    assert told["run"]["run_id"] in page and "elm" in page
    assert not list((step_by_step / "report").glob(".*"))
    # file and line of what is broken, but nothing of this machine
    assert "oak/site.toml" in page and str(step_by_step) not in page


def test_each_site_that_can_be_read_has_its_light_page(
    told: dict[str, Any], step_by_step: Path
) -> None:
    report = step_by_step / "report"
    made = {p.stem: p.read_text(encoding="utf-8") for p in (report / "sites").glob("*.html")}
    assert set(made) == {"ash", "elm"}
    assert "No heat" in made["elm"] and "../index.html" in made["elm"]
    page = (report / "index.html").read_text(encoding="utf-8")
    assert 'href="sites/elm.html"' in page
    # nobody has reviewed these sites: no page leads to a full report
    assert not any("report/report.html" in text for text in made.values())


def test_summary_on_the_terminal(
    told: dict[str, Any], step_by_step: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("fleet", step_by_step, *ON, "--strict") == 1  # oak cannot be read
    out, err = capsys.readouterr()
    assert "Before anything else:" in out and "Could not be read: 1." in out
    assert "0 weeks" not in out and "no weeks judged, 4 taken as they were" in out
    assert err.startswith("oak: ") and "\x1b" not in err


def test_full_reports_of_the_first_sites(
    told: dict[str, Any],
    step_by_step: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked = []

    def review(folder: Path, **options: Any) -> None:
        asked.append(folder.name)
        if folder.name == "ash":
            raise ValueError("no such thing")

    monkeypatch.setattr("pipeline.cli.review.review_and_write", review)
    assert run("fleet", step_by_step, *ON, "--full", "5") == 0
    assert asked == ["elm", "ash"]  # in the order of the list; oak cannot be read
    assert "ash: no full report: This is a fault in zonetrail" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("none",), "no such fleet folder"),
        ((".", "--since", "soon"), "--since is not a date"),
        ((".", "--jobs", "0"), "--jobs"),
    ],
)
def test_what_cannot_be_used_is_refused(
    arguments: tuple[str, ...],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run("fleet", *arguments) == 2
    assert said in capsys.readouterr().err


def test_redacted_names_are_the_ids(
    told: dict[str, Any], step_by_step: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("fleet", step_by_step, *ON, "--json", "-", "--redact") == 0
    redacted = json.loads(capsys.readouterr().out)
    assert site(redacted, "ash")["name"] == "ash"
