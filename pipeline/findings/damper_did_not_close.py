"""Damper did not close: a room is heated or cooled while only other zones call.

What it says
    Which room goes on being heated (cooled) with its damper shown closed and only others calling,
    how much of its full air that is, and how often its damper was shown open then.

Why it matters
    The room overheats (overcools) when it isn't calling, and the zone that does call gets less.

What looks like it but is not
    Relief: the panel opens that damper on purpose, and it is shown open. Leakage of a shut damper:
    some is normal. Sun, cooking, an open stair, a wall shared with a warm room.

Source
    A room that moves with the equipment when it does not call: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
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
from pipeline.findings._site import SiteFrames, number
from pipeline.findings._windows import evidence, windows

KIND = "did not close"


@dataclass(frozen=True)
class Leak:
    """The zone that gets air it did not ask for.

    share : of what it gains when it calls, so much also when only others do; None if not known
    rows : the stretches; is_shown : its damper was shown open in most of them
    """

    answer: Answer
    share: float | None
    rows: list[Any]
    is_shown: bool

    @property
    def site(self) -> SiteFrames:
        """The site."""
        return self.answer.site


def _blade(x: Leak) -> Weighed:
    if x.is_shown:
        return Weighed(
            Weight.FITS,
            f"its damper was shown open {words.times(int(x.answer.damper.n_not_closed))} while "
            "only others called",
        )
    if "zone_damper" in x.site.logged_roles:
        return Weighed(
            Weight.STRONG,
            "its damper was shown closed and the room was heated or cooled all the same: told to "
            "close, didn't close",
        )
    return Weighed(Weight.FITS, "its damper was not logged")


def _relief(x: Leak) -> Weighed:
    if "zone_damper" in x.site.logged_roles and not x.is_shown:
        return Weighed(Weight.RULED_OUT, "only stretches with its damper shown shut are counted")
    return Weighed(
        Weight.FITS if x.is_shown else Weight.OPEN,
        "the log does not tell whether the panel opened it or it stayed open",
    )


def _house(x: Leak) -> Weighed:
    night = number(x.answer.closed.beyond_night_f_per_h) if x.answer.closed is not None else None
    if night is None:
        return Weighed(Weight.OPEN, "too few such stretches at night to tell it from the sun")
    moved = _rooms.beyond_drift(x.site, x.answer.mode, night)
    said = f"at night too, when only others call, the room {moved} than by itself"
    least = number(x.answer.closed.beyond_drift_f_per_h) or 0.0
    return Weighed(Weight.AGAINST if night >= least / 2 else Weight.FITS, said)


FINDING = Declaration(
    title="Damper did not close",
    question="Does a room stay out of it when only other zones call?",
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
        "damper_leak_share",
        "damper_night_runs",
        "damper_shown_open_share",
        "damper_shown_min",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the damper does not close: linkage, spring, a blade that slipped on its shaft, "
            "something caught in it",
            "Raised when the damper is shown open while only others call, or shown closed while "
            "the room is heated or cooled.",
            _blade,
        ),
        Cause(
            "the panel opens it on purpose to relieve static",
            "Ruled out when stretches with it shown open are left out.",
            _relief,
            not_it="relief",
        ),
        Cause(
            "the room takes its heat from elsewhere: sun, an open stair, the room beside it",
            "Lowered when the room moves with the equipment at night as well.",
            _house,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read which zones may relieve, and its lamps while only other zones call",
            "{zone} shown closed",
            "it is opened on purpose: look at relief order and static target first",
        ),
        Check(
            "dampers",
            "with only other zones calling, watch {zone}'s damper travel shut, then try its shaft "
            "by hand",
            "the blade meets its stop and does not give",
            "linkage, spring or blade; set its stop by the damper's instructions",
        ),
        Check(
            "ducts",
            "with only other zones calling, an anemometer at the registers of {zone}",
            "a breath of leakage at most",
            "another branch feeds the room past the damper: find where it taps off",
        ),
    ),
    cautions=(_cautions.RELIEF, _cautions.ELECTRICITY, _cautions.SETTINGS, _cautions.SYMPTOMS),
    confused_with=(
        "Relief that conditions a room: there its damper is shown open.",
        "Zones exchanged: there the room answers another zone's call and not its own.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by what a room gains when only others call, against what it gains when it calls."""
    seen = _dampers.answers(site)
    shares = [(a, _share(a)) for a in seen]
    judged = [(a, s) for a, s in shares if s is not None or a.damper.n_not_closed]
    if not judged:
        return CannotTell(
            "no room was known for long enough with its damper closed and only others calling"
        )
    least = site.threshold("damper_leak_share")
    found = [(a, s) for a, s in judged if _is_shown(a) or (s is not None and s[1] >= least)]
    if not found:
        known = [(a, s) for a, s in judged if s is not None]
        if not known:
            return NotFound("dampers were shown closed while only other zones called")
        a, s = max(known, key=lambda pair: pair[1][0])
        return NotFound(
            f"no room is heated or cooled for long when only others call; the most is {a.who}, "
            f"{words.share(max(0.0, s[0]))} of what it gets when it calls"
        )
    a, share = max(found, key=lambda pair: (_is_shown(pair[0]), pair[1][1] if pair[1] else 0.0))
    is_shown = _is_shown(a)
    rows = _dampers.shown(site, a.zone, KIND) if is_shown else []
    rows = rows or _dampers.runs(site, a.zone, a.mode, calling=False)
    drawn = _dampers.events(site, rows, a.who, "others calling")
    part = None if share is None else share[0]
    return Found(
        # neither a room alone nor a channel that may show the panel's command sends anybody
        severity="watch",
        certainty="possible" if is_shown else "likely",
        summary=words.sentences(_headline(a, part, is_shown), _gain(a)),
        headline=_headline(a, part, is_shown),
        aside=f"{a.who} gets air it did not ask for",
        facts=Leak(a, part, rows, is_shown),
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        fill={"zone": a.who},
        table=_dampers.run_table(site, rows),
    )


