"""Runs of a heat pump with a dip in them: a defrost or a rest, by a hand-made first-order plenum.

Supply nears what the equipment makes of it with a time constant of 100 s while the fan runs, and
creeps toward 60 °F with it off: the physics that the rule is worked from, nothing else.
"""

from __future__ import annotations

from dataclasses import replace
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


AC = replace(PUMP, heats=False, cools=True)
COIL_TAU_S, METAL_TAU_S, PROBE_TAU_S = 60.0, 65.0, 12.0
"""Common practice, no source: a refrigerant circuit takes about a minute, the metal of coil and
cabinet as long again (20 Btu/°F in 1,000 cfm), a bare probe in moving air some ten seconds."""


def cooling_log(
    interval_s: int, rest_s: int, fan_ahead_s: int, in_attic: bool = False
) -> tuple[Readings, list[float]]:
    """Readings of twelve cooling runs of 10 min, a fan run-on of 2 min, and the runs' starts.

    What the circuit makes nears a split of 20 °F with a time constant, the metal of coil and
    cabinet nears that with another, the probe the air off the metal with a third. With the fan off
    the probe sees a plenum that warms by half a degree in ten minutes, and the air about the coil,
    a degree colder, as soon as the fan starts.

    in_attic : metal and plenum warm alike, toward 25 °F over return with a time constant of an
    hour, and the circuit starts with nothing: what the fan washes out makes up for what it begins
    """
    rng = np.random.default_rng(11)
    probe = metal = coil = -8.0
    made: list[float] = []
    starts: list[float] = []

    def second(aim_f: float, fan: bool) -> None:
        nonlocal probe, metal, coil
        if fan:
            coil += (aim_f - coil) / COIL_TAU_S
            metal += (coil - metal) / METAL_TAU_S
            probe += (metal - probe) / PROBE_TAU_S
        elif in_attic:
            probe += (25.0 - probe) / 3600.0
            metal, coil = probe, 0.0
        else:
            probe += 0.5 / 600.0
            metal = coil = probe - 1.0
        made.append(probe)

    for number in range(12):
        for _ in range(rest_s + 7 * number):  # so that readings fall differently about the starts
            second(0.0, False)
        for _ in range(fan_ahead_s):
            second(0.0, True)
        starts.append(float(len(made)))
        for _ in range(600):
            second(-20.0, True)
        for _ in range(120):
            second(0.0, True)
    over = np.array(made)[::interval_s]
    n = len(over)
    return Readings(
        at_s=np.arange(n, dtype=np.float64) * interval_s,
        supply_f=RETURN_F + over + rng.normal(0.0, 0.1, n),
        return_f=np.full(n, RETURN_F),
        outdoor_f=np.full(n, 90.0),
        interval_s=float(interval_s),
        fan=np.full(n, -1),
        calling=np.full(n, -1),
        told=np.zeros(n, dtype=bool),
    ), starts


@pytest.mark.parametrize("interval_s", [10, 30, 60])
@pytest.mark.parametrize(
    ("rest_s", "fan_ahead_s", "in_attic"),
    [
        pytest.param(900, 0, False, id="the plenum kept its cold"),
        pytest.param(300, 400, False, id="the fan ran on before"),
        pytest.param(420, 0, True, id="in an attic, still as cold as return"),
        pytest.param(1500, 0, True, id="in an attic, hot by then"),
    ],
)
def test_a_compressors_start_is_seen_whatever_the_fan_moves_first(
    interval_s: int, rest_s: int, fan_ahead_s: int, in_attic: bool
) -> None:
    """By the share of the change the first is seen a minute late, as cold air is there already; in
    the third nothing shows for 40 s after the start."""
    readings, starts = cooling_log(interval_s, rest_s, fan_ahead_s, in_attic)
    runs = [run for s in runs_of(readings, AC, 2.5) for run in s.runs]
    assert [run.mode for run in runs] == ["cooling"] * 12
    late = np.array([run.start_s for run in runs]) - np.array(starts)
    assert abs(float(late.mean())) < 20.0
    assert float(np.abs(late).max()) < max(25.0, 0.7 * interval_s)
    total_s = sum(run.end_s - run.start_s for run in runs)
    assert total_s == pytest.approx(12 * 600, rel=0.03)
