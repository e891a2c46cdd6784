"""The runner of stages: what it refuses, and that every stage makes the table it declares."""

from __future__ import annotations

import csv
import re
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import pytest

import pipeline.measures
import pipeline.stages as runner
from pipeline.errors import StageError
from pipeline.stages import discover, frame, listed, put, reads_of, run
from pipeline.store import connect_working
from pipeline.tables import tables

CASES = Path(__file__).parent / "sql"
FILLED_BY_THE_HARNESS = {"run.window", "run.threshold", "run.day", "run.site"}
ONE_CHANNEL = "-- one row per channel\nselect site_id, channel_id from store.channel\n"

Sandbox = Callable[[dict[str, str]], None]


@pytest.fixture
def con() -> Any:
    connection = connect_working()
    yield connection
    connection.close()


@pytest.fixture
def sandbox(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Sandbox:
    """`discover` sees only these files, path below sql/ to text, and no Python stages."""
    monkeypatch.setattr(runner, "files", lambda package: tmp_path)
    monkeypatch.setattr(pipeline.measures, "__path__", [])

    def write(texts: dict[str, str]) -> None:
        for path, text in texts.items():
            file = tmp_path / path
            file.parent.mkdir(exist_ok=True)
            file.write_text(text, encoding="utf-8")

    return write


# ---------------------------------------------------------------------------- finding and order


def test_what_stages_read_by_their_text_is_what_the_parser_says(con: Any) -> None:
    assert listed() == discover(con)


def test_stages_stand_in_the_order_of_their_names(con: Any, sandbox: Sandbox) -> None:
    sandbox(
        {
            "35_signal/37_state.sql": "-- b\nselect site_id from channel.state\n",
            "20_channel/23_state.sql": "-- a\nselect site_id from channel.channel\n",
            "20_channel/21_channel.sql": ONE_CHANNEL,
            "__init__.py": "",
        }
    )
    stages = discover(con)
    assert [s.key for s in stages] == [
        "20_channel/21_channel",
        "20_channel/23_state",
        "35_signal/37_state",
    ]
    assert [s.table for s in stages] == ["channel.channel", "channel.state", "signal.state"]
    assert [s.folder for s in stages] == ["20_channel", "20_channel", "35_signal"]
    assert stages[0].means == "one row per channel"
    assert stages[0].reads == ("store.channel",)


def test_tables_with_a_schema_are_read_names_of_ctes_are_not(con: Any) -> None:
    sql = """
        with channel as (select * from store.channel), piece as (from signal.piece)
        select * from channel c asof join piece p on p.site_id = c.site_id and c.ts >= p.start_ts
        where exists (from run.visit v where v.site_id = c.site_id)
            and c.n > (select count(*) from run.window)
        union all select * from interval.call
    """
    assert reads_of(con, sql) == (
        "interval.call",
        "run.visit",
        "run.window",
        "signal.piece",
        "store.channel",
    )


def test_rows_made_from_lists_and_ranges_are_no_tables(con: Any) -> None:
    sql = "select unnest([1, 2]) from range(0, 3), unnest([4]), generate_series(1, 2)"
    assert reads_of(con, sql) == ()


def test_reading_ahead_is_refused(con: Any, sandbox: Sandbox) -> None:
    sandbox(
        {
            "20_channel/21_channel.sql": "-- a\nselect site_id from channel.state\n",
            "20_channel/23_state.sql": "-- b\nselect site_id from store.state\n",
        }
    )
    with pytest.raises(StageError, match=r"20_channel/21_channel: reads channel\.state, which no"):
        discover(con)


def test_reading_itself_is_reading_ahead(con: Any, sandbox: Sandbox) -> None:
    sandbox({"20_channel/21_channel.sql": "-- a\nselect site_id from channel.channel\n"})
    with pytest.raises(StageError, match=r"reads channel\.channel"):
        discover(con)


@pytest.mark.parametrize("table", ["store.nothing", "run.nothing", "other.channel"])
def test_unknown_input_is_refused(con: Any, sandbox: Sandbox, table: str) -> None:
    sandbox({"20_channel/21_channel.sql": f"-- a\nselect site_id from {table}\n"})
    with pytest.raises(StageError, match=rf"21_channel: reads {table}"):
        discover(con)


def test_table_that_is_not_declared_is_refused(con: Any, sandbox: Sandbox) -> None:
    sandbox({"20_channel/21_wobble.sql": ONE_CHANNEL})
    with pytest.raises(StageError, match=r"channel\.wobble is declared nowhere"):
        discover(con)


def test_two_stages_for_one_table_are_refused(con: Any, sandbox: Sandbox) -> None:
    sandbox({"20_channel/21_channel.sql": ONE_CHANNEL, "20_channel/22_channel.sql": ONE_CHANNEL})
    with pytest.raises(StageError, match=r"22_channel: channel\.channel is made twice"):
        discover(con)


@pytest.mark.parametrize(
    "name", ["channel.sql", "1_channel.sql", "21_Channel.sql", "21_channel.md"]
)
def test_file_name_is_number_and_table(con: Any, sandbox: Sandbox, name: str) -> None:
    sandbox({f"20_channel/{name}": ONE_CHANNEL})
    with pytest.raises(StageError, match="name is not NN_table"):
        discover(con)


@pytest.mark.parametrize(
    "sql",
    [
        "select * from read_csv('x.csv')",
        "select * from query_table('store.channel')",
        "select * from query('select 1')",
        "select * from (select * from parquet_scan('x.parquet'))",
        "with x as (from glob('*')) select * from x",
        "select * from duckdb_settings()",
    ],
)
def test_table_functions_are_refused(con: Any, sandbox: Sandbox, sql: str) -> None:
    sandbox({"20_channel/21_channel.sql": f"-- a\n{sql}\n"})
    with pytest.raises(
        StageError, match=r"sql/20_channel/21_channel\.sql: table function \w+ is not"
    ):
        discover(con)


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("select 1; select 2", "more than one statement"),
        ("select 1 from store.channel; drop table store.channel", "not one SELECT"),
        ("create table x as select 1", "not one SELECT"),
        ("insert into store.channel select 1", "not one SELECT"),
        ("pivot store.channel on role using count(*)", "not one SELECT"),
        ("selekt 1", "not one SELECT"),
    ],
)
def test_anything_but_one_select_is_refused(
    con: Any, sandbox: Sandbox, sql: str, says: str
) -> None:
    sandbox({"20_channel/21_channel.sql": f"-- a\n{sql}\n"})
    with pytest.raises(StageError, match=rf"sql/20_channel/21_channel\.sql: {says}"):
        discover(con)


