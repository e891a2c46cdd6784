"""A known series, written in any combination of dialect, dates, units and noise, is read back.

The short form runs some hundred combinations; the long one, `make fuzz-dialects`, ten thousand.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from pipeline.ingest.export_file import open_export
from pipeline.ingest.exports import Export
from pipeline.ingest.file_reading import read_file
from pipeline.ingest.match import export_block, match_channels
from pipeline.site_reader import read_site

SPEC = importlib.util.spec_from_file_location(
    "dialect_writer", Path(__file__).with_name("dialect_writer.py")
)
assert SPEC is not None and SPEC.loader is not None
dialect_writer = importlib.util.module_from_spec(SPEC)
sys.modules["dialect_writer"] = dialect_writer
SPEC.loader.exec_module(dialect_writer)

SHORT = range(300)
LONG = range(1_000, 11_000)


def read_back(folder: Path, written: dialect_writer.Written) -> dict[str, list[tuple[int, float]]]:
    """Per column the (instant, value) of its readings, in the order of time."""
    (folder / "site.toml").write_text(written.site_toml, encoding="utf-8")
    site = read_site(folder)
    export = Export("exports/t.csv", "t.csv", written.content)
    opened = open_export(export, export_block(site, export.path))
    used = match_channels(site, [opened])[0]
    reading = read_file(opened, used, site)
    found = {}
    for number, channel in used.items():
        cells = reading.cells[number]
        pairs = zip(reading.ts[cells.row].tolist(), cells.value.tolist(), strict=True)
        found[channel.column] = sorted(pairs)
    return found


def check(folder: Path, seed: int) -> None:
    written = dialect_writer.write(seed)
    about = f"seed {seed}: {'; '.join(written.said)}"
    try:
        found = read_back(folder, written)
    except Exception as error:
        raise AssertionError(f"{about}\n{error}\n{written.site_toml}") from error
    assert found.keys() == written.expected.keys(), about
    for name, expected in written.expected.items():
        assert [t for t, _ in found[name]] == [t for t, _ in expected], f"{about}; {name}"
        # 1e-9: both sides are the same factors, apart from how doubles are rounded.
        wanted = pytest.approx([v for _, v in expected], rel=1e-9, abs=1e-9)
        assert [v for _, v in found[name]] == wanted, f"{about}; {name}"


def test_a_series_in_any_dialect_is_read_back_as_it_was(tmp_path: Path) -> None:
    for seed in SHORT:
        check(tmp_path, seed)


@pytest.mark.slow
def test_ten_thousand_combinations_are_read_back_as_they_were(tmp_path: Path) -> None:
    for seed in LONG:
        check(tmp_path, seed)
