"""One clock for all files of a logger, and clocks that schedules show not to follow the zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from pipeline.ingest import timestamps
from pipeline.ingest.file_reading import read_file
from pipeline.ingest.match import logger_names
from pipeline.ingest.reading import FileReading
from pipeline.ingest.written_times import DAY_US, Ints
from pipeline.site import Channel, Site
from pipeline.thresholds import THRESHOLDS
from pipeline.units import MICROSECONDS

# What steps at set times of the site's clocks.
_SCHEDULED = ("zone_heat_setpoint", "zone_cool_setpoint", "occupied")
_STEP_MIN = 5
_HOUR_STEPS = 60 // _STEP_MIN
_DAY_STEPS = 24 * _HOUR_STEPS


def on_one_clock(
    site: Site, readings: Sequence[FileReading], used: Sequence[dict[int, Channel]]
) -> list[FileReading]:
    """The readings with what one file shows about its logger's clock said of all its files.

    A clock that ran on through a change of the site's clocks in one file did not follow the zone
    in the others either, unless they or site.toml name another.
    """
    made = list(readings)
    paths = [r.opened.export.path for r in made]
    names = logger_names(paths, [set(r.cells) for r in made], site)
    for name in set(names):
        mine = [k for k, n in enumerate(names) if n == name]
        shown = [made[k] for k in mine if made[k].clock.fixed_zone is not None]
        if shown:
            zone = min(shown, key=lambda r: (r.first_ts, r.opened.export.sha256)).clock.fixed_zone
            for k in mine:
                if made[k].clock.timezone_source == "assumed":
                    made[k] = read_file(replace(made[k].opened, zone_shown=zone), used[k], site)
        else:
            note_schedule_steps(site, [made[k] for k in mine])
    return made


def may_show_its_clock(site: Site, numbers: Sequence[int], low: int, high: int) -> bool:
    """Whether the clocks change in files of a logger that a schedule steps in.

    numbers : the logger's channels; low, high : first and last instant of the files whose zone is
        assumed
    """
    zone = timestamps.zone_of(site.timezone)
    return any(site.channels[n].role in _SCHEDULED for n in numbers) and any(
        low < instant < high for instant, _, _ in timestamps.zone_changes(zone, low, high)
    )


def note_schedule_steps(site: Site, readings: Sequence[FileReading]) -> None:
    """Note where a schedule steps by an hour at a change of the clocks: the logger's stayed.

    readings : all files of one logger
    """
    files = sorted(
        (r for r in readings if r.clock.timezone_source == "assumed"), key=lambda r: r.first_ts
    )
    if not files:
        return
    zone = timestamps.zone_of(site.timezone)
    low, high = files[0].first_ts, max(r.last_ts for r in files)
    for instant, before, after in timestamps.zone_changes(zone, low, high):
        if not low < instant < high:
            continue
        for number, channel in enumerate(site.channels):
            if channel.role not in _SCHEDULED:
                continue
            at = _changes([r for r in files if number in r.cells], number)
            early = _by_time_of_day(at[at < instant] + before)
            late = _by_time_of_day(at[at >= instant] + after)
            # A clock that stayed shows the same moment of the day an hour earlier after clocks
            # went forward, an hour later after they went back.
            moved = -_HOUR_STEPS if after > before else _HOUR_STEPS
            least = THRESHOLDS["schedule_step_min_days"].value
            stays = np.minimum(early, late).max(initial=0)
            steps = np.minimum(early, np.roll(late, -moved)).max(initial=0)
            if steps >= least and steps >= 2 * stays:
                night = datetime.fromtimestamp(instant / MICROSECONDS, UTC).date()
                offset = timestamps.offset_name(min(before, after))
                files[-1].notes.append(
                    f"The schedule of {channel.column!r} steps by an hour in the night of {night}, "
                    f"when clocks changed: the logger's clock seems to have stayed. If so, give "
                    f'timezone = "{offset}" (standard time), or "UTC", in its [[export]].'
                )
                return


def _changes(readings: Sequence[FileReading], number: int) -> Ints:
    """The instants at which one channel's value changes."""
    found = [np.array([], np.int64)]
    for reading in readings:
        cells = reading.cells[number]
        ts = reading.ts[cells.row]
        order = np.argsort(ts, kind="stable")
        found.append(ts[order][1:][np.diff(cells.value[order]) != 0])
    return np.concatenate(found)


def _by_time_of_day(local: Ints) -> Ints:
    """On how many days something changed in each five minutes of the day."""
    slot = local // (_STEP_MIN * 60 * MICROSECONDS)
    places = np.unique(np.stack([local // DAY_US, slot % _DAY_STEPS]), axis=1)[1]
    return np.bincount(places, minlength=_DAY_STEPS)
