"""Logging gap: a logger stopped and started again, so that nothing is known in between.

What it says
    From when to when each logger has a hole in its own log, what could not be seen in it, and what
    the others show to have run meanwhile.

Why it matters
    Nothing is counted in a gap: runtime, trips and comfort in it are unknown, not zero.

What looks like it but is not
    A logger set later or taken earlier than the others (listed, not found here). A change-of-state
    log without changes: its length says nothing. Single missed readings.

Source
    Ours: a gap is where two readings are further apart than 2.5 of the logger's intervals.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline import words
from pipeline.findings import (
    equipment_cut_outs,
    high_limit_trips,
    low_limit_trips,
    rise_outside_plate,
)
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._site import SiteFrames, flags, number, records, role_words
from pipeline.findings._windows import Event, evidence, windows
from pipeline.units import MICROSECONDS

RESTS_ON = {
    "supply_temp": (
        ("limit trips", (high_limit_trips.FINDING, low_limit_trips.FINDING)),
        ("cut-outs", (equipment_cut_outs.FINDING,)),
    ),
    "return_temp": (("temperature rise", (rise_outside_plate.FINDING,)),),
}
"""What is seen of a role only with others beside it, and the rules that say with which."""
UNSEEN = {
    "static_pressure": "static",
    "outdoor_temp": "weather",
    "zone_temp": "room temperatures",
    "zone_call": "who was calling",
    "zone_damper": "damper positions",
    "output": "runtime, starts and stages",
    "fault_contact": "faults",
}
WINDOW_MAX_MIN = 12 * 60
SAME_MOMENT_US = 600 * MICROSECONDS


@dataclass(frozen=True)
class Gap:
    """One hole in one logger's log, and the roles that it takes out."""

    logger: str
    start_ts: int
    end_ts: int
    roles: frozenset[str]
    reason: str

    @property
    def length_s(self) -> float:
        """How long."""
        return (self.end_ts - self.start_ts) / MICROSECONDS


@dataclass(frozen=True)
class Gaps:
    """All gaps outside visits that are long enough, by time; loggers that the site has."""

    site: SiteFrames
    gaps: tuple[Gap, ...]
    loggers: frozenset[str]

    @property
    def of_loggers(self) -> tuple[str, ...]:
        """Loggers with a gap."""
        return tuple(sorted({g.logger for g in self.gaps}))


def _all_at_once(c: Gaps) -> Weighed:
    if len(c.loggers) < 2:
        return Weighed(Weight.OPEN, "there is only one logger")
    first = c.gaps[0]
    together = {
        g.logger
        for g in c.gaps
        if g.start_ts < first.end_ts + SAME_MOMENT_US and g.end_ts > first.start_ts - SAME_MOMENT_US
    }
    if together == c.loggers:
        return Weighed(Weight.STRONG, "every logger has a gap at that time")
    others = words.joined(sorted(c.loggers - together))
    return Weighed(Weight.RULED_OUT, f"{others} logged on through it")


def _one_logger(c: Gaps) -> Weighed:
    said = f"only {words.joined(c.of_loggers)} stopped"
    if len(c.loggers) > 1 and len(c.of_loggers) < len(c.loggers):
        return Weighed(Weight.FITS, said)
    return Weighed(Weight.OPEN, "every logger stopped at some time")


def _not_trusted(c: Gaps) -> Weighed | None:
    reasons = sorted({g.reason for g in c.gaps if g.reason != "not logged"})
    return Weighed(Weight.STRONG, words.joined(reasons)) if reasons else None


