"""What findings about channels share: the rows of trust.problem of one code, and their words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.channels import OUTPUT_ROLES, ROLES
from pipeline.findings._base import CannotTell, Found, NotFound, Outcome
from pipeline.findings._site import SiteFrames, number, records, role_words
from pipeline.findings._windows import Event, windows
from pipeline.result import EvidenceWindow, SiteLines, Span
from pipeline.units import MICROSECONDS

TABLES = (
    "trust.problem",
    "trust.run",
    "trust.rest",
    "channel.channel",
    "store.file",
    "run.visit",
    "run.site",
)
MAX_SPANS = 50
SHOWN_RUN_US = 600 * MICROSECONDS


@dataclass(frozen=True)
class Stretch:
    """One row of trust.problem, with the channel's own words."""

    channel_id: int
    label: str
    column: str
    logger: str
    role: str
    start_ts: int
    end_ts: int
    figure: float
    unit: str
    n: int
    of_n: int
    is_cut: bool
    reason: str
    correction: str | None

    @property
    def length_s(self) -> float:
        """How long."""
        return (self.end_ts - self.start_ts) / MICROSECONDS


@dataclass(frozen=True)
class Trouble:
    """All stretches of one code at one site, in order of time; what the causes' tests read."""

    site: SiteFrames
    stretches: tuple[Stretch, ...]

    @property
    def first(self) -> Stretch:
        """The first stretch of the channel that is named first."""
        return self.stretches[0]

    @property
    def channels(self) -> tuple[Stretch, ...]:
        """The first stretch of each channel."""
        seen: dict[int, Stretch] = {}
        for s in self.stretches:
            seen.setdefault(s.channel_id, s)
        return tuple(seen.values())

    @property
    def labels(self) -> str:
        """The channels in words."""
        return words.joined(s.label for s in self.channels)

    def of(self, channel: Stretch) -> tuple[Stretch, ...]:
        """The stretches of that channel."""
        return tuple(s for s in self.stretches if s.channel_id == channel.channel_id)

    def value(self, s: Stretch) -> str:
        """The figure of a stretch in the report's units."""
        return said(self.site, s, is_difference=s.unit == "store difference")


def said(site: SiteFrames, s: Stretch, *, is_difference: bool = False) -> str:
    """The figure of a stretch with its unit: a reading, or a difference of two."""
    dimension = ROLES[s.role].dimension
    if dimension == "pressure":
        return site.static(s.figure)
    if dimension == "temperature" or s.unit == "store difference":
        plain = site.temperature_difference if is_difference else site.temperature
        return plain(s.figure)
    return f"{s.figure:g} %"


def trouble(site: SiteFrames, code: str) -> Trouble | None:
    """The stretches of that code; None if there is none."""
    rows = site.table("trust.problem")
    rows = rows[rows["code"] == code]
    if rows.empty:
        return None
    channel = {int(r.channel_id): r for r in records(site.table("channel.channel"))}
    made = [_stretch(site, r, channel[int(r.channel_id)]) for r in records(rows)]
    return Trouble(site, tuple(sorted(made, key=lambda s: (s.start_ts, s.channel_id))))


def _stretch(site: SiteFrames, row: Any, channel: Any) -> Stretch:
    return Stretch(
        channel_id=int(row.channel_id),
        label=label_of(site, row.role, row.zone),
        column=channel.column_name,
        logger=channel.logger,
        role=row.role,
        start_ts=int(row.start_ts),
        end_ts=int(row.end_ts),
        figure=number(row.figure) or 0.0,
        unit=row.figure_unit or "",
        n=int(row.n or 0),
        of_n=int(row.of_n or 0),
        is_cut=bool(row.is_cut),
        reason=row.reason,
        correction=row.correction,
    )


def label_of(site: SiteFrames, role: str, zone: Any) -> str:
    """A channel as a technician says it, with its zone's name; small first letter if it may."""
    if zone is None:
        return role_words(role)
    name = site.site.zones.get(int(zone), f"Zone {int(zone)}")
    return ROLES[role].label.replace("{zone}", name)


