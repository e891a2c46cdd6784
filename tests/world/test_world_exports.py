"""Exports that are packed, totalled or written over a change of the clocks, against the truth.

Everything is read back by the standard library and pandas, then by the tool.
"""

import gzip
import io
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.ingest.load import load_site
from pipeline.review import review_site
from sample_data import world
from sample_data.world.channels import panel_states
from sample_data.world.make import made


@pytest.fixture(autouse=True)
def kept_apart(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Made sites go to a folder of the session; compiled code stays where it is."""
    folder = tmp_path_factory.getbasetemp() / "world"
    monkeypatch.setattr("sample_data.world.make.cache_folder", lambda: folder)


def logged(days: float = 0.2, date: str = "", **how: Any) -> world.System:
    """A tuning system logged as told."""
    system = world.healthy("tuning", 20)
    told = {"dialect": "plain", "states": "change", "fast_s": 10, "slow_s": 60} | how
    return replace(system, days=days, date=date, logging=replace(system.logging, faults=(), **told))


@pytest.mark.parametrize("packed", ["gz", "zip", "xlsx"])
def test_packed_exports_hold_what_plain_ones_hold(packed: str, tmp_path: Path) -> None:
    plain, system = logged(), logged(packed=packed)
    texts = {file.name: file.text for file in made(plain)[1]}
    world.make_site(system, tmp_path / "packed")
    world.make_site(plain, tmp_path / "plain")
    folder = tmp_path / "packed" / "exports"
    if packed == "gz":
        found = {p.stem: gzip.decompress(p.read_bytes()).decode() for p in folder.iterdir()}
        assert found == texts
    elif packed == "zip":
        with zipfile.ZipFile(folder / "loggers.zip") as archive:
            assert {n: archive.read(n).decode() for n in archive.namelist()} == texts
    else:
        assert {p.stem for p in folder.iterdir()} == {name[:-4] for name in texts}
        for name, text in texts.items():
            sheet = pd.read_excel(folder / f"{name[:-4]}.xlsx")
            table = pd.read_csv(io.StringIO(text), parse_dates=[0])
            pd.testing.assert_frame_equal(sheet, table, check_dtype=False)
    reports = [load_site(tmp_path / name) for name in ("plain", "packed")]
    assert reports[0].total("n_loaded") == reports[1].total("n_loaded") > 0
    assert reports[1].total("n_rejected") == reports[1].n_conflicts == 0


@pytest.mark.parametrize("packed", ["gz", "zip", "xlsx"])
def test_packed_bytes_do_not_tell_when_they_were_packed(
    packed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = []
    for turn in ("first", "second"):
        monkeypatch.setattr("sample_data.world.make.cache_folder", lambda t=turn: tmp_path / t)
        monkeypatch.setattr("time.time", lambda t=turn: 1e9 if t == "first" else 1.5e9)
        world.make_site(logged(packed=packed), tmp_path / turn / "site")
        folder = tmp_path / turn / "site" / "exports"
        found.append({p.name: p.read_bytes() for p in folder.iterdir()})
    assert found[0] == found[1]


@pytest.mark.parametrize("form", ["seconds_on", "percent_on"])
def test_totals_of_an_interval_add_up_to_the_runtime(form: str, tmp_path: Path) -> None:
    """Rows after the first cover the panel's window; a percentage has two decimals of 60 s, so a
    row is off by 0.003 s at most."""
    system = logged(totals=form)
    kept, files, told = made(system)
    panel = next(file for file in files if file.name == "panel.csv")
    table = pd.read_csv(io.StringIO(panel.text))
    scale = 1.0 if form == "seconds_on" else 60.0 / 100.0
    window_s = len(panel.seconds) * 60 - 60
    ends = told["window"]
    span = pd.Timestamp(ends["end"]) - pd.Timestamp(ends["start"])
    assert 0 <= span.total_seconds() - window_s < 60
    for channel in panel_states(system, kept):
        summed = table[channel.column][1:].sum() * scale
        first, last = panel.seconds[0], panel.seconds[-1]
        assert summed == pytest.approx(np.sum(channel.values[first:last]), abs=0.003 * len(table))
        if channel.role.startswith("output"):
            assert abs(summed - told["runtime_s"][channel.role]) < 60
    world.make_site(system, tmp_path)
    report = load_site(tmp_path)
    assert report.total("n_rejected") == report.n_conflicts == 0
    assert report.total("n_loaded") == report.total("n_read") > 0


CHANGES = [("2026-10-31", 25), ("2026-03-07", 23)]  # hours of the day after, in North America


@pytest.mark.parametrize(("date", "hours"), CHANGES)
@pytest.mark.parametrize("dialect", ["twelve hour", "newest first"])
def test_an_export_over_a_change_of_the_clocks(
    date: str, hours: int, dialect: str, tmp_path: Path
) -> None:
    """The loggers follow the local clock, the truth stays on one clock of its own: what pandas
    makes of the local times, by the order of the rows, are the truth's instants."""
    system = logged(0.8, date, dialect=dialect)
    assert system.weather.timezone == "America/Chicago"
    _, files, told = made(system)
    static = next(file for file in files if file.name == "static.csv")
    zulu = logged(0.8, date, dialect="utc")
    other = next(file for file in made(zulu)[1] if file.name == "static.csv")
    true = pd.to_datetime(pd.read_csv(io.StringIO(other.text))["Timestamp"])
    table = pd.read_csv(io.StringIO(static.text), skiprows=3 * (dialect == "twelve hour"))
    first = table[table.columns[0]]
    if dialect == "twelve hour":
        local = pd.to_datetime(first + " " + table["Time"], format="%m/%d/%Y %I:%M:%S %p")
    else:
        local = pd.to_datetime(first)
    local = local[::-1] if dialect == "newest first" else local
    at = pd.DatetimeIndex(local).tz_localize(system.weather.timezone, ambiguous="infer")
    assert (at.tz_convert("UTC").to_numpy() == true.dt.tz_convert("UTC").to_numpy()).all()
    day = [pd.Timestamp(date, tz=system.weather.timezone) + pd.DateOffset(days=n) for n in (1, 2)]
    assert (day[1] - day[0]).total_seconds() == hours * 3600
    assert local.diff().min() < pd.Timedelta(0) or hours == 23  # an hour is there twice
    assert local.diff().max() > pd.Timedelta(minutes=59) or hours == 25  # or not at all
    world.make_site(system, tmp_path)
    review = review_site(tmp_path)
    assert review.load.total("n_rejected") == review.load.n_conflicts == 0
    assert review.load.total("n_loaded") == review.load.total("n_read") > 0
    runtime = review.result.frames["measure.runtime"].set_index("output")
    for output in ("output_w1", "output_g"):
        off_s = abs(runtime["on_s"][output] - told["runtime_s"][output])
        assert off_s <= runtime["plus_minus_s"][output]
