"""Zone not keeping up: a room that stays off its setpoint for hours.

What it says
    Which zones stayed more than 2 °F off their setpoint for an hour and a half or more, on how many
    days, how far, and whether warm (cool) air was there meanwhile.

Why it matters
    It is the complaint itself. Whether air was there at the time, and whether the other zones held,
    parts a duct or damper question from one about the equipment.

What looks like it but is not
    Coming back after a setback (three hours of a furnace, five of a heat pump). Weather past what
    the system was sized for. Waiting while another zone has the other mode. A thermostat that reads
    apart from the room's logger: then the zone does not call.

Source
    Two degrees and 90 min: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _rooms
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
from pipeline.findings._site import SiteFrames, number, records
from pipeline.findings._states import MODE_WORDS
from pipeline.findings._windows import Event, evidence, windows


@dataclass(frozen=True)
class Behind:
    """Zones that did not keep up, the worst first.

    zones : rows of measure.zone_comfort in which it is found
    rows : their rows of interval.not_keeping_up, in order of time
    kept : names of the zones that held in the same mode as the worst
    calling, warm : of the worst zone's time off, the share it called and the share air was there
    """

    site: SiteFrames
    zones: list[Any]
    rows: list[Any]
    kept: list[str]
    calling: float | None
    warm: float | None

    @property
    def worst(self) -> Any:
        """The zone and mode with most time off."""
        return self.zones[0]

    @property
    def who(self) -> str:
        """Its name."""
        return _rooms.name_of(self.site, self.worst.zone)


def _air_was_there(b: Behind) -> str:
    return f"warm or cool air was there {words.share(b.warm or 0.0)} of the time {b.who} was off"


def _zone_path(b: Behind) -> Weighed:
    if b.warm is None:
        return Weighed(
            Weight.OPEN,
            "supply air was not logged, so nobody knows whether warm or cool air was there",
        )
    pace, n = _rooms.pick_up(b.site, b.worst.zone, b.worst.mode)
    said = _air_was_there(b)
    if n:
        said += f"; it picks up {_rooms.rate(b.site, pace)} when it calls"
    if b.kept:
        said += f"; {words.joined(b.kept)} kept up"
    most = b.site.threshold("cause_share_min_frac")
    if b.warm < most:
        return Weighed(Weight.AGAINST, said)
    return Weighed(Weight.STRONG if b.kept else Weight.FITS, said)


def _no_air(b: Behind) -> Weighed:
    if b.warm is None:
        return Weighed(Weight.OPEN, "supply air was not logged")
    most = b.site.threshold("cause_share_min_frac")
    if b.warm >= most:
        return Weighed(Weight.RULED_OUT, _air_was_there(b))
    if b.calling is not None and b.calling < most:
        return Weighed(Weight.AGAINST, f"{b.who} called only {words.share(b.calling)} of that time")
    return Weighed(Weight.STRONG if b.warm <= 1 - most else Weight.FITS, _air_was_there(b))


def _whole_house(b: Behind) -> Weighed:
    off = [_rooms.name_of(b.site, z.zone) for z in b.zones if z.mode == b.worst.mode]
    if b.kept:
        return Weighed(
            Weight.AGAINST, f"only {words.joined(off)} fell behind; {words.joined(b.kept)} kept up"
        )
    return Weighed(Weight.FITS, f"no zone kept up {_rooms.in_mode(b.worst.mode)}")


def _thermostat(b: Behind) -> Weighed:
    if b.calling is None:
        return Weighed(Weight.OPEN, "its call was not logged")
    said = f"{b.who} called {words.share(b.calling)} of the time it was off"
    least = b.site.threshold("cause_share_min_frac")
    if b.calling >= least:
        return Weighed(Weight.RULED_OUT, said)
    return Weighed(Weight.STRONG if b.calling <= 1 - least else Weight.FITS, said)


FINDING = Declaration(
    title="Zone not keeping up",
    question="Does a zone stay off its setpoint for hours?",
    needs_tables=("interval.not_keeping_up", "measure.zone_comfort", "measure.zone_response"),
    needs_roles=(("zone_temp",), ("zone_call_w1", "zone_call_y1")),
    figure="calls",
    thresholds=(
        "not_keeping_up_days",
        "not_keeping_up_once_degree_h",
        "not_keeping_up_plan_share",
        "not_keeping_up_f",
        "not_keeping_up_min_s",
        "judged_min_h",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "too little air reaches that zone: damper not fully open, registers shut, duct small, "
            "long, crushed or leaking, or more load than the duct was sized for",
            "Raised when air was there most of the time it was off and other zones held.",
            _zone_path,
        ),
        Cause(
            "the thermostat does not ask: it reads apart from the room, or feels the supply air",
            "Raised when the zone did not call for most of the time it was off. Ruled out when it "
            "did.",
            _thermostat,
            not_it="the thermostat",
        ),
        Cause(
            "the equipment does not deliver: no heat or cooling came, or it was taken away again",
            "Raised when the zone called and no warm (cool) air was there. Ruled out when air was "
            "there most of the time.",
            _no_air,
            not_it="heat or cooling that never came",
        ),
        Cause(
            "the system is too small for this weather, or second stage is missing",
            "Raised when no zone held; lowered when others did.",
            _whole_house,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "in {zone}: setpoint, hold, a reference thermometer beside it, sun or a register on it",
            "reads within 1 degree of the thermometer and calls",
            "wrong place or hole in the wall behind it: see whether it is satisfied too soon",
        ),
        Check(
            "dampers",
            "call {zone} and watch its damper travel to the end",
            "fully open within its travel time",
            "mend actuator, linkage or wire of that damper",
        ),
        Check(
            "ducts",
            "{zone} calling: flow hood or anemometer at its registers, all of them open",
            "the air the zone was designed for, supply as warm (cool) as at the unit",
            "registers shut, duct crushed, undersized, uninsulated or leaking; else the room's "
            "load",
        ),
        Check(
            "unit",
            "rise or split with that zone calling, once it is steady",
            "rise inside the plate's band, split as usual",
            "see the findings on rise, airflow and trips first",
        ),
    ),
    cautions=(
        _cautions.SETTINGS,
        _cautions.SYMPTOMS,
        _cautions.ELECTRICITY,
        _cautions.LIMIT,
        _cautions.CLEAN_LOG,
    ),
    confused_with=(
        "Coming back after a setback: ends within hours and follows a step of the setpoint.",
        "A thermostat apart from the room's logger: the zone is off and does not call.",
        "Design weather: every zone falls behind in the coldest or hottest hours only.",
    ),
    symptom_of=(
        "damper-did-not-open",
        "zones-exchanged",
        "high-limit-trips",
        "low-limit-trips",
        "equipment-cut-outs",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by days on which a zone did not keep up; severity by share of the time looked at."""
    rows = [r for r in records(site.table("measure.zone_comfort")) if _is_known(r)]
    comfort = [r for r in rows if r.rule == "setpoint"]
    if rows and not comfort:
        return CannotTell(_long_calls(site, rows))
    known_s = max((float(r.known_s or 0.0) for r in comfort), default=0.0)
    if not comfort or known_s < site.threshold("judged_min_h") * 3600:
        return CannotTell("too little time with room temperature, setpoint and call known together")
    found = sorted(
        (r for r in comfort if _is_found(site, r)), key=lambda r: -float(r.not_keeping_up_s)
    )
    if not found:
        return NotFound(_not_found(site, comfort))
    b = _behind(site, found, comfort)
    events = [_event(site, r) for r in b.rows]
    return Found(
        severity=_severity(site, b.worst),
        certainty="shown",
        summary=_summary(b),
        headline=_headline(b),
        aside=f"{b.who} then falls behind",
        facts=b,
        evidence=evidence(events),
        windows=windows(site, events),
        fill={"zone": b.who},
        table=_rooms.columns(
            b.rows,
            ("When", (site.clock(int(r.start_ts)) for r in b.rows)),
            ("For", (words.duration(float(r.length_s)) for r in b.rows)),
            ("Zone", (_rooms.name_of(site, r.zone) for r in b.rows)),
            ("Furthest off", (_off(site, r.max_off_f) for r in b.rows)),
            ("Calling", (_share(r.calling_frac) for r in b.rows)),
            ("Warm (cool) air there", (_share(r.warm_air_frac) for r in b.rows)),
        ),
    )


