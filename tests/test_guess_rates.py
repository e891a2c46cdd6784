"""inspect's guesses over many exports: right, not sure, and hardly ever wrong and confident."""

from __future__ import annotations

import importlib.util
import sys
from collections import Counter
from pathlib import Path

import pytest

import sample_data.world as world

SPEC = importlib.util.spec_from_file_location(
    "guess_rates", Path(__file__).parent / "benchmarks" / "guess_rates.py"
)
assert SPEC is not None and SPEC.loader is not None
guess_rates = importlib.util.module_from_spec(SPEC)
sys.modules["guess_rates"] = guess_rates
SPEC.loader.exec_module(guess_rates)

CORPUS = [p for p in sorted(guess_rates.CORPUS.iterdir()) if (p / "site.toml").is_file()]


def test_guesses_on_the_corpus_are_right_or_not_sure() -> None:
    # Many names in the corpus leave their role open on purpose: Temp, Room, column 2.
    counts, others = guess_rates.rates([*CORPUS, guess_rates.SAMPLE])
    total = sum(counts.values())
    assert total >= 150
    assert counts["wrong and sure"] < 0.01 * total, others
    assert counts["right and sure"] >= 0.8 * total, others


@pytest.mark.slow
def test_guesses_on_corpus_and_simulated_exports_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folders = list(CORPUS)
    dialects: Counter[str] = Counter()
    with world.reporting_run():
        for number in range(400):
            system = world.healthy("reporting", number)
            if dialects[system.logging.dialect] < 2:
                dialects[system.logging.dialect] += 1
                folders.append(tmp_path / f"{number}")
                world.make_site(system, folders[-1])
    parts = {"corpus": CORPUS, "simulated": folders[len(CORPUS) :], "together": folders}
    found = {name: guess_rates.rates(some) for name, some in parts.items()}
    with capsys.disabled():
        for name, (counts, _) in found.items():
            sys.stdout.write(f"\n{name}: {guess_rates.as_text(counts)}\n")
    counts, others = found["together"]
    assert counts["right and sure"] >= 0.95 * sum(counts.values()), others
    assert counts["wrong and sure"] < 0.01 * sum(counts.values()), others
