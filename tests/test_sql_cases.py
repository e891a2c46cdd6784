"""Every SQL stage on hand-made cases: tests/sql/<schema.table>/<case>/, found by globbing.

A case holds one CSV per input table and `expected.csv`; only its one stage runs. A new case needs
no code.

Cells. An instant (columns that end in `_ts`) is `10:05` or `10:05:30` on Monday 2026-01-12 UTC, or
ISO with its zone: `2026-03-08T09:30:00Z`. Booleans are true and false, an empty cell is null, `""`
an empty text; a number may be a fraction such as `10/3`. Lines that begin with `#` are comments.

Inputs. `run.window.csv` is required and names the sites; its `timezone` is UTC if left out. In
all files `site_id` may be left out where there is one site, `larch`. What is not given:

- `run.threshold`: the defaults for every site of run.window; given columns are laid over them
- `run.day`: the local days of run.window, by the pipeline's own function
- `run.site`: one furnace_ac per site of run.window; columns that a given row leaves out are those
  of a furnace_ac (has_burner and has_heat_pump follow `kind`), G covers gas heat, no delays given
- `run.setting`: start_ts and end_ts left empty mean always
- `run.zone`: columns left out mean 'Zone N', no relief, conventional
- `channel.channel`: columns left out mean logger 'log', kind by role, change of state at 1 s for
  states and sampled at 10 s for analog, primary, no clock offset
- every other table: empty; columns left out are null

Expected. Only the columns named in expected.csv are compared, rows in order, numbers to 1e-6. The
working stands in comment lines on top of it or in why.md.

Every case runs beside another site: its own rows, moved by 37 s, with another name, other values
and other judgement numbers. A stage that forgets the site in a join or a window gives other rows
then. Where the rows are wrong the case runs again alone, to say which it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from pipeline.channels import ROLES
from pipeline.run_tables import (
    ALWAYS_END_TS,
    ALWAYS_START_TS,
    BURNER_KINDS,
    HEAT_PUMP_KINDS,
    local_days,
)
from pipeline.tables import tables
from pipeline.thresholds import values_for

CASES = Path(__file__).parent / "sql"
CASE_FOLDERS = sorted(p for p in CASES.glob("*/*") if p.is_dir())
SITE = "larch"
# A quoted empty cell is an empty text, a bare one null: the csv module does not tell them apart.
CELL = re.compile(r'(?:^|(?<=,))("[^"]*"|[^,]*)')
NEIGHBOUR_SHIFT_US = 37_000_000
NEIGHBOUR_TIMES = 3
RUN_TABLES = ("run.window", "run.threshold", "run.day", "run.site", "run.setting", "run.zone")

Row = dict[str, Any]


def read_rows(path: Path, table: str, instant: Callable[[str], int], is_input: bool) -> list[Row]:
    """The typed rows of one CSV of a case; a column that the table does not have is refused."""
    types = {c.name: c.type for c in tables()[table].with_site}
    lines = [
        line
        for line in path.read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    rows = []
    names: list[str] = []
    for line in lines:
        cells = CELL.findall(line)
        if not names:
            names = [c.strip() for c in cells]
            unknown = [n for n in names if n not in types and not tables()[table].is_open]
            assert not unknown, f"{path}: {table} has no column {unknown}"
            continue
        assert len(cells) == len(names), f"{path}: {cells} for {names}"
        row = {
            name: _cell(text.strip(), types.get(name, "DOUBLE"), name, instant)
            for name, text in zip(names, cells, strict=True)
        }
        if is_input:
            row = {"site_id": SITE} | row
        rows.append(row)
    assert names, f"{path}: no header"
    return rows


def _cell(text: str, sql_type: str, name: str, instant: Callable[[str], int]) -> Any:
    if text == "":
        return None
    if name.endswith("_ts") or name == "ts":
        return instant(text)
    if sql_type == "BOOLEAN":
        return {"true": True, "false": False}[text]
    if sql_type == "DOUBLE":
        return float(Fraction(text)) if "/" in text else float(text)
    if sql_type in ("BIGINT", "INTEGER"):
        return int(text)
    return text.strip('"')


def load_case(folder: Path, instant: Callable[[str], int]) -> dict[str, list[Row]]:
    """Every input table of a case with its rows, defaults filled in as this module says."""
    given = {
        p.stem: read_rows(p, p.stem, instant, True)
        for p in sorted(folder.glob("*.csv"))
        if p.stem != "expected"
    }
    assert "run.window" in given, f"{folder}: run.window.csv is required"
    windows = given["run.window"] = [{"timezone": "UTC"} | r for r in given["run.window"]]
    sites = [r["site_id"] for r in windows]
    given.setdefault(
        "run.day",
        [
            {"site_id": w["site_id"], "day": day, "start_ts": a, "end_ts": b}
            for w in windows
            for day, a, b in local_days(w["timezone"], w["start_ts"], w["end_ts"])
        ],
    )
    given["run.site"] = [
        _site_defaults(r) for r in given.get("run.site", [{"site_id": s} for s in sites])
    ]
    given["run.setting"] = [
        r
        | {
            "start_ts": ALWAYS_START_TS if r.get("start_ts") is None else r["start_ts"],
            "end_ts": ALWAYS_END_TS if r.get("end_ts") is None else r["end_ts"],
        }
        for r in given.get("run.setting", [])
    ]
    given["run.zone"] = [
        {"name": f"Zone {r['zone']}", "is_relief": False, "thermostat": "conventional"} | r
        for r in given.get("run.zone", [])
    ]
    if "channel.channel" in given:
        given["channel.channel"] = [_channel_defaults(r) for r in given["channel.channel"]]
    own = {r["site_id"]: r for r in given.get("run.threshold", [])}
    given["run.threshold"] = [{"site_id": s} | own.get(s, {}) for s in sites]
    return given


def _site_defaults(row: Row) -> Row:
    kind = row.get("kind", "furnace_ac")
    return {
        "name": row["site_id"],
        "kind": kind,
        "has_burner": kind in BURNER_KINDS,
        "has_heat_pump": kind in HEAT_PUMP_KINDS,
        "fan_output_in_gas_heat": True,
        "staged_by": "panel",
    } | row


def _channel_defaults(row: Row) -> Row:
    is_analog = ROLES[row["role"]].kind == "analog"
    return {
        "logger": "log",
        "column_name": row["role"],
        "kind": ROLES[row["role"]].kind,
        "is_sampled": is_analog,
        "interval_s": 10.0 if is_analog else 1.0,
        "is_primary": True,
        "offset_s": 0.0,
    } | row


def beside_a_neighbour(given: dict[str, list[Row]]) -> dict[str, list[Row]]:
    """The same tables with every row a second time, moved, under another site's name."""

    def moved(row: Row) -> Row:
        return {k: other(k, v) for k, v in row.items()}

    def other(name: str, value: Any) -> Any:
        if name == "site_id":
            return value + "-next-door"
        if (name.endswith("_ts") or name == "ts") and value is not None:
            return value + NEIGHBOUR_SHIFT_US if abs(value) < ALWAYS_END_TS else value
        return value * NEIGHBOUR_TIMES + 1 if isinstance(value, float) else value

    # in (site, ...) order, as stages store them
    both = {
        table: sorted([*rows, *map(moved, rows)], key=lambda r: str(r["site_id"]))
        for table, rows in given.items()
    }
    for row in both["run.threshold"]:
        if row["site_id"] not in {r["site_id"] for r in given["run.threshold"]}:
            row |= {k: other(k, v) for k, v in values_for({}).items() if k not in row}
    return both


