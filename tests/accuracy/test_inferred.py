"""Inferred runs against the truth, short form: one furnace and one air conditioner at a minute.

The long form is `make check-inferred`; its goals for equipment with one stage are held here too.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.expected_error import FAN
from sample_data.world import healthy, record
from tests.accuracy.fan_state import score
from tests.accuracy.inferred import Score, scores

# healthy systems of the tuning part with one stage; in the second attic nothing shows of a start
# for 40 s, as what the fan washes out of the coil makes up for what it begins to do
FURNACE, ATTIC_COOLING, HARD_ATTIC = 3, 0, 96


@pytest.mark.parametrize(
    ("number", "mode"),
    [(FURNACE, "heating"), (ATTIC_COOLING, "cooling"), (HARD_ATTIC, "cooling")],
)
def test_runtime_within_three_and_starts_within_five_percent(
    number: int, mode: str, tmp_path: Path
) -> None:
    system = healthy("tuning", number)
    assert (system.plant.in_attic > 0) == (number != FURNACE)
    made: list[Score] = list(scores(system, record(system), 60, tmp_path / "site"))
    (score,) = [s for s in made if s.mode == mode]
    assert score.stages == 1
    assert abs(score.runtime_error) <= 0.03
    assert abs(score.starts_error) <= 0.05
    if score.asked_error is not None:
        assert abs(score.asked_error) <= 0.03


def test_a_blower_read_off_static_stays_within_its_expected_error(tmp_path: Path) -> None:
    system = healthy("tuning", ATTIC_COOLING)
    made = score(system, record(system), "static", 60, tmp_path / "site")
    assert made is not None
    declared = FAN["static_pressure"]
    assert abs(float(str(made["time_error"]))) <= declared.time_frac
    assert abs(float(str(made["starts_error"]))) <= declared.starts_frac
