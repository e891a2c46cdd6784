"""Loggers whose clocks disagree and are not corrected in this run: what rests on them is doubtful.

Used by the clock finding itself and by the framework, which will not let a rule that compares two
clocks say "not found", nor call anything it finds shown.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from pipeline.findings._site import SiteFrames, number, records
from pipeline.units import MICROSECONDS

HOUR_S = 3600.0


@dataclass(frozen=True)
class Clock:
    """One row of trust.clock_offset. `left_s` is what has not been taken out, None if unknown.

    reference_applied_s : what has been taken out of the clock that it is compared with
    drift_s_per_day : how much it gains; below 0 it loses
    """

    logger: str
    reference: str
    offset_s: float | None
    applied_s: float
    plus_minus_s: float | None
    n_edge: int
    edge: str
    confidence: str
    why: str
    reference_applied_s: float = 0.0
    drift_s_per_day: float = 0.0

    @property
    def left_s(self) -> float | None:
        """The part of the offset that still stands in the data of this run [s]."""
        if self.offset_s is None:
            return None
        return self.offset_s - self.applied_s + self.reference_applied_s

    @property
    def is_found(self) -> bool:
        """Whether the comparison gave an offset that may be relied on."""
        return self.offset_s is not None and self.confidence in ("shown", "likely")


def clocks(site: SiteFrames) -> list[Clock]:
    """Every logger that was compared, in the table's order; empty where none was."""
    if "clocks" not in site.made_once:
        site.made_once["clocks"] = _clocks(site)
    made: list[Clock] = site.made_once["clocks"]
    return made


def _clocks(site: SiteFrames) -> list[Clock]:
    if not site.has_table("trust.clock_offset"):
        return []
    rows = records(site.table("trust.clock_offset"))
    taken_out = {row.logger: number(row.applied_s) or 0.0 for row in rows}
    return [
        Clock(
            logger=row.logger,
            reference=row.reference_logger or "",
            offset_s=number(row.offset_s),
            applied_s=number(row.applied_s) or 0.0,
            plus_minus_s=number(row.plus_minus_s),
            n_edge=int(row.n_edge or 0),
            edge=row.edge or "",
            confidence=row.confidence or "cannot tell",
            why=row.why or "",
            reference_applied_s=taken_out.get(row.reference_logger, 0.0),
            drift_s_per_day=number(row.drift_s_per_day) or 0.0,
        )
        for row in rows
    ]


@dataclass(frozen=True)
class Setting:
    """What a clock that is whole hours off was left on: words, and the zone for site.toml."""

    words: str
    timezone: str


def left_on(site: SiteFrames, clock: Clock) -> Setting | None:
    """The zone or rule that a logger off by whole hours was left on; None where none explains it.

    A stamp read in zone Z that is `offset_s` ahead was written in a zone `offset_s` east of Z.
    A file that names its own zone cannot have been left on another.
    """
    whole = whole_hours(clock, site.threshold("clock_offset_warn_s"))
    if not whole or not site.has_table("store.file"):
        return None
    files = site.table("store.file")
    files = files[files["logger"] == clock.logger]
    if not {"timezone", "timezone_source"} <= set(files.columns) or len(files) == 0:
        return None
    read_as, source = files["timezone"].iloc[0], files["timezone_source"].iloc[0]
    if not isinstance(read_as, str) or source == "file":
        return None
    ends = [
        datetime.fromtimestamp(t / MICROSECONDS, UTC)
        for t in (site.window.start_ts, site.window.end_ts)
    ]
    used = [at.astimezone(_zone(read_as)).utcoffset() or timedelta() for at in ends]
    true = {u + timedelta(hours=whole) for u in used}
    if len(true) != 1:
        return None  # the clocks changed within the log: no one zone explains all of it
    hours = true.pop() / timedelta(hours=1)
    if hours == 0:
        return Setting("left on UTC", "UTC")
    local = ZoneInfo(site.site.timezone)
    year = ends[0].year
    winter, summer = (
        (datetime(year, month, 1, tzinfo=local).utcoffset() or timedelta()) / timedelta(hours=1)
        for month in (1, 7)
    )
    name = f"UTC{'-' if hours < 0 else '+'}{int(abs(hours)):02d}:{round(abs(hours) % 1 * 60):02d}"
    if winter != summer and hours == min(winter, summer):
        return Setting("left on standard time", name)
    if winter != summer and hours == max(winter, summer):
        return Setting("left on daylight-saving time", name)
    return None


def whole_hours(clock: Clock, slack_s: float) -> int:
    """How many whole hours the clock is off, ahead above 0; 0 where it is not whole hours."""
    offset_s = clock.offset_s or 0.0
    hours = round(offset_s / HOUR_S)
    near = abs(offset_s - hours * HOUR_S) <= max(clock.plus_minus_s or 0.0, slack_s)
    return hours if near else 0


def _zone(name: str) -> tzinfo:
    """An IANA zone, or a fixed offset such as UTC-07:00."""
    fixed = re.fullmatch(r"(?:UTC|GMT)?([+-])(\d{1,2}?)(?::?(\d{2}))?", name)
    if fixed is None:
        return ZoneInfo(name)
    ahead = timedelta(hours=int(fixed[2]), minutes=int(fixed[3] or 0))
    return timezone(ahead if fixed[1] == "+" else -ahead)


def off_clocks(site: SiteFrames) -> list[Clock]:
    """Loggers that are off by the warning threshold or more in the data of this run."""
    warn_s = site.threshold("clock_offset_warn_s")
    return [c for c in clocks(site) if c.is_found and abs(c.left_s or 0.0) >= warn_s]


def doubtful(site: SiteFrames, role_groups: Sequence[Sequence[str]]) -> list[Clock]:
    """The off clocks among the loggers of these roles, if the roles span more than one clock."""
    off = {c.logger: c for c in off_clocks(site)}
    if not off or not site.has_table("channel.channel"):
        return []
    wanted = {role for group in role_groups for role in group}
    channels = site.table("channel.channel")
    loggers = sorted(set(channels.loc[channels["role"].isin(wanted), "logger"]))
    if len(loggers) < 2:
        return []
    return [off[name] for name in loggers if name in off]
