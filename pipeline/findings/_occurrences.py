"""What findings share that say how often something happened: episodes out of one table.

A finding loads its episodes (visits left out, by time), decides by their number and the hours that
could show them, and has `found` build the outcome: windows, evidence, table and the sentence's
skeleton are the same for all.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._base import MAX_TABLE_ROWS, CannotTell, Found, NotFound
from pipeline.findings._site import SiteFrames, flags, number, numbers, records
from pipeline.findings._windows import Event, evidence, lines, windows
from pipeline.result import Mark
from pipeline.units import MICROSECONDS

Column = tuple[str, Callable[[Any], str]]


@dataclass(frozen=True)
class Occurrences:
    """Episodes of one kind outside visits, in order of time, and what their causes are tested on.

    rows : start_ts, end_ts [us] and what the table says of each
    n_in_visits : episodes left out because a visit holds them
    seconds : time in the state that can show them, visits left out
    what : that state as a noun: 'heat', 'cooling'
    more : further facts for the causes' tests, by name
    """

    site: SiteFrames
    rows: pd.DataFrame
    n_in_visits: int
    seconds: float
    what: str
    more: Mapping[str, Any] = field(default_factory=dict)

    @property
    def n(self) -> int:
        """How many."""
        return len(self.rows)

    @property
    def days(self) -> int:
        """Local days on which one begins."""
        return len({self.site.local_day(int(ts)) for ts in self.rows["start_ts"]})

    @property
    def lasted_s(self) -> float:
        """Their lengths together."""
        return float((self.rows["end_ts"] - self.rows["start_ts"]).sum()) / MICROSECONDS

    @property
    def can_judge(self) -> bool:
        """Whether the state was logged for long enough to say that it does not happen."""
        return self.seconds >= self.site.threshold("judged_min_h") * 3600

    def where(self, keep: pd.Series) -> Occurrences:
        """The same with only the rows kept."""
        rows = self.rows[keep.to_numpy(dtype=bool)].reset_index(drop=True)
        return Occurrences(self.site, rows, self.n_in_visits, self.seconds, self.what, self.more)

    def values(self, column: str) -> list[float]:
        """The known values of a column."""
        return numbers(self.rows[column])

    def count(self, column: str) -> int:
        """In how many a yes-or-no column says yes."""
        return int(flags(self.rows[column]).sum())

    def often(self) -> str:
        """'23 times in 61 hours of heat'."""
        return f"{words.times(self.n)} in {words.hours(self.seconds)} of {self.what}"

    def when(self) -> str:
        """'Tue 6:42 am' for one; 'on 6 days, first Tue 6:42 am, last Sun 9:10 pm' for more."""
        first = self.site.clock(int(self.rows["start_ts"].iloc[0]))
        if self.n == 1:
            return first
        last = self.site.clock(int(self.rows["start_ts"].iloc[-1]))
        return f"on {words.count(self.days, 'day')}, first {first}, last {last}"

    def mostly(self, column: str = "zones") -> str:
        """', every time with Den alone calling', ', 20 of them with ...', or '' where none does."""
        if column not in self.rows or not self.rows[column].notna().any():
            return ""
        sizes = self.rows[column].fillna("").value_counts()
        zones, n = str(sizes.index[0]), int(sizes.iloc[0])
        if not zones or n < self.site.threshold("cause_share_min_frac") * self.n:
            return ""
        who = self.site.calling(zones)
        if self.n == 1:
            return f", with {who} calling"
        often = "every time" if n == self.n else f"{n} of them"
        return f", {often} with {who} calling"

    def alone(self) -> int:
        """In how many one zone called alone."""
        return int((self.rows["n_zones"] == 1).sum())


def load(
    site: SiteFrames,
    rows: pd.DataFrame,
    seconds: float,
    what: str,
    **more: Any,
) -> Occurrences:
    """The rows outside visits, by time. Raises KeyError without start_ts, end_ts and in_visit."""
    inside = flags(rows["in_visit"])
    kept = rows[~inside].sort_values("start_ts").reset_index(drop=True)
    return Occurrences(site, kept, int(inside.sum()), seconds, what, more)


def none(e: Occurrences, noun: str = "") -> CannotTell | NotFound:
    """What is said where there is none: cannot tell in too few hours of the state."""
    if not e.can_judge:
        return CannotTell(words.only(e.seconds, e.what))
    said = f"{noun or 'not once'} in {words.hours(e.seconds)} of {e.what}"
    if e.n_in_visits:
        said += f" outside visits; {words.times(e.n_in_visits)} in a visit, which may be a test"
    return NotFound(said)


def found(
    e: Occurrences,
    *,
    severity: str,
    certainty: str,
    headline: str,
    details: Sequence[str] = (),
    label: str,
    say: Callable[[Any], str],
    worth: Callable[[Any], float],
    columns: Sequence[Column],
    settings: Sequence[str] = (),
    fill: Mapping[str, str] | None = None,
    linked: tuple[str, ...] | None = None,
    ruled_out: Sequence[str] = (),
    aside: str = "",
) -> Found:
    """The outcome over these episodes.

    headline : a clause; the summary is it with when they came, and the details as sentences
    say : what happened in one episode, behind its clock time; worth : the largest is the worst
    columns : further columns of the table behind 'When' and 'For'
    settings : settings drawn as lines in the windows
    """
    events = [_event(e.site, row, label, say, worth, settings) for row in records(e.rows)]
    return Found(
        severity=severity,
        certainty=certainty,
        summary=words.sentences(f"{headline}: {e.when()}", *details),
        headline=headline,
        facts=e,
        aside=aside,
        evidence=evidence(events),
        windows=windows(e.site, events),
        ruled_out=tuple(ruled_out),
        fill=dict(fill or {}),
        linked=linked,
        table=_table(e, columns),
    )


def or_dash(value: Any, say: Callable[[float], str]) -> str:
    """The value as it is said, or a dash where it is not known."""
    known = number(value)
    return "–" if known is None else say(known)


def _event(
    site: SiteFrames,
    row: Any,
    label: str,
    say: Callable[[Any], str],
    worth: Callable[[Any], float],
    settings: Sequence[str],
) -> Event:
    start = int(row.start_ts)
    return Event(
        start_ts=start,
        end_ts=max(int(row.end_ts), start),
        worth=worth(row),
        say=f"{site.clock(start)}, {say(row)}",
        label=label,
        marks=(Mark(start, label),),
        lines=lines(site, start, *settings),
    )


def _table(e: Occurrences, columns: Sequence[Column]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    rows = records(e.rows.head(MAX_TABLE_ROWS))
    fixed: tuple[Column, ...] = (
        ("When", lambda r: e.site.clock(int(r.start_ts))),
        ("For", lambda r: words.duration((int(r.end_ts) - int(r.start_ts)) / MICROSECONDS)),
    )
    return tuple((title, tuple(say(r) for r in rows)) for title, say in (*fixed, *columns))
