"""What a load leaves in the store for the next one to go on from, beside the readings themselves.

A store's readings do not say all that a later row depends on: the instants of a state read at an
interval are gone once it has become segments, and a change in the very last row holds for no time
yet. So each channel's last word is kept (`tail`), and the instants of what was read at an interval
(`instants`), as compressed steps; most steps of a log are alike, so a year takes some kilobytes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import duckdb
import numpy as np
import pyarrow as pa

from pipeline.ingest.written_times import Ints

_TAIL = {
    "channel_id": pa.int32(),
    "instants_id": pa.int32(),
    "last_ts": pa.int64(),
    "last_value": pa.float64(),
    "unknown_ts": pa.int64(),
}
_INSTANTS = {
    "instants_id": pa.int32(),
    "n": pa.int64(),
    "first_ts": pa.int64(),
    "steps": pa.binary(),
}


@dataclass(frozen=True)
class Tail:
    """One channel's last word.

    last_ts, last_value : its last reading that is used
    unknown_ts : the first instant, not before it, from which a state logged by its changes is
        unknown
    ts : all its instants, where it was read at an interval
    """

    last_ts: int
    last_value: float
    unknown_ts: int | None = None
    ts: Ints | None = None


@dataclass
class Tails:
    """The tails of a store's channels, on their way to its tables."""

    _rows: list[dict[str, object]] = field(default_factory=list)
    _instants: list[dict[str, object]] = field(default_factory=list)
    _alike: dict[tuple[int, int, int], list[tuple[Ints, int]]] = field(default_factory=dict)
    _seen: list[tuple[Ints, int]] = field(default_factory=list)

    def add(self, channel_id: int, tail: Tail) -> None:
        """Keep one channel's."""
        self._rows.append(
            {
                "channel_id": channel_id,
                "instants_id": None if tail.ts is None else self._kept(tail.ts),
                "last_ts": tail.last_ts,
                "last_value": tail.last_value,
                "unknown_ts": tail.unknown_ts,
            }
        )

    def tables(self) -> dict[str, pa.Table]:
        """The tables `tail` and `instants`."""
        return {"tail": _table(self._rows, _TAIL), "instants": _table(self._instants, _INSTANTS)}

    def _kept(self, ts: Ints) -> int:
        seen = next((number for array, number in self._seen if array is ts), None)
        if seen is not None:
            return seen
        alike = self._alike.setdefault((len(ts), int(ts[0]), int(ts[-1])), [])
        number = next((number for array, number in alike if np.array_equal(array, ts)), None)
        if number is None:
            number = len(self._instants) + 1
            steps = np.diff(ts).tobytes()
            self._instants.append(
                {
                    "instants_id": number,
                    "n": len(ts),
                    "first_ts": int(ts[0]),
                    "steps": bytes(pa.Codec("zstd").compress(steps, asbytes=True)),
                }
            )
            alike.append((ts, number))
        self._seen.append((ts, number))
        return number


def read_tails(con: duckdb.DuckDBPyConnection) -> dict[int, Tail]:
    """By channel_id, the tails in an open store."""
    codec = pa.Codec("zstd")
    instants: dict[int | None, Ints] = {}
    for number, n, first_ts, steps in con.execute("from instants").fetchall():
        raw = codec.decompress(steps, 8 * (n - 1), asbytes=True) if n > 1 else b""
        whole = np.concatenate([[first_ts], np.frombuffer(raw, np.int64)])
        instants[number] = np.cumsum(whole, dtype=np.int64)
    rows = con.execute(f"select {', '.join(_TAIL)} from tail").fetchall()
    return {
        channel_id: Tail(last_ts, last_value, unknown_ts, instants.get(number))
        for channel_id, number, last_ts, last_value, unknown_ts in rows
    }


def _table(rows: list[dict[str, object]], types: dict[str, pa.DataType]) -> pa.Table:
    return pa.table({name: pa.array([r[name] for r in rows], t) for name, t in types.items()})
