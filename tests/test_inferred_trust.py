"""Inferred runs rest on trusted readings: the sample with its two plenum probes alone, and a fault.

The faults are planted here: another unit told in site.toml, exported columns exchanged, readings
that stand still. What is expected follows from how they were planted.
"""

from __future__ import annotations

import datetime as dt
import gzip
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

import sample_data
from pipeline.result import SiteResult
from pipeline.review import review_site
from sample_data.unpack import unpack_site

PLENUM = "exports/plenum_temps.csv"
IGNITION_S = 45.0
"""Call to flame of the sample's furnace: ignition_s of sample_data/simulator/larch_14.py."""
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


def test_inferred_heat_of_the_sample_is_within_its_stated_error_of_the_truth(
    temps_log: Path,
) -> None:
    """Truth: W1 once the burner is lit, and Y1; without the hole in the plenum log."""
    folder = Path(sample_data.__file__).parent / "larch-14"
    truth = json.loads(gzip.decompress((folder / "truth.json.gz").read_bytes()))

    def second(text: str) -> float:
        return dt.datetime.fromisoformat(text).timestamp()

    (hole,) = truth["files"]["plenum_temps.csv"]["gaps"]
    a, b = second(hole["last_before"]), second(hole["first_after"])
    heat_s, starts = 0.0, 0
    for output, delay_s in (("W1", IGNITION_S), ("Y1", 0.0)):
        for run in truth["runs"][output]:
            start, end = second(run["start"]) + delay_s, second(run["end"])
            if run["cooling"] or end <= start:
                continue
            heat_s += end - start - max(0.0, min(end, b) - max(start, a))
            starts += not a <= start <= b
    runtime = review_site(temps_log).result.frames["measure.runtime"].set_index("output")
    heat = runtime.loc["inferred_heat"]
    assert abs(heat["on_s"] / heat_s - 1.0) <= heat["runtime_error_frac"]
    assert abs(heat["n_start"] / starts - 1.0) <= heat["starts_error_frac"]
