"""A limit on memory: what does not fit lies on disk, and the answer stays the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import store
from pipeline.cli import zonetrail
from pipeline.guard import run_command
from pipeline.ingest.load import load_site
from pipeline.review import review_site
from pipeline.review_json import review_text

SITE = """[site]
id = "a"
timezone = "UTC"
[equipment]
kind = "furnace_ac"
[[channel]]
column = "Supply (°F)"
role = "supply_temp"
"""
SORTED = "create table sorted as select * from wide order by k"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site of an hour's readings."""
    (tmp_path / "a" / "exports").mkdir(parents=True)
    (tmp_path / "a" / "site.toml").write_text(SITE, encoding="utf-8")
    rows = [f"2026-01-14 10:{m:02d}:00,{100 + m}" for m in range(60)]
    text = "\n".join(["Time,Supply (°F)", *rows, ""])
    (tmp_path / "a" / "exports" / "a.csv").write_text(text, encoding="utf-8")
    load_site(tmp_path / "a")
    return tmp_path / "a"


def test_tables_larger_than_the_limit_are_spilled_and_right() -> None:
    # 64 bytes of numbers that do not pack, a million and a half rows: 96 MB a table, two of them
    columns = ", ".join(f"hash(i * 8 + {n}) as h{n}" for n in range(7))
    made = f"create table wide as select hash(i) as k, {columns} from range(1500000) t(i)"
    asked = (
        "select count(*), sum(h0 % 1000), bool_and(is_up)"
        " from (select h0, k >= lag(k, 1, 0) over () as is_up from sorted)"
    )
    answers = []
    for memory in (None, "80MB"):
        with store.connect_working(memory) as con:
            con.execute(made)
            con.execute(SORTED)
            spilled = con.execute("select sum(size) from duckdb_temporary_files()").fetchone()
            answers.append(con.execute(asked).fetchall())
            used = con.execute("select sum(memory_usage_bytes) from duckdb_memory()").fetchone()
        assert used is not None and spilled is not None
        if memory is not None:
            assert used[0] <= 80e6
            assert spilled[0] > 50e6
    assert answers[0] == answers[1]
    assert answers[0][0][0] == 1_500_000 and answers[0][0][2] is True


def test_a_review_runs_under_the_limit_it_is_given(
    site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    limits = []

    def connected(memory: str | None = None):  # type: ignore[no-untyped-def]
        con = store.connect_working(memory)
        row = con.execute("select current_setting('memory_limit')").fetchone()
        limits.append(row[0] if row else None)
        return con

    monkeypatch.setattr("pipeline.review.connect_working", connected)
    assert run_command(zonetrail, ["review", str(site), "--quiet", "--memory", "300MB"]) == 0
    assert limits == ["286.1 MiB"]  # 300 MB are 286.1 MiB
    written = (site / "report" / "review.json").read_text(encoding="utf-8")
    assert written == review_text(review_site(site).result)


@pytest.mark.parametrize("size", ["much", "2", "255MB", "-1GB", "0.5TB"])
def test_a_size_that_is_none_is_refused(
    site: Path, size: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_command(zonetrail, ["review", str(site), "--memory", size]) == 2
    assert "a size such as 800MB or 4GB, 256MB at least" in capsys.readouterr().err
