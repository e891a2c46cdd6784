"""Clock readings to instants: zones, folds and gaps, clocks that do not follow the site's."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from pipeline.ingest.steps import middle_step
from pipeline.ingest.written_times import DAY_US, Flags, Ints
from pipeline.units import MICROSECONDS


def zone_of(name: str) -> tzinfo:
    """The zone of an IANA name or a fixed offset such as UTC-07:00."""
    match = re.fullmatch(r"(?:UTC|GMT)?(?:([+-])(\d{1,2})(?::?(\d{2}))?)?", name)
    if match is None:
        return ZoneInfo(name)
    if match.group(1) is None:
        return UTC
    minutes = int(match.group(2)) * 60 + int(match.group(3) or 0)
    return timezone(timedelta(minutes=-minutes if match.group(1) == "-" else minutes))


def offset_name(offset_us: int) -> str:
    """The name of a fixed offset from UTC, such as UTC-07:00."""
    minutes = abs(offset_us) // (60 * MICROSECONDS)
    if minutes == 0:
        return "UTC"
    return f"UTC{'-' if offset_us < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


@dataclass
class Instants:
    """Clock readings of one file as UTC microseconds.

    skipped : readings that never were, as clocks went forward; undecided : readings that came
        twice and that no row order places
    fixed_us : offset from UTC that the clock kept through a change of the zone's, as its rows
        prove; None: nothing proves that. `utc` is then told by this offset.
    """

    utc: Ints
    skipped: Flags
    undecided: Flags
    fixed_us: int | None = None
    change_us: int | None = None


def to_utc(local: Ints, good: Flags, zone: tzinfo, is_regular: bool) -> Instants:
    """Clock readings of one file, in the order of its rows, as instants.

    is_regular : whether rows follow one another at a constant interval, so that the step to a
        neighbour tells which of two equal hours a row is in

    A step back in the file ends the first of two equal hours.
    """
    found = Instants(local.copy(), np.zeros(len(local), bool), np.zeros(len(local), bool))
    rows = np.flatnonzero(good)
    if len(rows) == 0:
        return found
    clock = local[rows]
    changes = zone_changes(zone, int(clock.min()), int(clock.max()))
    first_offset = _offset(zone, int(clock.min()) - 3 * DAY_US)
    bounds = np.array([utc + max(before, after) for utc, before, after in changes], np.int64)
    offsets = np.array([first_offset] + [after for _, _, after in changes], np.int64)
    utc = clock - offsets[np.searchsorted(bounds, clock, side="right")]
    lost = np.zeros(len(rows), bool)
    open_ = np.zeros(len(rows), bool)
    steps = np.diff(clock)
    usual = middle_step(steps[steps > 0])
    for instant, before, after in changes:
        low, high = sorted((instant + before, instant + after))
        inside = np.flatnonzero((clock >= low) & (clock < high))
        if len(inside) == 0:
            continue
        if is_regular and _runs_through(clock, inside, usual, high - low):
            # The offset that held at the first row, when the clock was set.
            fixed = int(clock[0] - utc[0])
            found.fixed_us, found.change_us = fixed, instant
            found.utc[rows] = clock - fixed
            return found
        if after > before:
            lost[inside] = True
            continue
        second = _second_pass(clock, inside, usual, is_regular)
        if second is None:
            open_[inside] = True
            continue
        utc[inside] = clock[inside] - np.where(second, after, before)
    found.skipped[rows], found.undecided[rows] = lost, open_
    found.utc[rows] = utc
    return found


def _runs_through(clock: Ints, inside: Ints, usual: float, length: int) -> bool:
    """Whether readings run on at their interval through an hour that was skipped or came twice.

    A clock that follows the zone jumps over the one and shows the other two times.
    """
    first, last = int(inside[0]), int(inside[-1])
    if usual == 0 or usual > length / 4 or first == 0 or last + 1 >= len(clock):
        return False
    steps = np.diff(clock[first - 1 : last + 2])
    return bool((steps > 0).all() and (steps <= 2.5 * usual).all())


def _second_pass(clock: Ints, inside: Ints, usual: float, is_regular: bool) -> Flags | None:
    """Which rows of an hour that came twice are in its second pass; None if nothing tells."""
    back = np.flatnonzero(np.diff(clock[inside]) < 0)
    if len(back):
        return np.arange(len(inside)) > back[0]
    first, last = int(inside[0]), int(inside[-1])
    near = 2.5 * usual
    if is_regular and first > 0 and 0 < clock[first] - clock[first - 1] <= near:
        return np.zeros(len(inside), bool)
    if is_regular and last + 1 < len(clock) and 0 < clock[last + 1] - clock[last] <= near:
        return np.ones(len(inside), bool)
    if first > 0 and clock[first - 1] >= clock[first]:
        return np.ones(len(inside), bool)
    return None


def zone_changes(zone: tzinfo, low: int, high: int) -> list[tuple[int, int, int]]:
    """The zone's offset changes in [low, high] us, with room: (utc, offset before, after) [us]."""
    changes = []
    step = 7 * DAY_US
    at = low - 3 * DAY_US
    before = _offset(zone, at)
    while at < high + 3 * DAY_US:
        after = _offset(zone, at + step)
        if after != before:
            left, right = at, at + step
            while right - left > MICROSECONDS:
                middle = (left + right) // 2
                if _offset(zone, middle) == before:
                    left = middle
                else:
                    right = middle
            instant = -(-right // MICROSECONDS) * MICROSECONDS
            instant -= MICROSECONDS if _offset(zone, instant - MICROSECONDS) == after else 0
            changes.append((instant, before, after))
        at, before = at + step, after
    return changes


def _offset(zone: tzinfo, utc: int) -> int:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=utc)
    offset = moment.astimezone(zone).utcoffset()
    assert offset is not None
    return round(offset.total_seconds()) * MICROSECONDS
