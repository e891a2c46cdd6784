"""Zone sensor off: a thermostat is satisfied while the room's logger reads apart from its setpoint.

What it says
    In which zone calls begin and end with the room, by the logger, as far off the setpoint one time
    as the other, and by how much.

Why it matters
    The zone is held, but at another temperature than is set: people turn the setpoint, or complain.

What looks like it but is not
    A zone that cannot hold: it is off while it calls, not as its calls end. A logger in the sun or
    on an outside wall: then the logger is off, which the log alone cannot tell apart.

Source
    A steady offset of some degrees with cycles in order: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

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
from pipeline.findings._site import SiteFrames, flags
from pipeline.findings._states import MODE_WORDS
from pipeline.units import MICROSECONDS

SETPOINT = {"heating": "heat_setpoint_f", "cooling": "cool_setpoint_f"}
MINUTE = 60 * MICROSECONDS


@dataclass(frozen=True)
class Offset:
    """Room less setpoint as calls of a zone begin and end: medians [°F], and how many ends."""

    site: SiteFrames
    zone: int
    mode: str
    n: int
    start_f: float
    end_f: float


def _place(x: Offset) -> Weighed:
    return Weighed(
        Weight.FITS,
        f"its calls begin with the room {x.start_f:+.1f} and end with it {x.end_f:+.1f} °F off "
        "the setpoint: the thermostat cycles as it should, but about another temperature",
    )


def _logger(x: Offset) -> Weighed:
    return Weighed(Weight.OPEN, "which of the two reads right is not in the log")


FINDING = Declaration(
    title="Thermostat and room apart",
    question="Is a thermostat satisfied with the room, by the logger, off its setpoint?",
    needs_tables=("interval.call", "interval.zone_minute"),
    needs_roles=(
        ("zone_temp",),
        ("zone_heat_setpoint", "zone_cool_setpoint"),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="calls",
    thresholds=("sensor_off_f", "sensor_off_plan_f", "sensor_off_min_calls"),
    causes=(
        Cause(
            "the thermostat's place or its sensor: sun, a warm wall, a hole behind it, calibration",
            "Fits whenever calls begin and end with the room equally far off.",
            _place,
        ),
        Cause(
            "the logger's place: sun, an outside wall, a shelf over a register",
            "The log alone cannot tell.",
            _logger,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "reference thermometer beside the thermostat of {zone} and beside the logger, "
            "20 min each",
            "all three within 1 degree",
            "seal the wall hole, shade or move it, or set its offset by its instructions",
        ),
        Check(
            "log",
            "see where the logger of {zone} hung",
            "breast height, inside wall, no sun, no register",
            "hang it beside the thermostat and log again",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.SYMPTOMS),
    confused_with=(
        "A zone that cannot hold: off while it calls, and close to its setpoint as calls end.",
        "A thermostat in the air stream: its calls are short and end with the room hardly moved.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by the median offset as calls end, where it stands at their begin as well."""
    seen = offsets(site)
    if not seen:
        return CannotTell("too few calls ended with room and setpoint known")
    least = site.threshold("sensor_off_f")
    found = [x for x in seen if min(abs(x.start_f), abs(x.end_f)) >= least]
    found = [x for x in found if x.start_f * x.end_f > 0]
    if not found:
        most = max(seen, key=lambda x: abs(x.end_f))
        return NotFound(
            f"calls end within {_rooms.apart(site, abs(most.end_f))} of the setpoint in every zone"
        )
    x = max(found, key=lambda o: abs(o.end_f))
    who, off = _rooms.name_of(site, x.zone), _rooms.apart(site, abs(x.end_f))
    side = "over" if x.end_f > 0 else "under"
    head = (
        f"{who}'s thermostat is satisfied with the room {off} {side} its setpoint by the logger, "
        f"at half or more of {x.n} {MODE_WORDS[x.mode]} calls"
    )
    others = [_rooms.name_of(site, o.zone) for o in found if o.zone != x.zone]
    plan = abs(x.end_f) >= site.threshold("sensor_off_plan_f")
    return Found(
        severity="plan" if plan else "watch",
        certainty="likely",
        summary=words.sentences(
            head,
            f"its calls begin with it {_rooms.apart(site, abs(x.start_f))} {side} as well",
            f"so do {words.joined(dict.fromkeys(others))}" if others else "",
        ),
        headline=head,
        aside=f"{who}'s thermostat and the room's logger read apart",
        facts=x,
        fill={"zone": who},
    )


def offsets(site: SiteFrames) -> list[Offset]:
    """Room less setpoint at ends of calls, by zone and mode; setpoint steps and visits left out."""
    calls, minutes = site.table("interval.call"), site.table("interval.zone_minute")
    minutes = minutes[~flags(minutes["in_visit"])]
    made = []
    for (zone, mode), own in calls.groupby(["zone", "mode"]):
        if mode not in SETPOINT:
            continue
        room = minutes[minutes["zone"] == zone]
        off = (room["temp_f"] - room[SETPOINT[mode]]).astype(float)
        off_at = dict(zip(room["ts"].astype("int64"), off, strict=True))
        ends = _at(off_at, own.loc[flags(own["has_end"]), "end_ts"])
        starts = _at(off_at, own.loc[flags(own["has_start"]), "start_ts"])
        if min(len(ends), len(starts)) >= site.threshold("sensor_off_min_calls"):
            made.append(
                Offset(site, int(str(zone)), str(mode), len(ends), median(starts), median(ends))
            )
    return made


def _at(off_at: dict[int, float], instants: object) -> list[float]:
    """The offsets at the whole minutes of these instants, those that are known."""
    found = (off_at.get(int(t) // MINUTE * MINUTE) for t in instants)  # type: ignore[attr-defined]
    return [v for v in found if v is not None and v == v]
