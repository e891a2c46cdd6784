"""Thermostat in the air stream: it feels the supply air, so it is satisfied before its room is.

What it says
    In which zone the room, by its own logger, is short of the setpoint as busy calls end, though
    not as calls begin after a rest; or goes nowhere in its calls, which end short of the setpoint
    all the same, while the other rooms come nearer in theirs.

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
from statistics import median
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
    others : rows of the other zones in that mode; call_s : the middle one of their calls' lengths
    """

    site: SiteFrames
    row: Any
    calls: list[Any]
    others: list[Any]
    others_call_s: float | None

    @property
    def who(self) -> str:
        """Its name."""
        return _rooms.name_of(self.site, self.row.zone)

    @property
    def short_f(self) -> float:
        """How far short of the setpoint busy calls end; nought where too few are known."""
        least = self.site.threshold("stream_min_calls")
        # a logger's tenths, taken apart again, are no tenths to the last digit
        return round(-float(self.row.busy_end_f), 6) if self.row.n_busy >= least else 0.0

    @property
    def shift_f(self) -> float:
        """How much farther than calls begin after a rest; nought where too few are known."""
        if self.row.n_rested < self.site.threshold("stream_min_rested"):
            return 0.0
        return self.short_f + min(0.0, float(self.row.rested_start_f))

    @property
    def call_s(self) -> float:
        """The middle one of its calls' lengths."""
        return _middle_s(self.calls)

    @property
    def is_shifted(self) -> bool:
        """Whether busy calls end short, rested ones begin less so, and calls are no longer ones."""
        limit = self.site.threshold
        return (
            self.short_f >= limit("stream_end_off_f")
            and self.shift_f >= limit("stream_shift_f")
            and (self.others_call_s is None or self.call_s <= self.others_call_s)
        )

    @property
    def others_move_f(self) -> float | None:
        """How far the other rooms come in their calls, the middle one."""
        moved = [float(r.moved_f) for r in self.others if number(r.moved_f) is not None]
        return median(moved) if moved else None

    @property
    def is_still(self) -> bool:
        """Whether the room goes nowhere in its calls, which end short of its setpoint."""
        limit, moved, other = self.site.threshold, number(self.row.moved_f), self.others_move_f
        return (
            self.row.n_both >= limit("stream_still_calls")
            and moved is not None
            and moved <= limit("stream_still_move_f")
            and -float(self.row.end_f) >= limit("stream_still_end_f")
            and other is not None
            and other >= limit("stream_others_move_f")
            and (self.others_call_s is None or self.call_s <= self.others_call_s)
        )


def _middle_s(calls: list[Any]) -> float:
    return median((c.end_ts - c.start_ts) / MICROSECONDS for c in calls) if calls else 0.0


def _felt(x: Stream) -> Weighed:
    if not x.is_shifted:
        return Weighed(
            Weight.FITS,
            f"its {int(x.row.n_both)} calls, mostly around {words.duration(x.call_s)}, leave the "
            f"room where it was; the other rooms come {_rooms.apart(x.site, x.others_move_f or 0)} "
            "nearer to their setpoints in theirs",
        )
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
    return Weighed(
        Weight.AGAINST,
        f"half its calls are {words.duration(x.call_s)} or shorter; fast cycling alone would leave "
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
        "stream_still_calls",
        "stream_still_move_f",
        "stream_still_end_f",
        "stream_others_move_f",
        "offset_rest_s",
        "offset_busy_share",
    ),
    causes=(
        Cause(
            "a register blows on the thermostat, or it hangs in the path of the supply air",
            "Raised the further calls in a busy hour end short of the setpoint, against where "
            "calls begin after a rest, and where the room goes nowhere in calls that end short.",
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
    suppresses=("zone-sensor-off",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by where the room is as its calls end, against other times and other rooms."""
    table = records(site.table("measure.call_offset"))
    seen = [_stream(site, r, table) for r in table if _is_known(site, r)]
    if not seen:
        return CannotTell(
            f"no zone had {site.threshold('stream_min_calls'):.0f} calls in busy hours and some "
            f"after a rest, or {site.threshold('stream_still_calls'):.0f} in all, with room and "
            "setpoint known"
        )
    found = [x for x in seen if x.is_shifted or x.is_still]
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
    x = max(found, key=lambda s: (s.is_shifted, s.shift_f))
    drawn = _events(x)
    head, more = _shifted(x) if x.is_shifted else _still(x)
    return Found(
        severity="watch",
        certainty="likely",
        summary=words.sentences(*more),
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


def _is_known(site: SiteFrames, r: Any) -> bool:
    """Whether enough of a zone's calls are known to judge it in one way or the other."""
    busy = r.n_busy >= site.threshold("stream_min_calls")
    rested = r.n_rested >= site.threshold("stream_min_rested")
    return (busy and rested) or r.n_both >= site.threshold("stream_still_calls")


def _stream(site: SiteFrames, r: Any, table: list[Any]) -> Stream:
    least = site.threshold("stream_min_calls")
    others = [o for o in table if o.mode == r.mode and o.zone != r.zone and o.n_both >= least]
    lengths = [_middle_s(_calls(site, o)) for o in others]
    return Stream(site, r, _calls(site, r), others, median(lengths) if lengths else None)


def _shifted(x: Stream) -> tuple[str, tuple[str, ...]]:
    """Headline, and sentences, of a zone whose busy calls end short."""
    head = (
        f"{x.who}'s thermostat is satisfied with the room {_rooms.apart(x.site, x.short_f)} "
        f"short of its setpoint once the air has blown for a while"
    )
    starts = number(x.row.rested_start_f) or 0.0
    return head, (
        f"{head}: so at half or more of {int(x.row.n_busy)} {MODE_WORDS[x.row.mode]} calls in "
        "busy hours",
        f"after a rest its calls begin with the room {_rooms.apart(x.site, abs(starts))} "
        f"{'short of it' if starts <= 0 else 'past it'}",
    )


def _still(x: Stream) -> tuple[str, tuple[str, ...]]:
    """Headline, and sentences, of a zone whose room goes nowhere in its calls."""
    what = "warmer" if x.row.mode == "heating" else "cooler"
    head = (
        f"{x.who}'s calls end with the room no {what} than as they began and "
        f"{_rooms.apart(x.site, -float(x.row.end_f))} short of its setpoint"
    )
    said = (
        f"{head}: that is what {int(x.row.n_both)} {MODE_WORDS[x.row.mode]} calls are mostly like",
        f"the other rooms come {_rooms.apart(x.site, x.others_move_f or 0.0)} nearer in theirs",
    )
    if x.others_call_s is None:
        return head, said
    return head, (
        *said,
        f"half its calls are {words.duration(x.call_s)} or shorter, elsewhere "
        f"{words.duration(x.others_call_s)}",
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
