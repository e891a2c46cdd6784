"""Thermostat in the air stream: it feels the supply air, so it is satisfied before its room is.

What it says
    In which zone the room, by its own logger, is short of the setpoint as busy calls end, though
    not as calls begin after a rest; or jumps as the air comes and falls back as it stops.

Why it matters
    Short calls, a room that is never quite there, and a thermostat that people turn up and up.

What looks like it but is not
    A thermostat or logger that reads wrong by a steady amount: there the room is as far off as
    calls begin. A zone that cannot hold: it is off while it calls, and its calls are long.

Source
    Common practice, no source.
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
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class Stream:
    """A zone whose calls end short of the setpoint when the air has blown for long.

    row : of measure.call_offset; calls : its calls in that mode, by time
    """

    site: SiteFrames
    row: Any
    calls: list[Any]

    @property
    def who(self) -> str:
        """Its name."""
        return _rooms.name_of(self.site, self.row.zone)

    @property
    def short_f(self) -> float:
        """How far short of the setpoint busy calls end."""
        return -float(self.row.busy_end_f)

    @property
    def shift_f(self) -> float:
        """How much farther than calls begin after a rest."""
        return self.short_f + min(0.0, float(self.row.rested_start_f))


def _felt(x: Stream) -> Weighed:
    return Weighed(
        Weight.STRONG if x.shift_f >= 2 * x.site.threshold("stream_shift_f") else Weight.FITS,
        f"calls in a busy hour end with the room {_rooms.apart(x.site, x.short_f)} short of its "
        f"setpoint, {_rooms.apart(x.site, x.shift_f)} more than where calls begin after a rest",
    )


def _wall(x: Stream) -> Weighed:
    return Weighed(
        Weight.OPEN, "a hole in the wall behind it and a register that blows on it look the same"
    )


def _setting(x: Stream) -> Weighed:
    lengths = sorted((c.end_ts - c.start_ts) / MICROSECONDS for c in x.calls)
    middle = lengths[len(lengths) // 2]
    return Weighed(
        Weight.AGAINST,
        f"half its calls are {words.duration(middle)} or shorter; fast cycling alone would leave "
        "the room at its setpoint as calls end",
    )


FINDING = Declaration(
    title="Thermostat in the air stream",
    question="Does a thermostat feel the supply air instead of its room?",
    needs_tables=(
        "measure.call_offset",
        "interval.call",
        "interval.not_keeping_up",
        "measure.zone_response",
    ),
    needs_roles=(
        ("zone_temp",),
        ("zone_heat_setpoint", "zone_cool_setpoint"),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="calls",
    thresholds=(
        "stream_end_off_f",
        "stream_shift_f",
        "stream_min_calls",
        "stream_min_rested",
        "offset_rest_s",
        "offset_busy_share",
    ),
    causes=(
        Cause(
            "a register blows on the thermostat, or it hangs in the path of the supply air",
            "Raised the further calls in a busy hour end short of the setpoint, against where "
            "calls begin after a rest.",
            _felt,
        ),
        Cause(
            "air of the duct comes through the wall behind the thermostat",
            "A log cannot tell it from a register.",
            _wall,
        ),
        Cause(
            "the thermostat's cycle setting is too fast",
            "Lowered because that alone leaves the room at its setpoint.",
            _setting,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "in {zone}, the equipment running: a tissue or smoke at the thermostat, then a finger "
            "over the wire hole behind it",
            "no draught at either",
            "seal the hole; turn the register's blades, or move the thermostat",
        ),
        Check(
            "thermostat",
            "a thermometer beside the thermostat and one in the middle of the room, ten minutes "
            "into a call of {zone}",
            "within 1 degree of each other",
            "it feels the air: aim the register away, or move the thermostat",
        ),
        Check(
            "ducts",
            "look at the registers of {zone}: which way do they throw?",
            "along the outside wall, none at the thermostat",
            "turn the blades",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.ELECTRICITY, _cautions.SYMPTOMS),
    confused_with=(
        "Thermostat and room apart: as far off at the start of calls as at their end.",
        "Short cycling by a cycle setting: calls end with the room at its setpoint.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by the room's offset as busy calls end against that as calls begin after a rest."""
    least = site.threshold("stream_min_calls")
    rows = [
        r
        for r in records(site.table("measure.call_offset"))
        if r.n_busy >= least and r.n_rested >= site.threshold("stream_min_rested")
    ]
    if not rows:
        return CannotTell(
            f"no zone had {least:.0f} calls in busy hours and some after a rest, with room and "
            "setpoint known"
        )
    seen = [Stream(site, r, _calls(site, r)) for r in rows]
    found = [
        x
        for x in seen
        if x.short_f >= site.threshold("stream_end_off_f")
        and x.shift_f >= site.threshold("stream_shift_f")
    ]
    if not found:
        most = max(seen, key=lambda x: x.short_f)
        if most.short_f <= 0:
            return NotFound("in every zone calls in a busy hour end with the room at its setpoint")
        return NotFound(
            f"calls in a busy hour end with the room {_rooms.apart(site, most.short_f)} short of "
            f"its setpoint at the most, in {most.who}"
        )
    behind, zones = _fall_behind(site, found)
    found = [x for x in found if x.row.mode not in behind]
    if not found:
        return CannotTell(
            f"{zones} fell behind: then calls end short for want of heat or cooling, whatever the "
            "thermostat feels"
        )
    x = max(found, key=lambda s: s.shift_f)
    drawn = _events(x)
    head = (
        f"{x.who}'s thermostat is satisfied with the room {_rooms.apart(site, x.short_f)} "
        f"short of its setpoint once the air has blown for a while"
    )
    starts = number(x.row.rested_start_f) or 0.0
    return Found(
        severity="watch",
        certainty="likely",
        summary=words.sentences(
            f"{head}: so at half or more of {int(x.row.n_busy)} {MODE_WORDS[x.row.mode]} calls in "
            "busy hours",
            f"after a rest its calls begin with the room {_rooms.apart(site, abs(starts))} "
            f"{'short of it' if starts <= 0 else 'past it'}",
        ),
        headline=head,
        aside=f"{x.who}'s thermostat feels the supply air",
        facts=x,
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        fill={"zone": x.who},
        table=_rooms.columns(
            x.calls,
            ("When", (site.clock(int(c.start_ts)) for c in x.calls)),
            (
                "Called for",
                (words.duration((c.end_ts - c.start_ts) / MICROSECONDS) for c in x.calls),
            ),
        ),
    )


