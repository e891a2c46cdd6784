"""Readings are those that other readers find in the same files, given the right parameters.

Outside checks: pandas.read_csv, polars.read_csv and DuckDB's read_csv on files of the corpus; the
public hourly files that pvlib and vega-datasets ship, against those packages' own readers (slow,
and left out where the packages are not installed: pip install 'zonetrail[public]').
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import polars as pl
import pytest

from pipeline.ingest import written_times
from pipeline.ingest.encoding import decode
from pipeline.ingest.file_clock import clock_texts
from pipeline.ingest.load import load_site
from pipeline.ingest.rows import read_rows
from pipeline.ingest.sniff import sniff
from pipeline.store import open_store

CORPUS = Path(__file__).parent / "exports"


def readings(site: Path, column: str) -> tuple[np.ndarray, np.ndarray]:
    """Instants [us] and values of one channel of a loaded site."""
    with open_store(site / "site.duckdb") as connection:
        got = connection.execute(
            "select ts, value from reading join channel using (channel_id) "
            "where column_name = ? order by ts",
            [column],
        ).fetchnumpy()
    return np.asarray(got["ts"]), np.asarray(got["value"])


def same(site: Path, column: str, local: pd.Series, zone: str, value: pd.Series) -> None:
    """Our readings are these clock readings and store-unit values, blanks left out."""
    good = value.notna() & local.notna()
    utc = local[good].dt.tz_localize(zone).dt.tz_convert("UTC").dt.as_unit("us").astype("int64")
    order = np.argsort(utc.to_numpy(), kind="stable")
    ts, got = readings(site, column)
    assert ts.tolist() == utc.to_numpy()[order].tolist()
    # 1e-9: the same factor, apart from how doubles are rounded.
    assert got == pytest.approx(value[good].to_numpy(float)[order], rel=1e-9, abs=1e-9)


SUPPLY = ("Supply (°F)", "Supply (°F)")
BY_BLANKS = {"sep": r"\s+", "skiprows": 1, "names": ["Date", "Time", "Supply", "W1"]}
# Case, column of ours, column in pandas, options, time columns, format (none: ISO), scale, shift.
PANDAS: list[tuple[str, str, str, dict[str, Any], list[str], str, float, float]] = [
    ("decimal_comma_in_quotes", "Room (°C)", "Room (°C)", {"decimal": ","}, ["Time"], "", 1.8, 32),
    ("utf16_big", *SUPPLY, {"encoding": "utf-16", "sep": "\t"}, ["Time"], "", 1, 0),
    ("vertical_bars", *SUPPLY, {"sep": "|"}, ["Time"], "", 1, 0),
    ("aligned_by_blanks", "Supply air (°F)", "Supply", BY_BLANKS, ["Date", "Time"], "", 1, 0),
    ("preamble_of_forty_lines", *SUPPLY, {"skiprows": 40}, ["Time"], "", 1, 0),
    ("line_break_in_a_cell", *SUPPLY, {}, ["Time"], "", 1, 0),
    ("month_by_name_with_slashes", *SUPPLY, {}, ["Time"], "%d/%b/%Y %H:%M:%S", 1, 0),
    ("midnight_in_small_letters", *SUPPLY, {}, ["Time"], "%d-%b-%y %I:%M:%S %p", 1, 0),
    ("day_of_the_year", *SUPPLY, {}, ["Time"], "%Y-%j %H:%M:%S", 1, 0),
    ("names_units_serials", "Return (°C)", "Return", {"skiprows": [1, 2]}, ["Time"], "", 1.8, 32),
    ("newest_row_first", *SUPPLY, {}, ["Time"], "", 1, 0),
    ("packed_gz", *SUPPLY, {}, ["Time"], "", 1, 0),
]


@pytest.mark.parametrize(
    ("case", "ours", "theirs", "options", "times", "pattern", "scale", "shift"),
    PANDAS,
    ids=[p[0] for p in PANDAS],
)
def test_corpus_readings_are_those_that_pandas_reads(
    tmp_path: Path,
    case: str,
    ours: str,
    theirs: str,
    options: dict[str, Any],
    times: list[str],
    pattern: str,
    scale: float,
    shift: float,
) -> None:
    site = Path(shutil.copytree(CORPUS / case, tmp_path / case))
    load_site(site)
    file = next(p for p in (site / "exports").iterdir())
    frame = pd.read_csv(file, **options)
    text = frame[times[0]] if len(times) == 1 else frame[times[0]] + " " + frame[times[1]]
    local = pd.to_datetime(text, format=pattern or "%Y-%m-%d %H:%M:%S")
    same(site, ours, local, "America/Denver", frame[theirs] * scale + shift)


# Case, column, options of polars. Times are ISO throughout.
POLARS: list[tuple[str, str, dict[str, Any]]] = [
    ("vertical_bars", "Supply (°F)", {"separator": "|"}),
    ("preamble_of_forty_lines", "Supply (°F)", {"skip_rows": 40}),
    ("line_break_in_a_cell", "Supply (°F)", {}),
    ("newest_row_first", "Supply (°F)", {}),
    ("crlf", "Supply (°F)", {}),
    ("packed_gz", "Supply (°F)", {}),
    ("time_of_sending_beside_it", "Supply (°F)", {}),
]


@pytest.mark.parametrize(("case", "column", "options"), POLARS, ids=[p[0] for p in POLARS])
def test_corpus_readings_are_those_that_polars_reads(
    tmp_path: Path, case: str, column: str, options: dict[str, Any]
) -> None:
    site = Path(shutil.copytree(CORPUS / case, tmp_path / case))
    load_site(site)
    frame = pl.read_csv(next((site / "exports").iterdir()), **options)
    time = next(name for name in ("Logged", "Time") if name in frame.columns)
    local = pd.Series(frame[time].str.to_datetime("%Y-%m-%d %H:%M:%S").to_list())
    value = pd.Series(frame[column].cast(pl.Float64).to_list(), dtype=float)
    same(site, column, local.astype("datetime64[us]"), "America/Denver", value)


def test_error_codes_are_the_blanks_of_pandas(tmp_path: Path) -> None:
    site = Path(shutil.copytree(CORPUS / "many_error_codes", tmp_path / "site"))
    load_site(site)
    codes = ["-999", "9999", "32767", "-32768", "655.35", "ERR", "OL", "---", "888.88"]
    frame = pd.read_csv(site / "exports" / "t.csv", na_values=codes)
    local = pd.to_datetime(frame["Time"])
    same(site, "Supply (°F)", local, "America/Denver", frame["Supply (°F)"])


@pytest.mark.parametrize("case", ["vertical_bars", "blank_cells_too_many", "crlf"])
def test_corpus_readings_are_those_that_duckdb_reads(tmp_path: Path, case: str) -> None:
    site = Path(shutil.copytree(CORPUS / case, tmp_path / case))
    load_site(site)
    found = duckdb.connect().execute(
        "select * from read_csv(?, header = true, strict_mode = false, null_padding = true)",
        [str(next((site / "exports").iterdir()))],
    )
    names = [d[0] for d in found.description]
    frame = pd.DataFrame(found.fetchall(), columns=names)
    column = next(n for n in names if n.startswith("Supply"))
    local = pd.to_datetime(frame[names[0]])
    same(site, column, local, "America/Denver", frame[column].astype(float))


# ----------------------------------------------------------------------------- public hourly files


def site_of(folder: Path, export: Path, name: str, channel: str, zone: str, unit: str) -> Path:
    """A loaded site with one export."""
    (folder / "exports").mkdir(parents=True)
    shutil.copy(export, folder / "exports" / name)
    (folder / "site.toml").write_text(
        '[site]\nid = "public"\ntimezone = "America/Los_Angeles"\n[equipment]\nkind = "furnace"\n'
        f'[[export]]\nfiles = "exports/*"\ntimezone = "{zone}"\n'
        f'[[channel]]\ncolumn = "{channel}"\nrole = "outdoor_temp"\nunit = "{unit}"\n',
        encoding="utf-8",
    )
    load_site(folder)
    return folder


@pytest.mark.slow
@pytest.mark.parametrize("name", ["seattle_temps", "sf_temps"])
def test_hourly_temperatures_are_those_that_vega_datasets_reads(tmp_path: Path, name: str) -> None:
    package = pytest.importorskip("vega_datasets")
    data = getattr(package.data, name)
    # The files name no zone and no unit; read as UTC they are compared hour by hour.
    site = site_of(tmp_path / "s", Path(data.filepath), f"{name}.csv", "temp", "UTC", "degF")
    frame = data()
    assert len(frame) == 8_759
    same(site, "temp", frame["date"], "UTC", frame["temp"])


@pytest.mark.slow
def test_a_typical_year_is_read_as_pvlib_reads_it(tmp_path: Path) -> None:
    pvlib = pytest.importorskip("pvlib")
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    frame, facts = pvlib.iotools.read_tmy3(path, map_variables=True)
    assert facts["TZ"] == -5
    # Every clock reading, 24:00 included, is pvlib's.
    text = decode(path.read_bytes(), str(path))
    dialect = sniff(text, str(path))
    rows = read_rows(text, dialect, list(dialect.time_columns))
    fields = written_times.split_texts(clock_texts(rows, dialect), True)
    local, good = written_times.local_us(fields, "mdy")
    theirs = frame.index.tz_localize(None).as_unit("us").astype("int64")
    assert good.all()
    # A documented difference: a typical year has no February 29, so pvlib takes the 24:00 of
    # February 28, 1996 for March 1; by the calendar it is February 29.
    other = np.flatnonzero(local != theirs.to_numpy())
    assert [str(pd.Timestamp(int(t), unit="us")) for t in local[other]] == ["1996-02-29 00:00:00"]
    assert str(frame.index[other[0]]) == "1996-03-01 00:00:00-05:00"
    # A documented difference: a typical year is put together from months of many years, and of
    # those before 2000 a load takes none, as a logger that says so has lost its clock.
    site = site_of(tmp_path / "s", path, "tmy.csv", "Dry-bulb (C)", "UTC-05:00", "degC")
    kept = frame[frame.index >= "2000-01-01 00:00:00-05:00"]
    # Only August is of 2001 and September of 2003: 31 x 24 and 30 x 24 hours.
    assert len(kept) == 744 + 720
    local_time = pd.Series(kept.index.tz_localize(None))
    value = pd.Series(kept["temp_air"].to_numpy() * 1.8 + 32)
    same(site, "Dry-bulb (C)", local_time, "Etc/GMT+5", value)
