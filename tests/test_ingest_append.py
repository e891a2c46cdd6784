"""Later exports added to a store: the same store as reading everything anew makes."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from pipeline import store_writing
from pipeline.errors import StoreError
from pipeline.ingest.load import LoadReport, load_site
from pipeline.store import connect_working, mounted, store_columns
from sample_data.fleet.sites import FLEET
from sample_data.unpack import unpack_fleet_site, unpack_site

START = datetime(2026, 1, 14, 10, 0, 0)
SITE = """
[site]
id = "later"
timezone = "America/Denver"
[equipment]
kind = "furnace_ac"
[[export]]
files = "exports/*.csv"
{said}
[[channel]]
column = "Supply (°F)"
role = "supply_temp"
[[channel]]
column = "Return (°F)"
role = "return_temp"
[[channel]]
column = "W1"
role = "output_w1"
[[channel]]
column = "G"
role = "output_g"
"""
Row = tuple[int, str, str, str, str]
LAYOUTS = ("elder-5",)
OTHERS = ("larch-14", *(s.id for s in FLEET if not s.trouble and s.id not in LAYOUTS))


def dump(site: Path) -> dict[str, list[tuple[Any, ...]]]:
    """All that the store holds: every table in an order of its own, whatever lies where on disk."""
    with connect_working() as con, mounted(con, site / "site.duckdb"):
        return {
            table: con.execute(f"select * from {table} order by all").fetchall()
            for table in [*store_columns(), "original", "tail", "instants", "meta"]
        }


def step_by_step(site: Path, steps: Sequence[Mapping[str, str | bytes]]) -> list[LoadReport]:
    """Load after each step's files have come."""
    (site / "exports").mkdir(parents=True, exist_ok=True)
    reports = []
    for files in steps:
        for name, text in files.items():
            content = text.encode() if isinstance(text, str) else text
            (site / "exports" / name).write_bytes(content)
        reports.append(load_site(site))
    return reports


def is_as_anew(site: Path, report: LoadReport) -> None:
    """The store, and what is told of it, are those of a load from nothing."""
    told, kept = dump(site), (site / "site.duckdb").stat().st_size
    (site / "site.duckdb").unlink()
    whole = load_site(site)
    anew = dump(site)
    for table, rows in anew.items():
        assert told[table] == rows, table
    assert [(f.path, f.n_read, f.n_loaded, f.n_rejected, f.notes) for f in report.files] == [
        (f.path, f.n_read, f.n_loaded, f.n_rejected, f.notes) for f in whole.files
    ]
    assert report.n_conflicts == whole.n_conflicts
    assert kept <= 2 * (site / "site.duckdb").stat().st_size


def csv(rows: list[Row]) -> str:
    """Rows (seconds after START, two readings, two states) as an export."""
    lines = [
        f"{START + timedelta(seconds=s):%Y-%m-%d %H:%M:%S},{','.join(cells)}" for s, *cells in rows
    ]
    return "\n".join(["Time,Supply (°F),Return (°F),W1,G", *lines, ""])


def make_log(chance: random.Random) -> tuple[str, list[list[Row]], str]:
    """A log in pieces, one after the other or overlapping, and what site.toml says of its kind.

    Rates change, rows are left out, repeated and contradicted, cells are blank or bad.
    """
    said = chance.choice(['kind = "sampled"', 'kind = "change_of_state"', ""])
    n, step, at = chance.randrange(12, 120), 10, 0
    rows: list[Row] = []
    on = [False, False]
    for _ in range(n):
        if chance.random() < 0.03:
            step = chance.choice([10, 20, 60])
        odd = chance.random()
        at += step if odd > 0.1 else chance.randrange(1, 3_000)
        on = [s != (chance.random() < 0.2) for s in on]
        cells = [f"{chance.randrange(600, 1_400) / 10:.1f}" for _ in range(2)]
        cells += ["on" if s else "off" for s in on]
        for k in range(4):
            if chance.random() < 0.08:
                cells[k] = chance.choice(["", "", "ERR", "-"])
        rows.append((at, *cells))  # type: ignore[arg-type]
        if chance.random() < 0.04:
            again = list(cells)
            again[chance.randrange(4)] = chance.choice(["99.5", "on", ""])
            rows.append((at, *again))  # type: ignore[arg-type]
    cuts = sorted(chance.sample(range(4, n), k=chance.randrange(1, 4)))
    pieces = []
    for first, last in pairwise([0, *cuts, len(rows)]):
        back = chance.randrange(0, min(first, 5) + 1) if chance.random() < 0.2 else 0
        pieces.append(rows[first - back : last])
    return said, [p for p in pieces if p], chance.choice(["part_{}.csv", "{}.csv"])


