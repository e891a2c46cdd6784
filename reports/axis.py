"""Round numbers for axes: values and local times."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from pipeline import words
from pipeline.units import MICROSECONDS

_STEPS_S = (
    5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 604800,
)  # fmt: skip
_MONTHS_FROM_S = 100 * 86400
"""Spans longer than this are parted by months."""


@dataclass(frozen=True)
class Tick:
    """A place on an axis and its label; `is_major` ticks stay when room is short."""

    at: float
    label: str
    is_major: bool = True


def value_ticks(low: float, high: float, most: int = 4, is_whole: bool = False) -> tuple[Tick, ...]:
    """Round values within [low, high], at most about `most` of them, ascending.

    is_whole : whole numbers only, for what is counted
    """
    span = high - low
    if not math.isfinite(span) or span <= 0:
        return (Tick(low, f"{low:g}"),)
    raw = span / max(most, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    shares = (1, 2, 5, 10) if is_whole else (1, 2, 2.5, 5, 10)
    step = next(m * power for m in shares if m * power >= raw * 0.999)
    step = max(step, 1.0) if is_whole else step
    places = max(0, -math.floor(math.log10(step) + 1e-9)) + (1 if step / power == 2.5 else 0)
    first = math.ceil(low / step - 1e-9)
    ticks = []
    for k in range(first, first + 50):
        at = k * step
        if at > high + step * 1e-9:
            break
        label = f"{at + 0.0:,.{places}f}"
        ticks.append(Tick(at, label.replace("-", "−") if float(label.replace(",", "")) else "0"))
    return tuple(ticks)


def time_ticks(
    start_ts: int, end_ts: int, offset_us: int, hours: int, most: int = 9
) -> tuple[Tick, ...]:
    """Round local times within the span, ascending; `at` is UTC µs. Every second one is major."""
    length_s = (end_ts - start_ts) / MICROSECONDS
    if length_s > _MONTHS_FROM_S:
        return _month_ticks(start_ts, end_ts, offset_us, most)
    step_s = next((s for s in _STEPS_S if length_s / s <= most), 604800 * 4)
    step = step_s * MICROSECONDS
    # weeks start on a Monday: 1970-01-05 was one
    base = 4 * 86400 * MICROSECONDS if step_s >= 604800 else 0
    first = math.ceil((start_ts + offset_us - base) / step)
    ticks = []
    for i, k in enumerate(range(first, first + 60)):
        wall = k * step + base
        if wall - offset_us > end_ts:
            break
        ticks.append(Tick(wall - offset_us, _wall_label(wall, step_s, hours), i % 2 == 0))
    return tuple(ticks)


def _month_ticks(start_ts: int, end_ts: int, offset_us: int, most: int) -> tuple[Tick, ...]:
    """First days of months, every so many that there are at most `most`; January has its year."""
    first, last = (datetime.fromtimestamp((ts + offset_us) / 1e6, UTC) for ts in (start_ts, end_ts))
    n_first, n_last = (12 * at.year + at.month - 1 for at in (first, last))
    step = next((s for s in (1, 2, 3, 6, 12) if (n_last - n_first) / s <= most), 24)
    ticks: list[Tick] = []
    for n in range(-(-n_first // step) * step, n_last + 1, step):
        wall = int(datetime(n // 12, n % 12 + 1, 1, tzinfo=UTC).timestamp()) * MICROSECONDS
        if not start_ts <= wall - offset_us <= end_ts:
            continue
        label = words.MONTHS[n % 12] + (f" {n // 12}" if n % 12 == 0 or not ticks else "")
        ticks.append(Tick(wall - offset_us, label, len(ticks) % 2 == 0))
    return tuple(ticks)


def _wall_label(wall_us: int, step_s: int, hours: int) -> str:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=wall_us)
    if step_s >= 43200 and (step_s >= 86400 or at.hour == 0):
        return words.day(at)
    if hours == 24:
        return at.strftime("%H:%M:%S" if step_s < 60 else "%H:%M")
    clock = f"{at.hour % 12 or 12}"
    if step_s < 3600:
        clock += f":{at.minute:02d}"
    if step_s < 60:
        clock += f":{at.second:02d}"
    return f"{clock} {'am' if at.hour < 12 else 'pm'}"
