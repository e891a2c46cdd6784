"""Analog readings side by side: how the store keeps them, and the view that tells them one by one.

A logger's channels share their instants, so its readings are kept as rows of up to eight channels
(`store.sample`), with `store.slot` saying which channel stands where; `store.reading` is a view
over both. Against one row per reading a year of ten channels takes a third of the room and two
thirds of the writing, a week of three loggers about the same
(tests/benchmarks/storage_layout.py).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pyarrow as pa

SLOTS = 8

_VALUE = "case s.slot " + " ".join(f"when {n} then w.v{n}" for n in range(SLOTS)) + " end"
READING_VIEW = (
    f"create view reading as select s.channel_id, w.ts, {_VALUE} as value"
    f" from slot s join sample w on w.group_id = s.group_id where {_VALUE} is not null"
)


def side_by_side(
    reading: pa.Table, channel: pa.Table
) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """The columns of store.sample and of store.slot for readings given one by one.

    reading : channel_id, ts, value, in (channel_id, ts) order, one value per channel and instant
    channel : channel_id, logger; only channels of one logger share rows

    Values that a channel has no reading for are NaN. Rows are in (group_id, ts) order.
    """
    ids = reading["channel_id"].to_numpy()
    ts, value = reading["ts"].to_numpy(), reading["value"].to_numpy()
    loggers = dict(
        zip(channel["channel_id"].to_pylist(), channel["logger"].to_pylist(), strict=True)
    )
    # where each channel's readings begin and end
    found, starts = np.unique(ids, return_index=True)
    ends = np.append(starts[1:], len(ids))
    by_logger: dict[str, list[int]] = {}
    for place, channel_id in enumerate(found.tolist()):
        by_logger.setdefault(loggers[channel_id], []).append(place)
    groups = [
        places[first : first + SLOTS]
        for _, places in sorted(by_logger.items())
        for first in range(0, len(places), SLOTS)
    ]
    samples: list[dict[str, np.ndarray]] = []
    slots: list[tuple[int, int, int]] = []
    for group_id, places in enumerate(groups, start=1):
        stretches = [slice(starts[p], ends[p]) for p in places]
        instants = _all_instants([ts[s] for s in stretches])
        rows = {"group_id": np.full(len(instants), group_id, np.int32), "ts": instants}
        for slot in range(SLOTS):
            column = np.full(len(instants), np.nan)
            if slot < len(places):
                stretch = stretches[slot]
                column[np.searchsorted(instants, ts[stretch])] = value[stretch]
                slots.append((int(found[places[slot]]), group_id, slot))
            rows[f"v{slot}"] = column
        samples.append(rows)
    names = ["group_id", "ts", *(f"v{n}" for n in range(SLOTS))]
    empty = {n: np.array([], np.int64 if n in ("group_id", "ts") else float) for n in names}
    sample = {n: np.concatenate([s[n] for s in samples]) for n in names} if samples else empty
    table = np.array(slots, np.int64).reshape(-1, 3)
    return sample, dict(zip(("channel_id", "group_id", "slot"), table.T, strict=True))


def _all_instants(several: list[np.ndarray]) -> np.ndarray:
    first = several[0]
    if all(len(other) == len(first) and np.array_equal(other, first) for other in several[1:]):
        return first
    return np.unique(np.concatenate(several))
