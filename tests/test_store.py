"""The store: one file a site, written whole or not at all; many of them behind one schema."""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb
import pytest

from pipeline import store
from pipeline.errors import StoreError
from pipeline.ingest.load import load_site
from pipeline.store import (
    attach_sites,
    connect_working,
    create_store_tables,
    open_store,
    store_columns,
    store_table,
)
from pipeline.store_writing import write_store

SITE = """[site]
id = "{id}"
timezone = "UTC"
[equipment]
kind = "furnace_ac"
[[channel]]
column = "Supply (°F)"
role = "supply_temp"
"""


def loaded(folder: Path, site_id: str = "a", supply: int = 100) -> Path:
    """A loaded site of three readings; returns its store."""
    (folder / "exports").mkdir(parents=True)
    (folder / "site.toml").write_text(SITE.format(id=site_id), encoding="utf-8")
    rows = [f"2026-01-14 10:00:{s:02d},{supply + s}" for s in (0, 10, 20)]
    text = "\n".join(["Time,Supply (°F)", *rows, ""])
    (folder / "exports" / "a.csv").write_text(text, encoding="utf-8")
    return load_site(folder).store


def empty_tables() -> dict[str, object]:
    """Every table of a store, without rows."""
    return {name: store_table(name, {}) for name in store_columns()}


def test_store_holds_the_tables_and_columns_of_columns_toml(tmp_path: Path) -> None:
    with open_store(loaded(tmp_path / "a")) as connection:
        for table, columns in store_columns().items():
            described = connection.execute(f"describe {table}").fetchall()
            assert [(row[0], row[1]) for row in described] == [(c.name, c.type) for c in columns]


def test_readings_are_stored_in_the_order_of_channel_and_time(tmp_path: Path) -> None:
    sample = Path(__file__).parents[1] / "sample_data" / "larch-14"
    shutil.copytree(sample, tmp_path / "larch")
    with open_store(load_site(tmp_path / "larch").store) as connection:
        for table, key, at in (("sample", "group_id", "ts"), ("state", "channel_id", "start_ts")):
            wrong = connection.execute(
                f"select count(*) from (select {key}, {at}, lag({key}) over () as k, "
                f"lag({at}) over () as t from {table}) where k > {key} or "
                f"(k = {key} and t >= {at})"
            ).fetchone()
            assert wrong == (0,)
        touching = connection.execute(
            "select count(*) from (select end_ts = lead(start_ts) over o and is_on = "
            "lead(is_on) over o as same from state window o as (partition by channel_id order by "
            "start_ts)) where same"
        ).fetchone()
        assert touching == (0,)


