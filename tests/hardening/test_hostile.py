"""A folder from a stranger: nothing in it is run, followed out of it, or fetched.

What its names look like on a page is looked at in a browser: tests/browser/test_hostile_names.py.
"""

from __future__ import annotations

import ast
import io
import os
import shutil
import time
import zipfile
from pathlib import Path

import duckdb
import openpyxl
import pytest

from pipeline.cli import zonetrail
from pipeline.errors import InputError, StoreError, UserError
from pipeline.guard import run_command
from pipeline.ingest.containers import read_exports
from pipeline.ingest.load import load_site
from pipeline.store import attach_sites, connect_working, open_file, open_store
from tests.fleet_sites import write_site
from tests.hardening.fuzz import terminal_orders

ROOT = Path(__file__).parents[2]
SECRET = "what nobody outside may read"


@pytest.fixture
def site(tmp_path: Path) -> Path:
    folder = tmp_path / "site"
    write_site(folder, "site", range(1), every_min=10)
    (tmp_path / "secret.csv").write_text(f"time,supply_temp\n{SECRET}\n", encoding="utf-8")
    return folder


def is_told(site: Path, text: str, capsys: pytest.CaptureFixture[str]) -> bool:
    """Whether a load or a look at the site says the text, or keeps it."""
    for verb in (["load", site], ["inspect", site], ["inspect", site / "exports"]):
        run_command(zonetrail, [str(a) for a in verb])
    said = capsys.readouterr()
    kept = b"".join(p.read_bytes() for p in site.glob("*.duckdb*"))
    return text in said.out + said.err or text.encode() in kept


# --- links -------------------------------------------------------------------------------------


