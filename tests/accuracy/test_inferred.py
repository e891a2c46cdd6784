"""Inferred runs against the truth, short form: one furnace and one air conditioner at a minute.

The long form is `make check-inferred`; its goals for equipment with one stage are held here too.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from sample_data.world import healthy, record
from tests.accuracy.inferred import Score, scores

FURNACE, ATTIC_COOLING = 3, 0  # healthy systems of the tuning part with one stage


@pytest.mark.parametrize(("number", "mode"), [(FURNACE, "heating"), (ATTIC_COOLING, "cooling")])
def test_runtime_within_three_and_starts_within_five_percent(
    number: int, mode: str, tmp_path: Path
) -> None:
    system = healthy("tuning", number)
    assert (system.plant.in_attic > 0) == (number == ATTIC_COOLING)
    made: list[Score] = list(scores(system, record(system), 60, tmp_path / "site"))
    (score,) = [s for s in made if s.mode == mode]
    assert score.stages == 1
    assert abs(score.runtime_error) <= 0.03
    assert abs(score.starts_error) <= 0.05
    if score.asked_error is not None:
        assert abs(score.asked_error) <= 0.03
