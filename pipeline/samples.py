"""Analog readings side by side: how the store keeps them, and the view that tells them one by one.

A logger's channels share their instants, so its readings are kept as rows of up to eight channels
(`store.sample`), with `store.slot` saying which channel stands where; `store.reading` is a view
over both. Against one row per reading a year of ten channels takes a third of the room and two
thirds of the writing, a week of three loggers about the same
(tests/benchmarks/storage_layout.py).
"""

from __future__ import annotations

from itertools import pairwise
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
) -> tuple[list[dict[str, np.ndarray]], dict[str, np.ndarray]]:
    """The columns of store.sample, group by group, and of store.slot for readings one by one.

    reading : channel_id, ts, value, in (channel_id, ts) order, one value per channel and instant
    channel : channel_id, logger; only channels of one logger share rows

    Values that a channel has no reading for are NaN; slots without a channel have no column. Rows
    are in (group_id, ts) order.
    """
    loggers = dict(
        zip(channel["channel_id"].to_pylist(), channel["logger"].to_pylist(), strict=True)
    )
    stretches = _stretches(reading)
    by_logger: dict[str, list[int]] = {}
    for place, (channel_id, _, _) in enumerate(stretches):
        by_logger.setdefault(loggers[channel_id], []).append(place)
    groups = [
        places[first : first + SLOTS]
        for _, places in sorted(by_logger.items())
        for first in range(0, len(places), SLOTS)
    ]
    samples: list[dict[str, np.ndarray]] = []
    slots: list[tuple[int, int, int]] = []
    for group_id, places in enumerate(groups, start=1):
        instants = _all_instants([stretches[p][1] for p in places])
        rows = {"group_id": np.full(len(instants), group_id, np.int32), "ts": instants}
        for slot, place in enumerate(places):
            channel_id, ts, value = stretches[place]
            column = value
            if len(ts) < len(instants):
                column = np.full(len(instants), np.nan)
                column[np.searchsorted(instants, ts)] = value
            slots.append((channel_id, group_id, slot))
            rows[f"v{slot}"] = column
        samples.append(rows)
    table = np.array(slots, np.int64).reshape(-1, 3)
    return samples, dict(zip(("channel_id", "group_id", "slot"), table.T, strict=True))


def _stretches(reading: pa.Table) -> list[tuple[int, np.ndarray, np.ndarray]]:
    """Each channel's number, instants and values, in the order of channels."""
    found: dict[int, list[tuple[np.ndarray, np.ndarray]]] = {}
    for batch in reading.to_batches():  # no copy of the columns
        ids, ts, value = (
            batch.column(name).to_numpy(zero_copy_only=False)
            for name in ("channel_id", "ts", "value")
        )
        edges = [0, *(np.flatnonzero(np.diff(ids)) + 1).tolist(), len(ids)]
        for first, last in pairwise(edges):
            if last > first:
                found.setdefault(int(ids[first]), []).append((ts[first:last], value[first:last]))
    made = []
    for channel_id, parts in sorted(found.items()):
        ts, value = (np.concatenate(p) if len(p) > 1 else p[0] for p in zip(*parts, strict=True))
        made.append((channel_id, ts, value))
    return made


def _all_instants(several: list[np.ndarray]) -> np.ndarray:
    first = several[0]
    if all(len(other) == len(first) and np.array_equal(other, first) for other in several[1:]):
        return first
    # Most channels of a logger share most instants: what the longest lacks is little.
    longest = max(several, key=len)
    lacking = []
    for other in several:
        if len(other) == len(longest) and np.array_equal(other, longest):
            continue
        at = np.minimum(np.searchsorted(longest, other), len(longest) - 1)
        lacking.append(other[longest[at] != other])
    more = np.unique(np.concatenate([longest[:0], *lacking]))
    return np.insert(longest, np.searchsorted(longest, more), more) if len(more) else longest