@pytest.mark.parametrize(
    ("sql", "says"),
    [
        ("select site_id from channel", "table without a schema: channel"),
        ("select 1 from store.channel c join reading r on true", "table without a schema: reading"),
        ("with a as (from b) from a, store.state", "table without a schema: b"),
        ("select 1 from store.channel where exists (from visit)", "table without a schema: visit"),
        ("select ? from store.channel", "a parameter has no value in a stage"),
        ("select 1 from store.channel where site_id = $site", "a parameter has no value"),
        ("with a as (select $1 as x) from a", "a parameter has no value"),
    ],
)
def test_parameters_and_tables_without_a_schema_are_refused(
    con: Any, sandbox: Sandbox, sql: str, says: str
) -> None:
    sandbox({"20_channel/21_channel.sql": f"-- a\n{sql}\n"})
    with pytest.raises(StageError, match=rf"sql/20_channel/21_channel\.sql: {says}"):
        discover(con)


def test_names_that_a_with_gives_need_no_schema(con: Any) -> None:
    sql = """
        with recursive a as (select 1 as n union all select n + 1 from a where n < 3),
        B as (with inner_one as (from store.state) from INNER_ONE)
        select * from A join b on true
    """
    assert reads_of(con, sql) == ("store.state",)


def test_first_line_says_what_one_row_is(con: Any, sandbox: Sandbox) -> None:
    sandbox({"20_channel/21_channel.sql": "select site_id from store.channel\n"})
    with pytest.raises(StageError, match="the first line says what one row is"):
        discover(con)


