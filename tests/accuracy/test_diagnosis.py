"""The findings against the world's labels, short form: twelve site-weeks of the tuning part.

The long form is `make diagnosis`; its goals are those of the reporting part.
"""

from __future__ import annotations

import pandas as pd
import pytest

from sample_data import world
from tests.accuracy.diagnosis import WORTH_A_VISIT, gather

PLANTED = {
    "second stage for one zone": "second-stage-too-few-zones",
    "low limit in one-zone cooling": "low-limit-trips",
    "output chatters": "output-chatter",
    "second stage stays in": "second-stage-stayed-in",
    "flame lost": "equipment-cut-outs",
    "panel's limits do not act": "limit-did-not-act",
}


@pytest.fixture(scope="module")
def rows() -> pd.DataFrame:
    some = [world.with_condition(name, 3, "tuning", 40 + n) for n, name in enumerate(PLANTED)]
    return gather([*some, *(world.healthy("tuning", 20 + n) for n in range(6))], "tuning", 1)


def test_what_was_planted_is_found(rows: pd.DataFrame) -> None:
    planted = rows[rows["severity"] == 3]
    assert len(planted) == len(PLANTED)
    missed = [r.system for r in planted.itertuples() if PLANTED[r.condition] not in r.found]
    assert not missed


def test_healthy_systems_send_nobody(rows: pd.DataFrame) -> None:
    healthy = rows[rows["severity"] == 0]
    assert len(healthy) == 6
    for row in healthy.itertuples():
        false = [c for c, s in row.severities.items() if s in WORTH_A_VISIT and c in row.must_not]
        assert not false, row.system
