"""Clocks that stayed, schedules that show it, archives that are too large, files in two parts."""

from __future__ import annotations

import builtins
import random
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import pytest

from pipeline.errors import InputError
from pipeline.ingest.draft import draft_site
from pipeline.ingest.load import LoadReport, load_site
from pipeline.ingest.look import look_at_folder
from pipeline.store import open_store

DENVER = ZoneInfo("America/Denver")
SITE = """
[site]
id = "clocks"
timezone = "America/Denver"
[equipment]
kind = "furnace"
[[zone]]
number = 1
{more}
"""


def site_with(folder: Path, files: dict[str, str], more: str) -> Path:
    """A site folder with these exports."""
    (folder / "exports").mkdir(parents=True)
    (folder / "site.toml").write_text(SITE.format(more=more), encoding="utf-8")
    for name, text in files.items():
        (folder / "exports" / name).write_text(text, encoding="utf-8")
    return folder


def notes(report: LoadReport) -> str:
    return "\n".join(note for f in report.files for note in f.notes)


# ----------------------------------------------------------------------------- schedules that step

SETPOINT = '[[channel]]\ncolumn = "Z1 set (°F)"\nrole = "zone_heat_setpoint"\nzone = 1\n'


def schedule(first: datetime, days: int, zone: ZoneInfo | None, gap_h: tuple[int, int]) -> str:
    """A setpoint that goes up at 6:00 and down at 22:00 by the house's clock, every 20 min.

    The rows carry the time of the logger's clock: `zone`'s, or standard time all along (None).
    The hours `gap_h` after the first row are left out, so that no row lies where clocks change.
    """
    lines = ["Time,Z1 set (°F)"]
    for k in range(days * 72):
        utc = first + timedelta(minutes=20 * k)
        if gap_h[0] <= k / 3 < gap_h[1]:
            continue
        house = utc.astimezone(DENVER)
        shown = utc.astimezone(zone) if zone else utc - timedelta(hours=7)
        degrees = 70 if 6 <= house.hour < 22 else 62
        lines.append(f"{shown:%Y-%m-%d %H:%M:%S},{degrees}")
    return "\n".join(lines) + "\n"


# 2026-03-03 00:00 in Denver is 07:00 UTC; clocks go forward on March 8 at 2:00, 122 h later.
MARCH = datetime(2026, 3, 3, 7, tzinfo=UTC)


def test_a_schedule_that_steps_by_an_hour_shows_a_logger_on_standard_time(tmp_path: Path) -> None:
    text = schedule(MARCH, 12, None, (118, 126))
    report = load_site(site_with(tmp_path, {"t.csv": text}, SETPOINT))
    said = notes(report)
    assert "'Z1 set (°F)' steps by an hour in the night of 2026-03-08" in said
    # Standard time in Denver is UTC-7.
    assert 'timezone = "UTC-07:00"' in said


def test_a_schedule_on_the_sites_own_clock_says_nothing(tmp_path: Path) -> None:
    text = schedule(MARCH, 12, DENVER, (118, 126))
    assert notes(load_site(site_with(tmp_path, {"t.csv": text}, SETPOINT))) == ""


def test_two_days_after_the_change_are_too_few_to_tell(tmp_path: Path) -> None:
    text = schedule(MARCH, 7, None, (118, 126))
    assert notes(load_site(site_with(tmp_path, {"t.csv": text}, SETPOINT))) == ""


def test_an_autumn_schedule_steps_the_other_way(tmp_path: Path) -> None:
    # 2026-10-27 00:00 in Denver is 06:00 UTC; clocks go back on November 1 at 2:00.
    first = datetime(2026, 10, 27, 6, tzinfo=UTC)
    text = schedule(first, 12, None, (116, 128))
    said = notes(load_site(site_with(tmp_path, {"t.csv": text}, SETPOINT)))
    assert "in the night of 2026-11-01" in said


def test_said_in_the_site_file_it_is_no_longer_noted(tmp_path: Path) -> None:
    text = schedule(MARCH, 12, None, (118, 126))
    more = SETPOINT + '[[export]]\nfiles = "exports/t.csv"\ntimezone = "UTC-07:00"\n'
    site = site_with(tmp_path, {"t.csv": text}, more)
    assert notes(load_site(site)) == ""
    with open_store(site / "site.duckdb") as connection:
        ups = connection.execute(
            "select ts from (select ts, value - lag(value) over (order by ts) as step "
            "from reading) where step > 0 order by ts"
        ).fetchall()
    # Read so, the setpoint rises at 6:00 by the house's clock on every day.
    local = [datetime.fromtimestamp(t / 1e6, UTC).astimezone(DENVER) for (t,) in ups]
    assert {f"{t:%H:%M}" for t in local} == {"06:00"}


# --------------------------------------------------------------------------- what is in two parts

SUPPLY = '[[channel]]\ncolumn = "Supply (°F)"\nrole = "supply_temp"\n'


