"""How a file is written is kept in the store: found out once, the same ever after."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import UserError
from pipeline.ingest import export_file, kept_dialect
from pipeline.ingest.encoding import decode
from pipeline.ingest.load import load_site
from pipeline.ingest.site_store import read_known
from pipeline.ingest.sniff import Dialect, sniff
from pipeline.store import connect_working, open_store
from tests.fleet_sites import write_day, write_site

EXPORTS = sorted((Path(__file__).parent / "exports").rglob("*.csv"))


@pytest.mark.parametrize("path", EXPORTS[::4], ids=lambda p: f"{p.parent.name}/{p.name}")
def test_a_dialect_is_the_same_when_it_comes_back(path: Path) -> None:
    try:
        dialect = sniff(decode(path.read_bytes(), path.name), path.name)
    except UserError:
        pytest.skip("no table by itself")
    assert kept_dialect.unpacked(kept_dialect.packed(dialect, None)) == dialect


def test_a_file_is_looked_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_site(tmp_path / "ash", "ash", range(1))
    asked: list[str] = []

    def counted(text: object, shown: str, decimal: str | None = None) -> Dialect:
        asked.append(Path(shown).name)
        return sniff(text, shown, decimal)  # type: ignore[arg-type]

    monkeypatch.setattr(export_file, "sniff", counted)
    load_site(tmp_path / "ash")
    write_day(tmp_path / "ash", 1)
    load_site(tmp_path / "ash")
    assert asked == ["day00.csv", "day01.csv"]
    store = tmp_path / "ash" / "site.duckdb"
    with connect_working() as con:
        known = read_known(con, store)
    assert known is not None and len(known.dialects) == 2
    query = "select * from reading union all select channel_id, start_ts, end_ts from state"
    with open_store(store) as con:
        first = con.execute(f"{query} order by all").fetchall()
    store.unlink()
    load_site(tmp_path / "ash")
    assert asked[2:] == ["day00.csv", "day01.csv"]
    with open_store(store) as con:
        assert con.execute(f"{query} order by all").fetchall() == first


def test_another_decimal_sign_said_is_another_question() -> None:
    dialect = sniff(decode(b"time,a\n2026-01-05 00:00,1.5\n2026-01-05 00:01,1.5\n", "x"), "x", ".")
    kept = kept_dialect.packed(dialect, ".")
    assert [kept_dialect.holds(kept, d) for d in (".", ",", None)] == [True, False, False]
    assert not kept_dialect.holds(None, None)


def test_no_store_knows_nothing(tmp_path: Path) -> None:
    with connect_working() as con:
        assert read_known(con, tmp_path / "site.duckdb") is None