def _share(a: Answer) -> tuple[float, float] | None:
    """What the room gains when only others call over what it gains when it calls, and its least.

    Both are counted from the room's own drift, with nothing heating or cooling it; where that is
    hardly ever seen, from what the other rooms do with their dampers shown shut. Of a room that
    does not come nearer to its setpoint then, and is seen by day only, the least is nothing: sun
    and open doors do as much.
    """
    c = a.closed
    least = a.site.threshold("damper_min_runs")
    if c is None or a.n_pick_up < least:
        return None
    slope, slope_low = number(c.slope_f_per_h), number(c.slope_low_f_per_h)
    gain, low = number(c.beyond_drift_f_per_h), number(c.beyond_low_f_per_h)
    if slope is None or slope_low is None:
        return None
    if int(c.n_drift or 0) < least or gain is None or low is None:
        if int(c.n_run) < least or c.damper != "closed" or not a.closed_others:
            return None
        rest = median(a.closed_others)
        gain, low = slope - rest, slope_low - rest
    full = a.pick_up - (slope - gain)
    if full <= 0:
        return None
    is_sure = slope_low > 0 or int(c.n_night or 0) >= a.site.threshold("damper_night_runs")
    return gain / full, low / full if is_sure else 0.0


def _is_shown(a: Answer) -> bool:
    n = int(a.damper.n_not_closed or 0)
    of = n + max(int(a.damper.n_other or 0), int(a.damper.n_shut or 0))
    return n >= a.site.threshold("damper_shown_min") and n >= of * a.site.threshold(
        "damper_shown_open_share"
    )


def _headline(a: Answer, share: float | None, is_shown: bool) -> str:
    what = "heated" if a.mode == "heating" else "cooled"
    if is_shown:
        return (
            f"{a.who}'s damper was shown open {words.times(int(a.damper.n_not_closed))} while only "
            f"other zones called, in {_dampers.asked(a.site, a.mode)}"
        )
    return (
        f"{a.who} is {what} with its damper shut and only others calling: "
        f"{words.share(share or 0.0)} of what it gets when it calls"
    )


def _gain(a: Answer) -> str:
    c = a.closed
    gain = None if c is None else number(c.beyond_drift_f_per_h)
    if gain is None or int(c.n_drift or 0) < a.site.threshold("damper_min_runs"):
        if c is None or not a.closed_others or number(c.slope_f_per_h) is None:
            return ""
        return (
            f"it moves {_rooms.rate(a.site, float(c.slope_f_per_h))} towards its setpoint in "
            f"{words.count(int(c.n_run), 'stretch', 'stretches')} in which only others called; "
            f"other rooms with their dampers shut, {_rooms.rate(a.site, median(a.closed_others))}"
        )
    return (
        f"it {_rooms.beyond_drift(a.site, a.mode, gain)} than by itself in "
        f"{words.count(int(c.n_drift), 'stretch', 'stretches')} in which only others called"
    )
