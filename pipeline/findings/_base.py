"""What a finding's file is made of: its declaration, its causes with their tests, its outcome.

A finding is one module of this package: a docstring, `FINDING = Declaration(...)` and
`judge(site) -> Outcome`. `judge` reads tables of one site and says found, not found or cannot
tell; everything that holds for all findings alike (missing channels, thin coverage, clocks that
disagree, ranking of causes, order of findings) is done by `_judge.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any

from pipeline import words
from pipeline.result import EvidenceWindow, SiteLines, Span

WALK = ("office", "log", "thermostat", "panel", "dampers", "ducts", "unit", "outdoor unit")
"""The order in which a technician walks: checks are listed in it."""

PLACES = {
    "office": "At the office",
    "log": "At the loggers",
    "thermostat": "At the thermostats",
    "panel": "At the panel",
    "dampers": "At the dampers",
    "ducts": "Along the ducts",
    "unit": "At the unit",
    "outdoor unit": "At the outdoor unit",
}


NOT_HERE = "asked only of "
"""How a rule begins to say that this site has not what it asks about."""


class Weight(IntEnum):
    """How a cause stands after its test on this log; higher comes first.

    STRONG : the log shows what this cause predicts and little else does
    FITS : the log shows what this cause predicts
    OPEN : the log can say nothing for or against it
    AGAINST : the log speaks against it, not enough to drop it
    RULED_OUT : the log contradicts it; it is listed under "ruled out", not as a cause
    """

    RULED_OUT = 0
    AGAINST = 1
    OPEN = 2
    FITS = 3
    STRONG = 4


@dataclass(frozen=True)
class Weighed:
    """What a cause's test gives: its weight and the reason from this log, with numbers."""

    weight: Weight
    because: str


@dataclass(frozen=True)
class Cause:
    """A possible cause and the written rule that places it.

    text : pattern or condition, never a part to replace
    not_it : how it is named where it is ruled out, behind "Not "; for causes whose test may do so
    replays : the setting whose other values `zonetrail replay` can try on this log, to test it
    when : the rule in words: what in a log raises it, what lowers it or rules it out
    test : the rule itself; takes the facts that `judge` put into its outcome; gives None where
        the cause does not apply to what is installed
    """

    text: str
    when: str
    test: Callable[[Any], Weighed | None]
    not_it: str = ""
    replays: str = ""


@dataclass(frozen=True)
class Check:
    """One step of the next visit.

    where : one of WALK
    how : what to do, with which instrument
    good, bad : what a good value is, and what a bad one means
    Texts may hold {names} that the outcome's `fill` gives a value.
    """

    where: str
    how: str
    good: str
    bad: str

    def text(self, fill: Mapping[str, str]) -> str:
        """The step as one line, names filled in. Raises KeyError for a name without a value."""
        how, good, bad = (part.format_map(fill) for part in (self.how, self.good, self.bad))
        return " ".join(
            (
                f"{PLACES[self.where]}: {words.stopped(how)}",
                f"Good: {words.stopped(good)}",
                f"If not: {words.stopped(bad)}",
            )
        )


@dataclass(frozen=True)
class Declaration:
    """What a finding is, apart from any site.

    title : the pattern in a few words
    question : what it asks of the log
    about : 'installation' or 'log'
    needs_tables : tables that `judge` reads
    needs_roles : groups of channel roles; of each group at least one must be logged
    compares : further roles that it reads beside those; a clock among them that is off makes it
        doubtful
    figure : name in measure.coverage whose coverage and resolution qualify it; None: none does
    thresholds : names of the judgement numbers it uses
    causes : in the order they are listed when the log does not tell them apart
    check_next : steps of the next visit
    cautions : what not to do and who may do the rest
    confused_with : what looks like it and how to tell them apart
    suppresses : codes of findings that see the same events; not listed beside this one
    symptom_of : codes of findings that bring this one about; told together, theirs first
    clears : 'heating' or 'cooling': that mode is called clear only if this rule could judge it
    source : where the rule comes from
    """

    title: str
    question: str
    needs_tables: tuple[str, ...]
    causes: tuple[Cause, ...]
    check_next: tuple[Check, ...]
    source: str
    about: str = "installation"
    needs_roles: tuple[tuple[str, ...], ...] = ()
    compares: tuple[str, ...] = ()
    figure: str | None = None
    thresholds: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    confused_with: tuple[str, ...] = ()
    suppresses: tuple[str, ...] = ()
    symptom_of: tuple[str, ...] = ()
    clears: str = ""


@dataclass(frozen=True)
class Found:
    """The pattern is there.

    severity : one of result.SEVERITIES
    certainty : 'shown', 'likely' or 'possible'
    summary : one or two sentences with numbers and clock times
    headline : the same as a short clause that can open the page, no full stop
    aside : the clause used behind another finding's headline; '' for the headline itself
    facts : what the causes' tests read
    ruled_out : sentences beside those that the causes' tests give
    fill : values of the names in the checks
    linked : of the declaration's symptom_of, those that this log's events point to; None: all
    table : columns (title, values as text) of the events behind it
    site_lines : the safe corrections it offers for site.toml
    """

    severity: str
    certainty: str
    summary: str
    headline: str
    facts: Any = None
    aside: str = ""
    evidence: tuple[Span, ...] = ()
    windows: tuple[EvidenceWindow, ...] = ()
    ruled_out: tuple[str, ...] = ()
    fill: Mapping[str, str] = field(default_factory=dict)
    linked: tuple[str, ...] | None = None
    table: tuple[tuple[str, tuple[str, ...]], ...] = ()
    site_lines: tuple[SiteLines, ...] = ()

    def __post_init__(self) -> None:
        if len({len(values) for _, values in self.table}) > 1:
            raise ValueError(f"table with columns of different length: {self.headline}")


@dataclass(frozen=True)
class NotFound:
    """The log could have shown the pattern and did not; `why` says in how much of it."""

    why: str


@dataclass(frozen=True)
class CannotTell:
    """The log cannot show it either way; `why` says what is missing."""

    why: str


Outcome = Found | NotFound | CannotTell


MAX_TABLE_ROWS = 200
"""Rows of a finding's table; all events are in the measures' own tables."""

NOT_LOOKED_AT = ("recovery after a setback",)
"""What no rule of this version looks at: nothing in a result speaks for or against it."""
