"""The few stretches a finding draws at full rate: chosen to tell the story, never all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.findings._site import SiteFrames
from pipeline.result import EvidenceWindow, Mark, Span
from pipeline.units import MICROSECONDS

BEFORE_MIN = 30
AFTER_MIN = 20
MIN_MIN = 45
MAX_MIN = 150


@dataclass(frozen=True)
class Event:
    """One event of a finding as a window needs it.

    worth : how strongly it shows the pattern; the largest is the worst
    say : what happened, a clause with clock time and numbers
    """

    start_ts: int
    end_ts: int
    worth: float
    say: str
    label: str
    marks: tuple[Mark, ...] = ()
    lines: tuple[tuple[str, float, str], ...] = ()


def windows(
    site: SiteFrames, events: Sequence[Event], *, max_min: float = MAX_MIN
) -> tuple[EvidenceWindow, ...]:
    """Up to three windows: the worst event, a typical one (median), the first; in that order.

    events : in order of time. One event gives one window. A window reaches from half an hour
    before its event to 20 min after it, is at least 45 and at most `max_min` minutes long, stays
    inside the site's window, and shows every event that falls into it.
    """
    if not events:
        return ()
    by_worth = sorted(events, key=lambda e: (e.worth, -e.start_ts))
    chosen: list[tuple[str, Event]] = []
    for word, event in (
        ("Worst", by_worth[-1]),
        ("Typical", by_worth[(len(by_worth) - 1) // 2]),
        ("First", events[0]),
    ):
        if all(event is not other and not _near(event, other) for _, other in chosen):
            chosen.append((word, event))
    if len(events) == 1:
        chosen = [("", events[0])]
    return tuple(
        _window(site, n, f"{word}: {event.say}" if word else event.say, event, events, max_min)
        for n, (word, event) in enumerate(chosen, start=1)
    )


def evidence(events: Sequence[Event]) -> tuple[Span, ...]:
    """The events as spans, in order of time."""
    return tuple(Span(e.start_ts, e.end_ts, e.label) for e in events)


def lines(site: SiteFrames, ts: int, *names: str) -> tuple[tuple[str, float, str], ...]:
    """Horizontal lines for the settings that were given: (role, value in store units, label)."""
    drawn: list[tuple[str, float, str]] = []
    known: dict[str, tuple[str, str, Callable[[float], str]]] = {
        "high_limit_f": ("supply_temp", "high limit", site.temperature),
        "low_limit_f": ("supply_temp", "low limit", site.temperature),
        "static_target_inwc": ("static_pressure", "target", site.static),
    }
    for name in names:
        value = site.setting(name, ts)
        if value is not None:
            role, label, say = known[name]
            drawn.append((role, value, f"{label} {say(value)}"))
    return tuple(drawn)


def _near(a: Event, b: Event) -> bool:
    """Whether one window would show both."""
    return abs(a.start_ts - b.start_ts) < AFTER_MIN * 60 * MICROSECONDS


def _window(
    site: SiteFrames,
    n: int,
    say: str,
    event: Event,
    events: Sequence[Event],
    max_min: float,
) -> EvidenceWindow:
    minute = 60 * MICROSECONDS
    start = event.start_ts - BEFORE_MIN * minute
    end = min(event.end_ts + AFTER_MIN * minute, start + int(max_min * minute))
    end = max(end, start + MIN_MIN * minute)
    start, end = max(start, site.window.start_ts), min(end, site.window.end_ts)
    shown = [e for e in events if e.start_ts < end and e.end_ts > start]
    marks = {m for e in shown for m in e.marks if start <= m.ts < end}
    return EvidenceWindow(
        n=n,
        start_ts=start,
        end_ts=end,
        title=say if say.endswith(".") else f"{say}.",
        spans=evidence(shown),
        marks=tuple(sorted(marks, key=lambda m: (m.ts, m.label))),
        lines=event.lines,
    )
