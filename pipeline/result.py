"""What a report is made of: one site's result as plain records; reports read nothing else.

Frames carry the columns that `zonetrail stages` lists, instants as UTC epoch microseconds, store
units (°F, in. w.c., s). Only the edge (reports, command line) turns them into local time and
display units.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from pipeline.unusual.record import Unusual

SEVERITIES = ("act", "plan", "watch", "note")
"""From worst to mildest."""

CALLS = ("act", "plan", "watch", "note", "clear", "cannot judge")
"""What a page may say at its head: the worst severity, else clear, else cannot judge."""


@dataclass(frozen=True)
class Span:
    """A half-open stretch of time, UTC microseconds, with what is seen in it."""

    start_ts: int
    end_ts: int
    label: str = ""


@dataclass(frozen=True)
class Mark:
    """An instant worth a mark on a drawing."""

    ts: int
    label: str


@dataclass(frozen=True)
class EvidenceWindow:
    """A stretch drawn at full rate under a finding: what happened, minute by minute.

    title : one sentence, built from the same numbers as the finding's
    lines : horizontal lines to draw: (role of the panel, value in store units, label)
    """

    n: int
    start_ts: int
    end_ts: int
    title: str
    spans: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    lines: tuple[tuple[str, float, str], ...] = ()


@dataclass(frozen=True)
class RankedCause:
    """A possible cause and the reason from this log that puts it where it stands.

    replay : the command that tries other settings on this log to test it; '' where none does
    """

    cause: str
    because: str
    replay: str = ""


@dataclass(frozen=True)
class SiteLines:
    """Lines that site.toml would have to say, as they are to be written.

    block : where they belong, in words
    """

    block: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Finding:
    """One finding as a reader gets it.

    code : the finding's file name with - for _
    about : 'installation' or 'log'
    certainty : shown, likely or possible
    summary : one sentence with numbers and clock times
    coverage, resolution_s : of the figures behind it
    table : the events behind it, ready to show (column title -> values as text); may be empty
    thresholds : names of the judgement numbers used, looked up in pipeline.thresholds
    headline : the sentence at the head of a page where this finding leads; '' for the summary
    aside : what is said of it in another finding's sentence; '' for the headline
    goes_with : codes of findings found on this site that bring it about
    site_lines : the safe corrections it offers for site.toml
    """

    code: str
    title: str
    severity: str
    about: str
    certainty: str
    summary: str
    evidence: tuple[Span, ...]
    windows: tuple[EvidenceWindow, ...]
    ruled_out: tuple[str, ...]
    causes: tuple[RankedCause, ...]
    checks: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str
    coverage: float | None
    resolution_s: float | None
    table: tuple[tuple[str, tuple[str, ...]], ...] = ()
    thresholds: tuple[str, ...] = ()
    headline: str = ""
    aside: str = ""
    goes_with: tuple[str, ...] = ()
    site_lines: tuple[SiteLines, ...] = ()


@dataclass(frozen=True)
class Judged:
    """The result of one rule: found, not found or cannot tell, and why."""

    code: str
    title: str
    question: str
    result: str
    why: str


@dataclass(frozen=True)
class Verdict:
    """The head of the page.

    call : one of CALLS
    sentence : what is wrong, in one sentence
    how_sure : how sure, and with how much data behind it
    ruled_out, cannot_tell : plain sentences
    """

    call: str
    sentence: str
    how_sure: str
    ruled_out: tuple[str, ...] = ()
    cannot_tell: tuple[str, ...] = ()


@dataclass(frozen=True)
class SiteInfo:
    """What the site file says, as far as a page shows it."""

    site_id: str
    name: str
    timezone: str
    complaint: str | None
    kind: str
    zones: dict[int, str]
    settings: tuple[tuple[str, str, str], ...]
    """(key, value as text with unit, since when: '' or a local time)"""
    visits: tuple[Span, ...]
    guesses: tuple[str, ...] = ()
    """Lines of the site file that nobody has confirmed yet."""


@dataclass(frozen=True)
class SiteResult:
    """Everything the pages and review.json of one site are made of."""

    run_id: str
    tool_version: str
    site: SiteInfo
    window: Span
    verdict: Verdict
    findings: tuple[Finding, ...]
    judged: tuple[Judged, ...]
    frames: dict[str, pd.DataFrame] = field(repr=False)
    """Tables by name, such as 'store.file', 'measure.runtime', 'view.window_reading'."""
    thresholds: dict[str, float] = field(repr=False, default_factory=dict)
    units: str = "us"
    redacted: bool = False
    unusual: Unusual | None = None
    """Days against the site's own past, and changes that stayed; None where nobody looked."""
