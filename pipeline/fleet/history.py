"""What became of every finding of a site: first seen, last seen, gone, came back.

Pure functions on rows of fleet.duckdb. A finding is there until a week that could have shown it
does not, with enough of its days logged; what a rule cannot tell changes nothing. A day looked at
by itself can bring a finding, never clear one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from pipeline import words
from pipeline.fleet.units import WEEK

FOUND, NOT_FOUND, CANNOT_TELL = "found", "not found", "cannot tell"


@dataclass(frozen=True)
class Looked:
    """One unit's answer to one rule.

    first_day, last_day : local days that were logged in it
    event_days : local days of its events; empty where it was found by none in particular
    """

    kind: str
    first_day: dt.date
    last_day: dt.date
    result: str
    severity: str = ""
    event_days: tuple[dt.date, ...] = ()

    @property
    def seen_days(self) -> tuple[dt.date, ...]:
        """The days it was seen on; the unit's last, where no event has a day of its own."""
        return self.event_days or (self.last_day,)


@dataclass(frozen=True)
class Done:
    """Service work that was done: its last local day and what it was."""

    day: dt.date
    what: str


@dataclass(frozen=True)
class History:
    """One finding of one site; dates are local days.

    status : one of fleet_result.STATUSES
    severity : of the newest unit that found it
    first_seen, last_seen : days of its events; last_looked : last day that could have shown it
    gone_since : first day of what cleared it; came_back_after : in words, '' unless it came back
    n_found, n_looked : units that found it, and that could have
    """

    code: str
    status: str
    severity: str
    first_seen: dt.date
    last_seen: dt.date
    last_looked: dt.date | None
    gone_since: dt.date | None
    came_back_after: str
    n_found: int
    n_looked: int


def history(
    code: str,
    looked: Sequence[Looked],
    done: Sequence[Done],
    since: dt.date,
    back_after_days: float,
    clear_days: float,
) -> History | None:
    """The finding's history; None if it was never found.

    looked : every unit's answer, in order of time
    done : service work, in order of time
    since : what was first seen from this day on is new
    back_after_days : not found for this long and found again: it came back
    clear_days : logged days in weeks that could have shown it, and did not, before it is gone
    """
    found = [u for u in looked if u.result == FOUND]
    if not found:
        return None
    first_seen = min(d for u in found for d in u.seen_days)
    last_seen = max(d for u in found for d in u.seen_days)
    decisive = [u for u in looked if u.result != CANNOT_TELL]
    after = [u for u in looked if u.first_day > found[-1].last_day]
    clearing = [u for u in after if u.result == NOT_FOUND and u.kind == WEEK]
    if sum((u.last_day - u.first_day).days + 1 for u in clearing) < clear_days:
        clearing = []  # half a day at the end of a log is no week without it
    back = _came_back(looked, done, back_after_days)
    gone_since = None
    if clearing:
        status, gone_since = "gone", clearing[0].first_day
        between = [d.day for d in done if last_seen <= d.day <= gone_since]
        gone_since = between[0] if between else gone_since
    elif any(u.kind == WEEK and u.result == CANNOT_TELL for u in after):
        status = "not seen lately"
    elif back:
        status = "came back"
    else:
        status = "new" if first_seen >= since else "standing"
    return History(
        code=code,
        status=status,
        severity=found[-1].severity,
        first_seen=first_seen,
        last_seen=last_seen,
        last_looked=decisive[-1].last_day,
        gone_since=gone_since,
        came_back_after=back if status == "came back" else "",
        n_found=len(found),
        n_looked=len(decisive),
    )


def _came_back(looked: Sequence[Looked], done: Sequence[Done], back_after_days: float) -> str:
    """The visit after which it is found again, in words; 'a time without it' without one; ''.

    A visit tells only if the finding was there before it. Its own day belongs to neither side.
    """
    days = sorted({d for u in looked if u.result == FOUND for d in u.seen_days})
    for visit in reversed(done):
        if any(d < visit.day for d in days) and any(d > visit.day for d in days):
            what = f" ({visit.what})" if visit.what else ""
            return f"the visit of {words.day(visit.day)}{what}"
    quiet = 0
    was_found = came = False
    for unit in looked:
        if unit.result == NOT_FOUND and was_found and unit.kind == WEEK:
            quiet += (unit.last_day - unit.first_day).days + 1
        if unit.result == FOUND:
            came = came or quiet >= back_after_days
            was_found, quiet = True, 0
    return "weeks without it" if came else ""


def is_service(what: str) -> bool:
    """Whether a visit was work on the system, not loggers set or taken."""
    return not what.strip().lower().startswith("loggers")


def services(
    visits: Sequence[tuple[int, str]], local_day: Callable[[int], dt.date]
) -> tuple[Done, ...]:
    """Service work among visits (end as UTC microseconds, what was done), in order of time."""
    done = [Done(local_day(end_ts - 1), what) for end_ts, what in visits if is_service(what)]
    return tuple(sorted(done, key=lambda d: d.day))


def by_code(
    units: Sequence[tuple[str, int, dt.date, dt.date]],
    judged: Mapping[tuple[str, int], Mapping[str, str]],
    found: Mapping[tuple[str, int, str], tuple[str, tuple[dt.date, ...]]],
) -> dict[str, list[Looked]]:
    """Every rule's answers of one site, in order of time.

    A rule that found what another finding tells of has no finding of its own in that unit: of its
    own it cannot tell.

    units : (kind, start_ts, first local day, last local day), in order of time
    judged : (kind, start_ts) -> rule -> result
    found : (kind, start_ts, rule) -> severity, local days of its events
    """
    made: dict[str, list[Looked]] = {}
    for kind, start_ts, first, last in units:
        for code, result in judged.get((kind, start_ts), {}).items():
            own = found.get((kind, start_ts, code))
            if result == FOUND and own is None:
                result = CANNOT_TELL
            severity, days = own or ("", ())
            made.setdefault(code, []).append(Looked(kind, first, last, result, severity, days))
    return made