def test_a_store_that_is_not_there_says_how_to_make_it(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store yet") as caught:
        open_store(tmp_path / "site.duckdb")
    assert "zonetrail load" in (caught.value.hint or "")


def test_a_damaged_store_is_refused_and_rebuilt_by_loading(tmp_path: Path) -> None:
    path = loaded(tmp_path / "a")
    path.write_bytes(b"not a store at all" * 1000)
    with pytest.raises(StoreError, match="cannot be opened"):
        open_store(path)
    assert load_site(tmp_path / "a").is_rebuilt
    open_store(path).close()


def test_a_store_of_another_layout_is_refused_and_rebuilt_by_loading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = loaded(tmp_path / "a")
    monkeypatch.setattr(store, "READER_VERSION", store.READER_VERSION + 1)
    with pytest.raises(StoreError, match="another version"):
        open_store(path)
    # Its vanished files are still known: the exports' own bytes lie in it whatever its layout.
    (tmp_path / "a" / "exports" / "a.csv").rename(tmp_path / "gone.csv")
    report = load_site(tmp_path / "a")
    assert report.is_rebuilt and not report.files[0].is_present
    assert report.total("n_loaded") == 3


def test_a_write_that_fails_leaves_the_old_store_and_nothing_else(tmp_path: Path) -> None:
    path = loaded(tmp_path / "a")
    before = path.read_bytes()
    tables = empty_tables()
    del tables["conflict"]
    with pytest.raises(KeyError):
        write_store(path, tables, lambda: store_table("repeat", {}), {})  # type: ignore[arg-type]
    assert path.read_bytes() == before
    assert sorted(p.name for p in path.parent.iterdir()) == ["exports", "site.duckdb", "site.toml"]


def test_sites_stand_behind_one_view_a_table_with_their_id_first(tmp_path: Path) -> None:
    # Names that would break SQL put together without quoting.
    stores = {
        "it's": loaded(tmp_path / 'a "quoted" one', "a", 100),
        "b;--": loaded(tmp_path / "it's", "b", 200),
    }
    connection = connect_working()
    attach_sites(connection, stores)
    rows = connection.execute("select * from store.reading order by site_id, ts").fetchall()
    start = 1768384800 * 10**6  # 2026-01-14 10:00 UTC: 20467 days and 10 h
    assert rows == [
        ("b;--", 1, start, 200.0),
        ("b;--", 1, start + 10**7, 210.0),
        ("b;--", 1, start + 2 * 10**7, 220.0),
        ("it's", 1, start, 100.0),
        ("it's", 1, start + 10**7, 110.0),
        ("it's", 1, start + 2 * 10**7, 120.0),
    ]
    for table, columns in store_columns().items():
        described = connection.execute(f"describe store.{table}").fetchall()
        assert [row[0] for row in described] == ["site_id", *(c.name for c in columns)]


def test_attached_stores_cannot_be_written_and_nothing_else_be_reached(tmp_path: Path) -> None:
    path = loaded(tmp_path / "a")
    other = tmp_path / "other.csv"
    other.write_text("a\n1\n", encoding="utf-8")
    connection = connect_working()
    attach_sites(connection, {"a": path})
    with pytest.raises(duckdb.Error):
        connection.execute("delete from site_0.main.reading")
    with pytest.raises(duckdb.Error):
        connection.execute("select * from read_csv(?)", [str(other)])
    with pytest.raises(duckdb.Error):
        connection.execute(f"attach '{tmp_path / 'new.duckdb'}'")


def test_a_store_of_another_layout_is_not_attached(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = loaded(tmp_path / "a")
    monkeypatch.setattr(store, "READER_VERSION", store.READER_VERSION + 1)
    with pytest.raises(StoreError, match="another version"):
        attach_sites(connect_working(), {"a": path})


def test_a_folder_that_cannot_be_written_to_is_the_users_to_mend(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be written"):
        write_store(tmp_path / "nowhere" / "site.duckdb", {}, lambda: store_table("repeat", {}), {})


def test_no_sites_give_empty_tables(tmp_path: Path) -> None:
    connection = connect_working()
    attach_sites(connection, {})
    assert connection.execute("select * from store.state").fetchall() == []


def test_tables_for_tests_of_stages_look_like_the_views(tmp_path: Path) -> None:
    views, made = connect_working(), connect_working()
    attach_sites(views, {"a": loaded(tmp_path / "a")})
    made.execute("create schema store")
    create_store_tables(made, schema="store", with_site_id=True)
    for table in store_columns():
        query = f"select column_name, column_type from (describe store.{table})"
        site, *others = views.execute(query).fetchall()
        assert [("site_id", "VARCHAR"), *others] == made.execute(query).fetchall()
        assert site == ("site_id", "ENUM('a')")


def test_a_site_is_a_key_that_sorts_as_its_name_does(tmp_path: Path) -> None:
    connection = connect_working()
    ids = ["b", "a-10", "a 9", "Ä", "a'9"]
    attach_sites(connection, {i: loaded(tmp_path / str(n)) for n, i in enumerate(ids)})
    found = connection.execute("select distinct site_id from store.file order by site_id")
    assert [row[0] for row in found.fetchall()] == sorted(ids)


def test_working_connection_keeps_order_uses_utc_and_loads_nothing() -> None:
    connection = connect_working()
    for name, value in {
        "threads": 1,
        "preserve_insertion_order": True,
        "TimeZone": "UTC",
        "asof_loop_join_threshold": 0,
        "autoinstall_known_extensions": False,
        "autoload_known_extensions": False,
    }.items():
        found = connection.execute("select current_setting(?)", [name]).fetchone()
        assert found == (value,), name


def test_asof_joins_of_filtered_tables_are_no_nested_loops() -> None:
    # A filter makes the left side look small; the default then plans a loop over all pairs.
    connection = connect_working()
    connection.execute("create table r as select range as ts, 1 as v from range(1000000)")
    connection.execute(
        "create table l as select range * 13 as ts, range % 5000 as k from range(9000)"
    )
    query = "explain select * from (from l where k = 3 and ts > 5) as a asof join r on a.ts >= r.ts"
    plan = connection.execute(query).fetchall()[0][1].lower()
    connection.execute("reset asof_loop_join_threshold")
    usual = connection.execute(query).fetchall()[0][1].lower()
    assert "asof join" in plan and "nested loop" not in plan
    assert "asof join" not in usual  # else the setting is no longer needed


def test_a_column_that_the_store_has_not_is_refused() -> None:
    with pytest.raises(ValueError, match="no column nonsense"):
        store_table("repeat", {"nonsense": [1]})


def test_only_the_store_opens_the_database() -> None:
    package = Path(store.__file__).parent
    found = [
        p.relative_to(package).as_posix()
        for p in package.rglob("*.py")
        if "duckdb.connect" in p.read_text(encoding="utf-8")
    ]
    assert found == ["store.py"]
