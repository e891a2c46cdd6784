"""What a fleet computes at a time: a week of one site, judged as if nothing else had been logged.

A site's weeks are counted from its first logged day, so that a log of seven days is one unit and
the sites of a fleet do not all end their week on one weekday. Where a log is still going on, the
days of a week that is not over stand as units of their own: they are measured, and looked at for
what cannot wait; at the week's end the week takes their place. So a day more costs a day and, once
in seven, a week; never the log.

A unit is computed again only if its fingerprint changed: its readings, what the site file says of
that time, the tool's version.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from zoneinfo import ZoneInfo

import duckdb

from pipeline import __version__
from pipeline.run_tables import local_days
from pipeline.site import Site
from pipeline.store import Stretch
from pipeline.thresholds import THRESHOLDS, values_for
from pipeline.units import MICROSECONDS

DAYS = 7
WEEK, DAY = "week", "day"
# Raised when the same readings would be measured or judged differently than before within one
# version of the tool.
RULES_VERSION = 2


WEEK_END_SLACK_S = 3_600
"""A week is over where its log reaches this close to its end; more of it later is a change."""

NOT_JUDGED = frozenset(
    {
        *("path", "name", "complaint", "agreement", "region", "installed", "installer"),
        *("next_visit", "call_first", "address", "notes"),
    }
)
"""What a site file says that no rule reads."""


@dataclass(frozen=True)
class Unit:
    """A week or a day of one site.

    day : its first local day; start_ts, end_ts : half-open, UTC microseconds
    fingerprint : of all that its results depend on
    n_reading : instants logged in it, over all loggers: how much work it is
    told_until : channel_id and instant [UTC microseconds, on the logger's clock] of states that are
        taken for known up to there only: see `_told_until`
    """

    site_id: str
    kind: str
    day: dt.date
    start_ts: int
    end_ts: int
    fingerprint: str = ""
    n_reading: int = 0
    told_until: tuple[tuple[int, int], ...] = ()

    @property
    def key(self) -> tuple[str, str, int]:
        """What tells it from all other units of a fleet."""
        return self.site_id, self.kind, self.start_ts


def planned(
    site_id: str, timezone: str, first_ts: int, last_ts: int, *, is_still_logging: bool
) -> list[Unit]:
    """The units of a log from its first to its last instant, without fingerprints, in order.

    Weeks from the first local day on. Where the log is still going on, a week that is not over
    stands as its days.
    """
    days = local_days(timezone, first_ts, last_ts + 1)
    made = []
    for first in range(0, len(days), DAYS):
        week = days[first : first + DAYS]
        is_over = len(week) == DAYS and last_ts >= week[-1][2] - WEEK_END_SLACK_S * MICROSECONDS
        if is_still_logging and not is_over:
            made += [Unit(site_id, DAY, day, a, b) for day, a, b in week]
            continue
        day, start_ts, _ = week[0]
        end = day + dt.timedelta(days=DAYS)
        end_ts = week[-1][2] if len(week) == DAYS else _midnight_ts(end, timezone)
        made.append(Unit(site_id, WEEK, day, start_ts, end_ts))
    return made


def _midnight_ts(day: dt.date, timezone: str) -> int:
    at = dt.datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(timezone))
    return int(at.timestamp()) * MICROSECONDS


def stretch(site: Site, unit: Unit) -> Stretch:
    """The unit on the loggers' own clocks: wide enough for every offset the site file gives."""
    offsets = [round(e.clock_offset_s * MICROSECONDS) for e in site.exports] or [0]
    return Stretch(
        unit.start_ts + min(0, *offsets), unit.end_ts + max(0, *offsets), unit.told_until
    )


def fingerprinted(
    con: duckdb.DuckDBPyConnection, site: Site, units: Sequence[Unit], *, is_still_logging: bool
) -> list[Unit]:
    """The units that hold readings, each with its fingerprint.

    con : the site's own store
    """
    told = _told_until(con, site, units)
    units = [replace(u, told_until=told.get(u.start_ts, ())) for u in units]
    readings = _readings(con, site, units)
    channels = con.execute(
        "select channel_id, logger, role, zone, damper, kind, form, unit, accuracy, is_sampled,"
        " interval_s from channel order by channel_id"
    ).fetchall()
    files = con.execute(
        "select path, logger, timezone, timezone_source, first_ts, coalesce(end_ts, last_ts)"
        " from file order by path"
    ).fetchall()
    told_of_all, first_last = asdict(site), _first_and_last(con)
    made = []
    for unit in units:
        n, seen = readings.get(unit.start_ts, (0, ""))
        if not n:
            continue
        said = (
            *(__version__, RULES_VERSION, duckdb.__version__, unit.kind, unit.start_ts),
            *(unit.end_ts, seen, channels, site_says(site, unit, told_of_all)),
            _assumed_visits(first_last, site, unit, is_still_logging),
            [f[:4] for f in files if _overlap(f[4:], stretch(site, unit))],
        )
        text = json.dumps(said, default=str, sort_keys=True)
        digest = hashlib.sha256(text.encode()).hexdigest()[:32]
        made.append(replace(unit, fingerprint=digest, n_reading=n))
    return made


def _overlap(file: tuple[int | None, int | None], span: Stretch) -> bool:
    first_ts, end_ts = file
    if first_ts is None or end_ts is None:
        return False
    return end_ts >= span.from_ts and first_ts < span.until_ts


def site_says(
    site: Site, unit: Unit, told_of_all: Mapping[str, object] | None = None
) -> dict[str, object]:
    """What the site file says that a unit's results depend on; told_of_all : `asdict(site)`.

    Names of people, agreements and visits booked are left out; of visits and settings, what does
    not reach into the unit.
    """
    whole = asdict(site) if told_of_all is None else told_of_all
    told = {name: value for name, value in whole.items() if name not in NOT_JUDGED}
    told["settings"] = [
        (name, value, None if start is None else max(start, unit.start_ts))
        for name, value, start, end in site.settings_in_force()
        if (start is None or start < unit.end_ts) and (end is None or end > unit.start_ts)
    ]
    told["visits"] = [
        (v.start_ts, v.end_ts, v.what)
        for v in site.visits
        if v.start_ts < unit.end_ts and v.end_ts > unit.start_ts
    ]
    told["has_visits"] = bool(site.visits)
    return _without_lines(told)


def _without_lines(told: Mapping[str, object]) -> dict[str, object]:
    """Without the lines things stand on: a comment above them changes nothing."""
    return {
        key: [_without_lines(v) if isinstance(v, dict) else v for v in value]
        if isinstance(value, list | tuple)
        else value
        for key, value in told.items()
        if key != "line"
    }


def _told_until(
    con: duckdb.DuckDBPyConnection, site: Site, units: Sequence[Unit]
) -> dict[int, tuple[tuple[int, int], ...]]:
    """By unit's start, channels whose states end with a file of theirs, not with the unit.

    A log of changes goes on in the next file, if that begins within the hour; so where one file
    ends just before a unit does, a later file would say a little more of it, and the whole unit
    would have to be judged again for that. Its last file's last row ends it instead: whether or
    not the next file is there already, the unit is the same.
    """
    if not units:
        return {}
    ends = ", ".join(f"({u.start_ts:d}, {stretch(site, u).until_ts:d})" for u in units)
    most_us = round(THRESHOLDS["next_file_max_h"].value * 3_600 * MICROSECONDS)
    rows = con.execute(
        f"""
        with unit (start_ts, until_ts) as (values {ends})
        select u.start_ts, c.channel_id, max(f.last_ts)
        from unit u
        join file f
            on f.last_ts < u.until_ts and f.end_ts >= u.until_ts
            and f.end_ts - f.last_ts <= {most_us:d}
        join file n on n.logger = f.logger and n.first_ts = f.end_ts
        join channel c on c.logger = f.logger and c.kind = 'state' and not c.is_sampled
        group by u.start_ts, c.channel_id
        order by u.start_ts, c.channel_id
        """
    ).fetchall()
    told: dict[int, tuple[tuple[int, int], ...]] = {}
    for start_ts, channel_id, told_ts in rows:
        told[start_ts] = (*told.get(start_ts, ()), (channel_id, told_ts))
    return told


def _readings(
    con: duckdb.DuckDBPyConnection, site: Site, units: Sequence[Unit]
) -> dict[int, tuple[int, str]]:
    """By unit's start: instants logged in it, and a hash of all that was."""
    if not units:
        return {}
    # A range join would sort all readings by time; a look at each unit's own stretch is a scan.
    samples, states = [], []
    for u in units:
        span, told = stretch(site, u), ""
        samples.append(
            f"select {u.start_ts:d} as start_ts, count(*) as n,"
            " bit_xor(hash(group_id, ts, v0, v1, v2, v3, v4, v5, v6, v7)) as seen"
            f" from sample where ts >= {span.from_ts:d} and ts < {span.until_ts:d}"
        )
        until = f"{span.until_ts:d}"
        if u.told_until:
            told = " ".join(f"when {c:d} then {ts:d}" for c, ts in u.told_until)
            until = f"case channel_id {told} else {until} end"
        states.append(
            f"select {u.start_ts:d} as start_ts, count(*) as n,"
            f" bit_xor(hash(channel_id, greatest(start_ts, {span.from_ts:d}),"
            f" least(end_ts, {until}), is_on)) as seen"
            f" from state where end_ts > {span.from_ts:d} and start_ts < {until}"
        )
    rows = con.execute(
        f"""
        select a.start_ts, a.n + b.n, a.seen, b.seen
        from ({" union all ".join(samples)}) a
        join ({" union all ".join(states)}) b using (start_ts)
        """
    ).fetchall()
    return {int(start): (int(n), f"{n}-{a}-{b}") for start, n, a, b in rows}


def _first_and_last(con: duckdb.DuckDBPyConnection) -> list[tuple[int | None, int | None]]:
    """First and last instant of each logger."""
    return con.execute(
        "select min(first_ts), max(last_ts) from channel where role <> 'ignore'"
        " group by logger order by logger"
    ).fetchall()


def _assumed_visits(
    first_last: Sequence[tuple[int | None, int | None]],
    site: Site,
    unit: Unit,
    is_still_logging: bool,
) -> list[tuple[int, int]]:
    """First and last instants of loggers whose minutes about them, in the unit, are a visit's."""
    if site.visits:
        return []
    limits = values_for(site.thresholds)
    first_us = round(limits["visit_first_min"] * 60 * MICROSECONDS)
    last_us = round(limits["visit_last_min"] * 60 * MICROSECONDS)
    low, high = unit.start_ts, unit.end_ts
    return [
        (
            a if low - first_us < a < high else 0,
            b if low < b < high + last_us and not is_still_logging else 0,
        )
        for a, b in first_last
        if a is not None and b is not None
    ]
