"""What the days at a glance say of unusual days and of changes that stayed."""

from __future__ import annotations

from pipeline import words
from pipeline.unusual.record import JUDGED, Unusual

LABEL = "unusual"
"""Stands at the end of a day's row."""


def flagged(unusual: Unusual | None) -> dict[int, str]:
    """Why each unusual day is one, by the instant it starts at."""
    return {d.start_ts: d.why for d in unusual.days.unusual} if unusual else {}


def notes(unusual: Unusual | None) -> tuple[str, ...]:
    """Sentences under the days: each unusual day, each change, and what they rest on."""
    if unusual is None:
        return ()
    days, changes = unusual.days, unusual.changes
    if days.result != JUDGED:
        return (f"Unusual days: {days.why[0].lower()}{days.why[1:]}",)
    said = [f"{words.day(d.day)} is unusual: {d.why[0].lower()}{d.why[1:]}" for d in days.unusual]
    said += [f"Changed and stayed: {c.why[0].lower()}{c.why[1:]}" for c in changes.changes]
    if not said:
        said.append("No day is unusual for its weather, and nothing changed for good.")
    return (*said, f"Days are held against this site's own past, weather taken out: {days.why}")