def _long_calls(site: SiteFrames, rows: list[Any]) -> str:
    """What long calls say where no setpoint was logged: a question for the customer."""
    told = [
        f"{_rooms.name_of(site, r.zone)} called for hours and hardly moved "
        f"{words.times(int(r.n_stretch))}"
        for r in rows
        if r.n_stretch
    ]
    return f"no setpoint was logged{'; ' if told else ''}{words.joined(told)}"


def _is_known(r: Any) -> bool:
    return number(r.not_keeping_up_s) is not None


def _is_found(site: SiteFrames, r: Any) -> bool:
    if int(r.n_day or 0) >= site.threshold("not_keeping_up_days"):
        return True
    short = number(r.short_degree_h) or 0.0
    return bool(r.n_stretch) and short >= site.threshold("not_keeping_up_once_degree_h")


def _severity(site: SiteFrames, r: Any) -> str:
    if int(r.n_day) < site.threshold("not_keeping_up_days"):
        return "watch"
    share = float(r.not_keeping_up_s) / max(float(r.known_s or 0.0), float(r.not_keeping_up_s))
    return "plan" if share >= site.threshold("not_keeping_up_plan_share") else "watch"


def _not_found(site: SiteFrames, comfort: list[Any]) -> str:
    known_s = max(float(r.known_s or 0.0) for r in comfort)
    off = words.duration(site.threshold("not_keeping_up_min_s"))
    degrees = site.temperature_difference(site.threshold("not_keeping_up_f"))
    once = [r for r in comfort if r.n_stretch]
    if once:
        who = words.joined(dict.fromkeys(_rooms.name_of(site, r.zone) for r in once))
        return f"{who} was more than {degrees} off for {off} on one day only, and by little"
    return f"no zone was more than {degrees} off for {off} in up to {words.hours(known_s)}"


