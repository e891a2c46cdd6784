"""Checks of plenum probes where neither outputs nor calls were logged, on cases made by hand.

Tables are what the trust stages would have made of such a log: trust.run is empty.
"""

from __future__ import annotations

from typing import Any

import pytest

from pipeline.measures import check_probes, check_readings
from tests.channel_cases import HOUR, START, codes, look, made


def stuck(role: str, **row: Any) -> bool:
    """Whether a probe that stood at 71 °F is taken for stuck; n_start: hours another one moved."""
    constant = {"channel_id": 1, "start_ts": START, "end_ts": START + HOUR, "value": 71.0}
    constant |= {"covered_s": 1e6, "n_start": 2, "usual_s": 0.0} | row
    site = made([(role, None, "degF")], trust_look=[look()], trust_constant=[constant])
    return "stuck-sensor" in codes(check_readings.problems(site))


@pytest.mark.parametrize(
    ("role", "row", "is_stuck"),
    [
        # a plenum probe as finely read as a room: four hours, eight times its ordinary stretches
        ("supply_temp", {"covered_s": 14399.0}, False),
        ("supply_temp", {"covered_s": 14400.0}, True),
        ("return_temp", {"covered_s": 14399.0}, False),
        ("return_temp", {"covered_s": 15999.0, "usual_s": 2000.0}, False),
        ("return_temp", {"covered_s": 16000.0, "usual_s": 2000.0}, True),
        # two hours in which another probe moved
        ("supply_temp", {"n_start": 1}, False),
    ],
)
def test_stuck_where_no_run_was_logged(role: str, row: dict[str, Any], is_stuck: bool) -> None:
    assert stuck(role, **row) is is_stuck


@pytest.mark.parametrize(
    ("supply", "back", "is_found"),
    [
        # return swings by 15 and more, and three times as much as supply
        ((66.0, 71.0), (66.0, 81.0), True),
        ((66.0, 71.0), (66.0, 80.9), False),
        ((66.0, 71.1), (66.0, 81.0), False),
        # supply is no room's air: an attic moves both
        ((66.0, 93.0), (66.0, 160.0), False),
        # as it should be
        ((66.0, 125.0), (66.0, 71.0), False),
    ],
)
def test_exchanged_probes_where_no_run_was_logged(
    supply: tuple[float, float], back: tuple[float, float], is_found: bool
) -> None:
    site = made(
        [("supply_temp", None, "degF"), ("return_temp", None, "degF")],
        trust_look=[
            look(1, low_value=supply[0], high_value=supply[1]),
            look(2, low_value=back[0], high_value=back[1]),
        ],
    )
    found_ = [p for p in check_probes.problems(site) if p.code == "swapped-probes"]
    told = [(p.channel_id, p.correction) for p in found_]
    both = [(1, 'role = "return_temp"'), (2, 'role = "supply_temp"')]
    assert told == (both if is_found else [])
    assert all(p.is_cut for p in found_)
