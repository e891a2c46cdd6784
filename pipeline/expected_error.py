"""How far runtime and starts that are inferred from supply and return temperature are off.

Measured on simulated systems whose outputs were logged and hidden, the tuning part: `python -m
tests.accuracy.inferred`. The error is the one that nine in ten systems stay within.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Expected:
    """Expected errors as shares of the logged figure; `interval_s` : up to this interval [s]."""

    kinds: tuple[str, ...]
    mode: str
    interval_s: float
    runtime_frac: float
    starts_frac: float


TABLE = (
    Expected(("furnace", "furnace_ac"), "heating", 60.0, 0.04, 0.05),
    Expected(("furnace", "furnace_ac"), "heating", 300.0, 0.15, 0.50),
    Expected(("heat_pump",), "heating", 60.0, 0.12, 0.30),
    Expected(("heat_pump",), "heating", 300.0, 0.20, 0.50),
    Expected(("dual_fuel",), "heating", 60.0, 0.15, 0.10),
    Expected(("dual_fuel",), "heating", 300.0, 0.25, 0.50),
    Expected(("furnace_ac", "ac", "heat_pump", "dual_fuel"), "cooling", 60.0, 0.05, 0.10),
    Expected(("furnace_ac", "ac", "heat_pump", "dual_fuel"), "cooling", 300.0, 0.15, 0.50),
)


def expected(kind: str, mode: str, interval_s: float) -> Expected | None:
    """The expected errors of a mode at this sampling interval; None where none was measured."""
    fits = [e for e in TABLE if kind in e.kinds and e.mode == mode and interval_s <= e.interval_s]
    return min(fits, key=lambda e: e.interval_s, default=None)