@pytest.mark.parametrize("seed", range(6))
def test_later_files_make_the_store_that_all_files_make(tmp_path: Path, seed: int) -> None:
    said, pieces, name = make_log(random.Random(seed))
    (tmp_path / "site.toml").write_text(SITE.format(said=said), encoding="utf-8")
    steps = [{name.format(k): csv(piece)} for k, piece in enumerate(pieces)]
    is_as_anew(tmp_path, step_by_step(tmp_path, steps)[-1])


def cut_exports(site: Path, shares: tuple[float, ...]) -> list[dict[str, bytes]]:
    """Each export of the loaded site in pieces, each under the same head lines, by steps.

    shares : of its rows that the first steps have, together
    """
    with connect_working() as con, mounted(con, site / "site.duckdb"):
        found = con.execute("select path, n_preamble + n_header from file order by path").fetchall()
    steps: list[dict[str, bytes]] = [{} for _ in range(len(shares) + 1)]
    for path, n_head in found:
        lines = (site / path).read_bytes().splitlines(keepends=True)
        head, rows = lines[:n_head], lines[n_head:]
        cuts = [0, *(round(len(rows) * share) for share in shares), len(rows)]
        for k, (first, last) in enumerate(pairwise(cuts)):
            name = re.sub(r"(\.\w+)$", rf"_{k}\1", Path(path).name)
            steps[k][name] = b"".join(head + rows[first:last])
    return steps


@pytest.mark.parametrize(
    "site_id", [*LAYOUTS, *(pytest.param(s, marks=pytest.mark.slow) for s in OTHERS)]
)
def test_a_logger_off_loaded_again_and_again(tmp_path: Path, site_id: str) -> None:
    """Calls, temperatures and static of real layouts, with gaps, footers, units and time zones."""
    site = unpack_fleet_site(site_id, tmp_path) if site_id != "larch-14" else tmp_path / site_id
    if site_id == "larch-14":
        unpack_site(site_id, tmp_path)
    load_site(site)
    text = (site / "site.toml").read_text(encoding="utf-8")
    text = re.sub(r'"exports/(\w+)\*?\.(\w+)"', r'"exports/\1*.\2"', text)
    (site / "site.toml").write_text(text, encoding="utf-8")
    steps = cut_exports(site, (0.6, 0.9))
    (site / "site.duckdb").unlink()
    shutil.rmtree(site / "exports")
    reports = step_by_step(site, steps)
    assert [r.is_added_to for r in reports] == [False, True, True]
    is_as_anew(site, reports[-1])


def log_of_changes(site: Path, *steps: dict[str, list[Row]]) -> list[LoadReport]:
    """Load a site whose logger writes changes, step by step."""
    (site / "site.toml").write_text(SITE.format(said='kind = "change_of_state"'), encoding="utf-8")
    return step_by_step(site, [{n: csv(r) for n, r in files.items()} for files in steps])


FIRST: list[Row] = [(0, "100.0", "70.0", "off", "on"), (600, "101.0", "70.0", "on", "on")]
NEXT: list[Row] = [(2_400, "102.0", "70.0", "on", "off"), (3_000, "103.0", "70.0", "off", "off")]


def test_a_change_in_the_last_row_holds_until_the_next_file(tmp_path: Path) -> None:
    """W1 comes on in the last row of a file and holds for no time; half an hour later it is on."""
    _, report = log_of_changes(tmp_path, {"a.csv": FIRST}, {"b.csv": NEXT})
    assert report.is_added_to
    with connect_working() as con, mounted(con, tmp_path / "site.duckdb"):
        states = con.execute(
            "select channel_id, (start_ts - $t) / 1e6, (end_ts - $t) / 1e6, is_on from state"
            " order by all",
            {"t": con.execute("select min(ts) from reading").fetchall()[0][0]},
        ).fetchall()
    # W1: off, on from 600 s to 3,000 s; G: on until the next file says that it is off
    assert states == [
        (3, 0.0, 600.0, False),
        (3, 600.0, 3_000.0, True),
        (4, 0.0, 2_400.0, True),
        (4, 2_400.0, 3_000.0, False),
    ]
    is_as_anew(tmp_path, report)


