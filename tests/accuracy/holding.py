"""What a comparison with the truth is made of: figures, events and how events are matched."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import pandas as pd

Fact = dict[str, Any]
Frames = dict[str, pd.DataFrame]


@dataclass(frozen=True)
class Figure:
    """One number against its truth; `bound` is what the tool says it is good to (None: nothing)."""

    what: str
    true: float
    told: float | None
    bound: float | None
    scale: float  # what an allowed share is a share of


@dataclass(frozen=True)
class Events:
    """Events of one kind: how many had to be found and were, were found and are true.

    n_sure_wrong : found, said to be certain, and not there
    """

    what: str
    n_must: int
    n_found: int
    n_told: int
    n_told_true: int
    n_sure_wrong: int = 0


def us(text: str) -> int:
    """An ISO 8601 instant as UTC microseconds."""
    return int(dt.datetime.fromisoformat(text).timestamp() * 1_000_000)


def matched(
    what: str,
    must: list[int],
    may: list[int],
    told: Iterable[tuple[int, bool]],
    near: Callable[[int, int], bool],
) -> Events:
    """Events matched by instant: `near(true, told)`; `told` with whether it is called certain."""
    told = list(told)
    found = sum(any(near(at, seen) for seen, _ in told) for at in must)
    right = [any(near(at, seen) for at in (*must, *may)) for seen, _ in told]
    sure_wrong = sum(sure and not ok for (_, sure), ok in zip(told, right, strict=True))
    return Events(what, len(must), found, len(told), sum(right), sure_wrong)


def quiet_before(truth: Fact, at: int, least_us: int, names: tuple[str, ...]) -> bool:
    """Whether no state whose name begins so changed in the time before an instant."""
    return not any(
        at - least_us < us(edge) < at
        for name, some in truth["states"].items()
        if name.startswith(names)
        for stretch in some
        for edge in stretch
    )
