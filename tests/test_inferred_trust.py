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
    for other in (site / "exports").iterdir():
        if other.name != Path(PLENUM).name:
            other.unlink()
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


def test_exchanged_probes_are_told_without_runs_and_nothing_is_inferred(temps_log: Path) -> None:
    change_readings(temps_log, lambda _, c: [c[1], c[0]])
    result = review_site(temps_log).result
    found = next(f for f in result.findings if f.code == "swapped-probes")
    said = {line for block in found.site_lines for line in block.lines}
    assert said == {'role = "supply_temp"', 'role = "return_temp"'}
    assert result.frames["run_state.inferred_state"].empty
    assert inferred_s(result) == 0.0


def test_nothing_is_inferred_while_supply_stands_still(temps_log: Path) -> None:
    first, last = 3_000, 20_280  # 48 hours of 10 s, before the hole in the log
    stood: list[str] = []

    def freeze(n: int, cells: list[str]) -> list[str]:
        if first <= n < last:
            stood.append(cells[0])
            return [stood[0], cells[1]]
        return cells

    change_readings(temps_log, freeze)
    result = review_site(temps_log).result
    problem = result.frames["trust.problem"]
    stuck = problem[problem["code"] == "stuck-sensor"]
    assert len(stuck) == 1
    start, end = int(stuck["start_ts"].iloc[0]), int(stuck["end_ts"].iloc[0])
    assert (end - start) / 3.6e9 == pytest.approx(48.0, abs=0.1)
    states = result.frames["signal.state"]
    states = states[states["is_inferred"]]
    slack_us = 30_000_000  # a reading holds two and a half intervals
    assert not ((states["start_ts"] < end - slack_us) & (states["end_ts"] > start + slack_us)).any()
    coverage = result.frames["signal.coverage"].set_index("role")["coverage"]
    # both cover what is left of 8.1 days: no more than supply does
    assert coverage["inferred_heat"] <= coverage["supply_temp"] + 0.001
    assert coverage["inferred_heat"] == pytest.approx(coverage["supply_temp"], abs=0.02)
