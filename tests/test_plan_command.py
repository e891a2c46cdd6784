"""The command line of plan: what is printed and written, what is refused, what stays untouched."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from pipeline.cli import zonetrail
from pipeline.guard import run_command
from pipeline.plan.questions import GROUPS

SAMPLE = Path(__file__).parents[1] / "sample_data" / "larch-14"


def run(*arguments: str | Path) -> int:
    return run_command(zonetrail, [str(a) for a in arguments])


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """The sample site's file alone: nothing exported, nothing loaded."""
    folder = tmp_path / "house"
    folder.mkdir()
    shutil.copy(SAMPLE / "site.toml", folder)
    return folder


def test_text_leaves_the_folder_as_it_was(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("plan", house, "--for", "trips,static") == 0
    out = capsys.readouterr().out
    assert out.startswith("14 Larch Lane, upstairs and down: Log ")
    assert "high-limit-trips" in out and "short-cycling" not in out
    assert [p.name for p in house.iterdir()] == ["site.toml"]


def test_loaded_intervals_are_read_from_the_store(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "small"
    (folder / "exports").mkdir(parents=True)
    (folder / "site.toml").write_text(
        '[site]\nid = "small"\ntimezone = "America/Denver"\n[equipment]\nkind = "furnace"\n'
        '[[channel]]\ncolumn = "Static"\nrole = "static_pressure"\nunit = "inwc"\n',
        encoding="utf-8",
    )
    rows = [f"2026-01-12 {m // 60:02d}:{m % 60:02d}:00,0.3{m % 3}" for m in range(120)]
    text = "Time,Static\n" + "\n".join(rows) + "\n"
    (folder / "exports" / "a.csv").write_text(text, encoding="utf-8")
    assert run("plan", folder, "--for", "static-above-target", "--json", "-") == 0
    (asked,) = json.loads(capsys.readouterr().out)["questions"]
    assert asked["standing"] == "not known"
    assert run("load", folder, "--quiet") == 0
    capsys.readouterr()
    # one reading a minute: an excursion of 60 s spans one interval, not two
    assert run("plan", folder, "--for", "static-above-target", "--json", "-", "--strict") == 1
    document = json.loads(capsys.readouterr().out)
    (asked,) = document["questions"]
    assert asked["standing"] == "too slow"
    assert asked["too_slow"] == ["Supply static every 60 s, 30 s would do"]
    static = next(c for c in document["channels"] if c["role"] == "static_pressure")
    assert static["logged"] == "every 60 s" and static["interval_s"] == 10


def test_folder_without_site_file_needs_a_kind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("plan", tmp_path) == 2
    said = capsys.readouterr().err
    assert "there is no site file" in said and "--kind dual_fuel" in said
    assert run("plan", tmp_path, "--kind", "dual_fuel", "--json", "-") == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["site"], document["kind"]) == (None, "dual_fuel")
    assert all(q["standing"] is None for q in document["questions"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--for", "trip"), '"trips"?'),
        (("--for", " , "), "--for names nothing"),
        (("--kind", "furnace"), "--kind and the site file differ"),
        (("--kind", "boiler"), "Invalid value for '--kind'"),
        (("--format", "pdf"), "Invalid value for '--format'"),
    ],
)
def test_what_cannot_be_understood_is_refused(
    house: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    assert run("plan", house, *arguments) == 2
    told = capsys.readouterr()
    assert said in told.err and told.out == "" and "Traceback" not in told.err


def test_no_such_folder_and_a_wrong_site_file(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("plan", house / "nowhere") == 2
    assert "there is no such folder" in capsys.readouterr().err
    (house / "site.toml").write_text("[site]\nid = 3\n", encoding="utf-8")
    assert run("plan", house) == 2
    assert "site.toml:2" in capsys.readouterr().err


def test_help_names_every_word_that_can_be_asked_by(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("plan", "--help") == 0
    said = capsys.readouterr().out
    assert all(word in said for word in GROUPS)


def test_strict_is_1_while_something_is_missing(house: Path) -> None:
    # the site file names channels, but nothing is loaded: whether they do is not known
    assert run("plan", house, "--for", "static", "--strict") == 1


def test_html_is_one_file_without_scripts_and_names_are_escaped(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = house / "site.toml"
    text = path.read_text(encoding="utf-8").replace('"Basement"', '"<script>alert(1)</script>"')
    path.write_text(text, encoding="utf-8")
    assert run("plan", house, "--format", "html") == 0
    assert str(house / "report" / "plan.html") in capsys.readouterr().out
    page = (house / "report" / "plan.html").read_text(encoding="utf-8")
    assert "<script" not in page and "&lt;script&gt;alert(1)" in page
    assert "script-src &#39;none&#39;" in page and "http://" not in page and "https://" not in page
    for words in ("What to log, worth most first", "Take care", "Facts to read off", "High limit"):
        assert words in page
    assert page.count("<h1>") == 1
    assert [p.name for p in (house / "report").iterdir()] == ["plan.html"]
    first = page
    assert run("plan", house, "--format", "html") == 0
    assert (house / "report" / "plan.html").read_text(encoding="utf-8") == first
