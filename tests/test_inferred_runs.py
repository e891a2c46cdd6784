"""Runs of a heat pump with a dip in them: a defrost or a rest, by a hand-made first-order plenum.

Supply nears what the equipment makes of it with a time constant of 100 s while the fan runs, and
creeps toward 60 °F with it off: the physics that the rule is worked from, nothing else.
"""

from __future__ import annotations

from math import exp

import numpy as np
import pytest

from pipeline.measures.inferred_runs import Equipment, Readings, runs_of

PUMP = Equipment(
    heats=True, cools=False, has_burner=False, has_heat_pump=True, min_off_s=300.0,
    defrost_max_s=900.0, defrost_outdoor_max_f=47.0,
)  # fmt: skip
RETURN_F, RISE_F, TAU_S, STEP_S = 70.0, 22.0, 100.0, 10
Phase = tuple[float, float | None]
"""Seconds, and what supply heads for over return; None: the fan stands."""


def log(phases: list[Phase], outdoor_f: float = 34.0) -> Readings:
    """Readings of the phases one after the other, with a sensor's noise of 0.1 °F."""
    rng = np.random.default_rng(7)
    supply, made = RETURN_F, []
    for seconds, aim_f in phases:
        tau_s, toward_f = (2400.0, 60.0) if aim_f is None else (TAU_S, RETURN_F + aim_f)
        for _ in range(int(seconds) // STEP_S):
            supply = toward_f + (supply - toward_f) * exp(-STEP_S / tau_s)
            made.append(supply)
    n = len(made)
    return Readings(
        at_s=np.arange(n, dtype=np.float64) * STEP_S,
        supply_f=np.array(made) + rng.normal(0.0, 0.1, n),
        return_f=np.full(n, RETURN_F),
        outdoor_f=np.full(n, outdoor_f),
        interval_s=float(STEP_S),
        fan=np.full(n, -1),
        calling=np.full(n, -1),
        told=np.zeros(n, dtype=bool),
    )


def with_dip(*dip: Phase) -> list[Phase]:
    """A rest, 45 min of heat, the dip, 20 min of heat, the fan's run-on and a rest."""
    cycle: list[Phase] = [(2700, RISE_F), *dip, (1200, RISE_F), (90, 0.0), (1500, None)]
    return [(1500, None), *cycle, *cycle]


@pytest.mark.parametrize(
    ("dip", "starts"),
    [
        pytest.param([(340, 7.0)], 2, id="strip heat holds supply over return: a defrost"),
        pytest.param([(360, -9.0)], 2, id="below return: a defrost"),
        pytest.param([(110, 0.0)], 2, id="shorter than the compressor may rest"),
        pytest.param([(300, 0.0)], 4, id="a rest with the fan on"),
        pytest.param([(100, 0.0), (200, None), (1, 0.0)], 4, id="a rest in which the fan stops"),
    ],
)
def test_a_dip_is_a_defrost_or_a_rest(dip: list[Phase], starts: int) -> None:
    runs = [run for s in runs_of(log(with_dip(*dip)), PUMP, 2.5) for run in s.runs]
    assert [run.mode for run in runs] == ["heating"] * starts


def test_no_defrost_in_mild_weather() -> None:
    phases = with_dip((340, 7.0))
    runs = [run for s in runs_of(log(phases, outdoor_f=55.0), PUMP, 2.5) for run in s.runs]
    assert len(runs) == 4


def test_a_stop_that_keeps_its_heat_in_the_plenum_ends_the_run() -> None:
    """The fan stops a minute after the compressor; supply then only creeps down for 20 min."""
    phases: list[Phase] = [(900, None)]
    for _ in range(6):
        phases += [(900, RISE_F), (60, 0.0), (1200, None)]
    runs = [run for s in runs_of(log(phases), PUMP, 2.5) for run in s.runs]
    assert len(runs) == 6
    assert sum(r.end_s - r.start_s for r in runs) == pytest.approx(6 * 900, rel=0.1)
