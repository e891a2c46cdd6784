"""Damper did not open: a zone calls and hardly any air reaches it.

What it says
    Which zone calls nearly all the time while its room hardly moves, how fast the other rooms pick
    up in the same hours, and how often its damper was shown closed although it called.

Why it matters
    The equipment runs for a zone that gets nothing: it never stops, the air goes through relief to
    rooms that did not ask, and limits may trip.

What looks like it but is not
    Damper travel. A zone with too small a duct or too much load: it picks up, too little. A whole
    house that falls behind in design weather. A thermostat apart from the room.

Source
    Call and open command with no answer of the room: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _dampers, _rooms
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
from pipeline.findings._dampers import Answer
from pipeline.findings._site import SiteFrames
from pipeline.findings._windows import evidence, windows

KIND = "did not open"


@dataclass(frozen=True)
class Shut:
    """The zone that gets no air.

    answer : how its room moves; rows : stretches it called (shown closed, where that is seen)
    is_shown : its damper was shown closed in most of the time it called
    """

    answer: Answer
    rows: list[Any]
    is_shown: bool

    @property
    def site(self) -> SiteFrames:
        """The site."""
        return self.answer.site


def _blade(s: Shut) -> Weighed:
    a = s.answer
    if s.is_shown:
        return Weighed(
            Weight.STRONG,
            f"its damper was shown closed in {words.count(int(a.damper.n_not_open), 'call')}",
        )
    if "zone_damper" in s.site.logged_roles:
        return Weighed(
            Weight.STRONG,
            f"its damper was shown open {words.times(len(s.rows))} at least and the room did not "
            "answer: told to open, didn't open",
        )
    return Weighed(Weight.FITS, "its damper was not logged")


def _path(s: Shut) -> Weighed:
    return Weighed(
        Weight.OPEN, "a shut damper and shut registers or a duct come apart look the same in a log"
    )


def _load(s: Shut) -> Weighed:
    a = s.answer
    return Weighed(
        Weight.AGAINST,
        f"{a.who} gains {_rooms.rate(s.site, a.pick_up)} with air on it: a room that only loses "
        "more than it is given falls back at night, this one hardly moves at all",
    )


FINDING = Declaration(
    title="Damper did not open",
    question="Does air reach each zone that calls?",
    needs_tables=(
        "measure.damper",
        "measure.zone_response",
        "interval.zone_run",
        "interval.damper_disagreement",
        "measure.condition_time",
    ),
    needs_roles=(("zone_temp", "zone_damper"), ("zone_call_w1", "zone_call_y1")),
    compares=("supply_temp",),
    figure="conditions",
    thresholds=(
        "damper_min_runs",
        "damper_pick_up_share",
        "damper_pick_up_max_f_per_h",
        "damper_others_min_f_per_h",
        "damper_calling_share",
        "damper_shown_share",
        "damper_shown_min",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the damper stays shut or nearly shut: actuator, linkage, a slipped blade, its wire",
            "Raised when the damper is shown closed although its zone calls, or shown open while "
            "the room does not answer.",
            _blade,
        ),
        Cause(
            "the air is lost behind an open damper: registers shut, duct crushed or come apart",
            "Never told apart from a shut damper by a log.",
            _path,
        ),
        Cause(
            "the room loses as much as it is given: a door or window open, load far over design",
            "Lowered because the other zones pick up in the same hours.",
            _load,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "call {zone} alone with the setpoint well past the room, the others off",
            "its call shows at the panel within a minute",
            "thermostat or its wire, not the damper",
        ),
        Check(
            "dampers",
            "{zone} calling: watch its damper's shaft for the whole of its travel, then 24 V at "
            "its actuator",
            "the blade goes to its end stop and stays",
            "24 V there and no travel: actuator or linkage; no 24 V: panel terminal or wire",
        ),
        Check(
            "ducts",
            "with the damper seen open, a hand and an anemometer at every register of {zone}",
            "air as at the other zones",
            "open the registers; mend the duct if it is crushed or off its collar",
        ),
        Check(
            "unit",
            "supply air and static while {zone} calls alone. If second stage comes on: "
            f"{_cautions.WATCHED}",
            "static at or under the target, supply well under the limit",
            "the blower works against a shut path: mend that before any setting is changed",
        ),
    ),
    cautions=(
        _cautions.RELIEF,
        _cautions.LIMIT,
        _cautions.REPRODUCE,
        _cautions.ELECTRICITY,
        _cautions.SETTINGS,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Zone not keeping up: there the room picks up, only too slowly.",
        "Zones exchanged: there another room answers when this zone calls.",
        "Damper travel and end switches: a minute or two at the start of a call.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by a room that stands still while its zone calls, or a damper shown closed then."""
    seen = _dampers.answers(site)
    judged = [a for a in seen if a.n_pick_up >= site.threshold("damper_min_runs") or _told(a)]
    if not judged:
        return CannotTell(
            f"no zone had {site.threshold('damper_min_runs'):.0f} stretches of calling with room "
            "and supply air known"
        )
    found = [a for a in judged if _is_shown(a) or _stands_still(a)]
    if not found:
        slow = min(judged, key=lambda a: a.pick_up)
        if slow.pick_up <= site.threshold("damper_pick_up_max_f_per_h"):
            return CannotTell(
                f"{slow.who} hardly moves when it calls ({_rooms.rate(site, slow.pick_up)} "
                f"{_rooms.in_mode(slow.mode)}), but {_why_open(slow)}: that no air reaches it "
                "is not shown"
            )
        return NotFound(
            f"every zone that called picks up; slowest {slow.who}, "
            f"{_rooms.rate(site, slow.pick_up)} {_rooms.in_mode(slow.mode)}"
        )
    a = max(found, key=lambda x: float(x.damper.calling_s or 0.0))
    is_shown = _is_shown(a)
    rows = _dampers.shown(site, a.zone, KIND) if is_shown else []
    rows = rows or _dampers.runs(site, a.zone, a.mode, calling=True)
    drawn = _dampers.events(site, rows, a.who, "calling, no air")
    return Found(
        severity="plan",
        certainty="shown" if is_shown else "likely",
        summary=words.sentences(_headline(a, is_shown), _rooms_said(a)),
        headline=_headline(a, is_shown),
        aside=f"no air reaches {a.who}",
        facts=Shut(a, rows, is_shown),
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        fill={"zone": a.who},
        table=_dampers.run_table(site, rows),
    )