FINDING = Declaration(
    title="Gap in the log",
    question="Did a logger stop for a while inside its own log?",
    about="log",
    needs_tables=(
        "trust.gap",
        "channel.channel",
        "signal.coverage",
        "interval.output_run",
        "run.visit",
    ),
    thresholds=(
        "gap_finding_min_s",
        "hold_max_intervals",
        "gap_watch_share",
        "coverage_warn_frac",
    ),
    causes=(
        Cause(
            "the logger itself: battery, lost contact, unplugged (it went on logging later, so its "
            "memory was not full)",
            "Raised when the others logged on.",
            _one_logger,
        ),
        Cause(
            "power or the site: everything stopped together",
            "Raised when every logger has a gap at that time. Ruled out when one logged on.",
            _all_at_once,
            not_it="a power cut",
        ),
        Cause(
            "readings were there and are not trusted or were rejected",
            "Raised where the gap's reason says so.",
            _not_trusted,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{logger}: battery, plug and lead before it goes out again",
            "battery fresh, plug and lead tight",
            "fresh battery; fasten or change the lead",
        ),
        Check(
            "log",
            "ask the customer what happened {when}",
            "nothing that would explain it",
            "a power cut or somebody at the logger explains it: note it with the log",
        ),
    ),
    confused_with=("A log that starts later or ends earlier than the others.",),
    source="Ours: two readings further apart than 2.5 of the logger's own intervals.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from one gap of ten minutes; watch by the share of the window that it takes."""
    channels = site.table("channel.channel")
    loggers = frozenset(str(x) for x in channels["logger"].unique())
    if not loggers:
        return CannotTell("no channel was logged")
    all_gaps = _gaps(site)
    if not all_gaps:
        least = words.duration(site.threshold("gap_finding_min_s"))
        return NotFound(f"no logger stopped for {least} or more inside its own log")
    c = Gaps(site, tuple(all_gaps), loggers)
    events = [_event(site, g) for g in c.gaps]
    return Found(
        severity=_severity(c),
        certainty="shown",
        summary=_summary(c),
        headline=_headline(c),
        facts=c,
        evidence=evidence(events),
        windows=windows(site, events, max_min=WINDOW_MAX_MIN),
        fill={
            "logger": words.joined(c.of_loggers),
            "when": site.clock_span(c.gaps[0].start_ts, c.gaps[0].end_ts),
        },
        table=_table(c),
    )


def _gaps(site: SiteFrames) -> list[Gap]:
    """Gaps inside each logger's own log, channels that stopped together as one; by time."""
    logger_of = {r.channel_id: r.logger for r in records(site.table("channel.channel"))}
    rows = site.table("trust.gap")
    # what was read and is not trusted has findings of its own
    rows = rows[(rows["position"] == "inside") & ~flags(rows["is_cut"])].sort_values(
        ["start_ts", "end_ts"]
    )
    merged: dict[str, list[Gap]] = {}
    for r in records(rows):
        logger = str(logger_of.get(r.channel_id, "?"))
        start, end = int(r.start_ts), int(r.end_ts)
        if (end - start) / MICROSECONDS < site.threshold("gap_finding_min_s"):
            continue
        if site.overlaps_visit(start, end):
            continue
        mine = merged.setdefault(logger, [])
        if mine and start < mine[-1].end_ts and mine[-1].reason == r.reason:
            last = mine.pop()
            start, end = last.start_ts, max(end, last.end_ts)
            mine.append(Gap(logger, start, end, last.roles | {r.role}, r.reason))
        else:
            mine.append(Gap(logger, start, end, frozenset({r.role}), r.reason))
    return sorted((g for gaps in merged.values() for g in gaps), key=lambda g: g.start_ts)


def _severity(c: Gaps) -> str:
    site = c.site
    for logger in c.of_loggers:
        lost = sum(g.length_s for g in c.gaps if g.logger == logger)
        if lost / site.window_s >= site.threshold("gap_watch_share"):
            return "watch"
    roles = {role for g in c.gaps for role in g.roles}
    coverage = site.table("signal.coverage")
    lowest = min(
        (number(r.coverage) or 0.0 for r in records(coverage[coverage["role"].isin(roles)])),
        default=1.0,
    )
    return "watch" if lowest < site.threshold("coverage_warn_frac") else "note"


def _unseen(site: SiteFrames, roles: Iterable[str]) -> str:
    """What this log would have shown of these roles; what it never could is not missing here."""
    said = []
    for role in sorted(roles):
        if role in RESTS_ON:
            shown = [what for what, by in RESTS_ON[role] if any(_could(site, d) for d in by)]
            said.append(words.joined(shown) if shown else role_words(role))
            continue
        key = next((k for k in UNSEEN if role == k or role.startswith(f"{k}_")), None)
        said.append(UNSEEN[key] if key else role_words(role))
    inferred = site.logged_roles & {"inferred_heat", "inferred_cool"}
    if inferred and RESTS_ON.keys() & set(roles):
        said.append("when heat or cooling ran")
    return ", ".join(dict.fromkeys(said))


def _could(site: SiteFrames, d: Declaration) -> bool:
    """Whether what the rule looks for could be seen in this log at any time."""
    return all(any(role in site.logged_roles for role in group) for group in d.needs_roles)


def _meanwhile(site: SiteFrames, g: Gap) -> str:
    """What the outputs did in the gap, where they were logged through it; '' otherwise."""
    if any(role.startswith("output") for role in g.roles):
        return ""
    runs = site.table("interval.output_run")
    told = []
    for output in ("output_w1", "output_y1"):
        on = 0.0
        for r in records(runs[runs["output"] == output]):
            overlap = min(int(r.end_ts), g.end_ts) - max(int(r.start_ts), g.start_ts)
            on += max(0, overlap) / MICROSECONDS
        if on > 0:
            told.append(f"{output.removeprefix('output_').upper()} on for {words.duration(on)}")
    return f"meanwhile the panel had {words.joined(told)}" if told else ""


def _headline(c: Gaps) -> str:
    first = c.gaps[0]
    span = c.site.clock_span(first.start_ts, first.end_ts)
    if len(c.gaps) == 1:
        return f"logger {first.logger} stopped for {words.duration(first.length_s)}, {span}"
    total = sum(g.length_s for g in c.gaps)
    noun = "logger" if len(c.of_loggers) == 1 else "loggers"
    return (
        f"{noun} {words.joined(c.of_loggers)} stopped {words.times(len(c.gaps))}, "
        f"{words.duration(total)} in all, first {span}"
    )


def _summary(c: Gaps) -> str:
    site, first = c.site, c.gaps[0]
    exact = (
        f"last reading {site.clock(first.start_ts, with_seconds=True)}, next "
        f"{site.clock(first.end_ts, with_seconds=True)}"
        if len(c.gaps) == 1
        else ""
    )
    roles = {role for g in c.gaps for role in g.roles}
    ran = _meanwhile(site, first) if len(c.gaps) == 1 else ""
    return words.sentences(
        _headline(c),
        exact,
        f"not seen then: {_unseen(site, roles)}",
        ran,
    )


def _event(site: SiteFrames, g: Gap) -> Event:
    return Event(
        start_ts=g.start_ts,
        end_ts=g.end_ts,
        worth=g.length_s,
        say=(
            f"{site.clock_span(g.start_ts, g.end_ts)}, {g.logger} logged nothing for "
            f"{words.duration(g.length_s)}"
        ),
        label=f"{g.logger}: {g.reason}",
    )


def _table(c: Gaps) -> tuple[tuple[str, tuple[str, ...]], ...]:
    site = c.site
    return (
        ("Logger", tuple(g.logger for g in c.gaps)),
        ("Last reading", tuple(site.clock(g.start_ts, with_seconds=True) for g in c.gaps)),
        ("Next reading", tuple(site.clock(g.end_ts, with_seconds=True) for g in c.gaps)),
        ("Length", tuple(words.duration(g.length_s) for g in c.gaps)),
        ("Not seen", tuple(_unseen(site, g.roles) for g in c.gaps)),
        ("Why", tuple(g.reason for g in c.gaps)),
    )