def _behind(site: SiteFrames, found: list[Any], comfort: list[Any]) -> Behind:
    worst, who = found[0], {(r.zone, r.mode) for r in found}
    rows = [r for r in records(site.table("interval.not_keeping_up")) if (r.zone, r.mode) in who]
    mine = [r for r in rows if (r.zone, r.mode) == (worst.zone, worst.mode)]
    off = {r.zone for r in found if r.mode == worst.mode}
    kept = [
        _rooms.name_of(site, r.zone)
        for r in comfort
        if r.mode == worst.mode and r.zone not in off and not r.n_stretch
    ]
    return Behind(
        site,
        found,
        sorted(rows, key=lambda r: r.start_ts),
        kept,
        _weighted(mine, "calling_frac"),
        _weighted(mine, "warm_air_frac"),
    )


def _weighted(rows: list[Any], column: str) -> float | None:
    known = [r for r in rows if number(getattr(r, column)) is not None]
    length_s = sum(float(r.length_s) for r in known)
    if not length_s:
        return None
    return sum(float(getattr(r, column)) * float(r.length_s) for r in known) / length_s


def _off(site: SiteFrames, value: Any) -> str:
    off = number(value)
    return "–" if off is None else _rooms.apart(site, off)


def _share(value: Any) -> str:
    share = number(value)
    return "–" if share is None else words.share(share)


def _headline(b: Behind) -> str:
    w = b.worst
    return (
        f"{b.who} can't hold its setpoint {_rooms.in_mode(w.mode)}: behind for "
        f"{words.hours(float(w.not_keeping_up_s))} {_rooms.days(int(w.n_day))}"
    )


def _summary(b: Behind) -> str:
    site, w = b.site, b.worst
    mine = [r for r in b.rows if (r.zone, r.mode) == (w.zone, w.mode)]
    peaks = [float(r.max_off_f) for r in mine if number(r.max_off_f) is not None]
    far = (
        f"it was up to {_rooms.apart(site, max(peaks))} {_rooms.SHORT[w.mode]} its setpoint, first "
        f"{site.clock_span(int(mine[0].start_ts), int(mine[0].end_ts))}"
    )
    air = "" if b.warm is None else _air_was_there(b)
    others = [
        f"{_rooms.name_of(site, r.zone)} {words.hours(float(r.not_keeping_up_s))} "
        f"of {MODE_WORDS[r.mode]}"
        for r in b.zones[1:]
    ]
    more = f"behind too: {words.joined(others)}" if others else ""
    held = f"{words.joined(b.kept)} kept up" if b.kept else ""
    return words.sentences(_headline(b), far, air, held, more)


def _event(site: SiteFrames, r: Any) -> Event:
    who, off = _rooms.name_of(site, r.zone), number(r.max_off_f)
    far = "" if off is None else f", up to {_rooms.apart(site, off)} {_rooms.SHORT[r.mode]}"
    return Event(
        start_ts=int(r.start_ts),
        end_ts=int(r.end_ts),
        worth=float(r.length_s),
        say=(
            f"{site.clock(int(r.start_ts))}, {who} behind for "
            f"{words.duration(float(r.length_s))}{far}"
        ),
        label="behind",
    )
