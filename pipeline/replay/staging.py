"""When a panel with other staging settings would have had second stage on, on the calls as logged.

The rule is the one that `measure.stage_up` audits: first stage runs, as many zones call as the
minimum asks, and one has called (or the equipment has run) for the stage-up delay, or its
thermostat asks for second stage itself. A call broken for less than the bridging time is one; its
clock starts again after a trip, and with the source where that had stopped meanwhile.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from pipeline.findings import SiteFrames
from pipeline.findings._site import flags, records
from pipeline.units import MICROSECONDS

Spans = list[tuple[int, int]]
MODES = {"heating": "heat_zones", "cooling": "cool_zones"}


@dataclass(frozen=True)
class Stretch:
    """Part of a source's run with the calls unchanged.

    zones : those that call for the mode
    timed_ts : the instant the stage-up clock of the longest call began; None with no zone calling
    asked : spans in which one of these zones' thermostats asks for second stage
    """

    start_ts: int
    end_ts: int
    zones: tuple[int, ...]
    timed_ts: int | None
    asked: Spans = field(default_factory=list)


@dataclass(frozen=True)
class Run:
    """One run of the burner or the compressor outside visits."""

    source: str
    mode: str
    start_ts: int
    end_ts: int
    stretches: tuple[Stretch, ...]


class Staging:
    """A site's runs, ready to be replayed at any delay and number of zones.

    clock, by, release : how the panel stages, as given; where not given, the clock that fits more
        of the starts, the timer, and release as zones drop out
    """

    def __init__(self, site: SiteFrames) -> None:
        self.site = site
        self.by = site.setting_text("stage_up_by") or "unknown"
        self.release = site.setting_text("stage2_release") or "unknown"
        used = site.table("measure.stage_up")["clock_used"].dropna()
        self.clock = site.setting_text("stage_up_clock") or (
            str(used.mode().iloc[0]) if len(used) else "zone_call"
        )

    # ------------------------------------------------------------------ what was logged

    @cached_property
    def logged(self) -> Spans:
        """Second stage as logged, within the runs looked at."""
        outputs = self.site.table("interval.output_run")
        rows = records(outputs[outputs["output"].isin(["output_w2", "output_y2"])])
        made = []
        for run in self.runs:
            own = "output_w2" if run.source == "burner" else "output_y2"
            for r in rows:
                start, end = max(r.start_ts, run.start_ts), min(r.end_ts, run.end_ts)
                if r.output == own and start < end:
                    made.append((int(start), int(end)))
        return _joined(made, 0)

    @cached_property
    def runs(self) -> list[Run]:
        """Runs of a source with two stages, with their calls; those in visits are left out."""
        table = self.site.table("interval.source_run")
        sources = {"output_w2": "burner", "output_y2": "compressor"}
        staged = [s for role, s in sources.items() if role in self.site.logged_roles]
        rows = records(
            table[
                table["source"].isin(staged)
                & table["mode"].isin(list(MODES))
                & ~flags(table["in_visit"])
                & ~flags(table["is_inferred"])
            ].sort_values("start_ts")
        )
        stops = sorted(
            int(r.end_ts)
            for r in records(table)
            if r.source in ("burner", "compressor", "strip", "heat")
        )
        made = []
        for r in rows:
            at = bisect_right(stops, int(r.start_ts))
            stopped_ts = stops[at - 1] if at else None
            made.append(self._run(r, stopped_ts))
        return made

    def _run(self, r: Any, stopped_ts: int | None) -> Run:
        start, end = int(r.start_ts), int(r.end_ts)
        stretches = []
        at = max(0, bisect_right(self._condition_starts, start) - 1)
        for c in self._conditions[at:]:
            if c.start_ts >= end:
                break
            a, b = max(int(c.start_ts), start), min(int(c.end_ts), end)
            zones = getattr(c, MODES[r.mode])
            if a >= b or zones is None:
                continue
            who = tuple(int(z) for z in zones.split("+") if z)
            stretches.append(
                Stretch(a, b, who, self._timed(r, a, who, stopped_ts), self._asked(r, a, b, who))
            )
        return Run(r.source, r.mode, start, end, tuple(stretches))

    def _timed(self, r: Any, ts: int, who: tuple[int, ...], stopped_ts: int | None) -> int | None:
        if not who:
            return None
        if self.clock == "equipment_start":
            return int(r.start_ts)
        begun = []
        for zone in who:
            for a, b in self._calls[(r.mode, zone)]:
                if a <= ts < b:
                    waited = stopped_ts is not None and a < stopped_ts
                    begun.append(int(r.start_ts) if waited else a)
        if not begun:
            return None
        at = bisect_right(self._trip_ends, ts)
        return max(min(begun), self._trip_ends[at - 1] if at else 0)

    def _asked(self, r: Any, a: int, b: int, who: tuple[int, ...]) -> Spans:
        """W2 of a thermostat asks in heating; Y2 in the mode that its zone calls for."""
        some = [
            (max(a, x), min(b, y))
            for role, zone, x, y in self._second_calls
            if x < b and y > a and (zone in who or (role == "zone_call_w2" and r.mode == "heating"))
        ]
        return _joined(some, 0)

    @cached_property
    def _conditions(self) -> list[Any]:
        return records(self.site.table("interval.condition").sort_values("start_ts"))

    @cached_property
    def _condition_starts(self) -> list[int]:
        return [int(c.start_ts) for c in self._conditions]

    @cached_property
    def _calls(self) -> dict[tuple[str, int], Spans]:
        """Calls by mode and zone, short breaks bridged."""
        some: dict[tuple[str, int], Spans] = defaultdict(list)
        for c in records(self.site.table("interval.call")):
            some[(c.mode, int(c.zone))].append((int(c.start_ts), int(c.end_ts)))
        bridge_us = int(self.site.threshold("call_bridge_s") * MICROSECONDS) - 1
        return defaultdict(list, {key: _joined(spans, bridge_us) for key, spans in some.items()})

    @cached_property
    def _second_calls(self) -> list[tuple[str, int, int, int]]:
        state = self.site.table("signal.state")
        rows = state[state["role"].isin(["zone_call_w2", "zone_call_y2"]) & flags(state["is_on"])]
        return [(r.role, int(r.zone or 0), int(r.start_ts), int(r.end_ts)) for r in records(rows)]

    @cached_property
    def _trip_ends(self) -> list[int]:
        return sorted(int(t) for t in self.site.table("interval.trip")["end_ts"].dropna())

    # ------------------------------------------------------------------ replayed

    def second_stage(self, delay_s: float | None, min_zones: float | None) -> Spans:
        """When second stage would have been on; a setting that is None asks for nothing."""
        made: Spans = []
        for run in self.runs:
            own = [span for s in run.stretches for span in self._in_order(s, delay_s, min_zones)]
            own = _joined(own, int(self.site.threshold("chatter_max_s") * MICROSECONDS))
            if own and self.release == "until_satisfied":
                own = [(own[0][0], run.end_ts)]
            made += own
        return sorted(made)

    def _in_order(self, s: Stretch, delay_s: float | None, min_zones: float | None) -> Spans:
        if len(s.zones) < max(1, min_zones or 1):
            return []
        spans: Spans = []
        if self.by != "thermostat" and s.timed_ts is not None:
            from_ts = max(s.start_ts, s.timed_ts + int((delay_s or 0) * MICROSECONDS))
            if from_ts < s.end_ts:
                spans.append((from_ts, s.end_ts))
        if self.by in ("thermostat", "both"):
            spans += s.asked
        return _joined(spans, 0)


def length_s(spans: Iterable[tuple[int, int]]) -> float:
    """All of the spans together."""
    return sum(b - a for a, b in spans) / MICROSECONDS


def overlap_s(first: Spans, second: Spans) -> float:
    """Time that both hold; each list ascending and without overlap."""
    total, n = 0, 0
    for a, b in first:
        while n and second[n - 1][1] > a:
            n -= 1
        while n < len(second) and second[n][1] <= a:
            n += 1
        k = n
        while k < len(second) and second[k][0] < b:
            total += max(0, min(b, second[k][1]) - max(a, second[k][0]))
            k += 1
    return total / MICROSECONDS


def holds(spans: Spans, ts: int) -> bool:
    """Whether a span holds the instant."""
    at = bisect_right(spans, (ts, 2**63))
    return at > 0 and spans[at - 1][0] <= ts < spans[at - 1][1]


def _joined(spans: Spans, gap_us: int) -> Spans:
    """Spans that touch or stand no farther apart than the gap as one, ascending."""
    made: Spans = []
    for a, b in sorted(spans):
        if made and a <= made[-1][1] + gap_us:
            made[-1] = (made[-1][0], max(made[-1][1], b))
        else:
            made.append((a, b))
    return made
