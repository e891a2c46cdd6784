"""The benchmark's three ways give the same figures: an outside check of the measures as well.

The pandas and the polars script of tests/benchmarks were written from the definitions, share no
code with the project and none with each other.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

BENCHMARKS = Path(__file__).parent / "benchmarks"


def work(*words: object) -> dict[str, object]:
    """What one piece of the benchmark's work made."""
    command = [sys.executable, str(BENCHMARKS / "bench_work.py"), *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    made: dict[str, object] = json.loads(done.stdout.splitlines()[-1])["made"]
    return made


@pytest.fixture(scope="module")
def compare() -> ModuleType:
    """tests/benchmarks/bench_compare.py."""
    spec = importlib.util.spec_from_file_location("compare", BENCHMARKS / "bench_compare.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_stages_pandas_and_polars_give_the_same_figures(tmp_path: Path) -> None:
    site = tmp_path / "site"
    # a winter's three days at a minute, with malformed lines, unfilled cells and a gap
    work("make", "year", site, 1, 3, 60, 4)
    loaded = work("ours_load", site)
    assert loaded["n_read"] == int(loaded["n_loaded"]) + int(loaded["n_rejected"])  # type: ignore[call-overload]
    compared = work("same", site)["compared"]
    assert isinstance(compared, dict)
    assert {name for name, told in compared.items() if told["rows"] == 0} == set()
    assert compared["trip"]["rows"] > 5 and compared["run"]["rows"] > 100


def figures(on_s: float = 600.0, n_start: int = 3) -> dict[str, pd.DataFrame]:
    """Figures of which only the runtime is filled in."""
    told = pd.DataFrame({"site": ["a"], "output": ["output_w1"], "on_s": [on_s]})
    return {"runtime": told.assign(n_start=n_start)}


def test_a_figure_that_differs_is_seen(
    compare: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compare, "KEYS", {"runtime": ["site", "output"]})
    same = compare.compare(figures(), figures(600.0 * (1 + 9e-7)), "the other")
    assert same == {"runtime": {"rows": 1, "values": 4}}
    for other in (figures(600.0 * (1 + 2e-6)), figures(n_start=4), figures(float("nan"))):
        with pytest.raises(compare.DifferentFigures, match="runtime"):
            compare.compare(figures(), other, "the other")
    with pytest.raises(compare.DifferentFigures, match="rows"):
        none = {"runtime": figures()["runtime"].iloc[:0]}
        compare.compare(figures(), none, "the other")
