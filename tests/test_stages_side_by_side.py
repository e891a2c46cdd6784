"""Stages that run side by side make the same tables as one after the other, and fail as loudly."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pandas as pd
import pytest

from pipeline.errors import StageError
from pipeline.ingest.load import load_site
from pipeline.review import measure_sites
from pipeline.site_reader import read_site
from pipeline.stages import Stage, frame, run
from pipeline.store import attach_sites, connect_working
from pipeline.tables import tables
from sample_data.unpack import unpack_fleet_site


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One site of the sample fleet, loaded."""
    site = unpack_fleet_site("alder-3", tmp_path_factory.mktemp("fleet"))
    load_site(site)
    return site


def measured(
    folder: Path, at_once: int, keep: frozenset[str] | None = None
) -> dict[str, pd.DataFrame]:
    site = read_site(folder)
    con = connect_working()
    attach_sites(con, {site.id: site.store_path})
    measure_sites(con, [site], keep=keep, at_once=at_once)
    made = {
        f"{schema}.{name}"
        for schema, name in con.execute(
            "select table_schema, table_name from information_schema.tables"
        ).fetchall()
    }
    return {name: frame(con, name) for name in tables() if name in made}


@pytest.fixture(scope="module")
def whole(folder: Path) -> dict[str, pd.DataFrame]:
    """Every table, made one after the other."""
    return measured(folder, 1)


def test_tables_are_the_same_row_by_row(folder: Path, whole: dict[str, pd.DataFrame]) -> None:
    alone, beside = whole, measured(folder, 3)
    assert set(alone) == set(beside)
    assert sum(len(table) for table in alone.values()) > 100_000
    for name, table in alone.items():
        pd.testing.assert_frame_equal(table, beside[name], obj=name)


def test_only_what_is_kept_stays_and_is_the_same(
    folder: Path, whole: dict[str, pd.DataFrame]
) -> None:
    kept = frozenset({"trust.minute", "measure.runtime"})
    some = measured(folder, 2, kept)
    assert {name for name in some if not name.startswith(("store.", "run."))} == kept
    for name, table in some.items():
        pd.testing.assert_frame_equal(table, whole[name], obj=name)


def made_of(*texts: tuple[str, str, tuple[str, ...]]) -> list[Stage]:
    return [Stage(f"10_x/{n}", t, reads, t, sql=s) for n, (t, s, reads) in enumerate(texts)]


def test_a_stage_waits_for_what_it_reads_and_not_for_what_came_before(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("pipeline.stages._check_columns", lambda con, table: None)
    con = connect_working()
    long = (
        "select count(*) as n from range(4000000) a join range(20) b on a.range % 7 = b.range % 7"
    )
    told: list[str] = []
    run(
        con,
        made_of(
            ("x.long", long, ()),
            ("x.short", "select 1 as n", ()),
            (
                "x.last",
                "select n from x.long union all select n from x.short",
                ("x.long", "x.short"),
            ),
        ),
        lambda stage, took_s: told.append(stage.table),
        at_once=2,
    )
    assert told == ["x.short", "x.long", "x.last"]
    assert con.execute("select count(*) from x.last").fetchone() == (2,)


def test_the_first_failure_is_raised_and_nothing_begins_after_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("pipeline.stages._check_columns", lambda con, table: None)
    con = connect_working()
    endless = "select count(*) as n from range(100000000) a join range(1000) b on a.range > b.range"
    with pytest.raises(duckdb.Error, match="no_such_column"):
        run(
            con,
            made_of(
                ("x.endless", endless, ()),
                ("x.wrong", "select no_such_column", ()),
                ("x.after", "select 1 as n from x.endless", ("x.endless",)),
            ),
            at_once=2,
        )
    made = con.execute("select table_name from information_schema.tables").fetchall()
    assert made == []
    assert con.execute("select 1").fetchone() == (1,)


def test_a_table_that_differs_from_its_declaration_is_told_side_by_side_too() -> None:
    con = connect_working()
    with pytest.raises(StageError, match="differs from its declaration"):
        run(con, made_of(("channel.channel", "select 'a' as site_id", ())), at_once=2)