def _fall_behind(site: SiteFrames, found: list[Stream]) -> tuple[set[str], str]:
    """Modes in which more than half of the zones fell behind, and their names.

    A thermostat that calls nearly all the time lets go a little short of its setpoint by itself.
    """
    table = site.table("interval.not_keeping_up")
    behind, names = set(), ""
    for mode in sorted({str(x.row.mode) for x in found}):
        zones = sorted({int(z) for z in table.loc[table["mode"] == mode, "zone"]})
        if len(zones) * 2 > len(site.site.zones):
            behind.add(mode)
            names = words.joined(_rooms.name_of(site, z) for z in zones)
    return behind, names


def _calls(site: SiteFrames, row: Any) -> list[Any]:
    table = site.table("interval.call")
    rows = table[(table["zone"] == row.zone) & (table["mode"] == row.mode)]
    return records(rows.sort_values("start_ts"))


def _events(x: Stream) -> list[Event]:
    """Its calls; the longest is the worst."""
    return [
        Event(
            start_ts=int(c.start_ts),
            end_ts=int(c.end_ts),
            worth=float(c.end_ts - c.start_ts),
            say=f"{x.site.clock(int(c.start_ts))}, {x.who} calls for "
            f"{words.duration((c.end_ts - c.start_ts) / MICROSECONDS)}",
            label="call",
        )
        for c in x.calls
    ]
