"""Output chatter: an output drops out for seconds and comes straight back.

What it says
    Which of the panel's outputs dropped out for 15 s or less, how often and when, and whether a
    thermostat's call or the other outputs blinked at the same moment.

Why it matters
    Every blink is a contactor or gas valve opening under load. It points to a loose wire, a
    thermostat or a 24 V supply at its limit long before anything fails.

What looks like it but is not
    Short cycling (minutes, not seconds). An output that has done its work and is wanted again by
    a new call seconds later, such as G between a purge and the next call. A state logger's own
    contact bounce: then nothing else moves with it. A logger that samples too slowly to see it
    sees nothing: it cannot tell.

Source
    Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.channels import OUTPUT_ROLES, ROLES
from pipeline.findings import _cautions
from pipeline.findings._base import (
    MAX_TABLE_ROWS,
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
from pipeline.findings._site import SiteFrames, flags, records
from pipeline.findings._windows import Event, evidence, windows
from pipeline.result import Mark
from pipeline.units import MICROSECONDS

COMPRESSOR = ("output_y1", "output_y2")
SECOND = ("output_w2", "output_y2")
SAME_MOMENT_US = 2 * MICROSECONDS


@dataclass(frozen=True)
class Blink:
    """One short off: which output, from when to when, and what blinked with it."""

    role: str
    start_ts: int
    end_ts: int
    zones: tuple[int, ...]
    with_other: bool

    @property
    def off_s(self) -> float:
        """How long it was off."""
        return (self.end_ts - self.start_ts) / MICROSECONDS


@dataclass(frozen=True)
class Chatter:
    """Blinks outside visits of the outputs in which chatter is found, in order of time."""

    site: SiteFrames
    blinks: tuple[Blink, ...]
    has_calls: bool
    calls_coarse: bool

    @property
    def n(self) -> int:
        """How many."""
        return len(self.blinks)

    @property
    def roles(self) -> tuple[str, ...]:
        """The outputs, in the order of the terminals."""
        seen = {b.role for b in self.blinks}
        return tuple(r for r in OUTPUT_ROLES if r in seen)


def _thermostat(c: Chatter) -> Weighed:
    if not c.has_calls:
        return Weighed(Weight.OPEN, "the zones' calls were not logged")
    hit = [b for b in c.blinks if b.zones]
    said = f"a zone's call blinked at the same moment in {words.of_all(len(hit), c.n, 'drop-out')}"
    if not hit and c.calls_coarse:
        return Weighed(Weight.OPEN, "the zones' calls were sampled too coarsely to show a blink")
    if not hit:
        return Weighed(Weight.RULED_OUT, said)
    zones = sorted({z for b in hit for z in b.zones})
    said += f" ({words.joined(c.site.zones(str(z)) for z in zones)})"
    share = c.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if len(hit) >= share * c.n else Weight.FITS, said)


def _power(c: Chatter) -> Weighed:
    n = sum(b.with_other for b in c.blinks)
    said = f"another output blinked at the same moment in {words.of_all(n, c.n, 'drop-out')}"
    if n == 0:
        return Weighed(Weight.AGAINST, said)
    share = c.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * c.n else Weight.OPEN, said)


def _wire(c: Chatter) -> Weighed:
    n = sum(not b.with_other and not b.zones for b in c.blinks)
    said = f"the output blinked by itself in {words.of_all(n, c.n, 'drop-out')}"
    if n == 0:
        return Weighed(Weight.RULED_OUT, said)
    share = c.site.threshold("cause_share_min_frac")
    return Weighed(Weight.FITS if n >= share * c.n else Weight.OPEN, said)


def _logger(c: Chatter) -> Weighed:
    return Weighed(
        Weight.OPEN,
        "the log holds the terminal, not the contactor: whether the equipment dropped out too "
        "must be heard or measured",
    )


FINDING = Declaration(
    title="Output chatter",
    question="Do the panel's outputs drop out for seconds and come straight back?",
    needs_tables=(
        "signal.state",
        "channel.channel",
        "run.visit",
        "measure.runtime",
        "interval.bridged_call",
    ),
    needs_roles=(OUTPUT_ROLES,),
    figure="outputs",
    thresholds=(
        "chatter_max_s",
        "chatter_min_events",
        "chatter_plan_events",
        "chatter_call_before_s",
        "count_min_intervals",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "a thermostat's call blinks: its wire, its contact, its own power",
            "Raised when a zone's call blinks at the same moment. Ruled out when none ever does.",
            _thermostat,
            not_it="a thermostat's call",
        ),
        Cause(
            "the 24 V supply dips: transformer at its limit, a short, a loose common",
            "Raised when other outputs blink at the same moment.",
            _power,
        ),
        Cause(
            "a relay or a loose terminal of this output",
            "Raised when the output blinks with nothing else. Ruled out when it never does alone.",
            _wire,
            not_it="this output's own relay or terminal",
        ),
        Cause(
            "the state logger's own contact or clip",
            "Never told by the log itself.",
            _logger,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "power off, then tug each wire of the zones that blink; does the thermostat share its "
            "power with a damper?",
            "tight, and a common of its own",
            "tighten, give it its own common",
        ),
        Check(
            "panel",
            "24 V between R and C with everything on; then, power off and verified off, tug the "
            "wire of {outputs}",
            "24 to 28 V, steady",
            "transformer at its limit or a short: find the short first, then add up the loads",
        ),
        Check(
            "log",
            "listen at the contactor or valve while the logger shows a blink",
            "the equipment stays on: it is the logger's clip",
            "the equipment drops out too: wire, relay or supply",
        ),
    ),
    cautions=(_cautions.ELECTRICITY, _cautions.OWN_LIMIT, _cautions.SETTINGS),
    confused_with=("Short cycling: off for minutes.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three blinks of one output; severity by number and by whether it is Y."""
    channels = site.table("channel.channel")
    channels = channels[channels["role"].isin(list(OUTPUT_ROLES)) & flags(channels["is_primary"])]
    max_s = site.threshold("chatter_max_s")
    fine_s = max_s / site.threshold("count_min_intervals")
    seen = [r.role for r in records(channels) if float(r.interval_s or 0.0) <= fine_s]
    if not seen:
        slowest = max(float(r.interval_s or 0.0) for r in records(channels))
        return CannotTell(
            f"outputs were sampled every {words.duration(slowest)}: an off of "
            f"{words.duration(max_s)} or less falls between two readings"
        )
    offs = _offs(site, max_s)
    offs = offs[~offs["role"].isin([r for r in OUTPUT_ROLES if r not in seen])]
    blinks = [b for b in _blinks(site, offs) if b.role in seen]
    least = site.threshold("chatter_min_events")
    roles = {r for r in seen if sum(b.role == r for b in blinks) >= least}
    if not roles:
        return NotFound(
            f"{words.count(len(blinks), 'drop-out')} on {words.count(len(seen), 'output')}, "
            f"visits left out{_left_out(offs, blinks)}"
        )
    kept = tuple(b for b in blinks if b.role in roles)
    calls = site.table("channel.channel")
    calls = calls[calls["role"].str.startswith("zone_call")]
    coarse = any(float(r.interval_s or 0.0) > fine_s for r in records(calls))
    c = Chatter(site, kept, bool(len(calls)), coarse)
    events = [_event(site, b) for b in kept]
    return Found(
        severity=_severity(c),
        certainty="shown",
        summary=_summary(c),
        headline=_headline(c),
        facts=c,
        evidence=evidence(events),
        windows=windows(site, events),
        fill={"outputs": words.joined(_terminal(r) for r in c.roles)},
        table=_table(c),
    )