def run_case(bench: Any, table: str, given: dict[str, list[Row]]) -> list[Row]:
    """The rows that the stage makes of these inputs."""
    for read in bench.stages[table].reads:
        if read == "run.threshold":
            bench.fill_thresholds(
                {
                    r["site_id"]: {k: v for k, v in r.items() if k != "site_id"}
                    for r in given["run.threshold"]
                }
            )
        else:
            bench.fill(read, given.get(read, []))
    bench.run(table)
    rows: list[Row] = bench.rows(table)
    return rows


def compared(found: list[Row], expected: list[Row], sites: set[str]) -> tuple[list[Row], list[Row]]:
    """Found and expected rows of these sites, in order: expected columns only, numbers to 1e-6."""
    own = [r for r in found if r["site_id"] in sites]
    names = list(expected[0]) if expected else ["site_id"]
    shown = [
        {n: str(r[n]) if n == "day" and r[n] is not None else r[n] for n in names} for r in own
    ]
    wanted = [
        {k: pytest.approx(v, abs=1e-6) if isinstance(v, float) else v for k, v in r.items()}
        for r in expected
    ]
    return shown, wanted


@pytest.mark.parametrize("folder", CASE_FOLDERS, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_case(folder: Path, bench: Any, instant: Callable[[str], int]) -> None:
    table = folder.parent.name
    given = load_case(folder, instant)
    unused = set(given) - set(bench.stages[table].reads) - set(RUN_TABLES)
    assert not unused, f"{folder}: {table} does not read {unused}"
    sites = {r["site_id"] for r in given["run.window"]}
    expected = read_rows(folder / "expected.csv", table, instant, False)
    beside, wanted = compared(run_case(bench, table, beside_a_neighbour(given)), expected, sites)
    if beside != wanted:
        alone, wanted = compared(run_case(bench, table, given), expected, sites)
        assert alone == wanted, f"{folder}: see the working in expected.csv"
        assert beside == alone, f"{folder}: right alone, but {table} mixes sites"


@pytest.mark.parametrize("folder", CASE_FOLDERS, ids=lambda p: f"{p.parent.name}/{p.name}")
def test_case_shows_its_working(folder: Path) -> None:
    text = (folder / "expected.csv").read_text(encoding="utf-8")
    why = folder / "why.md"
    words = why.read_text(encoding="utf-8") if why.exists() else ""
    words += " ".join(line[1:] for line in text.splitlines() if line.startswith("#"))
    assert len(words.split()) >= 5, f"{folder}: how the expected values come about"
