"""What findings about episodes share: how many, when, how long, in which state, and their outcome.

An episode is a stretch of the log that shows a pattern: both fuels at once, a call that nothing
answers, a contact in alarm. The findings choose the rows and say what they mean; how often, on
which days, with whom calling and in what weather is said here, in one way for all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._base import MAX_TABLE_ROWS, Found, Weighed, Weight
from pipeline.findings._site import SiteFrames, flags, number, records
from pipeline.findings._windows import Event, evidence, lines, windows
from pipeline.result import Mark
from pipeline.units import MICROSECONDS

Columns = tuple[tuple[str, Callable[[Any], str]], ...]
"""A table's columns: title, and what stands in it for a row."""


@dataclass(frozen=True)
class Episodes:
    """Episodes outside visits, in order of time.

    rows : one record each, with start_ts and end_ts
    state_s : time in the state that could show them; `state` names it ('heat')
    more : what a finding's causes are tested on besides
    """

    site: SiteFrames
    rows: tuple[Any, ...]
    state_s: float
    state: str
    more: Mapping[str, Any] = field(default_factory=dict)

    @property
    def n(self) -> int:
        """How many."""
        return len(self.rows)

    @property
    def lengths_s(self) -> list[float]:
        """How long each was."""
        return [(r.end_ts - r.start_ts) / MICROSECONDS for r in self.rows]

    @property
    def total_s(self) -> float:
        """All of them together."""
        return sum(self.lengths_s)

    @property
    def n_days(self) -> int:
        """Local days on which one began."""
        return len({self.site.local_day(int(r.start_ts)) for r in self.rows})

    @property
    def often(self) -> str:
        """'6 times in 58 hours of heat'."""
        return f"{words.times(self.n)} in {words.hours(self.state_s)} of {self.state}"

    @property
    def when(self) -> str:
        """'Tue 6:42 am' for one; 'on 6 days, first Tue 6:42 am, last Sun 9:10 pm' for more."""
        first = self.site.clock(int(self.rows[0].start_ts))
        if self.n == 1:
            return first
        last = self.site.clock(int(self.rows[-1].start_ts))
        return f"on {words.count(self.n_days, 'day')}, first {first}, last {last}"

    @property
    def how_long(self) -> str:
        """'12 to 45 min each, 3.5 hours in all'."""
        if self.n == 1:
            return words.duration(self.total_s)
        return f"{words.durations(self.lengths_s)} each, {words.hours(self.total_s)} in all"

    def numbers(self, name: str) -> list[float]:
        """The column's values that are known."""
        found = (number(getattr(r, name)) for r in self.rows)
        return [v for v in found if v is not None]

    def outdoor(self) -> str:
        """', outdoor air 12 to 20 °F', or '' where it was not logged."""
        known = self.numbers("outdoor_f")
        return f", outdoor air {self.site.temperatures(known)}" if known else ""

    def callers(self, name: str = "zones") -> str:
        """', every time with Den alone calling', ', 20 of them with ...', or ''."""
        sizes = pd.Series([getattr(r, name) or "" for r in self.rows]).value_counts()
        zones, n = str(sizes.index[0]), int(sizes.iloc[0])
        if not zones or n < self.site.threshold("cause_share_min_frac") * self.n:
            return ""
        alone = " alone" if len(words.zone_numbers(zones)) == 1 else ""
        lead = "every time " if n == self.n > 1 else "" if self.n == 1 else f"{n} of them "
        return f", {lead}with {self.site.zones(zones)}{alone} calling"

    def is_persistent(self) -> bool:
        """At least three a week, on two days or more: not a rare event."""
        site = self.site
        return self.n >= site.threshold(
            "episodes_plan_per_week"
        ) * site.weeks and self.n_days >= site.threshold("episodes_plan_days")