def _left_out(offs: pd.DataFrame, blinks: list[Blink]) -> str:
    """How many more short offs of outputs a new call explained; '' if none."""
    n = int(offs["role"].isin(list(OUTPUT_ROLES)).sum()) - len(blinks)
    return f"; {n} more come with a new call or with the heat or cooling it brings" if n else ""


def _offs(site: SiteFrames, max_s: float) -> pd.DataFrame:
    """Short offs between two ons of one channel, outside visits: role, zone, start_ts, end_ts."""
    rows = site.table("signal.state")
    wanted = rows["role"].isin(list(OUTPUT_ROLES)) | rows["role"].str.startswith("zone_call")
    rows = rows[wanted].sort_values(["channel_id", "start_ts"]).reset_index(drop=True)
    on = flags(rows["is_on"])
    before, after = rows.shift(1), rows.shift(-1)
    short = (
        ~on
        & (rows["end_ts"] - rows["start_ts"] <= max_s * MICROSECONDS)
        & (before["channel_id"] == rows["channel_id"])
        & (before["end_ts"] == rows["start_ts"])
        & (after["channel_id"] == rows["channel_id"])
        & (after["start_ts"] == rows["end_ts"])
    )
    found = rows[short]
    in_visit = [site.overlaps_visit(int(r.start_ts), int(r.end_ts)) for r in records(found)]
    return found[~pd.Series(in_visit, index=found.index, dtype=bool)].reset_index(drop=True)


