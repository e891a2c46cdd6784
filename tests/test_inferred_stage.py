"""Second stage read off levels: told where two stand clear apart, else cannot tell.

The levels are made here: what is expected follows from how they were made.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.expected_error import second_stage_error
from pipeline.measures import inferred_stage
from pipeline.measures.inferred_stage import quiet_levels, stages_of

RNG = np.random.default_rng(4)


def levels(first_f: float, second_f: float, wide_f: float = 0.8, n_second: int = 40) -> np.ndarray:
    return np.concatenate(
        [RNG.normal(first_f, wide_f, 120), RNG.normal(second_f, wide_f, n_second)]
    )


def test_two_levels_that_stand_apart_are_two_stages() -> None:
    found = stages_of(levels(35.0, 47.0))
    assert found is not None
    assert found.first_f == pytest.approx(35.0, abs=0.4)
    assert found.second_f == pytest.approx(47.0, abs=0.4)
    assert 37.0 < found.split_f < 45.0


@pytest.mark.parametrize(
    ("what", "made"),
    [
        ("one level", RNG.normal(35.0, 0.8, 160)),
        ("so near that zones may be what parts them", levels(35.0, 40.0, 0.4)),
        ("so far that it is another source", levels(20.0, 37.0)),
        ("not clear of one another", levels(35.0, 44.0, 3.0)),
        ("second seen four times", levels(35.0, 47.0, n_second=4)),
        ("too few quiet stretches", levels(35.0, 47.0)[105:134]),
    ],
)
def test_else_it_cannot_be_told(what: str, made: np.ndarray) -> None:
    assert stages_of(made) is None, what


def test_a_level_is_read_in_quiet_stretches_after_the_start() -> None:
    at = np.arange(0.0, 1800.0, 30.0)
    over = np.where(at < 900.0, 35.0, 35.0 + (at - 900.0) / 30.0)  # then 6 °F in 3 min
    # from 300 s on, three minutes each: 300, 480 and 660 are quiet, from 840 on it climbs
    assert quiet_levels(at, over, [(0.0, 1800.0)]).tolist() == [35.0, 35.0, 35.0]


def test_time_at_the_higher_level_is_second_stage() -> None:
    """Forty runs of 20 min at 35 °F, of which ten go on for 20 min at 47 °F."""
    readings, states, at = [], [], 0
    for n in range(40):
        length = 2400 if n % 4 == 0 else 1200
        for t in range(0, length + 600, 30):
            over = 0.0 if t >= length else 47.0 if t >= 1200 else 35.0
            supply = 70.0 + over + RNG.normal(0.0, 0.3)
            readings.append(("elm", (at + t) * 1_000_000, supply, 70.0))
        states.append(("elm", at * 1_000_000, (at + length) * 1_000_000, "heating", "burner"))
        at += length + 600
    site = {"site_id": "elm", "has_burner": True, "has_heat_pump": False}
    frames = {
        "run.site": pd.DataFrame([site]),
        "run_state.supply_reading": pd.DataFrame(
            readings, columns=["site_id", "ts", "supply_f", "return_f"]
        ),
        "run_state.inferred_state": pd.DataFrame(
            states, columns=["site_id", "start_ts", "end_ts", "state", "source"]
        ),
    }
    (row,) = inferred_stage.build(frames).to_dict(orient="records")
    assert (row["mode"], row["source"], row["result"]) == ("heating", "burner", "two stages")
    assert row["run_s"] == 10 * 2400 + 30 * 1200
    assert row["second_s"] == pytest.approx(10 * 1200, rel=0.02)
    assert row["second_error_frac"] == second_stage_error("burner")
    # the same levels of a compressor in heating: weather and strip heat do that too
    frames["run_state.inferred_state"]["source"] = "compressor"
    (row,) = inferred_stage.build(frames).to_dict(orient="records")
    assert (row["result"], row["second_s"]) == ("cannot tell", None)
    # and of a burner that has a compressor beside it: the two are parted too poorly
    frames["run_state.inferred_state"]["source"] = "burner"
    frames["run.site"]["has_heat_pump"] = True
    (row,) = inferred_stage.build(frames).to_dict(orient="records")
    assert (row["result"], row["second_s"]) == ("cannot tell", None)