def episodes(
    site: SiteFrames,
    rows: pd.DataFrame,
    *,
    state_s: float,
    state: str,
    more: Mapping[str, Any] | None = None,
) -> Episodes:
    """The rows outside visits as episodes; rows hold start_ts and end_ts, and in_visit or not."""
    if "in_visit" in rows:
        rows = rows[~flags(rows["in_visit"])]
    else:
        inside = [site.overlaps_visit(int(r.start_ts), int(r.end_ts)) for r in records(rows)]
        rows = rows[~pd.Series(inside, index=rows.index, dtype=bool)]
    kept = tuple(records(rows.sort_values("start_ts")))
    return Episodes(site, kept, state_s, state, more or {})


def found(
    e: Episodes,
    *,
    severity: str,
    headline: str,
    label: str,
    say: Callable[[Any], str],
    columns: Columns,
    certainty: str = "shown",
    detail: Sequence[str] = (),
    aside: str = "",
    settings: Sequence[str] = (),
    ruled_out: Sequence[str] = (),
    fill: Mapping[str, str] | None = None,
    linked: tuple[str, ...] | None = None,
    worth: Callable[[Any], float] | None = None,
) -> Found:
    """The outcome of a finding about episodes: its sentence, windows, evidence and table.

    say : what happened in an episode, a clause behind its clock time
    detail : sentences behind the headline
    worth : by what the worst is chosen; its length if None
    settings : those drawn as lines in the windows
    """
    site = e.site
    events = [
        Event(
            start_ts=int(r.start_ts),
            end_ts=int(r.end_ts),
            worth=worth(r) if worth else (r.end_ts - r.start_ts) / MICROSECONDS,
            say=f"{site.clock(int(r.start_ts))}, {say(r)}",
            label=label,
            marks=(Mark(int(r.start_ts), label),),
            lines=lines(site, int(r.start_ts), *settings),
        )
        for r in e.rows
    ]
    shown = e.rows[:MAX_TABLE_ROWS]
    return Found(
        severity=severity,
        certainty=certainty,
        summary=words.sentences(f"{headline}: {e.when}", *detail),
        headline=headline,
        aside=aside,
        facts=e,
        evidence=evidence(events),
        windows=windows(site, events),
        ruled_out=tuple(ruled_out),
        fill=fill or {},
        linked=linked,
        table=tuple((title, tuple(text(r) for r in shown)) for title, text in columns),
    )


def span_columns(site: SiteFrames, first: str = "From") -> Columns:
    """The columns every such table begins with: from, and for how long."""
    return (
        (first, lambda r: site.clock(int(r.start_ts))),
        ("For", lambda r: words.duration((r.end_ts - r.start_ts) / MICROSECONDS)),
    )


def outdoor_column(site: SiteFrames) -> Columns:
    """Outdoor air at the episode."""
    return (("Outdoor air", lambda r: dash(r.outdoor_f, site.temperature)),)


def calling_column(site: SiteFrames, name: str = "zones") -> Columns:
    """Who called."""
    return (("Calling", lambda r: site.zones(getattr(r, name))),)


def dash(value: Any, say: Callable[[float], str]) -> str:
    """A value in words, or a dash where it is not known."""
    known = number(value)
    return "–" if known is None else say(known)


def by_contact(e: Episodes, role: str, closed: str, never: str) -> Weighed:
    """A cause that a logged contact proves or leaves open."""
    if role not in e.site.logged_roles:
        return Weighed(Weight.OPEN, never)
    return Weighed(Weight.STRONG, closed)


def with_outdoor(site: SiteFrames, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with outdoor_f, outdoor air when each began; null where not known."""
    values = [outdoor_at(site, int(ts)) for ts in rows["start_ts"]]
    return rows.assign(outdoor_f=pd.Series(values, index=rows.index, dtype=float))


def outdoor_at(site: SiteFrames, ts: int) -> float | None:
    """Outdoor air at an instant, from interval.weather; None if not known."""
    rows = site.table("interval.weather")
    near = rows[(rows["start_ts"] <= ts) & (rows["end_ts"] > ts)]
    return number(near["outdoor_f"].iloc[0]) if len(near) else None
