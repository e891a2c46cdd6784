"""Analog readings side by side: how the store keeps them, and the view that tells them one by one.

A logger's channels share their instants, so its readings are kept as rows of up to eight channels
(`store.sample`), with `store.slot` saying which channel stands where; `store.reading` is a view
over both. Against one row per reading a year of ten channels takes a third of the room and two
thirds of the writing, a week of three loggers about the same
(tests/benchmarks/storage_layout.py).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pyarrow as pa

SLOTS = 8
_FEW, _BLOCK = 5_000, 4_096

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
    for channel_id, _, _ in stretches:
        by_logger.setdefault(loggers[channel_id], []).append(channel_id)
    groups = [
        channels[first : first + SLOTS]
        for _, channels in sorted(by_logger.items())
        for first in range(0, len(channels), SLOTS)
    ]
    slots = [
        (channel_id, group_id, slot)
        for group_id, channels in enumerate(groups, start=1)
        for slot, channel_id in enumerate(channels)
    ]
    table = np.array(slots, np.int64).reshape(-1, 3)
    return (
        _side_by_side(stretches, {c: (group_id, slot) for c, group_id, slot in slots}),
        dict(zip(("channel_id", "group_id", "slot"), table.T, strict=True)),
    )


def placed(reading: pa.Table, slots: Mapping[int, tuple[int, int]]) -> list[dict[str, np.ndarray]]:
    """The columns of store.sample, group by group, where every channel has its place already.

    slots : channel_id to (group_id, slot), of every channel in `reading`
    """
    return _side_by_side(_stretches(reading), slots)


def _side_by_side(
    stretches: list[tuple[int, np.ndarray, np.ndarray]], slots: Mapping[int, tuple[int, int]]
) -> list[dict[str, np.ndarray]]:
    by_group: dict[int, list[tuple[int, np.ndarray, np.ndarray]]] = {}
    for channel_id, ts, value in stretches:
        group_id, slot = slots[channel_id]
        by_group.setdefault(group_id, []).append((slot, ts, value))
    samples: list[dict[str, np.ndarray]] = []
    for group_id, columns in sorted(by_group.items()):
        instants = _all_instants([ts for _, ts, _ in columns])
        rows = {"group_id": np.full(len(instants), group_id, np.int32), "ts": instants}
        for slot, ts, value in columns:
            column = value
            if len(ts) < len(instants):
                column = np.full(len(instants), np.nan)
                column[_places(instants, ts)] = value
            rows[f"v{slot}"] = column
        samples.append(rows)
    return samples


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
    more = np.unique(np.concatenate([longest[:0], *(_lacking(longest, o) for o in several)]))
    return np.insert(longest, np.searchsorted(longest, more), more) if len(more) else longest


def _lacking(longest: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The instants of one channel that the longest has not.

    The two are walked along together from difference to difference: where those are few, that
    takes a tenth of seeking every instant by itself.
    """
    lacking: list[int] = []
    at = k = 0
    for _ in range(_FEW + len(other) // _BLOCK):
        n = min(len(other) - at, len(longest) - k, _BLOCK)
        if n == 0:
            return np.append(np.array(lacking, other.dtype), other[at:])
        differs = other[at : at + n] != longest[k : k + n]
        same = int(differs.argmax()) if differs.any() else n
        at, k = at + same, k + same
        if same == n:
            continue
        if other[at] < longest[k]:
            lacking.append(int(other[at]))
            at += 1
        else:
            k += 1
    near = np.minimum(np.searchsorted(longest, other), len(longest) - 1)
    return other[longest[near] != other]


def _places(whole: np.ndarray, part: np.ndarray) -> np.ndarray:
    """Where the instants of `part` stand in `whole`, which has them all.

    Where few are left out a part is the whole with a shift that grows by one at each of them.
    """
    if len(whole) - len(part) > _FEW:
        return np.searchsorted(whole, part)
    edges, at = [0], 0
    while at < len(part):
        there = part[at : at + _BLOCK]
        differs = whole[at + len(edges) - 1 :][: len(there)] != there
        if not differs.any():
            at += len(there)
            continue
        at += int(differs.argmax())
        edges.append(at)
    shifts = np.repeat(np.arange(len(edges)), np.diff([*edges, len(part)]))
    return np.arange(len(part)) + shifts
