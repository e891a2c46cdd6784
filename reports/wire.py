"""A Plotly figure on its way into the page: plain JSON, number arrays as whole differences."""

from __future__ import annotations

from typing import Any

import numpy as np


def wire(figure: dict[str, Any]) -> dict[str, Any]:
    """Plotly's data and layout as plain JSON; arrays as {"_": [steps, first, difference, ...]}.

    A number is sent as round(value x steps); null stands for NaN. Differences of a regular clock
    are one number over and over, which the page's gzip then all but removes.
    """
    packed: dict[str, Any] = _packed(figure)
    return packed


def packed_array(values: np.ndarray, steps: int) -> dict[str, list[int | None]]:
    """See `wire`; `unpacked_array` is its inverse to within half a step."""
    known = np.isfinite(values)
    whole = np.rint(np.where(known, values, 0) * steps).astype("i8")
    filled = np.where(known, whole, 0)
    index = np.flatnonzero(known)
    out: list[int | None] = [None] * len(values)
    differences = np.diff(filled[index], prepend=0)
    for at, difference in zip(index.tolist(), differences.tolist(), strict=True):
        out[at] = difference
    return {"_": [steps, *out]}


def unpacked_array(packed: dict[str, list[int | None]]) -> np.ndarray:
    """The numbers of `packed_array`, as the page's script restores them."""
    steps, *differences = packed["_"]
    total, out = 0, []
    for d in differences:
        total += d or 0
        out.append(np.nan if d is None else total / float(steps or 1))
    return np.array(out)


def _packed(value: Any, steps: int = 1) -> Any:
    if isinstance(value, dict):
        own = int((value.get("meta") or {}).get("steps", 1)) if "meta" in value else 1
        return {k: _packed(v, own if k == "y" else 1) for k, v in value.items()}
    if isinstance(value, np.ndarray):
        return packed_array(value.astype("f8"), steps)
    if isinstance(value, list | tuple):
        return [_packed(v) for v in value]
    return value.item() if isinstance(value, np.generic) else value
