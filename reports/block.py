"""What a block gets and gives: the model of a page, and HTML with the figures in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
import pandas as pd
from markupsafe import Markup

from pipeline import words
from pipeline.channels import ROLES
from pipeline.result import Judged, SiteResult, Span
from pipeline.sampling import AT_LEAST, NOT_GIVEN, Standing, standings
from reports.display import NONE, Clock, Display, number, text
from reports.figure import Figure, TimeFigure
from reports.readings import Readings, thinned


@dataclass(frozen=True)
class Block:
    """One part of a page.

    key : element id; title : its heading, '' where it brings its own
    nav : the word in the list of contents, '' to stay out of it
    """

    key: str
    title: str
    html: Markup
    figures: tuple[Figure, ...] = ()
    nav: str = ""

    @property
    def live(self) -> tuple[TimeFigure, ...]:
        """Figures that are also drawn by Plotly."""
        return tuple(f for f in self.figures if isinstance(f, TimeFigure) and not f.is_empty)


@dataclass(frozen=True)
class Model:
    """A site's result with the units, the clock and the words of one page."""

    result: SiteResult
    show: Display = field(init=False)
    clock: Clock = field(init=False)

    def __post_init__(self) -> None:
        units = self.result.units
        object.__setattr__(self, "show", Display(units))
        object.__setattr__(
            self, "clock", Clock(self.result.site.timezone, 12 if units == "us" else 24)
        )

    @property
    def window(self) -> Span:
        """What was looked at."""
        return self.result.window

    def frame(self, name: str) -> pd.DataFrame | None:
        """The table, or None where it is missing or has no row."""
        frame = self.result.frames.get(name)
        return None if frame is None or frame.empty else frame

    @cached_property
    def _rows(self) -> dict[str, list[dict[str, object]]]:
        return {}

    def rows(self, name: str) -> list[dict[str, object]]:
        """The table's rows as dictionaries, made once; none where it is missing."""
        if name not in self._rows:
            frame = self.frame(name)
            self._rows[name] = [] if frame is None else records(frame)
        return self._rows[name]

    @cached_property
    def _states(self) -> dict[tuple[object, ...], pd.DataFrame]:
        frame = self.frame("view.window_state")
        if frame is None:
            return {}
        return {tuple(key): part for key, part in frame.groupby(["code", "n"], sort=False)}

    def states_of(self, code: str, n: int) -> pd.DataFrame | None:
        """State stretches of one evidence window; None where none was logged."""
        return self._states.get((code, n))

    @property
    def log(self) -> tuple[Readings, ...]:
        """Trusted readings of the window, a channel at a time, the house's own first.

        All of them, or of a long log those that `thinned_to_s` says.
        """
        return self._thinned[0]

    @property
    def thinned_to_s(self) -> int | None:
        """Of how many seconds the lowest and highest stand for the rest; None: all are there."""
        return self._thinned[1]

    @property
    def n_logged(self) -> int:
        """How many trusted readings there are."""
        return sum(r.ts.size for r in self._whole_log)

    @cached_property
    def _thinned(self) -> tuple[tuple[Readings, ...], int | None]:
        shown = [Span(w.start_ts, w.end_ts) for f in self.result.findings for w in f.windows]
        return thinned(self._whole_log, shown)

    @cached_property
    def _whole_log(self) -> tuple[Readings, ...]:
        frame = self.frame("view.log_reading")
        if frame is None:
            return ()
        columns = [frame[c].to_numpy() for c in ("channel_id", "ts", "value", "gap_after")]
        channel, ts, value, gap = columns
        known = {number(c["channel_id"]): c for c in self.rows("channel.channel")}
        edges = np.flatnonzero(np.diff(channel, prepend=-1, append=-1))
        out = []
        for a, b in pairwise(edges):
            of = known.get(float(channel[a]))
            if of is None:  # a page stands without any one table
                continue
            zone = number(of["zone"])
            out.append(
                Readings(
                    int(channel[a]), text(of["role"]), None if zone is None else int(zone),
                    ts[a:b].astype("i8"), value[a:b].astype("f8"), gap[a:b].astype(bool),
                )
            )  # fmt: skip
        return tuple(sorted(out, key=lambda r: -1 if r.zone is None else r.zone))

    def readings_of(self, span: Span) -> tuple[Readings, ...]:
        """Trusted readings of [start, end), channels without any left out."""
        cut = (r.within(span) for r in self.log)
        return tuple(r for r in cut if r.ts.size)

    @cached_property
    def fineness(self) -> dict[str, Standing]:
        """How fine the log is for each measure that counts from something logged."""
        return standings(self.result.frames, self.result.thresholds)

    def held(self, measure: str, said: str) -> str:
        """A figure of the measure as the log allows: '96', 'at least 96', 'not given'."""
        short = self.fineness.get(measure)
        if short is None or said == NONE:
            return said
        if short.result == NOT_GIVEN:
            return NOT_GIVEN
        return f"{AT_LEAST} {said}" if short.result == AT_LEAST else said

    @cached_property
    def zone_numbers(self) -> tuple[int, ...]:
        """Zones in ascending order."""
        return tuple(sorted(self.result.site.zones))

    def zone(self, zone: object) -> str:
        """The zone's name, with its number where it has none."""
        n = number(zone)
        if n is None:
            return ""
        return self.result.site.zones.get(int(n)) or f"zone {int(n)}"

    def zones(self, which: object) -> str:
        """'Main floor and Bedrooms' for '1+3'; 'no zone' for ''."""
        return words.zones(text(which), self.result.site.zones)

    def role(self, role: object, zone: object = None) -> str:
        """What a technician calls the channel: 'Supply air', 'Main floor heat call'."""
        name = text(role)
        known = ROLES.get(name)
        label = known.label if known else name.replace("_", " ")
        return label.replace("{zone}", self.zone(zone) or "Zone")

    def gaps(self) -> Iterator[dict[str, object]]:
        """Rows of trust.gap."""
        yield from self.rows("trust.gap")

    def judged(self, code: str) -> Judged | None:
        """The rule's result, or None where it was not run."""
        return next((j for j in self.result.judged if j.code == code), None)

    def can_tell(self, code: str) -> bool:
        """Whether the rule could judge, so that “none seen” may be said of what it looks for."""
        judged = self.judged(code)
        return judged is not None and judged.result in ("found", "not found")

    def why_not(self, code: str) -> str:
        """Why the rule could not judge, as a sentence part without its full stop."""
        judged = self.judged(code)
        why = judged.why if judged else "not judged in this version"
        return (why[:1].lower() + why[1:]).rstrip(".")

    def covered(self, figure: str) -> float:
        """Share of the window that a figure of measure.coverage rests on; 0 where it has no row."""
        rows = (r for r in self.rows("measure.coverage") if r["figure"] == figure)
        return max((number(r["coverage"]) or 0.0 for r in rows), default=0.0)

    def basis(self, figure: str) -> str:
        """Coverage and resolution of a figure named in measure.coverage, as a sentence part."""
        for row in self.rows("measure.coverage"):
            if row["figure"] == figure:
                return self.show.basis(row["coverage"], row["resolution_s"])
        return "coverage not known"


def records(frame: pd.DataFrame) -> list[dict[str, object]]:
    """Rows as dictionaries with text keys, in the frame's order."""
    names = [str(c) for c in frame.columns]
    lists = [frame.iloc[:, n].tolist() for n in range(len(names))]  # Python's own numbers
    return [dict(zip(names, values, strict=True)) for values in zip(*lists, strict=True)]


def absent(what: str, why: str = "the table behind it is empty") -> Markup:
    """The sentence that stands where a figure cannot."""
    return Markup('<p class="absent">{}: {}.</p>').format(what, why)
