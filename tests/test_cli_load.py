"""The command line of load and inspect: what is printed where, exit codes, messages."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import pipeline.ingest.load
from pipeline.cli import zonetrail
from pipeline.guard import run_command, run_site

Copy = Callable[[str], Path]
CORPUS = Path(__file__).parent / "exports"
SAMPLE = Path(__file__).parents[1] / "sample_data" / "larch-14"


def run(*arguments: str | Path) -> int:
    """The exit code of a command line."""
    return run_command(zonetrail, [str(a) for a in arguments])


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    """A function that copies a corpus folder and returns the copy."""

    def make(name: str) -> Path:
        return Path(shutil.copytree(CORPUS / name, tmp_path / name))

    return make


# -------------------------------------------------------------------------------------------- load


def test_load_prints_the_account_of_every_file(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("load", copy("overlap_of_two_files")) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split() for line in lines[:4]] == [
        "file read = loaded + rejected + repeated bad cells".split(),
        "exports/plenum_01.csv 3 = 3 + 0 + 0 0".split(),
        "exports/plenum_02.csv 3 = 1 + 0 + 2 0".split(),
        "all 6 = 4 + 0 + 2 0".split(),
    ]


def test_loading_again_says_that_nothing_was_to_do(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    site = copy("overlap_of_two_files")
    run("load", site)
    capsys.readouterr()
    assert run("load", site) == 0
    out = capsys.readouterr().out
    assert "exports/plenum_01.csv: already loaded" in out
    assert "The store was up to date." in out


def test_json_is_all_that_stands_on_standard_output(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("load", copy("tabs_with_noise"), "--json", "-") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["rows"] == {
        **{"read": 9, "loaded": 4, "rejected": 5, "repeated": 0},
        **{"bad_cells": 2, "conflicts": 0},
    }
    assert document["files"][0]["file"] == "exports/rooms.txt"


@pytest.mark.parametrize(
    ("case", "code"),
    [
        ("overlap_of_two_files", 0),  # repeated rows are no fault of the log
        ("tabs_with_noise", 1),
        ("error_codes", 1),
        ("two_values_for_one_instant", 1),
    ],
)
def test_strict_tells_a_clean_log_from_another(copy: Copy, case: str, code: int) -> None:
    site = copy(case)
    assert run("load", site) == 0
    assert run("load", site, "--strict") == code


def test_unused_columns_and_copies_are_listed(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    site = copy("quoted_cells")
    shutil.copy(site / "exports" / "t.csv", site / "exports" / "u.csv")
    (site / "exports" / "panel.jpg").write_bytes(b"\xff\xd8\xff\xe0")
    assert run("load", site) == 0
    out = capsys.readouterr().out
    assert "exports/t.csv: not used: Note" in out
    assert "exports/u.csv: the same bytes as exports/t.csv; not loaded twice" in out
    assert "exports/panel.jpg: not read, no table by its name" in out


# --------------------------------------------------------------------------- what cannot be done


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("pdf_renamed", ["exports/t.csv:1:", "a PDF document", "comma-, semicolon-"]),
        ("empty_file", ["exports/t.csv:", "the file is empty", "0 bytes", "a header line"]),
        ("column_not_there", ["site.toml:8:", "'Supply air'", "Supply (°F)", "one of these"]),
        ("dates_ambiguous", ["exports/t.csv:2:", "ambiguous", "03/04/2026", "date_order"]),
        ("unit_not_known", ["site.toml:8:", "unit of column 'Supply'", 'unit = "degF"']),
    ],
)
def test_what_cannot_be_used_exits_2_with_file_line_found_and_expected(
    copy: Copy, capsys: pytest.CaptureFixture[str], case: str, said: list[str]
) -> None:
    assert run("load", copy(case)) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    for part in [*said, "found:", "expected:"]:
        assert part in captured.err
    assert "Traceback" not in captured.err


def test_a_misspelt_role_exits_2_with_the_nearest(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    site = copy("crlf")
    text = (site / "site.toml").read_text(encoding="utf-8")
    (site / "site.toml").write_text(text.replace("supply_temp", "suply_temp"), encoding="utf-8")
    assert run("load", site) == 2
    err = capsys.readouterr().err
    assert 'site.toml:10: role cannot be "suply_temp"' in err and '"supply_temp"?' in err


def test_a_folder_that_is_not_there_exits_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("load", tmp_path / "nowhere") == 2
    assert "there is no such folder" in capsys.readouterr().err


def test_a_site_without_exports_exits_2(copy: Copy, capsys: pytest.CaptureFixture[str]) -> None:
    site = copy("crlf")
    (site / "exports" / "t.csv").unlink()
    assert run("load", site) == 2
    assert "there are no exports to load" in capsys.readouterr().err


def test_an_export_that_cannot_be_used_leaves_the_old_store(copy: Copy) -> None:
    site = copy("crlf")
    run("load", site)
    before = (site / "site.duckdb").read_bytes()
    (site / "exports" / "bad.csv").write_bytes(b"%PDF-1.7\n")
    assert run("load", site) == 2
    assert (site / "site.duckdb").read_bytes() == before


@pytest.mark.parametrize(
    "arguments",
    [["lood"], ["load"], ["load", "a", "--units", "metric"], ["load", "a", "--json", "x"]],
)
def test_a_command_that_cannot_be_understood_exits_2(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*arguments) == 2
    assert capsys.readouterr().err.strip()


def test_a_fault_of_ours_exits_3_with_its_trace_in_a_file(
    copy: Copy,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def break_down(*arguments: object) -> None:
        raise RuntimeError("a wheel came off")

    monkeypatch.setattr(pipeline.ingest.load, "load_site", break_down)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert run("load", copy("crlf")) == 3
    err = capsys.readouterr().err
    assert "a wheel came off" in err and "Traceback" not in err and len(err.splitlines()) == 3
    traces = list(tmp_path.glob("zonetrail-fault-*.txt"))
    assert len(traces) == 1 and str(traces[0]) in err
    assert "Traceback" in traces[0].read_text(encoding="utf-8")


def test_one_site_of_a_fleet_that_fails_is_a_message_not_a_stop(tmp_path: Path) -> None:
    def work() -> int:
        pipeline.ingest.load.load_site(tmp_path)
        return 1

    assert run_site(lambda: 1).result == 1
    failed = run_site(work)
    assert failed.result is None and "there is no site file" in (failed.message or "")


def test_progress_is_shown_only_on_a_terminal(
    copy: Copy, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    site = copy("crlf")
    run("load", site)
    assert capsys.readouterr().err == ""
    (site / "site.duckdb").unlink()
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    run("load", site)
    assert "reading exports/t.csv" in capsys.readouterr().err
    (site / "site.duckdb").unlink()
    run("load", site, "--quiet")
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("verb", ["load", "inspect"])
def test_help_shows_one_real_example_and_the_exit_codes(
    verb: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(verb, "--help") == 0
    out = capsys.readouterr().out
    assert out.count("Example: zonetrail") == 1 and "Exit codes:" in out


# ----------------------------------------------------------------------------------------- inspect


def test_inspect_says_what_each_sample_export_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("inspect", SAMPLE / "exports", "--json", "-") == 0
    files = {f["file"]: f for f in json.loads(capsys.readouterr().out)["files"]}
    panel = files["exports/panel_states.csv.gz"]
    assert (panel["kind"]["value"], panel["timezone"]) == ("change of state", "UTC-07:00")
    static = files["exports/trunk_static.csv.gz"]
    assert (static["delimiter"]["value"], static["decimal_sign"]["value"]) == ("semicolon", "comma")
    assert static["interval_s"] == 5
    plenum = files["exports/plenum_temps.csv.gz"]
    assert plenum["interval_s"] == 10 and len(plenum["gaps"]) == 1
    assert plenum["date_and_time"]["value"] == "MM/DD/YYYY hh:mm:ss AM/PM in two columns"
    rooms = files["exports/rooms_outdoor.csv.gz"]
    assert (rooms["interval_s"], rooms["odd_rows"]) == (120, 2)


def test_inspect_is_right_or_not_sure_about_every_column_of_the_sample(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "larch-14"
    shutil.copytree(SAMPLE / "exports", site / "exports")
    run("inspect", site / "exports", "--json", "-")
    from pipeline.site_reader import read_site

    truth = {c.column: (c.role, c.zone) for c in read_site(SAMPLE).channels}
    document = json.loads(capsys.readouterr().out)
    columns = [c for f in document["files"] for c in f["columns"]]
    assert {c["column"] for c in columns} == set(truth)
    sure = [c for c in columns if c["sure"]]
    assert all((c["role"], c["zone"]) == truth[c["column"]] for c in sure)
    assert len(sure) >= 14  # not sure: four room temperatures, four calls that name no terminal


def test_a_draft_loads_as_it_is_and_marks_what_to_confirm(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "larch 14"
    shutil.copytree(SAMPLE / "exports", site / "exports")
    assert run("inspect", site / "exports", "--draft", site / "site.toml") == 0
    text = (site / "site.toml").read_text(encoding="utf-8")
    assert 'id = "larch-14"' in text
    assert 'timezone = "America/Denver"  # CONFIRM' in text
    assert 'kind = "dual_fuel"  # CONFIRM' in text
    capsys.readouterr()
    assert run("load", site) == 0
    assert "all" in capsys.readouterr().out


def test_a_draft_never_replaces_a_site_file(copy: Copy, capsys: pytest.CaptureFixture[str]) -> None:
    site = copy("crlf")
    before = (site / "site.toml").read_bytes()
    assert run("inspect", site / "exports", "--draft", site / "site.toml") == 2
    assert "there is a site file already" in capsys.readouterr().err
    assert (site / "site.toml").read_bytes() == before


def test_inspect_tells_of_the_good_files_beside_a_bad_one(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    site = copy("crlf")
    (site / "exports" / "bad.csv").write_bytes(b"%PDF-1.7\n")
    assert run("inspect", site / "exports") == 2
    captured = capsys.readouterr()
    assert "this is not a table in text form" in captured.err
    assert "exports/t.csv" in captured.out and "supply_temp" in captured.out


CASES = sorted(p.name for p in CORPUS.iterdir() if p.is_dir())


@pytest.mark.parametrize("case", CASES)
def test_inspect_never_breaks_down(
    copy: Copy, capsys: pytest.CaptureFixture[str], case: str
) -> None:
    site = copy(case)
    assert run("inspect", site / "exports") in (0, 2), capsys.readouterr().err
    (site / "site.toml").unlink()
    code = run("inspect", site / "exports", "--draft", site / "site.toml")
    assert code in (0, 2), capsys.readouterr().err
    # What could be read can be loaded by the draft as it stands; every sixth, to save time.
    if code == 0 and CASES.index(case) % 6 == 0:
        assert run("load", site) == 0, capsys.readouterr().err


def test_load_says_what_every_physical_line_is(
    copy: Copy, capsys: pytest.CaptureFixture[str]
) -> None:
    # Lines of the file: 1 header, 2 row, 3 comment, 4 note, 5 row, 6 note, 7 row, 8 end of file.
    assert run("load", copy("notes_between_rows")) == 0
    out = capsys.readouterr().out
    assert "exports/t.csv: 8 lines = 1 header + 6 rows + 1 after the rows" in out
