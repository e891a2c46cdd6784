"""How single values are written in review.json."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from pipeline.findings._site import none_if_null
from pipeline.units import MICROSECONDS

Block = dict[str, Any]


def iso(ts: Any) -> str:
    """UTC microseconds as ISO 8601 with Z; fractions only where there are any."""
    seconds, microseconds = divmod(int(ts), MICROSECONDS)
    t = datetime.fromtimestamp(seconds, UTC).replace(microsecond=microseconds)
    return t.isoformat().replace("+00:00", "Z")


def rounded(value: float | None) -> float | None:
    """Six decimals: enough for any figure here, and the same on every machine."""
    value = none_if_null(value)
    return None if value is None else round(float(value), 6)
