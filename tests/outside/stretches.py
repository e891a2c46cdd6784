"""Stretches of on and off, made by hand or at random, as the tests of this folder give them."""

from __future__ import annotations

import random
from itertools import pairwise
from typing import Any

MINUTE = 60
HOUR = 3600
US = 1_000_000

Steps = list[tuple[float, float, bool]]


def steps(until_s: float, on: list[tuple[float, float]]) -> Steps:
    """On at these stretches, off between them, known from 0 to `until_s`."""
    edges = [0.0, *(e for pair in on for e in pair), until_s]
    return [(a, b, n % 2 == 1) for n, (a, b) in enumerate(pairwise(edges)) if b > a]


def random_on(rng: random.Random, until_s: int, shortest_s: int = 16) -> list[tuple[float, float]]:
    """Stretches of whole seconds, on and off each longer than chatter."""
    on = []
    at = rng.randrange(shortest_s, 600)
    while True:
        length = rng.randrange(shortest_s, 900)
        if at + length >= until_s - shortest_s:
            return on
        on.append((float(at), float(at + length)))
        at += length + rng.randrange(shortest_s, 1500)


def by(rows: list[dict[str, Any]], *names: str) -> dict[Any, dict[str, Any]]:
    keyed = {tuple(r[n] for n in names): r for r in rows}
    return {k[0] if len(names) == 1 else k: r for k, r in keyed.items()}
