"""Stores that earlier versions wrote, kept in older/: made anew with a message, nothing lost.

Both are of one site of two days (tests/fleet_sites.py), written by the version of 2026-11-27 that
first had a fleet.duckdb; the fleet was ranked on 2026-01-20.
"""

from __future__ import annotations

import lzma
from pathlib import Path

import duckdb
import pytest

from pipeline.cli import zonetrail
from pipeline.errors import StoreError
from pipeline.fleet.store import layout as fleet_layout
from pipeline.guard import run_command
from pipeline.ingest.load import load_site
from pipeline.store import layout, open_store
from tests.fleet_sites import write_site
from tests.hardening.test_disturbed import dump

OLDER = Path(__file__).parent / "older"


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    """The fleet with the stores as the earlier version left them."""
    folder = tmp_path / "fleet"
    write_site(folder / "a", "a", range(2), every_min=10)
    for name, place in (("site", folder / "a"), ("fleet", folder)):
        packed = (OLDER / f"{name}.duckdb.xz").read_bytes()
        (place / f"{name}.duckdb").write_bytes(lzma.decompress(packed))
    return folder


def layout_of(store: Path) -> str:
    with duckdb.connect(str(store), read_only=True) as con:
        row = con.execute("select value from meta where name = 'layout'").fetchone()
    assert row
    return str(row[0])


def test_an_older_store_is_made_anew_with_a_message(
    fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = fleet / "a"
    assert layout_of(site / "site.duckdb") != layout()
    with pytest.raises(StoreError, match="another version") as caught:
        open_store(site / "site.duckdb")
    assert caught.value.found and caught.value.expected and "zonetrail load" in caught.value.hint
    assert run_command(zonetrail, ["load", str(site)]) == 0
    assert "another version of zonetrail" in capsys.readouterr().out
    write_site(tmp_path / "new", "a", range(2), every_min=10)
    load_site(tmp_path / "new")
    assert dump(site) == dump(tmp_path / "new")
    assert not load_site(site).was_unusable


def test_files_that_have_vanished_are_taken_over_from_an_older_store(fleet: Path) -> None:
    site = fleet / "a"
    (site / "exports" / "day00.csv").rename(site / "away.csv")
    report = load_site(site)
    assert report.was_unusable and report.total("n_loaded") == 288
    assert [f.is_present for f in report.files] == [False]


def test_a_damaged_store_is_made_anew_with_a_message(fleet: Path) -> None:
    store = fleet / "a" / "site.duckdb"
    whole = store.read_bytes()
    store.write_bytes(whole[: len(whole) // 2])
    assert load_site(fleet / "a").was_unusable
    assert layout_of(store) == layout()


def test_an_older_fleet_store_keeps_the_ranks_of_earlier_days(
    fleet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = fleet / "fleet.duckdb"
    assert layout_of(store) != fleet_layout()
    query = "select run_day::varchar, site_id, standing, place, points from ranking order by all"
    with duckdb.connect(str(store), read_only=True) as con:
        before = con.execute(query).fetchall()
    assert [row[0] for row in before] == ["2026-01-20"]
    command = ["fleet", str(fleet), "--on", "2026-01-21", "--jobs", "1"]
    assert run_command(zonetrail, command) == 0
    assert "fleet.duckdb was of another version" in capsys.readouterr().err
    assert layout_of(store) == fleet_layout()
    with duckdb.connect(str(store), read_only=True) as con:
        after = con.execute(query).fetchall()
    assert after[: len(before)] == before and after[-1][0] == "2026-01-21"
    assert run_command(zonetrail, command) == 0
    assert "another version" not in capsys.readouterr().err