def judged(
    site: SiteFrames,
    code: str,
    roles: Sequence[str],
    tell: Callable[[Trouble], tuple[str, str]],
    *,
    severity: str | Callable[[Trouble], str] = "watch",
    least: str = "",
    certainty: str = "shown",
    blind: Callable[[SiteFrames], str | None] | None = None,
    holds: str = "",
) -> Outcome:
    """The outcome of a finding about channels.

    roles : channels that the check looks at; with none of them logged it cannot tell
    tell : headline (a clause) and what else to say (a sentence, or '')
    severity : or what gives it
    least : threshold of events below which nothing is said; the readings are cut out all the same
    blind : why the log could not show it either way; None: it could
    holds : what is said where nothing was found
    """
    channel = site.table("channel.channel")
    there = channel[channel["role"].isin(list(roles)) & channel["is_primary"].astype(bool)]
    if there.empty:
        return CannotTell(f"not logged: {words.joined(map(role_words, roles[:3]), last='or')}")
    found = trouble(site, code)
    if found is not None and least and max(s.n for s in found.stretches) < site.threshold(least):
        few = max(s.n for s in found.stretches)
        return NotFound(f"{words.count(few, 'reading')} of that kind, left out, and no more")
    if found is None:
        reason = blind(site) if blind is not None else None
        return CannotTell(reason) if reason is not None else NotFound(holds)
    headline, more = tell(found)
    cut = any(s.is_cut for s in found.stretches)
    after = "what depends on it is left out there" if cut else ""
    return Found(
        severity=severity if isinstance(severity, str) else severity(found),
        certainty=certainty,
        summary=words.sentences(*(part for part in (headline, more, after) if part)),
        headline=headline,
        facts=found,
        evidence=tuple(
            Span(s.start_ts, s.end_ts, f"{s.label}: {s.reason}")
            for s in found.stretches[:MAX_SPANS]
        ),
        windows=_windows(found),
        fill={"channels": found.labels, "action": action(found), "columns": columns(found)},
        table=_table(found),
        site_lines=site_lines(found),
    )


def too_few_runs(site: SiteFrames) -> str | None:
    """Why probes cannot be judged by runs; None if there are enough."""
    runs = site.table("trust.run")
    n = int(runs["supply_f"].notna().sum())
    least = site.threshold("probe_min_runs")
    if n >= least:
        return None
    if not any(r in OUTPUT_ROLES or r.startswith("zone_call_") for r in site.logged_roles):
        return "not logged: outputs or calls, by which runs are told apart"
    return (
        f"{words.count(n, 'run')} with supply air in this log; "
        f"{words.number(int(least))} are needed"
    )


def columns(found: Trouble) -> str:
    """The columns in question with their loggers."""
    return words.joined(f'"{s.column}" of {s.logger}' for s in found.channels)


def action(found: Trouble) -> str:
    """What site.toml would have to say, or what to do where no correction is safe."""
    offered = site_lines(found)
    if not offered:
        return "no line in site.toml puts this right"
    parts = [f"{o.block} say {' and '.join(o.lines)}" for o in offered]
    return f"in site.toml, {words.joined(parts)}; then review again"


def site_lines(found: Trouble) -> tuple[SiteLines, ...]:
    """The corrections that are safe, by the block of site.toml they belong to."""
    columns_there = found.site.table("channel.channel")["column_name"].tolist()
    made = []
    for s in found.stretches:
        if s.correction is None:
            continue
        lines = tuple(s.correction.split("\n"))
        if lines[0].startswith("ob_energised_in"):
            block = "under [equipment]"
        else:
            block = f'in the [[channel]] block of "{s.column}"'
            if columns_there.count(s.column) > 1:
                block += f" of {s.logger}"
        made.append(SiteLines(block, lines))
    return tuple(dict.fromkeys(made))


def _windows(found: Trouble) -> tuple[EvidenceWindow, ...]:
    """The stretches; where one lasts as long as the log, a run in which it shows."""
    site = found.site
    runs = site.table("trust.run").sort_values("start_ts")
    long = runs[runs["end_ts"] - runs["start_ts"] >= SHOWN_RUN_US]
    events = []
    for s in found.stretches[:MAX_SPANS]:
        start, end = s.start_ts, s.end_ts
        inside = long[(long["start_ts"] > start) & (long["end_ts"] < end)]
        if s.length_s > SHOWN_RUN_US / MICROSECONDS and not inside.empty:
            start = int(inside["start_ts"].iloc[0])
            end = int(inside["end_ts"].iloc[0])
        say = f"{site.clock(start)}, {s.label}: {s.reason}"
        events.append(Event(start, end, s.length_s, say, s.reason))
    return windows(site, sorted(events, key=lambda e: e.start_ts))


def _table(found: Trouble) -> tuple[tuple[str, tuple[str, ...]], ...]:
    site, rows = found.site, found.stretches[:200]
    return (
        ("Channel", tuple(s.label for s in rows)),
        ("Column", tuple(s.column for s in rows)),
        ("From", tuple(site.clock(s.start_ts) for s in rows)),
        ("Until", tuple(site.clock(s.end_ts) for s in rows)),
        ("Why", tuple(s.reason for s in rows)),
        ("Left out", tuple("yes" if s.is_cut else "no" for s in rows)),
        ("In site.toml", tuple((s.correction or "–").replace("\n", "; ") for s in rows)),
    )
