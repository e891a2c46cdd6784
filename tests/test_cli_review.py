"""The command line of review, demo and stages: what is written and printed, and what is refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest

from pipeline.cli import zonetrail
from pipeline.cli.review import write_whole
from pipeline.errors import InputError
from pipeline.guard import run_command
from pipeline.review_json import review_schema
from sample_data.unpack import unpack_site

Spoil = Callable[[Path], None]


A_DAY = ("--from", "2026-01-14", "--to", "2026-01-15")
"""Where what the log says does not matter."""


def run(*arguments: str | Path) -> int:
    return run_command(zonetrail, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    assert run("demo", folder, "--no-fleet", "--quiet") == 0
    return folder / "larch-14"


def test_demo_names_its_reports_and_refuses_to_overwrite(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (demo / "report" / "report.html").is_file()
    assert run("demo", demo.parent) == 2
    assert "already there" in capsys.readouterr().err


def test_page_and_json_carry_one_run_id_and_no_temporary_file_stays(demo: Path) -> None:
    document = json.loads((demo / "report" / "review.json").read_text(encoding="utf-8"))
    page = (demo / "report" / "report.html").read_text(encoding="utf-8")
    assert document["run"] in page
    assert sorted(p.name for p in (demo / "report").iterdir()) == ["report.html", "review.json"]


def test_page_keeps_to_its_size(demo: Path) -> None:
    # a week at 10 s with some twenty channels: 1.6 MB at the most
    assert (demo / "report" / "report.html").stat().st_size <= 1_600_000


def test_json_meets_the_schema_and_is_all_that_is_printed(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("review", demo, "--align", "--json", "-") == 0
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, review_schema())
    rows = document["rows"]
    assert rows["read"] == rows["loaded"] + rows["rejected"] + rows["repeated"]


def test_a_review_made_again_is_the_same_to_the_byte(demo: Path) -> None:
    names = ("report.html", "review.json")
    assert run("review", demo, "--align", *A_DAY) == 0
    first = [(demo / "report" / n).read_bytes() for n in names]
    (demo / "site.duckdb").unlink()
    assert run("review", demo, "--align", *A_DAY) == 0
    assert [(demo / "report" / n).read_bytes() for n in names] == first


def test_verdict_and_rows_are_on_the_terminal(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("review", demo, "--align") == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.startswith("ACT: ") and "23 times" in out.split("Check first:")[0]
    assert "Check first: 1. " in out and "Take care: - Do not" in out
    assert "218,769 rows read = 218,767 loaded + 2 rejected + 0 repeated" in out


def test_strict_exits_1_because_rows_were_rejected(demo: Path) -> None:
    assert run("review", demo, *A_DAY, "--strict", "--quiet") == 1


def test_si_and_redacted(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("review", demo, "--align", "--units", "si", "--redact") == 0
    said = capsys.readouterr().out
    page = (demo / "report" / "report.html").read_text(encoding="utf-8")
    document = json.loads((demo / "report" / "review.json").read_text(encoding="utf-8"))
    # findings about the log quote column names, which are the logger's own words
    for finding in (f for f in document["findings"] if f["about"] == "installation"):
        texts = [finding["summary"], *finding["checks"], *(c["because"] for c in finding["causes"])]
        assert not [t for t in texts if "in. w.c." in t or "°F" in t], finding["code"]
    assert " Pa" in said and "°C" in said and "in. w.c." not in said and "°F" not in said
    # times of day on the 24 h clock in every sentence, table and drawing
    texts = (said, page, json.dumps(document, ensure_ascii=False))
    assert [t for t in texts if re.search(r"\d[ \u00a0][ap]m\b", t)] == []
    assert re.search(r"always between 2\d:\d\d and 2\d:\d\d", " ".join(said.split()))
    for private in ("Larch Lane", "Bedroom over garage", "bedroom over the garage"):
        assert private not in said + page


def test_part_of_the_log(demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("review", demo, "--from", "2026-01-14", "--to", "2026-01-15T12:00") == 0
    assert "36 h" in capsys.readouterr().out


def test_a_folder_without_a_site_file_gets_a_draft_and_a_review(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = unpack_site("larch-14", tmp_path)
    (site / "site.toml").unlink()
    assert run("review", site) == 0
    said = capsys.readouterr()
    assert "There was no site.toml: one was drafted" in said.err
    assert "CONFIRM" in (site / "site.toml").read_text(encoding="utf-8")
    # what is not confirmed is said at the head every time
    assert "Not the whole answer (14 lines of site.toml still guessed" in " ".join(said.out.split())
    assert run("review", site) == 0
    again = capsys.readouterr()
    assert "14 guesses to confirm" in again.err and "Not the whole answer" in again.out
    # nothing was given, so nothing is audited
    document = json.loads((site / "report" / "review.json").read_text(encoding="utf-8"))
    assert not [f for f in document["findings"] if f["code"].startswith("second-stage")]
    assert not [f for f in document["findings"] if f["code"] == "static-above-target"]


def test_a_draft_from_exports_that_cannot_be_used_does_not_stay(tmp_path: Path) -> None:
    site = unpack_site("larch-14", tmp_path)
    (site / "site.toml").unlink()
    empty_export(site)
    assert run("review", site) == 2
    assert not (site / "site.toml").exists()


def test_a_report_that_cannot_be_written_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = unpack_site("larch-14", tmp_path)
    (site / "report").write_text("in the way", encoding="utf-8")
    assert run("review", site, *A_DAY) == 2
    assert "report" in capsys.readouterr().err
    (site / "report").unlink()
    (site / "report" / "review.json").mkdir(parents=True)
    assert run("review", site, *A_DAY) == 2
    assert "review.json" in capsys.readouterr().err


def test_a_report_is_replaced_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "report.html"
    write_whole(path, "before")

    def fails(self: Path, target: Path) -> Path:
        raise OSError("no room")

    monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(InputError, match="no room"):
        write_whole(path, "after")
    assert path.read_text(encoding="utf-8") == "before"
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def misspell_role(site: Path) -> None:
    edit(site, 'role = "supply_temp"', 'role = "suply_temp"')


def rename_column(site: Path) -> None:
    edit(site, 'column = "Supply air (°F)"', 'column = "Suply air (°F)"')


def misspell_key(site: Path) -> None:
    edit(site, "high_limit_f = 150", "high_limt_f = 150")


def break_toml(site: Path) -> None:
    edit(site, "[settings]", "[settings")


def pdf_as_csv(site: Path) -> None:
    (site / "exports" / "invoice.csv").write_bytes(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n" * 50)


def empty_export(site: Path) -> None:
    (site / "exports" / "empty.csv").write_bytes(b"")


def no_exports(site: Path) -> None:
    for file in (site / "exports").iterdir():
        file.unlink()


def edit(site: Path, old: str, new: str) -> None:
    path = site / "site.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (misspell_role, ("site.toml:", "suply_temp", "supply_temp")),
        (misspell_key, ("site.toml:", "high_limt_f", "high_limit_f")),
        (rename_column, ("Suply air (°F)", "Supply air (°F)")),
        (break_toml, ("site.toml:", "TOML")),
        (pdf_as_csv, ("invoice.csv", "PDF")),
        (empty_export, ("empty.csv", "empty")),
        (no_exports, ("exports",)),
    ],
)
def test_what_cannot_be_used_is_refused_with_where_found_and_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], spoil: Spoil, words: tuple[str, ...]
) -> None:
    site = unpack_site("larch-14", tmp_path)
    spoil(site)
    assert run("review", site) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    for word in (*words, "expected:"):
        assert word in said.err
    assert not (site / "report").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--from", "2027-01-01"), ("2026-01-12 14:02 to 2026-01-20",)),
        (("--from", "yesterday"), ("--from", "yesterday", "2026-01-14")),
    ],
)
def test_a_window_that_cannot_be_is_refused(
    demo: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], words: tuple[str, ...]
) -> None:
    assert run("review", demo, *options) == 2
    said = capsys.readouterr().err
    for word in words:
        assert word in said


def test_stages_lists_them_in_order_and_shows_a_table(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("stages") == 0
    listed = re.findall(r"^(\d\d_\w+/\d\d_\w+)", capsys.readouterr().out, re.MULTILINE)
    assert listed == sorted(listed)
    assert "40_interval/45_trip" in listed
    assert run("stages", "--show", "measure.runtime", demo) == 0
    shown = capsys.readouterr().out
    assert "-- one row per output" in shown and "output_w1" in shown and "plus_minus_s [s]" in shown
    assert run("stages", "--show", "measure.runtme", demo) == 2
    assert "measure.runtime" in capsys.readouterr().err
