"""zonetrail ticket at the command line: what is written and printed, and what is refused."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from pipeline.cli import zonetrail
from pipeline.guard import run_command
from reports import paper
from sample_data.unpack import unpack_site


def run(*arguments: str | Path) -> int:
    return run_command(zonetrail, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def larch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return unpack_site("larch-14", tmp_path_factory.mktemp("ticket"))


def test_text_is_written_and_is_all_that_is_printed(
    larch: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("ticket", larch, "--align", "--format", "txt", "--quiet") == 0
    out = capsys.readouterr().out
    assert out == (larch / "report" / "ticket.txt").read_text(encoding="utf-8")
    assert len(out) < 2000
    # the sample's story, as sample_data/README.md tells it
    assert "Bedroom over garage alone" in out and "high limit" in out
    assert out.count("\nSTOP: ") == 1 and "\nBRING: two-tube manometer" in out
    assert [p.name for p in (larch / "report").iterdir()] == ["ticket.txt"]


def test_json_is_only_json_and_redacted(larch: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("ticket", larch, "--format", "html", "--units", "si", "--redact", "--json", "-") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "zonetrail.ticket/1"
    assert document["name"] == document["site_id"] == "larch-14"
    assert document["complaint"] == "" and document["places"] == []
    page = (larch / "report" / "ticket.html").read_text(encoding="utf-8")
    assert "Larch Lane" not in page and "garage" not in page
    assert "°F" not in page and "in. w.c." not in page and "Pa" in page


def test_no_browser_and_no_weasyprint_is_refused_before_the_work(
    larch: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv(paper.BROWSER_VARIABLE, raising=False)
    monkeypatch.setattr(paper.shutil, "which", lambda name: None)
    monkeypatch.setattr(paper, "has_weasyprint", lambda: False)
    for form in ("pdf", "png"):
        assert run("ticket", larch, "--format", form) == 2
        told = capsys.readouterr().err
        assert "browser" in told and "expected:" in told and "next:" in told
        assert not (larch / "report" / f"ticket.{form}").exists()


def test_a_named_browser_that_is_not_there_is_told(
    larch: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv(paper.BROWSER_VARIABLE, "/nowhere/browser")
    assert run("ticket", larch) == 2
    assert "/nowhere/browser" in capsys.readouterr().err


@pytest.mark.skipif(os.name == "nt", reason="the stand-in is a shell script")
def test_a_browser_that_fails_is_told_not_traced(
    larch: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    broken = tmp_path / "browser"
    broken.write_text("#!/bin/sh\nexit 3\n", encoding="utf-8")
    broken.chmod(0o755)
    monkeypatch.setenv(paper.BROWSER_VARIABLE, str(broken))
    assert run("ticket", larch, "--quiet") == 2
    told = capsys.readouterr().err
    assert "could not print" in told and "Traceback" not in told


def test_no_such_site_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("ticket", tmp_path / "nothing", "--format", "txt") == 2
    assert "no such folder" in capsys.readouterr().err


def test_weasyprint_prints_the_same_page_where_it_is_installed() -> None:
    pytest.importorskip("weasyprint", reason="the optional extra 'pdf' is not installed")
    printed = paper.print_pdf(
        "<!DOCTYPE html><html lang='en'><title>x</title><h1>One page</h1></html>", None
    )
    assert printed.pages == 1 and printed.pdf.startswith(b"%PDF-")
    assert "weasyprint" in sys.modules
