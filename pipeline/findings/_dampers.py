"""What findings about a zone's damper share: how each room answers, calling and not calling."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Any

from pipeline import words
from pipeline.findings import _rooms
from pipeline.findings._site import SiteFrames, number, records
from pipeline.findings._states import MODE_WORDS
from pipeline.findings._windows import Event
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class Answer:
    """How one zone's room moves towards its setpoint while its mode runs [°F/h].

    damper : the row of measure.damper
    pick_up, n_pick_up : when it calls, and over how many stretches; high : upper end of it
    closed : the row of measure.zone_response when only others call, its damper shown closed or
        not logged; None if there is none
    closed_others : pace of the other rooms when they do not call and their dampers are shown closed
    others : pick-up of the other zones in the same mode, those with enough stretches; of a zone
        that hardly calls, what it gains while it does not and its damper is shown open for relief
    """

    site: SiteFrames
    damper: Any
    pick_up: float
    n_pick_up: int
    high: float | None
    closed: Any
    others: tuple[float, ...]
    closed_others: tuple[float, ...] = ()

    @property
    def zone(self) -> int:
        """Its number."""
        return int(self.damper.zone)

    @property
    def mode(self) -> str:
        """heating or cooling."""
        return str(self.damper.mode)

    @property
    def who(self) -> str:
        """Its name."""
        return _rooms.name_of(self.site, self.zone)

    @property
    def others_pick_up(self) -> float | None:
        """The middle one of the other zones."""
        return median(self.others) if self.others else None

    @property
    def calling_share(self) -> float:
        """Share of the mode's time in which it called."""
        seconds = self.site.seconds_in([self.mode])
        return float(self.damper.calling_s or 0.0) / seconds if seconds else 0.0


def answers(site: SiteFrames) -> list[Answer]:
    """One per zone and mode of measure.damper."""
    rows = records(site.table("measure.zone_response"))
    least = site.threshold("damper_min_runs")
    dampers = records(site.table("measure.damper"))
    pick_ups = {(d.zone, d.mode): _rooms.pick_up(site, d.zone, d.mode) for d in dampers}
    made = []
    for d in dampers:
        own = [r for r in rows if r.zone == d.zone and r.mode == d.mode]
        highs = [number(r.slope_high_f_per_h) for r in own if r.is_calling]
        closed = [r for r in own if not r.is_calling and r.damper in ("closed", None)]
        others = [
            pace
            for (zone, mode), (pace, n) in pick_ups.items()
            if mode == d.mode and zone != d.zone and n >= least
        ] + [
            float(r.slope_f_per_h)
            for r in rows
            if r.mode == d.mode and r.zone != d.zone and not r.is_calling and r.damper == "open"
            if r.n_run >= least and number(r.slope_f_per_h) is not None
            if pick_ups.get((r.zone, r.mode), (0.0, 0))[1] < least
        ]
        pace, n = pick_ups[(d.zone, d.mode)]
        made.append(
            Answer(
                site,
                d,
                pace,
                n,
                max((h for h in highs if h is not None), default=None),
                max(closed, key=lambda r: int(r.n_run)) if closed else None,
                tuple(others),
                tuple(
                    float(r.slope_f_per_h)
                    for r in rows
                    if r.mode == d.mode and r.zone != d.zone
                    if not r.is_calling and r.damper == "closed"
                    if r.n_run >= least and number(r.slope_f_per_h) is not None
                ),
            )
        )
    return made


def shown(site: SiteFrames, zone: int, kind: str) -> list[Any]:
    """Stretches in which the zone's damper was shown the other way than told, visits left out."""
    table = site.table("interval.damper_disagreement")
    rows = table[(table["zone"] == zone) & (table["kind"] == kind)].sort_values("start_ts")
    return [r for r in records(rows) if not r.in_visit]


def runs(site: SiteFrames, zone: int, mode: str, *, calling: bool) -> list[Any]:
    """Stretches of the mode with a slope of this room, visits left out."""
    table = site.table("interval.zone_run")
    rows = table[
        (table["zone"] == zone)
        & (table["mode"] == mode)
        & (table["is_calling"] == calling)
        & table["slope_f_per_h"].notna()
    ].sort_values("start_ts")
    return [
        r for r in records(rows) if not r.in_visit and (calling or r.damper in ("closed", None))
    ]


def events(site: SiteFrames, rows: list[Any], who: str, label: str) -> list[Event]:
    """Such stretches as windows need them; the longest is the worst."""
    return [
        Event(
            start_ts=int(r.start_ts),
            end_ts=int(r.end_ts),
            worth=float(r.end_ts - r.start_ts),
            say=f"{site.clock(int(r.start_ts))}, {who}: {label} for "
            f"{words.duration((r.end_ts - r.start_ts) / MICROSECONDS)}{_moved(site, r)}",
            label=label,
        )
        for r in rows
    ]


def _moved(site: SiteFrames, r: Any) -> str:
    slope = number(getattr(r, "slope_f_per_h", None))
    return "" if slope is None else f", the room moving {_rooms.rate(site, slope)}"


def run_table(site: SiteFrames, rows: list[Any]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Such stretches as text."""
    return _rooms.columns(
        rows,
        ("When", (site.clock(int(r.start_ts)) for r in rows)),
        ("For", (words.duration((r.end_ts - r.start_ts) / MICROSECONDS) for r in rows)),
        ("Room towards its setpoint", (_pace(site, r) for r in rows)),
    )


def _pace(site: SiteFrames, r: Any) -> str:
    slope = number(getattr(r, "slope_f_per_h", None))
    return "–" if slope is None else _rooms.rate(site, slope)


def asked(site: SiteFrames, mode: str) -> str:
    """'61 hours of heat'."""
    return f"{words.hours(site.seconds_in([mode]))} of {MODE_WORDS[mode]}"
