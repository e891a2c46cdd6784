"""Readings side by side and back: nothing lost, nothing invented, whatever loggers share."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from pipeline.samples import READING_VIEW, SLOTS, side_by_side
from pipeline.store import connect_working, sample_table, store_table


def readings(rows: list[tuple[int, int, float]]) -> pa.Table:
    columns = list(zip(*rows, strict=True)) if rows else [[], [], []]
    return store_table("reading", dict(zip(("channel_id", "ts", "value"), columns, strict=True)))


def channels(loggers: dict[int, str]) -> pa.Table:
    return store_table("channel", {"channel_id": list(loggers), "logger": list(loggers.values())})


def told_one_by_one(reading: pa.Table, channel: pa.Table) -> list[tuple[int, int, float]]:
    samples, slot = side_by_side(reading, channel)
    con = connect_working()
    for name, made in (("sample", sample_table(samples)), ("slot", store_table("slot", slot))):
        con.register("incoming", made)
        con.execute(f"create table {name} as select * from incoming")
        con.unregister("incoming")
    con.execute(READING_VIEW)
    return con.execute("select * from reading order by channel_id, ts").fetchall()


def test_two_channels_of_one_logger_share_rows_and_a_third_of_another_does_not() -> None:
    rows = [(1, 10, 70.0), (1, 20, 71.0), (2, 10, 60.0), (2, 20, 61.0), (5, 10, 0.4)]
    samples, slot = side_by_side(readings(rows), channels({1: "plenum", 2: "plenum", 5: "static"}))
    sample = sample_table(samples)
    assert sample["ts"].to_pylist() == [10, 20, 10]
    assert sample["group_id"].to_pylist() == [1, 1, 2]
    assert sample["v0"].to_pylist() == [70.0, 71.0, 0.4]
    assert sample["v1"].to_pylist() == [60.0, 61.0, None]
    assert list(zip(*slot.values(), strict=True)) == [(1, 1, 0), (2, 1, 1), (5, 2, 0)]


def test_a_missing_cell_is_no_reading() -> None:
    # channel 2 has nothing at 20
    rows = [(1, 10, 70.0), (1, 20, 71.0), (1, 30, 72.0), (2, 10, 60.0), (2, 30, 62.0)]
    assert told_one_by_one(readings(rows), channels({1: "a", 2: "a"})) == rows


def test_no_readings_at_all() -> None:
    assert told_one_by_one(readings([]), channels({1: "a"})) == []


@pytest.mark.parametrize("seed", range(5))
def test_any_readings_come_back_as_they_were(seed: int) -> None:
    chance = np.random.default_rng(seed)
    loggers = {n: f"logger {chance.integers(3)}" for n in range(1, 2 * SLOTS + 4)}
    rows = []
    for channel_id in loggers:
        instants = np.flatnonzero(chance.random(40) < 0.7)
        rows += [(channel_id, int(ts), float(chance.integers(-9, 99)) / 10) for ts in instants]
    assert told_one_by_one(readings(rows), channels(loggers)) == rows


@pytest.mark.parametrize("extra", [(), (5_007,), (0, 99_990)])
def test_a_long_log_of_which_channels_lack_a_few_readings(extra: tuple[int, ...]) -> None:
    """Against numpy's own search; `extra` are instants that only the second channel has."""
    chance = np.random.default_rng(4)
    whole = np.arange(10_000) * 10 + 5
    rows: list[tuple[int, int, float]] = []
    for channel_id, n_lacking in ((1, 0), (2, 40), (3, 3), (4, 6_000)):
        lacking = chance.choice(len(whole), n_lacking, replace=False)
        ts = np.delete(whole, lacking)
        if channel_id == 2:
            ts = np.union1d(ts, np.array(extra, np.int64))
        rows += [(channel_id, int(t), float(k)) for k, t in enumerate(ts)]
    assert told_one_by_one(readings(rows), channels(dict.fromkeys(range(1, 5), "a"))) == rows
