"""zonetrail export: what it hands on is what was logged, with types that three readers agree on."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import polars as pl
import pyarrow.parquet as pq
import pytest

from pipeline.cli import zonetrail
from pipeline.export import EXPORTED, canonical, dictionary
from pipeline.export_files import inert
from pipeline.guard import run_command
from pipeline.tables import tables

FORMULA = "=cmd|' /C calc'!A0"
SITE = f"""
[site]
id = "elm-3"
name = "3 Elm Row"
timezone = "America/Denver"
[equipment]
kind = "furnace"
[[zone]]
number = 1
name = "Anna's room"
[[channel]]
column = "{FORMULA} (°F)"
role = "supply_temp"
unit = "degF"
[[channel]]
column = "Static (in. w.c.)"
role = "static_pressure"
unit = "inwc"
[[channel]]
column = "W1"
role = "output_w1"
[[channel]]
column = "G"
role = "output_g"
[[channel]]
column = "Z1"
role = "zone_call_w1"
zone = 1
"""
START = dt.datetime(2026, 1, 12, 10, 0)  # Denver: 17:00 UTC
MINUTES = 180
SPIKE = 100  # supply reads 900 °F there, which no probe can


def supply_f(minute: int) -> float:
    return 900.0 if minute == SPIKE else 70.0 + (minute % 30) * 2.1


def log_text() -> str:
    """Three hours by the minute: heat for 15 min of every half hour, one reading spoilt."""
    lines = [f"Time,{FORMULA} (°F),Static (in. w.c.),W1,G,Z1"]
    for minute in range(MINUTES):
        on = "on" if minute % 30 < 15 else "off"
        at = START + dt.timedelta(minutes=minute)
        static = 0.31 if on == "on" else 0.02
        lines.append(f"{at:%Y-%m-%d %H:%M:%S},{supply_f(minute):.1f},{static},{on},{on},{on}")
    return "\n".join(lines) + "\n"


def run(*arguments: str | Path) -> int:
    return run_command(zonetrail, [str(a) for a in arguments])


def make_site(folder: Path, site_id: str = "elm-3") -> Path:
    (folder / "exports").mkdir(parents=True)
    (folder / "site.toml").write_text(SITE.replace("elm-3", site_id), encoding="utf-8")
    (folder / "exports" / "log.csv").write_text(log_text(), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_site(tmp_path_factory.mktemp("export") / "elm-3")


@pytest.fixture(scope="module")
def parquet(site: Path) -> Path:
    target = site.parent / "parquet"
    # over a former export of other tables, which goes
    assert run("export", site, "--to", target, "--canonical", "--quiet") == 0
    assert (target / "slot.csv").is_file()
    told = ("--format", "parquet", "--redact", "--quiet")
    assert run("export", site, "--to", target, *told) == 0
    return target


@pytest.fixture(scope="module")
def text(site: Path) -> Path:
    target = site.parent / "csv"
    assert run("export", site, "--to", target, "--quiet") == 0
    return target


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


# ------------------------------------------------------- three readers of Parquet, outside checks


def test_pandas_reads_times_numbers_and_truths_as_such(parquet: Path) -> None:
    frame = pd.read_parquet(parquet / "reading.parquet")
    supply = frame[frame["role"] == "supply_temp"]
    assert str(supply["ts"].dtype) == "datetime64[us, UTC]"
    assert supply["ts"].iloc[0] == pd.Timestamp("2026-01-12T17:00:00Z")
    assert str(supply["value"].dtype) == "float64" and str(supply["is_used"].dtype) == "bool"
    expected = [round(supply_f(m), 1) for m in range(MINUTES)]
    assert supply["value"].tolist() == pytest.approx(expected, abs=1e-9)
    assert set(supply["unit"]) == {"°F"}
    assert supply["zone"].isna().all()


def test_polars_reads_them_as_such(parquet: Path) -> None:
    frame = pl.read_parquet(parquet / "reading.parquet")
    assert frame.schema["ts"] == pl.Datetime("us", "UTC")
    assert frame.schema["value"] == pl.Float64 and frame.schema["is_used"] == pl.Boolean
    assert frame.schema["channel_id"] == pl.Int32
    days = pl.read_parquet(parquet / "day.parquet")
    assert days.schema["day"] == pl.Date
    assert days["day"].to_list() == [dt.date(2026, 1, 12)]
    midnight = days["start_ts"].to_list()[0]
    assert midnight == dt.datetime(2026, 1, 12, 7, tzinfo=dt.UTC)


def test_duckdb_reads_them_as_such(parquet: Path) -> None:
    with duckdb.connect() as con:
        con.execute("set TimeZone = 'UTC'")
        read = f"read_parquet('{parquet / 'output_run.parquet'}')"
        types = {r[0]: r[1] for r in con.execute(f"describe select * from {read}").fetchall()}
        assert types["start_ts"] == "TIMESTAMP WITH TIME ZONE"
        found = con.execute(
            f"select count(*), sum(epoch(end_ts) - epoch(start_ts)) from {read}"
            " where output = 'output_w1'"
        ).fetchone()
        # heat for 15 min of every half hour, six times; an edge may lie anywhere in its minute
        assert found is not None and found[0] == 6
        assert found[1] == pytest.approx(6 * 900, abs=6 * 60)


def test_every_reader_sees_the_same_rows_in_every_file(parquet: Path) -> None:
    with duckdb.connect() as con:
        for path in sorted(parquet.glob("*.parquet")):
            n = pq.read_metadata(path).num_rows
            found = con.execute(f"select count(*) from read_parquet('{path}')").fetchone()
            assert found == (n,)
            assert len(pd.read_parquet(path)) == n == pl.read_parquet(path).height, path.name


def test_fields_carry_unit_and_meaning(parquet: Path) -> None:
    layout = pq.read_schema(parquet / "trip_context.parquet")
    assert layout.field("peak_f").metadata[b"unit"] == "°F".encode()
    assert b"highest (lowest) supply" in layout.field("peak_f").metadata[b"meaning"]
    assert layout.field("start_ts").metadata[b"unit"] == b"UTC"
    assert layout.metadata[b"one_row_is"].startswith(b"one row per panel limit trip")


# ------------------------------------------------------- what is handed on


def test_a_reading_no_figure_rests_on_is_handed_on_and_marked(parquet: Path) -> None:
    frame = pd.read_parquet(parquet / "reading.parquet")
    supply = frame[frame["role"] == "supply_temp"].reset_index(drop=True)
    assert supply.index[~supply["is_used"]].tolist() == [SPIKE]
    assert supply["value"][SPIKE] == 900.0
    problems = pd.read_parquet(parquet / "problem.parquet")
    assert problems["is_cut"].any()


def test_findings_and_every_rule_are_handed_on(parquet: Path) -> None:
    findings = pd.read_parquet(parquet / "finding.parquet")
    evidence = pd.read_parquet(parquet / "evidence.parquet")
    judged = pd.read_parquet(parquet / "judged.parquet")
    assert set(findings["code"]) == set(judged.loc[judged["result"] == "found", "code"])
    assert evidence.groupby("code").size().to_dict() == {
        c: n for c, n in zip(findings["code"], findings["n_evidence"], strict=True) if n
    }
    # readings 2.1 °F apart are too coarse a log
    coarse = findings.set_index("code").loc["log-too-coarse"]
    assert "2 °F" in coarse["summary"] and coarse["checks"]


def test_every_daily_measure_is_handed_on() -> None:
    daily = {
        name for name, t in tables().items() if t.measure is not None and "local day" in t.grain
    }
    assert daily <= {e.table for e in EXPORTED}
    names = [e.name for e in EXPORTED]
    assert len(names) == len(set(names))


# ------------------------------------------------------- the dictionary


def test_dictionary_tells_every_column_of_every_file(parquet: Path) -> None:
    told: dict[str, list[str]] = {}
    for row in rows(parquet / "dictionary.csv"):
        told.setdefault(row["file"], []).append(row["column"])
        assert row["unit"] and row["meaning"] and row["one_row_is"], row
    assert set(told) == {p.name for p in parquet.glob("*.parquet")}
    for name, columns in told.items():
        assert columns == pq.read_schema(parquet / name).names


def test_dictionary_says_resolution_and_definition_of_what_is_measured() -> None:
    by_file = {row["file"]: row for row in dictionary(EXPORTED, ".csv")}
    runtime = tables()["measure.runtime"].measure
    assert runtime is not None
    assert by_file["output_run.csv"]["resolution"] == runtime.resolution
    # measure.static_day says "as measure.static_total", which is looked up
    assert "interval of the static channel" in by_file["static_day.csv"]["resolution"]
    unsaid = {e.name for e in EXPORTED if not by_file[f"{e.name}.csv"]["resolution"]}
    assert unsaid == {"site", "window", "zone", "setting", "visit", "judged"}


# ------------------------------------------------------- CSV


def test_csv_and_parquet_hold_the_same(text: Path, parquet: Path) -> None:
    told = pd.read_csv(text / "reading.csv", parse_dates=["ts"])
    kept = pd.read_parquet(parquet / "reading.parquet")
    assert (told["ts"] == kept["ts"]).all()
    assert (told["value"] == kept["value"]).all()  # written by repr: not one bit is lost
    assert (told["is_used"] == kept["is_used"]).all()
    assert pl.read_csv(text / "reading.csv").columns == list(kept.columns)


def test_nothing_in_a_csv_runs_as_a_formula(text: Path) -> None:
    columns = {r["column_name"] for r in rows(text / "channel.csv")}
    assert f"'{FORMULA} (°F)" in columns
    for path in text.glob("*.csv"):
        for row in rows(path):
            assert not any(inert(cell) != cell for cell in row.values()), path.name


@pytest.mark.parametrize(
    ("given", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+A1", "'+A1"),
        ("-cmd|x", "'-cmd|x"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\uff1dA1", "'\uff1dA1"),
        ("\t=1", "'\t=1"),
        ("-5", "-5"),
        ("+1,234.5", "+1,234.5"),
        ("W1 on", "W1 on"),
        ("", ""),
    ],
)
def test_text_a_spreadsheet_would_run_gets_an_apostrophe(given: str, written: str) -> None:
    assert inert(given) == written


def test_redacted_leaves_names_out(parquet: Path, text: Path) -> None:
    whole = "".join(p.read_text(encoding="utf-8-sig") for p in text.glob("*.csv"))
    assert "Anna" in whole and "Elm Row" in whole and "calc" in whole
    redacted = "".join(pd.read_parquet(p).to_csv() for p in parquet.glob("*.parquet"))
    redacted += (parquet / "dictionary.csv").read_text(encoding="utf-8-sig")
    assert "Anna" not in redacted and "Elm Row" not in redacted and "calc" not in redacted
    assert "elm-3" in redacted and "Zone 1" in redacted


# ------------------------------------------------------- canonical


def test_canonical_is_the_store_sorted_and_the_same_however_it_was_loaded(
    site: Path, tmp_path: Path
) -> None:
    assert run("export", site, "--to", tmp_path / "one", "--canonical", "--quiet") == 0
    # the same rows in two files, the later hours loaded first
    parts = make_site(tmp_path / "moved")
    lines = log_text().splitlines(keepends=True)
    (parts / "exports" / "log.csv").unlink()
    for name, part in (("log_2.csv", lines[91:]), ("log_1.csv", lines[1:91])):
        (parts / "exports" / name).write_text(lines[0] + "".join(part), encoding="utf-8")
        assert run("load", parts, "--quiet") == 0
    assert run("export", parts, "--to", tmp_path / "two", "--canonical", "--quiet") == 0
    names = {f"{e.name}.csv" for e in canonical()} | {"dictionary.csv"}
    assert {p.name for p in (tmp_path / "one").iterdir()} == names
    for name in ("reading.csv", "state.csv", "reject.csv"):
        one, two = ((tmp_path / f / name).read_bytes() for f in ("one", "two"))
        assert one == two, name
    values = [r["value"] for r in rows(tmp_path / "one" / "reading.csv") if r["channel_id"] == "1"]
    assert values == [repr(round(supply_f(m), 1)) for m in range(MINUTES)]


# ------------------------------------------------------- a fleet, and what is refused


def test_a_fleet_goes_into_one_file_a_table_and_a_broken_site_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fleet = tmp_path / "fleet"
    make_site(fleet / "north" / "ash-1", "ash-1")
    make_site(fleet / "oak-2", "oak-2")
    broken = make_site(fleet / "fir-9", "fir-9")
    (broken / "site.toml").write_text("[site]\nid = 'fir-9'\n", encoding="utf-8")
    out = tmp_path / "out"
    told = ("--canonical", "--json", "-", "--strict")
    assert run("export", fleet, "--to", out, *told) == 1
    said = capsys.readouterr()
    document = json.loads(said.out)
    assert [Path(r["site"]).name for r in document["left_out"]] == ["fir-9"]
    assert "fir-9" in said.err and "timezone" in said.err
    readings = pd.read_csv(out / "reading.csv")
    n = {site: len(rows) for site, rows in readings.groupby("site_id")}
    assert n == {"ash-1": 2 * MINUTES, "oak-2": 2 * MINUTES}
    assert document["rows"]["reading.csv"] == 4 * MINUTES


def test_two_sites_with_one_id_are_refused_by_both_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(tmp_path / "fleet" / "one")
    make_site(tmp_path / "fleet" / "two")
    said = refused(capsys, tmp_path / "fleet", "--to", tmp_path / "out")
    assert "one" in said and "two" in said and "elm-3" in said
    assert not (tmp_path / "out").exists()


def refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    assert run("export", *arguments, "--quiet") == 2
    return str(capsys.readouterr().err)


def test_a_folder_with_other_files_is_left_alone(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "diary.txt").write_text("mine", encoding="utf-8")
    said = refused(capsys, site, "--to", tmp_path)
    assert str(tmp_path) in said and "diary.txt" in said and "expected" in said
    assert (tmp_path / "diary.txt").read_text(encoding="utf-8") == "mine"


def test_a_former_export_is_replaced_whole(parquet: Path) -> None:
    files = {f"{e.name}.parquet" for e in EXPORTED} | {"dictionary.csv"}
    assert {p.name for p in parquet.iterdir()} == files
    assert not [p for p in parquet.parent.iterdir() if p.name.startswith(".")]


@pytest.mark.parametrize("where", ["", "exports", "exports/tables"])
def test_nothing_is_written_among_a_sites_own_files(
    site: Path, where: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = refused(capsys, site, "--to", site / where)
    assert "site's own files" in said
    assert [p.name for p in (site / "exports").iterdir()] == ["log.csv"]


def test_no_site_and_options_that_do_not_go_together_are_refused(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = refused(capsys, tmp_path / "nowhere", "--to", tmp_path / "out")
    assert "nowhere" in said and "site.toml" in said
    said = refused(capsys, site, "--to", tmp_path / "out", "--canonical", "--format", "parquet")
    assert "--canonical" in said
    assert not (tmp_path / "out").exists()


def test_a_fault_on_the_way_leaves_no_folder(site: Path, tmp_path: Path, monkeypatch: Any) -> None:
    def fails(*arguments: Any, **named: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("pipeline.export.measure_sites", fails)
    assert run("export", site, "--to", tmp_path / "out", "--quiet") == 3
    assert list(tmp_path.iterdir()) == []