@pytest.mark.parametrize(
    ("second", "why"),
    [
        ([FIRST[1], *NEXT], "its first row repeats the last one"),
        ([(600, "99.0", "70.0", "on", "on"), *NEXT], "its first row contradicts the last one"),
        ([(300, "99.0", "70.0", "on", "on"), *NEXT], "it begins before the other one ends"),
        ([(-900, "99.0", "70.0", "on", "on"), (-300, "99.0", "70.0", "on", "on")], "it is earlier"),
    ],
)
def test_what_is_not_simply_later_is_read_with_everything(
    tmp_path: Path, second: list[Row], why: str
) -> None:
    _, report = log_of_changes(tmp_path, {"a.csv": FIRST}, {"b.csv": second})
    assert report.is_rebuilt and not report.is_added_to, why
    is_as_anew(tmp_path, report)


def test_a_longer_export_of_the_same_name_is_read_with_what_it_replaced(tmp_path: Path) -> None:
    _, report = log_of_changes(tmp_path, {"a.csv": FIRST}, {"a.csv": [*FIRST, *NEXT]})
    assert not report.is_added_to
    assert [(f.is_present, f.n_loaded, f.n_repeated) for f in report.files] in (
        [(False, 2, 0), (True, 2, 2)],
        [(True, 4, 0), (False, 0, 2)],  # whichever comes first by its hash
    )


def test_files_that_have_vanished_stay_when_later_ones_are_added(tmp_path: Path) -> None:
    log_of_changes(tmp_path, {"a.csv": FIRST}, {"b.csv": NEXT})
    (tmp_path / "exports" / "a.csv").unlink()
    load_site(tmp_path)
    third: list[Row] = [(3_600, "104.0", "70.0", "on", "off"), (4_200, "105.0", "", "off", "off")]
    (report,) = step_by_step(tmp_path, [{"c.csv": csv(third)}])
    assert report.is_added_to
    assert [(f.path, f.is_present, f.was_loaded) for f in report.files] == [
        ("exports/a.csv", False, True),
        ("exports/b.csv", True, True),
        ("exports/c.csv", True, False),
    ]
    added = dump(tmp_path)
    (tmp_path / "exports" / "a.csv").write_text(csv(FIRST), encoding="utf-8")
    load_site(tmp_path)
    for table in ("reading", "state", "channel", "tail"):
        assert dump(tmp_path)[table] == added[table]


def test_a_schedule_over_a_change_of_the_clocks_is_looked_at_whole(tmp_path: Path) -> None:
    """Whether the logger's clock followed the zone shows in the days before and after alike."""
    (tmp_path / "site.toml").write_text(
        SITE.format(said='kind = "sampled"').replace(
            'role = "return_temp"', 'role = "zone_heat_setpoint"\nzone = 1'
        ),
        encoding="utf-8",
    )
    march = round((datetime(2026, 3, 8) - START).total_seconds())
    days = [[(march + 600 * k + 86_400 * d, "99.0", "70.0", "on", "on") for k in range(9)]
            for d in (-3, -2, 2)]  # fmt: skip
    steps = [{f"{k}.csv": csv(rows)} for k, rows in enumerate(days)]  # type: ignore[arg-type]
    reports = step_by_step(tmp_path, steps)
    assert [r.is_added_to for r in reports] == [False, True, False]
    is_as_anew(tmp_path, reports[-1])


def test_adding_that_fails_leaves_the_old_store_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log_of_changes(tmp_path, {"a.csv": FIRST})
    before, names = (tmp_path / "site.duckdb").read_bytes(), sorted(tmp_path.iterdir())
    (tmp_path / "exports" / "b.csv").write_text(csv(NEXT), encoding="utf-8")

    def full(*_: object) -> None:
        raise OSError("no space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(store_writing, "_create", full)
        with pytest.raises(StoreError, match="cannot be written"):
            load_site(tmp_path)
    assert (tmp_path / "site.duckdb").read_bytes() == before
    assert sorted(tmp_path.iterdir()) == names
    assert load_site(tmp_path).is_added_to
