"""Inferred runs rest on trusted readings: the sample with its two plenum probes alone, and a fault.

The faults are planted here: another unit told in site.toml, exported columns exchanged, readings
that stand still. What is expected follows from how they were planted.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from pipeline.result import SiteResult
from pipeline.review import review_site
from sample_data.unpack import unpack_site

PLENUM = "exports/plenum_temps.csv"
BLOCK = re.compile(r"^\[\[channel\]\].*?(?=^\[|\Z)", re.MULTILINE | re.DOTALL)


@pytest.fixture
def temps_log(tmp_path: Path) -> Path:
    """The sample site with only supply and return air mapped."""
    site = unpack_site("larch-14", tmp_path)
    file = site / "site.toml"
    text = file.read_text(encoding="utf-8")
    kept = BLOCK.sub(lambda m: m.group() if PLENUM in m.group() else "", text)
    assert len(BLOCK.findall(kept)) == 2
    file.write_text(kept, encoding="utf-8")
    return site


def inferred_s(result: SiteResult) -> float:
    """Seconds that are inferred to have run, in whatever mode."""
    runtime = result.frames["measure.runtime"]
    return float(runtime.loc[runtime["output"].str.startswith("inferred_"), "on_s"].sum())


def codes(result: SiteResult) -> set[str]:
    return {f.code for f in result.findings}


def change_readings(site: Path, change: Callable[[int, list[str]], list[str]]) -> None:
    """Each row of the plenum log anew: change(its number, [supply, return]) gives both cells."""
    file = site / PLENUM
    rows = file.read_text(encoding="utf-8").splitlines()
    for n, row in enumerate(rows):
        cells = row.split(",")
        if len(cells) == 4 and re.fullmatch(r"-?[0-9.]+", cells[2]):
            rows[n] = ",".join([*cells[:2], *change(n, cells[2:])])
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")


def test_supply_in_another_unit_gives_no_inferred_figure(temps_log: Path) -> None:
    change_readings(temps_log, lambda _, c: [f"{(float(c[0]) - 32.0) / 1.8:.1f}", c[1]])
    result = review_site(temps_log).result
    assert "unit-mismatch" in codes(result)
    assert result.frames["run_state.inferred_state"].empty
    assert result.frames["run_state.inferred_stage"].empty
    assert inferred_s(result) == 0.0
    assert not result.frames["signal.state"]["is_inferred"].any()
    assert "inferred from" not in result.verdict.sentence + result.verdict.how_sure