def _blinks(site: SiteFrames, offs: pd.DataFrame) -> list[Blink]:
    """The offs of outputs that no new call explains, in order of time."""
    rows = records(offs)
    outputs = [r for r in rows if r.role in OUTPUT_ROLES]
    calls = [r for r in rows if r.role not in OUTPUT_ROLES]
    starts = _starts(site, offs)

    def together(a: Any, b: Any) -> bool:
        return bool(
            a.start_ts < b.end_ts + SAME_MOMENT_US and b.start_ts < a.end_ts + SAME_MOMENT_US
        )

    made = [
        Blink(
            role=o.role,
            start_ts=int(o.start_ts),
            end_ts=int(o.end_ts),
            zones=tuple(sorted({int(c.zone) for c in calls if together(o, c)})),
            with_other=any(together(o, p) for p in outputs if p.role != o.role),
        )
        for o in outputs
        if not _explained(site, o, starts)
    ]
    return sorted(made, key=lambda b: (b.start_ts, b.role))


def _starts(site: SiteFrames, offs: pd.DataFrame) -> pd.DataFrame:
    """Off-to-on edges of calls and outputs, those that only end a blink left out: role, ts."""
    rows = site.table("signal.state")
    calls = rows["role"].str.startswith("zone_call") | rows["role"].isin(list(OUTPUT_ROLES))
    on = rows[calls & flags(rows["is_on"])][["channel_id", "role", "start_ts"]]
    blinked = offs[["channel_id", "end_ts"]].rename(columns={"end_ts": "start_ts"})
    marked = on.merge(blinked.assign(is_blink=True), on=["channel_id", "start_ts"], how="left")
    return marked[~flags(marked["is_blink"])]


def _explained(site: SiteFrames, off: Any, starts: pd.DataFrame) -> bool:
    """Whether a new call, or the heat or cooling it brings, is why the output came back.

    An output whose work is done and that is wanted again seconds later has not chattered: most
    often G, off at the end of a purge and on again with the next call.
    """
    before = site.threshold("chatter_call_before_s") * MICROSECONDS
    calls = starts[starts["role"].str.startswith("zone_call")]
    new_call = (calls["start_ts"] > off.end_ts - before) & (
        calls["start_ts"] <= off.end_ts + SAME_MOMENT_US
    )
    if bool(new_call.any()):
        return True
    if off.role in SECOND and _call_ended(site, off):
        return True
    if off.role != "output_g":
        return False
    work = starts[starts["role"].isin(["output_w1", "output_y1", "output_aux"])]
    with_it = (work["start_ts"] >= off.start_ts) & (
        work["start_ts"] <= off.end_ts + site.threshold("chatter_max_s") * MICROSECONDS
    )
    return bool(with_it.any())


def _call_ended(site: SiteFrames, off: Any) -> bool:
    """Whether a call ended as the output went off: second stage goes by how many zones call."""
    ends = site.table("interval.bridged_call")["end_ts"]
    return bool(((ends - off.start_ts).abs() <= SAME_MOMENT_US).any())


def _severity(c: Chatter) -> str:
    n = {r: sum(b.role == r for b in c.blinks) for r in c.roles}
    if any(n.get(r, 0) >= c.site.threshold("chatter_plan_events") for r in COMPRESSOR):
        return "plan"
    return "note" if c.roles == ("output_g",) else "watch"


def _terminal(role: str) -> str:
    return ROLES[role].label.removesuffix(" out")


def _headline(c: Chatter) -> str:
    parts = [f"{_terminal(r)} {words.times(sum(b.role == r for b in c.blinks))}" for r in c.roles]
    longest = max(b.off_s for b in c.blinks)
    return (
        f"outputs drop out and come straight back: {words.joined(parts)}, for "
        f"{words.duration(longest)} at the most"
    )


def _summary(c: Chatter) -> str:
    site = c.site
    return words.sentences(
        f"{_headline(c)}: first {site.clock(c.blinks[0].start_ts, with_seconds=True)}, last "
        f"{site.clock(c.blinks[-1].start_ts, with_seconds=True)}"
    )


def _event(site: SiteFrames, b: Blink) -> Event:
    return Event(
        start_ts=b.start_ts,
        end_ts=b.end_ts,
        worth=b.off_s,
        say=(
            f"{site.clock(b.start_ts, with_seconds=True)}, {_terminal(b.role)} off for "
            f"{words.duration(b.off_s)}"
        ),
        label="chatter",
        marks=(Mark(b.start_ts, f"{_terminal(b.role)} drops out"),),
    )


def _table(c: Chatter) -> tuple[tuple[str, tuple[str, ...]], ...]:
    site, rows = c.site, c.blinks[:MAX_TABLE_ROWS]
    return (
        ("When", tuple(site.clock(b.start_ts, with_seconds=True) for b in rows)),
        ("Output", tuple(_terminal(b.role) for b in rows)),
        ("Off for", tuple(words.duration(b.off_s) for b in rows)),
        (
            "Blinked with it",
            tuple(
                words.joined(
                    [site.zones(str(z)) for z in b.zones] + (["an output"] if b.with_other else [])
                )
                or "nothing"
                for b in rows
            ),
        ),
    )