def test_python_stage_takes_its_place_by_number(
    con: Any, sandbox: Sandbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    sandbox(
        {
            "20_channel/21_channel.sql": ONE_CHANNEL,
            "35_signal/38_coverage.sql": "-- c\nselect site_id from trust.clock_offset\n",
        }
    )
    module = types.SimpleNamespace(
        TABLE="trust.clock_offset",
        STAGE="30_trust/32",
        READS=["channel.channel"],
        build=lambda frames: frames["channel.channel"],
        __doc__="one row per logger\n\nMore.",
    )
    found = [types.SimpleNamespace(name="clock_offset")]
    monkeypatch.setattr(runner.pkgutil, "iter_modules", lambda path: found)
    monkeypatch.setattr(runner.importlib, "import_module", lambda name: module)
    stages = discover(con)
    assert [s.key for s in stages][1] == "30_trust/32_clock_offset"
    assert stages[1].sql is None
    assert stages[1].means == "one row per logger"

    module.READS = ["signal.coverage"]
    with pytest.raises(StageError, match=r"32_clock_offset: reads signal\.coverage"):
        discover(con)


# ---------------------------------------------------------------------------- running


def test_result_that_differs_from_its_declaration_fails(con: Any, sandbox: Sandbox) -> None:
    sandbox({"20_channel/21_channel.sql": ONE_CHANNEL})
    con.execute("create schema store")
    con.execute("create table store.channel (site_id varchar, channel_id bigint)")
    with pytest.raises(StageError, match=r"channel\.channel differs from its declaration"):
        run(con, discover(con))


def test_frame_must_have_the_declared_columns_and_no_other(con: Any) -> None:
    good = {"site_id": ["a"], "logger": ["x"], "offset_s": [1.0], "source": ["align"]}
    put(con, "run.clock", pd.DataFrame(good))
    assert frame(con, "run.clock", "a").to_dict("list") == good
    assert frame(con, "run.clock", "b").empty
    with pytest.raises(StageError, match=r"missing columns \['source'\]"):
        put(con, "run.clock", pd.DataFrame({k: v for k, v in good.items() if k != "source"}))
    with pytest.raises(StageError, match=r"undeclared columns \['why'\]"):
        put(con, "run.clock", pd.DataFrame(good | {"why": ["?"]}))
    with pytest.raises(StageError, match="declared nowhere"):
        frame(con, "run.clok")


def test_every_stage_is_told_with_its_time(bench: Any) -> None:
    for table in bench.stages["signal.state"].reads:
        bench.fill(table)
    told: list[tuple[str, bool]] = []
    stage = bench.stages["signal.state"]
    run(bench.con, [stage], lambda s, seconds: told.append((s.table, seconds >= 0)))
    assert told == [("signal.state", True)]


def test_every_stage_makes_the_table_it_declares_and_nothing_comes_of_nothing(bench: Any) -> None:
    """Every declared table beyond store and run is made by one stage, as declared, and empty."""
    given = [t for t in tables() if t.split(".")[0] in ("store", "run")]
    for table in given:
        if table == "run.threshold":
            bench.fill_thresholds({})
        else:
            bench.fill(table)
    made = [s.table for s in bench.stages.values()]
    assert sorted(made) == sorted(set(tables()) - set(given))
    run(bench.con, bench.stages.values())
    for table in made:
        declared = [(c.name, c.type) for c in tables()[table].with_site]
        assert bench.con.execute(f"describe {table}").fetchall() == [
            (name, sql_type, "YES", None, None, None) for name, sql_type in declared
        ]
        assert bench.rows(table) == [], f"{table} has rows without any site"


# ---------------------------------------------------------------------------- cases cover stages


def _given(table: str) -> list[Path]:
    return sorted((CASES / table).glob("*/*.csv"))


def test_every_sql_stage_has_cases_and_every_case_a_stage(bench: Any) -> None:
    by_sql = {s.table for s in bench.stages.values() if s.sql is not None}
    folders = {p.name for p in CASES.iterdir() if p.is_dir()}
    assert folders == by_sql


def test_every_input_of_a_stage_is_given_in_a_case(bench: Any) -> None:
    missing = [
        f"{s.table} reads {table}"
        for s in bench.stages.values()
        if s.sql is not None
        for table in sorted(set(s.reads) - FILLED_BY_THE_HARNESS)
        if table not in {p.stem for p in _given(s.table)}
    ]
    assert missing == []


def test_every_table_has_a_case_with_two_sites(bench: Any) -> None:
    def sites(folder: Path) -> int:
        with (folder / "run.window.csv").open(encoding="utf-8") as file:
            return len({r.get("site_id") for r in csv.DictReader(file)})

    without = [
        s.table
        for s in bench.stages.values()
        if s.sql is not None and not any(sites(p) > 1 for p in (CASES / s.table).iterdir())
    ]
    assert without == []


# ---------------------------------------------------------------------------- streaming windows


STREAMED = {
    "run_state.fan_told": "channel.reading",
    "trust.minute": "channel.reading",
    "trust.look": "channel.reading",
    "trust.constant": "channel.reading",
    "trust.outlier": "channel.reading",
    "trust.gap": "channel.reading",
    "signal.piece": "channel.reading",
    "signal.static_steady": "signal.piece",
    "interval.condition": "its own rows",
    "interval.static_above_target": "interval.static_piece",
    "interval.static_swing": "interval.static_piece",
}
"""What each stage with a streaming window streams over."""


def test_streaming_windows_run_over_rows_in_order(bench: Any) -> None:
    """`over ()` stands only where the guard sees (site, channel, ts), or the maker ends in it."""
    streaming = [s for s in bench.stages.values() if s.sql and runner.STREAMING.search(s.sql)]
    assert {s.table for s in streaming} == set(STREAMED)
    in_order = re.compile(
        r"order by (\w+\.)?site_id, ((\w+\.)?channel_id, )?(\w+\.)?(start_)?ts\s*$"
    )
    for stage in streaming:
        streamed = STREAMED[stage.table]
        if streamed == "its own rows":
            assert re.search(r"from \(select \* from \w+ order by site_id, ts\)", stage.sql)
            continue
        assert streamed in stage.reads
        columns = {c.name for c in tables()[streamed].columns}
        if not {"channel_id", "ts"} <= columns:
            assert in_order.search(bench.stages[streamed].sql), streamed


def _readings(*rows: tuple[str, int, int]) -> list[dict[str, Any]]:
    return [{"site_id": s, "channel_id": c, "ts": t, "value": 1.0} for s, c, t in rows]


def _run_gap(bench: Any, rows: list[dict[str, Any]]) -> None:
    for table in ("channel.channel", "channel.state", "run.window", "trust.problem"):
        bench.fill(table)
    bench.fill_thresholds({})
    bench.fill("channel.reading", rows)
    bench.run("trust.gap")


@pytest.mark.parametrize(
    "rows",
    [
        [],
        [("elm", 1, 10)],
        [("elm", 1, 10), ("elm", 1, 11), ("elm", 2, 5), ("oak", 1, 3)],
    ],
    ids=["none", "one row", "in order"],
)
def test_readings_in_order_pass(bench: Any, rows: list[tuple[str, int, int]]) -> None:
    _run_gap(bench, _readings(*rows))


@pytest.mark.parametrize(
    "rows",
    [
        [("elm", 1, 11), ("elm", 1, 10)],
        [("elm", 1, 10), ("elm", 1, 10)],
        [("elm", 2, 10), ("elm", 1, 11)],
        [("oak", 1, 10), ("elm", 2, 11)],
        [("elm", 1, 10), ("elm", 1, 11), ("elm", 1, 12), ("elm", 1, 11)],
    ],
    ids=["second before first", "same instant twice", "channels", "sites", "last row"],
)
def test_readings_out_of_order_stop_the_run(bench: Any, rows: list[tuple[str, int, int]]) -> None:
    with pytest.raises(StageError, match=r"39_gap: channel\.reading is not stored in"):
        _run_gap(bench, _readings(*rows))


def test_first_row_would_be_out_of_order_by_comparison_alone(
    con: duckdb.DuckDBPyConnection,
) -> None:
    """Why the guard leaves the first row out: a row of nulls sorts last and compares as greater."""
    row = con.execute("select ('elm', 1, 10) <= (null, null, null)").fetchone()
    assert row == (True,)
