"""What travels packed in a page: figures as plain JSON, arrays as differences, readings once."""

from __future__ import annotations

import base64
import gzip
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np

_INERT = {ord("<"): ",", ord("&"): ".", ord(">"): "/"}


def packed(text: str) -> str:
    """gzip in base 85, without a time of day, so that equal text gives equal bytes.

    Base 85 is a sixteenth shorter than base 64. The page's script undoes it; none of its 85 signs
    can end or open anything in HTML.
    """
    signs = base64.b85encode(gzip.compress(text.encode(), 9, mtime=0)).decode()
    return signs.translate(_INERT)


def unpacked(signs: str) -> str:
    """The text of `packed`."""
    plain = signs.translate({ord(v): chr(k) for k, v in _INERT.items()})
    return gzip.decompress(base64.b85decode(plain)).decode()


def wire_page(
    figures: Mapping[str, dict[str, Any]],
) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """(figures, shared) of one page: what several figures draw of one channel is sent once.

    The longest line of each channel (`meta.channel`) goes whole into `shared`; every line that is
    a stretch of it says only which: x and y are {"$": [channel, first, end, shift_ms]}, where
    the shift takes the shared clock to the figure's own. A line that is none is sent whole.
    """
    longest: dict[str, dict[str, Any]] = {}
    for line in _channel_lines(figures.values()):
        key = str(line["meta"]["channel"])
        if key not in longest or len(line["x"]) > len(longest[key]["x"]):
            longest[key] = line
    shared = {
        key: {"x": packed_array(line["x"], 1), "y": packed_array(line["y"], line["meta"]["steps"])}
        for key, line in longest.items()
    }
    out = {}
    for name, figure in figures.items():
        data = [_as_stretch(trace, longest) for trace in figure["data"]]
        out[name] = wire(figure | {"data": data})
    return out, shared


def _channel_lines(figures: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    for figure in figures:
        yield from (t for t in figure["data"] if t["meta"].get("channel") is not None)


def _as_stretch(trace: dict[str, Any], longest: dict[str, dict[str, Any]]) -> dict[str, Any]:
    whole = longest.get(str(trace["meta"].get("channel")))
    if whole is None or not len(trace["x"]):
        return trace
    shift = trace["meta"]["offset_ms"] - whole["meta"]["offset_ms"]
    first = int(np.searchsorted(whole["x"], trace["x"][0] - shift))
    end = first + len(trace["x"])
    x, y = whole["x"][first:end], whole["y"][first:end]
    if not np.array_equal(x, trace["x"] - shift) or not np.array_equal(y, trace["y"], True):
        return trace
    stretch = {"$": [str(trace["meta"]["channel"]), first, end, shift]}
    return trace | {"x": stretch, "y": stretch}


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
