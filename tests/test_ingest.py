"""Every odd export in tests/exports is read as its expected.toml says, or refused as it says.

A new quirk is a new folder: exports/ as the logger wrote them, site.toml, expected.toml with the
reading worked out by hand. Clock times there are UTC, of 2026-01-14 where no date stands.
"""

from __future__ import annotations

import gzip
import io
import shutil
import tomllib
import zipfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import openpyxl
import pytest

from pipeline.errors import UserError
from pipeline.ingest.load import LoadReport, load_site
from pipeline.store import open_store

Store = duckdb.DuckDBPyConnection
CORPUS = Path(__file__).parent / "exports"
CASES = sorted(p.parent for p in CORPUS.glob("*/expected.toml"))
COUNTS = ("read", "loaded", "rejected", "repeated", "bad_cells")
# Keys of a [[file]] in expected.toml that are called otherwise in store.file.
COLUMN_OF = {name: f"n_{name}" for name in (*COUNTS, "blank", "footer", "continued", "preamble")}
COLUMN_OF |= {"header": "n_header", "end": "end_ts", "unused": "unused_columns"}


def ts(text: str) -> int:
    """UTC microseconds of '17:00:00' (of 2026-01-14) or '2026-03-08 09:00:00'."""
    whole = text if " " in text else f"2026-01-14 {text}"
    since_1970 = datetime.fromisoformat(whole) - datetime(1970, 1, 1)
    return since_1970 // timedelta(microseconds=1)


@pytest.fixture
def site(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """A copy of one corpus folder, to load into."""
    folder = tmp_path / request.param.name
    shutil.copytree(request.param, folder)
    return folder


def by_name(case: Path) -> str:
    """The folder's name, as the test's."""
    return case.name


@pytest.mark.parametrize("site", CASES, indirect=True, ids=by_name)
def test_export_is_read_as_its_folder_says(site: Path) -> None:
    expected = tomllib.loads((site / "expected.toml").read_text(encoding="utf-8"))
    if "refused" in expected:
        with pytest.raises(UserError) as caught:
            load_site(site)
        check_refusal(site, caught.value, expected["refused"])
        assert not (site / "site.duckdb").exists()
        return
    report = load_site(site)
    with open_store(site / "site.duckdb") as store:
        check_files(site, store, report, expected["file"])
        check_rows(store, expected)
        check_channels(store, expected)


def check_refusal(site: Path, error: UserError, expected: dict[str, Any]) -> None:
    assert error.file == str(site / expected["file"])
    assert error.line == expected.get("line")
    for part in ("what", "found", "expected"):
        if part in expected:
            assert expected[part] in (getattr(error, part) or "")
    # Found, and what would be right: no refusal leaves the reader alone.
    assert error.found and error.expected


def check_files(
    site: Path, store: Store, report: LoadReport, expected: list[dict[str, Any]]
) -> None:
    found = rows(store, "select * from file")
    assert sorted(f["path"] for f in found) == sorted(f["path"] for f in expected)
    for want in expected:
        file = next(f for f in found if f["path"] == want["path"])
        for key, value in want.items():
            if key == "end":
                value = ts(value)
            if key == "unused":
                value = "\n".join(value)
            assert file[COLUMN_OF.get(key, key)] == value, key
        assert file["n_read"] == file["n_loaded"] + file["n_rejected"] + file["n_repeated"]
        assert file["n_lines"] == physical_lines(site / want["path"], file["encoding"])
        assert file["n_lines"] == sum(
            file[f"n_{part}"]
            for part in ("preamble", "header", "read", "blank", "footer", "continued")
        )
    for name in COUNTS:
        total = sum(want[name] for want in expected)
        assert report.total(f"n_{name}") == total


def check_rows(store: Store, expected: dict[str, Any]) -> None:
    rejects = rows(
        store,
        "select path, line, column_name, text, reason from reject join file using (file_id) "
        "order by path, line, column_name",
    )
    want = sorted(
        expected.get("reject", []), key=lambda r: (r["file"], r["line"], r.get("column") or "")
    )
    assert [(r["path"], r["line"], r["column_name"]) for r in rejects] == [
        (r["file"], r["line"], r.get("column")) for r in want
    ]
    for reject, wanted in zip(rejects, want, strict=True):
        assert reject["reason"] == wanted["reason"]
        assert reject["text"] == wanted.get("text", reject["text"])
    repeats = rows(
        store, "select path, line from repeat join file using (file_id) order by path, line"
    )
    assert [(r["path"], r["line"]) for r in repeats] == [
        (r["file"], r["line"]) for r in expected.get("repeat", [])
    ]
    conflicts = rows(
        store,
        "select column_name, ts, a.path as path_a, line_a, value_a, b.path as path_b, line_b, "
        "value_b from conflict join channel using (channel_id) join file as a on a.file_id = "
        "file_a join file as b on b.file_id = file_b order by channel_id, ts",
    )
    assert [
        (
            c["column_name"],
            c["ts"],
            [c["path_a"], c["line_a"], c["value_a"]],
            [c["path_b"], c["line_b"], c["value_b"]],
        )
        for c in conflicts
    ] == [(c["column"], ts(c["at"]), c["a"], c["b"]) for c in expected.get("conflict", [])]


def check_channels(store: Store, expected: dict[str, Any]) -> None:
    for column, readings in expected.get("readings", {}).items():
        found = rows(
            store,
            "select ts, value from reading join channel using (channel_id) "
            "where column_name = ? order by ts",
            column,
        )
        assert [r["ts"] for r in found] == [ts(at) for at, _ in readings]
        # 1e-8: expected values are written with nine decimals.
        assert [r["value"] for r in found] == pytest.approx([v for _, v in readings], abs=1e-8)
    for column, segments in expected.get("states", {}).items():
        found = rows(
            store,
            "select start_ts, end_ts, is_on from state join channel using (channel_id) "
            "where column_name = ? order by start_ts",
            column,
        )
        assert [(s["start_ts"], s["end_ts"], s["is_on"]) for s in found] == [
            (ts(start), ts(end), is_on) for start, end, is_on in segments
        ]
    named = set(expected.get("readings", {})) | set(expected.get("states", {}))
    assert named == {c["column_name"] for c in rows(store, "select column_name from channel")}


def physical_lines(path: Path, encoding: str) -> int:
    """Physical lines of a file, counted by Python's own universal newlines."""
    if path.suffix == ".gz":
        with gzip.open(path, "rt", encoding=encoding) as file:
            return sum(1 for _ in file)
    archive = next((p for p in path.parents if p.suffix == ".zip"), None)
    if archive is not None:
        inside = path.relative_to(archive).as_posix()
        with zipfile.ZipFile(archive).open(inside) as raw:
            return sum(1 for _ in io.TextIOWrapper(raw, encoding))
    if ".xlsx" in (p.suffix for p in path.parents):
        book = openpyxl.load_workbook(path.parent, read_only=True)
        return sum(1 for _ in book[path.name].iter_rows())
    with path.open(encoding=encoding, errors="replace") as file:
        return sum(1 for _ in file)


def rows(store: Store, query: str, *values: object) -> list[dict[str, Any]]:
    """The query's rows in the site's store."""
    result = store.execute(query, list(values))
    names = [d[0] for d in result.description]
    return [dict(zip(names, row, strict=True)) for row in result.fetchall()]


def test_every_corpus_folder_says_why_it_is_there() -> None:
    assert len(CASES) >= 80
    for case in CASES:
        expected = tomllib.loads((case / "expected.toml").read_text(encoding="utf-8"))
        assert len(expected["why"].split()) >= 4, case.name