def test_lines_of_a_large_file_read_in_two_parts_keep_their_numbers(tmp_path: Path) -> None:
    # Over 4 MB, so that it is cut in two; 200 lines are cut short at known places.
    chance = random.Random(4)
    start = datetime(2026, 1, 1)
    wide = ",".join(["0"] * 12)
    lines = [f"Time,Supply (°F),{','.join(f'c{k}' for k in range(12))}"]
    lines += [
        f"{start + timedelta(seconds=10 * k):%Y-%m-%d %H:%M:%S},{100 + k % 7},{wide}"
        for k in range(90_000)
    ]
    cut = sorted(chance.sample(range(1, 90_001), 200))
    for at in cut:
        lines[at] = lines[at][:24]
    text = "\n".join(lines) + "\n"
    assert len(text) > 1 << 22
    site = site_with(tmp_path, {"t.csv": text}, SUPPLY)
    report = load_site(site)
    assert (report.total("n_read"), report.total("n_rejected")) == (90_000, 200)
    with open_store(site / "site.duckdb") as connection:
        found = connection.execute("select line, text from reject order by line").fetchall()
    assert found == [(at + 1, lines[at]) for at in cut]


# --------------------------------------------------------------------------------- packed too much


def test_an_archive_that_would_unpack_to_too_much_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_with(tmp_path, {}, SUPPLY)
    with zipfile.ZipFile(site / "exports" / "t.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("t.csv", "Time,Supply (°F)\n" + "2026-01-14 10:00:00,100\n" * 2_000)
    monkeypatch.setattr("pipeline.ingest.containers.max_unpacked_bytes", lambda: 10_000)
    with pytest.raises(InputError, match="the packed file is too large") as caught:
        load_site(site)
    # A header of 17 letters, ° in two bytes, and 2,000 lines of 24: 48,018 bytes.
    assert caught.value.found == "48,018 bytes unpacked"
    assert caught.value.expected == "at most 10,000 bytes"
    assert str(site / "exports" / "t.zip") == caught.value.file


def test_a_workbook_without_the_optional_reader_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_with(tmp_path, {}, SUPPLY)
    with zipfile.ZipFile(site / "exports" / "t.xlsx", "w") as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "openpyxl":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(InputError, match="an optional part") as caught:
        load_site(site)
    assert "save the sheet as CSV" in (caught.value.hint or "")


def test_a_workbook_that_is_none_is_refused(tmp_path: Path) -> None:
    site = site_with(tmp_path, {}, SUPPLY)
    with zipfile.ZipFile(site / "exports" / "t.xlsx", "w") as archive:
        archive.writestr("readme.txt", "no workbook")
    with pytest.raises(InputError, match="the workbook cannot be read"):
        load_site(site)


def test_units_in_the_number_formats_of_a_workbook(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append(["Time", "Supply", "Return"])
    for k in range(12):
        sheet.append([datetime(2026, 1, 14, 10, k), 100.5 + k, 20])
        sheet.cell(k + 2, 2).number_format = '0.0" °F"'
        sheet.cell(k + 2, 3).number_format = "0\\ \\°\\C"
    site = site_with(
        tmp_path,
        {},
        '[[channel]]\ncolumn = "Supply"\nrole = "supply_temp"\nunit = "degF"\n'
        '[[channel]]\ncolumn = "Return"\nrole = "return_temp"\nunit = "degC"\n',
    )
    book.save(site / "exports" / "t.xlsx")
    guessed = [(c.guess.role, c.guess.unit) for c in look_at_folder(site)[0].columns]
    assert guessed == [("supply_temp", "degF"), ("return_temp", "degC")]
    load_site(site)
    with open_store(site / "site.duckdb") as store:
        got = store.execute(
            "select column_name, min(value), max(value) from reading join channel "
            "using (channel_id) group by column_name order by column_name"
        ).fetchall()
    # 20 °C is 68 °F; the supply rises by 1 from 100.5 eleven times.
    assert got == [("Return", 68.0, 68.0), ("Supply", 100.5, 111.5)]


# ------------------------------------------------------------------------------- what inspect says


def test_seconds_lost_in_a_spreadsheet_are_told(tmp_path: Path) -> None:
    # Six rows a minute for five minutes, each saved with its minute alone.
    rows = [f"1/14/2026 10:{k // 6:02d},{100 + k}" for k in range(30)]
    site = site_with(tmp_path, {"t.csv": "\n".join(["Time,Supply (°F)", *rows, ""])}, SUPPLY)
    told = "30 rows stand on 5 minutes: their seconds were lost"
    assert any(n.startswith(told) for n in look_at_folder(site)[0].notes)
    report = load_site(site)
    assert any(n.startswith(told) for n in report.files[0].notes)
    assert (report.total("n_read"), report.total("n_rejected")) == (30, 30)


def test_words_that_are_not_known_are_asked_for(tmp_path: Path) -> None:
    rows = [f"2026-01-14 10:{k:02d}:00,{'Brennt' if k % 5 else 'Aus'}" for k in range(20)]
    (tmp_path / "exports").mkdir()
    text = "\n".join(["Time,W1 out", *rows, ""])
    (tmp_path / "exports" / "t.csv").write_text(text, encoding="utf-8")
    (column,) = look_at_folder(tmp_path)[0].columns
    assert column.words == ("aus", "brennt") and column.guess.confidence <= 0.5
    drafted = draft_site(tmp_path)
    assert '# CONFIRM: "W1 out": not sure (50%)' in drafted
    assert '# on = ["aus"]  # which of its words mean on?' in drafted


def test_error_numbers_are_told_apart_from_the_range(tmp_path: Path) -> None:
    rows = [f"2026-01-14 10:{k:02d}:00,{-999 if k in (3, 7) else 100 + k}" for k in range(20)]
    site = site_with(tmp_path, {"t.csv": "\n".join(["Time,Supply (°F)", *rows, ""])}, SUPPLY)
    (column,) = look_at_folder(site)[0].columns
    assert (column.low, column.high, column.odd) == (100, 119, (("-999", 2),))
