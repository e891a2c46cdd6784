"""Clocks told by dampers, by room temperatures, and by site.toml's mark; logs made in clock_log."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from tests.clock_log import (
    PANEL,
    ROOMS,
    TRUNK,
    House,
    Log,
    cannot_tell,
    house,
    judged,
)


@pytest.fixture(scope="module")
def two_days() -> House:
    return house()


# ---------------------------------------------------------------- dampers, rooms and marks


def with_dampers(h: House) -> tuple[House, NDArray[np.int64], NDArray[np.int64]]:
    """The house with a damper that closes while the fan runs: static rises by 40 % in 60 s.

    It closes 250 s after the beginning of runs of ten minutes and more, in a straight line, and
    opens again 200 s after the run, when it shows no more.
    """
    static = h.static_inwc.copy()
    closes, opens = [], []
    for on, off in zip(h.on, h.off, strict=True):
        if off - on < 600:
            continue
        close, open_ = int(on) + 250, int(off) + 200
        closes.append(close)
        opens.append(open_)
        static[close:open_] *= 1 + 0.4 * np.clip(np.arange(open_ - close) / 60, 0, 1)
    changed = House(h.on, h.off, static, h.supply_f, h.room_f)
    return changed, np.array(closes), np.array(opens)


@pytest.mark.parametrize(("ahead_s", "delay_s"), [(45, 0), (0, 45), (200, 0), (155, 45)])
def test_dampers_tell_a_wrong_clock_from_equal_fan_delays(ahead_s: int, delay_s: int) -> None:
    """Either way static answers G by 45 (200) s at start and stop; a damper answers by the clock's.

    Boards with 45 s at both ends are common practice. Told apart, not timed: within 25 s.
    """
    h, closes, opens = with_dampers(house(3, fan_on_delay_s=delay_s, fan_off_delay_s=delay_s))
    log = Log().panel(h)
    log.state(PANEL, "zone_damper", opens[:-1], closes[1:], len(h.static_inwc))
    log.analog(TRUNK, "static_pressure", h.static_inwc, 5, ahead_s)
    row = judged(log)[TRUNK]
    assert abs(row["offset_s"] - ahead_s) <= (5 if delay_s == 0 else 25), row["why"]
    assert abs(row["offset_s"] - ahead_s) <= row["plus_minus_s"] <= (20 if delay_s == 0 else 60)


def test_equal_fan_delays_without_a_damper_stay_in_doubt() -> None:
    h = house(3, fan_on_delay_s=45, fan_off_delay_s=45)
    log = Log().panel(h)
    log.analog(TRUNK, "static_pressure", h.static_inwc, 5, 0)
    row = judged(log)[TRUNK]
    assert pd.isna(row["offset_s"]) or abs(row["offset_s"]) <= row["plus_minus_s"]


def room_log(h: House, ahead_s: int, room_f: NDArray[np.float64]) -> Log:
    """The panel with the zone's call, and a logger of its room every 2 min on a clock ahead."""
    log = Log().panel(h)
    log.state(PANEL, "zone_call_y1", h.on, h.off, len(room_f))
    log.analog(ROOMS, "zone_temp", room_f, 120, ahead_s)
    for channel in log.channels:
        if channel["role"] in ("zone_call_y1", "zone_temp"):
            channel["zone"] = 1
    return log


@pytest.mark.parametrize("ahead_s", [3600, -3600, 25200, 2700])
def test_room_temperatures_show_a_clock_that_is_an_hour_off(ahead_s: int) -> None:
    h = house(3)
    row = judged(room_log(h, ahead_s, h.room_f))[ROOMS]
    assert row["confidence"] == "likely", row["why"]
    assert abs(row["offset_s"] - ahead_s) <= row["plus_minus_s"] <= 900
    if ahead_s % 3600 == 0:
        assert row["offset_s"] == ahead_s  # nobody sets a clock wrong by 57 min


@pytest.mark.parametrize("ahead_s", [0, 420, -300])
def test_room_temperatures_claim_nothing_under_a_quarter_of_an_hour(ahead_s: int) -> None:
    h = house(3)
    row = judged(room_log(h, ahead_s, h.room_f))[ROOMS]
    assert cannot_tell(row)
    assert "no whole hour is wrong" in row["why"]


@pytest.mark.parametrize("seed", range(4))
def test_rooms_of_another_house_say_nothing(seed: int) -> None:
    h = house(3)
    row = judged(room_log(h, 0, house(3, seed=300 + seed).room_f))[ROOMS]
    assert cannot_tell(row)


def test_marked_logger_is_the_reference_among_those_that_carry_outputs(two_days: House) -> None:
    """Two loggers carry one output each; by name `panel` would be first, the other is marked."""
    n = len(two_days.static_inwc)
    log = Log().state(PANEL, "output_y1", two_days.on, two_days.off, n)
    log.state(TRUNK, "output_g", two_days.on, two_days.off, n, ahead_s=30)
    assert judged(log)[PANEL]["confidence"] == "reference"
    log.marked.append({"site_id": "s", "logger": TRUNK})
    rows = judged(log)
    assert rows[TRUNK]["confidence"] == "reference"
    assert rows[PANEL]["offset_s"] == pytest.approx(-30, abs=5)