@pytest.mark.parametrize("target", ["../../secret.csv", "{}/secret.csv", "/etc/passwd"])
def test_a_link_out_of_the_site_is_refused_and_not_read(
    target: str, site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    link = site / "exports" / "more.csv"
    link.symlink_to(target.format(tmp_path))
    with pytest.raises(InputError, match="leads out of the site's folder") as caught:
        load_site(site)
    assert caught.value.file == str(link) and caught.value.expected and caught.value.hint
    assert not is_told(site, SECRET, capsys) and not is_told(site, "root:", capsys)


def test_a_linked_folder_is_not_entered_and_a_linked_exports_is_refused(
    site: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    shutil.copyfile(tmp_path / "secret.csv", outside / "secret.csv")
    (site / "exports" / "more").symlink_to(outside)
    assert [f.path for f in load_site(site).files] == ["exports/day00.csv"]
    assert not is_told(site, SECRET, capsys)
    shutil.rmtree(site / "exports")
    (site / "exports").symlink_to(outside)
    with pytest.raises(InputError, match="leads out"):
        load_site(site)


def test_a_link_within_the_site_is_a_file_like_any_other(site: Path) -> None:
    (site / "exports" / "day00.csv").rename(site / "kept.csv")
    (site / "exports" / "day00.csv").symlink_to("../kept.csv")
    assert load_site(site).total("n_loaded") == 144


def test_pipes_and_devices_are_no_exports(site: Path) -> None:
    os.mkfifo(site / "exports" / "pipe.csv")
    assert [f.path for f in load_site(site).files] == ["exports/day00.csv"]


# --- archives ----------------------------------------------------------------------------------


def test_names_in_archives_lead_nowhere(site: Path, tmp_path: Path) -> None:
    rows = "time,supply_temp\n2026-02-01 10:00:00,100\n2026-02-01 10:10:00,101\n"
    names = ("../../../out.csv", "/abs.csv", "C:\\x.csv", "\x1b[2J\u202e.csv", "a\nb.csv")
    with zipfile.ZipFile(site / "exports" / "more.zip", "w") as archive:
        for n, name in enumerate(names):
            archive.writestr(name, rows.replace("02-01", f"02-{n + 10}"))
    before = set(tmp_path.rglob("*"))
    found, left_out = read_exports(site / "exports" / "more.zip", site)
    assert len(found) == len(names) and not left_out
    assert set(tmp_path.rglob("*")) == before  # nothing is unpacked to a file
    paths = "".join(export.path for export in found)
    assert not terminal_orders(paths) and "\n" not in paths


def test_an_archive_that_unpacks_to_too_much_is_refused_before_it_is_unpacked(
    site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.ingest.exports.max_unpacked_bytes", lambda: 1_000_000)
    monkeypatch.setattr("pipeline.ingest.containers.max_unpacked_bytes", lambda: 1_000_000)
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", b"0" * 3_000_000)
    honest = made.getvalue()
    lying = honest.replace((3_000_000).to_bytes(4, "little"), (30).to_bytes(4, "little"))
    for content in (honest, lying):
        (site / "exports" / "big.zip").write_bytes(content)
        with pytest.raises(InputError, match=r"too large|damaged") as caught:
            load_site(site)
        assert caught.value.expected and caught.value.hint


def workbook(sheet: str) -> bytes:
    """A workbook with this as the XML of its sheet."""
    plain = io.BytesIO()
    openpyxl.Workbook().save(plain)
    made = io.BytesIO()
    with zipfile.ZipFile(plain) as source, zipfile.ZipFile(made, "w") as target:
        for name in source.namelist():
            is_sheet = name.endswith("sheet1.xml")
            target.writestr(name, sheet if is_sheet else source.read(name))
    return made.getvalue()


_SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    "<sheetData>{}</sheetData></worksheet>"
)
_LAUGHS = "<!DOCTYPE x [<!ENTITY a0 'ha'>{}]>".format(
    "".join(f"<!ENTITY a{n} '{f'&a{n - 1};' * 10}'>" for n in range(1, 12))
)
WORKBOOKS = {
    "far cell": _SHEET.format('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'),
    "wide rows": _SHEET.format(
        "".join(f'<row r="{n}"><c r="XFD{n}"><v>1</v></c></row>' for n in range(1, 2_000))
    ),
    "laughs": _LAUGHS
    + _SHEET.format('<row r="1"><c r="A1" t="inlineStr"><is><t>&a11;</t></is></c></row>'),
    "outside entity": '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]>'
    + _SHEET.format('<row r="1"><c r="A1" t="inlineStr"><is><t>&f;</t></is></c></row>'),
}


@pytest.mark.parametrize("kind", WORKBOOKS)
def test_workbooks_that_ask_for_too_much_are_refused_soon(
    kind: str, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = site / "exports" / "more.xlsx"
    path.write_bytes(workbook(WORKBOOKS[kind]))
    began = time.process_time()
    with pytest.raises(UserError) as caught:
        read_exports(path, site)
        load_site(site)
    assert time.process_time() - began < 10
    assert str(path) in str(caught.value.file) and "root:" not in str(caught.value)


# --- databases ---------------------------------------------------------------------------------


def test_stages_reach_no_file_and_no_extension(site: Path) -> None:
    load_site(site)
    with connect_working() as con:
        attach_sites(con, {"site": site / "site.duckdb"})
        refused_everywhere(con, site)
    for con in (open_store(site / "site.duckdb"), open_file(site / "fleet.duckdb")):
        with con:
            refused_everywhere(con, site)
    with connect_working(reach=site) as con:
        refused_everywhere(con, site)


def refused_everywhere(con: duckdb.DuckDBPyConnection, site: Path) -> None:
    secret = site.parent / "secret.csv"
    for query in (
        f"select * from read_text('{secret}')",
        f"select * from '{secret}'",
        f"copy (select 1) to '{site.parent / 'written.csv'}'",
        f"attach '{site.parent / 'other.duckdb'}' as other",
        "install httpfs",
        "load httpfs",
        "select * from read_csv('https://example.invalid/x.csv')",
        "set enable_external_access = true",
    ):
        with pytest.raises(duckdb.Error, match=r"(?i)disabled|cannot (enable|access)|httpfs"):
            con.execute(query)


@pytest.mark.parametrize("table", ["meta", "file", "original"])
def test_a_strangers_store_with_views_for_tables_reads_nothing(
    table: str, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_site(site)
    secret = site.parent / "secret.csv"
    with duckdb.connect(str(site / "site.duckdb")) as con:
        columns = [row[0] for row in con.execute(f"describe {table}").fetchall()]
        picks = ", ".join(f"content as {c}" for c in columns)
        con.execute(f"drop table {table}")
        con.execute(f"create view {table} as select {picks} from read_text('{secret}')")
    try:
        load_site(site)  # made anew from exports/, or refused
    except UserError as error:
        assert SECRET not in str(error)
    assert not is_told(site, SECRET, capsys)


def test_a_strangers_function_in_a_store_reads_nothing(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    load_site(site)
    secret = site.parent / "secret.csv"
    with duckdb.connect(str(site / "site.duckdb")) as con:
        for name in ("count_star", "max", "arg_max", "coalesce_"):
            con.execute(f"create macro {name}(x) as (select content from read_text('{secret}'))")
    assert not is_told(site, SECRET, capsys)


def test_a_file_that_is_no_database_is_named(site: Path) -> None:
    (site / "site.duckdb").write_bytes(b"\x80\x04\x95" + b"junk" * 5_000)
    load_site(site)
    with open_store(site / "site.duckdb") as con:
        assert con.execute("select count(*) from file").fetchone() == (1,)
    (site / "fleet.duckdb").write_bytes(b"junk" * 5_000)
    with pytest.raises(StoreError, match="cannot be opened") as caught:
        open_file(site / "fleet.duckdb")
    assert caught.value.found and caught.value.hint


# --- the code itself ---------------------------------------------------------------------------

# Whoever may: printing asks the browser that is installed; a fleet's cluster is asked for by name.
_MAY = {
    "subprocess": {"reports/paper.py"},
    "distributed": {"pipeline/fleet/cluster.py"},
    "socket": set(),
    "urllib.request": set(),
    "http": set(),
    "requests": set(),
    "ftplib": set(),
    "pickle": set(),
    "marshal": set(),
    "shelve": set(),
    "ctypes": set(),
    "yaml": set(),
}
_NEVER = {"eval", "exec", "compile", "__import__", "read_pickle"}


def test_nothing_is_run_unpickled_or_fetched_by_the_code_that_is_shipped() -> None:
    for path in sorted(p for d in ("pipeline", "reports") for p in (ROOT / d).rglob("*.py")):
        name = path.relative_to(ROOT).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, (ast.Import, ast.ImportFrom)):
                modules = [a.name for a in node.names]
                modules = [node.module or ""] if isinstance(node, ast.ImportFrom) else modules
                for module in modules:
                    for barred, allowed in _MAY.items():
                        if module == barred or module.startswith(f"{barred}."):
                            assert name in allowed, f"{name} imports {module}"
            if isinstance(node, ast.Call):
                called = node.func
                word = called.id if isinstance(called, ast.Name) else getattr(called, "attr", "")
                is_regex = isinstance(called, ast.Attribute) and word == "compile"
                assert word not in _NEVER or is_regex, f"{name}:{node.lineno} calls {word}"
                assert ast.unparse(called) not in ("os.system", "os.popen"), name
