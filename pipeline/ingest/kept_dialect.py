"""What was found out about how a file is written, kept beside its bytes in the store.

Finding it out takes most of a load, and it is a function of the bytes and of the decimal sign that
site.toml may say; so a file that was in the store before is not looked at again.
"""

from __future__ import annotations

import json
from dataclasses import fields
from typing import Any

import pyarrow as pa

from pipeline.ingest.sniff import Dialect

_TUPLES = ("header", "time_columns", "time_kinds", "preamble")


def packed(dialect: Dialect, decimal: str | None) -> bytes:
    """The dialect as compressed JSON behind the decimal sign that was said and its length."""
    said = {f.name: getattr(dialect, f.name) for f in fields(dialect)}
    text = json.dumps(said, ensure_ascii=False).encode()
    head = _sign(decimal) + len(text).to_bytes(4, "little")
    return head + bytes(pa.Codec("zstd").compress(text, asbytes=True))


def holds(kept: bytes | None, decimal: str | None) -> bool:
    """Whether it was found out with this decimal sign said."""
    return kept is not None and kept[:1] == _sign(decimal)


def unpacked(kept: bytes) -> Dialect:
    """The dialect again."""
    n_bytes = int.from_bytes(kept[1:5], "little")
    said: dict[str, Any] = json.loads(pa.Codec("zstd").decompress(kept[5:], n_bytes, asbytes=True))
    said |= {name: tuple(said[name]) for name in _TUPLES}
    said["sample"] = tuple(tuple(row) for row in said["sample"])
    return Dialect(**said)


def _sign(decimal: str | None) -> bytes:
    return (decimal or " ").encode()[:1]
