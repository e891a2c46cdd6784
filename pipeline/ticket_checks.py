"""The checks on the ticket: the worst findings' first, in the order in which one walks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.findings._base import PLACES
from pipeline.findings._cautions import WATCHED
from pipeline.result import Finding

WATCHED_SHORT = "stay at the unit"
"""What each such step says after the sheet has said it in full."""

MOST_CHECKS = 7
MOST_OF_A_FINDING = 4
MOST_AT_A_PLACE = 2


@dataclass(frozen=True)
class TicketCheck:
    """One check in walking order.

    place : 'At the panel'; how, good, bad : what to do, what is good, what a bad result means
    rank : 0 for the one that matters most; the sheet drops from the other end
    """

    rank: int
    place: str
    how: str
    good: str
    bad: str


def walk(findings: Sequence[Finding]) -> tuple[list[TicketCheck], int]:
    """The worst findings' checks in walking order, one of each place before a second one.

    Also how many are left out.
    """
    head, others = findings[:1], findings[1:]
    # what the verdict opens with has its check near the top, whatever else is dropped
    log = [f for f in others if f.about == "log" and f.severity != "note"]
    every = list(
        dict.fromkeys(
            [c for f in head for c in f.checks[:1]]
            + [c for f in log for c in f.checks[:1]]
            + [c for f in (*head, *others) for c in f.checks[:MOST_OF_A_FINDING]]
        )
    )
    at: dict[str, list[str]] = {}
    for check in every:
        at.setdefault(check.split(":", 1)[0], []).append(check)
    seconds = [check for own in at.values() for check in own[1:MOST_AT_A_PLACE]]
    chosen = [own[0] for own in at.values()] + sorted(seconds, key=every.index)
    chosen = chosen[:MOST_CHECKS]
    order = {place: n for n, place in enumerate(PLACES.values())}
    # the loggers come last: on the walk they are collected on the way out
    order["At the loggers"] = len(order)
    made = [_parted(rank, check) for rank, check in enumerate(chosen)]
    made.sort(key=lambda c: (order.get(c.place, len(order) - 1), c.rank))
    total = len({c for f in findings for c in f.checks})
    return made, total - len(chosen)


def _parted(rank: int, check: str) -> TicketCheck:
    """A finding's check, written 'At the panel: read ... Good: ... If not: ...', in its parts."""
    check = check.replace(WATCHED, WATCHED_SHORT)
    found = re.match(r"(?s)([^:]{2,40}): (.*)", check)
    place, rest = (found.group(1), found.group(2)) if found else ("", check)
    rest, _, bad = rest.partition(" If not: ")
    how, _, good = rest.partition(" Good: ")
    return TicketCheck(rank, place, how[:1].upper() + how[1:], good, bad)