def _told(a: Answer) -> bool:
    return bool(a.damper.n_not_open)


def _is_shown(a: Answer) -> bool:
    site, d = a.site, a.damper
    return (d.n_not_open or 0) >= site.threshold("damper_shown_min") and float(
        d.not_open_s or 0.0
    ) >= site.threshold("damper_shown_share") * float(d.calling_s or 0.0)


def _stands_still(a: Answer) -> bool:
    """It calls nearly all the time, its room hardly moves, and the others do."""
    site, others = a.site, a.others_pick_up
    if a.n_pick_up < site.threshold("damper_min_runs") or others is None or a.high is None:
        return False
    return (
        a.calling_share >= site.threshold("damper_calling_share")
        and others >= site.threshold("damper_others_min_f_per_h")
        and a.pick_up <= site.threshold("damper_pick_up_share") * others
        and a.high <= site.threshold("damper_pick_up_max_f_per_h")
    )


def _why_open(a: Answer) -> str:
    """Why a room that hardly moves may still have air: the first of the conditions that fails."""
    site, others = a.site, a.others_pick_up
    if a.n_pick_up < site.threshold("damper_min_runs"):
        return f"only {words.count(a.n_pick_up, 'stretch', 'stretches')} of its calls could be read"
    if a.calling_share < site.threshold("damper_calling_share"):
        return (
            f"it calls {words.share(a.calling_share)} of {_dampers.asked(site, a.mode)} and a room "
            "without air hardly ever stops calling"
        )
    if others is None:
        return "no other room could be set beside it"
    if others < site.threshold("damper_others_min_f_per_h"):
        return f"the other rooms move little too ({_rooms.rate(site, others)})"
    if a.high is None:
        return "how sure that is could not be told"
    return f"in some of its calls it may gain up to {_rooms.rate(site, a.high)}"


def _headline(a: Answer, is_shown: bool) -> str:
    called = (
        f"{a.who} called {words.share(min(1.0, a.calling_share))} of "
        f"{_dampers.asked(a.site, a.mode)}"
    )
    if is_shown:
        return f"{called} with its damper shown closed {words.times(int(a.damper.n_not_open))}"
    return f"{called} and hardly moved: no air seems to reach it"


def _rooms_said(a: Answer) -> str:
    if not a.n_pick_up:
        return ""
    n = words.count(a.n_pick_up, "stretch", "stretches")
    own = f"it picks up {_rooms.rate(a.site, a.pick_up)} over {n} of calling"
    others = a.others_pick_up
    return own if others is None else f"{own}; the others pick up {_rooms.rate(a.site, others)}"
