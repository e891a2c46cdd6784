"""What zone-overheats and zone-overcools share: a room past its setpoint while it doesn't call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings import _rooms
from pipeline.findings._base import CannotTell, Found, NotFound, Outcome, Weighed, Weight
from pipeline.findings._site import SiteFrames, flags, number, records
from pipeline.findings._windows import Event, evidence, windows
from pipeline.units import MICROSECONDS

NEEDS_TABLES = (
    "measure.zone_comfort", "measure.zone_response", "interval.zone_run", "measure.damper",
    "run.zone",
)  # fmt: skip
NEEDS_ROLES = (
    ("zone_temp",),
    ("zone_heat_setpoint", "zone_cool_setpoint"),
    ("zone_call_w1", "zone_call_y1"),
)
THRESHOLDS = (
    "over_mean_f", "over_plan_f", "over_gain_f_per_h", "judged_min_h", "cause_share_min_frac",
)  # fmt: skip
VERB = {"heating": "overheats", "cooling": "overcools"}
DONE = {"heating": "heated", "cooling": "cooled"}


@dataclass(frozen=True)
class Over:
    """The zone that gets too much of a mode it does not ask for.

    row : of measure.zone_comfort; mean_f : how far past the comfort band, over all time judged
    open_gain, shut_gain : what its room gains over its own drift when only others call, with its
        damper shown open and shown closed [°F/h]; None if not known
    open_s, shut_s : time of each
    rows : stretches in which only others called and the room moved on
    """

    site: SiteFrames
    row: Any
    mean_f: float
    open_gain: float | None
    shut_gain: float | None
    open_s: float
    shut_s: float
    rows: list[Any]

    @property
    def who(self) -> str:
        """Its name."""
        return _rooms.name_of(self.site, self.row.zone)

    @property
    def is_relief(self) -> bool:
        """Whether the panel may open its damper to relieve static."""
        zones = self.site.table("run.zone")
        return bool(flags(zones.loc[zones["zone"] == self.row.zone, "is_relief"]).any())


def relief(x: Over) -> Weighed:
    """Its damper opened for relief and the room takes what others asked for."""
    if x.open_gain is None:
        if "zone_damper" in x.site.logged_roles:
            return Weighed(Weight.RULED_OUT, "its damper was never shown open while others called")
        return Weighed(Weight.OPEN, "dampers were not logged")
    said = (
        f"with its damper open for {words.hours(x.open_s)} while only others called the room "
        f"{_rooms.beyond_drift(x.site, x.row.mode, x.open_gain)} than by itself"
    )
    if x.open_gain < x.site.threshold("over_gain_f_per_h"):
        return Weighed(Weight.AGAINST, said)
    named = "" if x.is_relief else "; it is not named as a relief zone"
    return Weighed(Weight.STRONG, said + named)


def leak(x: Over) -> Weighed:
    """Its damper lets air by though it is shut."""
    if x.shut_gain is None:
        return Weighed(Weight.OPEN, "too few stretches with its damper shut and others calling")
    said = (
        "with its damper shut the room "
        f"{_rooms.beyond_drift(x.site, x.row.mode, x.shut_gain)} than by itself when others call"
    )
    strong = x.shut_gain >= x.site.threshold("over_gain_f_per_h")
    return Weighed(Weight.FITS if strong else Weight.AGAINST, said)


def elsewhere(x: Over) -> Weighed:
    """The heat (cold) comes from the house, not from the duct."""
    gains = [g for g in (x.open_gain, x.shut_gain) if g is not None]
    if not gains:
        return Weighed(Weight.OPEN, "how the room moves when others call is not known")
    most = max(gains)
    said = (
        f"when others call the room {_rooms.beyond_drift(x.site, x.row.mode, most)} than by itself "
        "at the most"
    )
    if most >= x.site.threshold("over_gain_f_per_h"):
        return Weighed(Weight.AGAINST, said)
    return Weighed(Weight.FITS, said)


def judge_mode(site: SiteFrames, mode: str) -> Outcome:
    """Found by degrees past the comfort band over the time judged, with air as the reason."""
    rows = [
        r for r in records(site.table("measure.zone_comfort"))
        if r.mode == mode and r.rule == "setpoint" and number(r.over_degree_h) is not None
    ]  # fmt: skip
    least_s = site.threshold("judged_min_h") * 3600
    rows = [r for r in rows if float(r.judged_s or 0.0) >= least_s]
    if not rows:
        return CannotTell(f"too little time {_rooms.in_mode(mode)} with room and setpoint known")
    seen = [_over(site, r) for r in rows]
    found = [x for x in seen if x.mean_f >= site.threshold("over_mean_f") and _by_air(x)]
    if not found:
        most = max(seen, key=lambda x: x.mean_f)
        return NotFound(
            "no room stood far past its setpoint while others called; the furthest was "
            f"{most.who}, {_rooms.apart(site, most.mean_f)} past the comfort band on average"
        )
    found.sort(key=lambda x: -x.mean_f)
    x = found[0]
    drawn = _events(x)
    head = (
        f"{x.who} {VERB[mode]} when it isn't calling: {_rooms.apart(site, x.mean_f)} past the "
        f"comfort band on average over {words.hours(float(x.row.judged_s))}"
    )
    others = [f"{o.who} {_rooms.apart(site, o.mean_f)}" for o in found[1:]]
    gain = max((g for g in (x.open_gain, x.shut_gain) if g is not None), default=None)
    return Found(
        severity="plan" if x.mean_f >= site.threshold("over_plan_f") else "watch",
        certainty="likely",
        summary=words.sentences(
            head,
            "" if gain is None
            else f"when only others call it {_rooms.beyond_drift(site, mode, gain)} than by itself",
            f"past it too: {words.joined(others)}" if others else "",
        ),
        headline=head,
        aside=f"{x.who} {VERB[mode]} when it isn't calling",
        facts=x,
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        fill={"zone": x.who},
        table=_rooms.columns(
            found,
            ("Zone", (o.who for o in found)),
            ("Past the comfort band, on average", (_rooms.apart(site, o.mean_f) for o in found)),
            ("Open while others called", (words.hours(o.open_s) for o in found)),
        ),
    )  # fmt: skip


def _over(site: SiteFrames, r: Any) -> Over:
    table = records(site.table("measure.zone_response"))
    own = [x for x in table if x.zone == r.zone and x.mode == r.mode and not x.is_calling]
    opened = [x for x in own if x.damper in ("open", "moved")]
    shut = [x for x in own if x.damper in ("closed", None)]
    runs = site.table("interval.zone_run")
    rows = runs[
        (runs["zone"] == r.zone)
        & (runs["mode"] == r.mode)
        & (runs["is_calling"] == False)  # noqa: E712
        & (runs["slope_f_per_h"] > 0)
        & ~flags(runs["in_visit"])
    ]
    return Over(
        site,
        r,
        float(r.over_degree_h) / (float(r.judged_s) / 3600),
        _gain(opened),
        _gain(shut),
        sum(float(x.warm_s) for x in opened),
        sum(float(x.warm_s) for x in shut),
        records(rows.sort_values("start_ts")),
    )


def _gain(rows: list[Any]) -> float | None:
    """Over the room's own drift, weighed by the stretches that know it."""
    known = [x for x in rows if number(x.beyond_drift_f_per_h) is not None and x.n_drift]
    n = sum(int(x.n_drift) for x in known)
    return sum(float(x.beyond_drift_f_per_h) * int(x.n_drift) for x in known) / n if n else None


def _by_air(x: Over) -> bool:
    """The room moves on with the equipment while only others call."""
    least = x.site.threshold("over_gain_f_per_h")
    return any(g is not None and g >= least for g in (x.open_gain, x.shut_gain))


def _events(x: Over) -> list[Event]:
    return [
        Event(
            start_ts=int(r.start_ts),
            end_ts=int(r.end_ts),
            worth=float(r.slope_f_per_h) * float(r.end_ts - r.start_ts),
            say=f"{x.site.clock(int(r.start_ts))}, {x.who} goes on moving "
            f"{_rooms.rate(x.site, float(r.slope_f_per_h))} for "
            f"{words.duration((r.end_ts - r.start_ts) / MICROSECONDS)}, only others calling",
            label="others calling",
        )
        for r in x.rows
    ]
