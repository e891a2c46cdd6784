"""The ticket: what a technician needs in the driveway, as one plain record for one page.

Built from a site's result and its site file; nothing is measured here. What the log cannot say is
said so. Texts are in the result's units and the site's local time; with redaction the site's
name, the customer's words, zone names, locations and notes are left out.
"""

from __future__ import annotations

import math
import re
from dataclasses import asdict, dataclass, replace
from typing import Any

from pipeline import words
from pipeline.clock_left import BESIDE_STATES, clock_note
from pipeline.findings._base import NOT_HERE
from pipeline.findings._cautions import (
    CARBON_MONOXIDE,
    CLEAN_LOG,
    HEAT_OFF,
    ICE,
    REPRODUCE,
)
from pipeline.first_checks import in_order
from pipeline.result import Finding, SiteResult
from pipeline.site import Site
from pipeline.ticket_answers import Answer, answers
from pipeline.ticket_checks import WATCHED_SHORT, TicketCheck, walk
from pipeline.ticket_steps import Happening, happening, hours_of_calls
from pipeline.units import MICROSECONDS

SCHEMA_NAME = "zonetrail.ticket/1"
LONGEST_NAME = 26
"""Longer zone names are cut in their middle on the sheet, so that sentences stay readable."""

BURNER_KINDS = ("furnace_ac", "dual_fuel", "furnace")
COMPRESSOR_KINDS = ("furnace_ac", "heat_pump", "dual_fuel", "ac")

WORTH_READING = (
    "static_target_inwc",
    "high_limit_f",
    "stage_up_delay_min",
    "stage2_min_zones",
)
"""Settings that get a line to fill even where nobody has given them."""

WOULD_SETTLE = (
    (("supply_temp",), "supply air: limit trips, rise and cut-outs"),
    (("static_pressure",), "static in the supply trunk: ducts, relief and filter"),
    (("return_temp",), "return air at the unit: rise, and air coming back through a bypass"),
    (("outdoor_temp",), "outdoor air: whether weather explains it"),
    (
        ("zone_heat_setpoint", "zone_cool_setpoint"),
        "setpoints: how far a room is off",
    ),
    (
        ("gas_valve", "flame", "equipment_limit", "compressor_run", "outdoor_fan_run"),
        "a proof of running (gas valve, flame, compressor): who stopped it, panel or equipment",
    ),
)
"""Channels whose absence leaves a question open, and which."""


@dataclass(frozen=True)
class Ticket:
    """Everything on the sheet, in its reading order; texts are ready to show, not yet escaped.

    stop : what comes before anything else; empty where nothing found calls for it
    complaint : the customer's words, '' where not given or redacted; answers : each part of them
    seen : days, outdoor range, hours of heat and cooling: whether the season could show it
    call, sentence, how_sure, ruled_out : the verdict's
    steps, when : how to make it happen, and when it happened
    checks : in walking order, of the worst findings first; n_more : checks that are not among them
    bring : instruments and parts
    places : (zone, where its damper is)
    settings : (key of site.toml, value as found, '' where nobody has read it)
    boxes : (what to measure, what the plate or the panel asks for, '' where not known)
    do_not : cautions, the worst finding's first; n_head_cautions : so many are the worst finding's
    data : how much was logged, what was not, what would settle it
    prove : what a later log needs to show that the fix held
    """

    site_id: str
    name: str
    kind: str
    n_zones: int
    window: str
    timezone: str
    stop: tuple[str, ...]
    complaint: str
    answers: tuple[Answer, ...]
    seen: str
    call: str
    sentence: str
    how_sure: str
    ruled_out: tuple[str, ...]
    steps: str
    when: str
    checks: tuple[TicketCheck, ...]
    n_more_checks: int
    bring: tuple[str, ...]
    places: tuple[tuple[str, str], ...]
    settings: tuple[tuple[str, str], ...]
    boxes: tuple[tuple[str, str], ...]
    do_not: tuple[str, ...]
    n_head_cautions: int
    data: tuple[str, ...]
    prove: str
    run_id: str
    tool_version: str
    redacted: bool


def make_ticket(result: SiteResult, site: Site) -> Ticket:
    """The sheet of one site.

    result : as a review gives it; site : the same site's file, for locations and the plate
    """
    return _Sheet(result, site).ticket()


def ticket_document(ticket: Ticket) -> dict[str, Any]:
    """The sheet as plain dictionaries and lists, for `--json -`."""
    return {"schema": SCHEMA_NAME, **asdict(ticket)}


class _Sheet:
    """One result; each method makes one part."""

    def __init__(self, result: SiteResult, site: Site) -> None:
        self.result = result
        self.site = site
        self.findings: list[Finding] = in_order(result.findings)
        self.installation = [f for f in self.findings if f.about == "installation"]
        self.long_names = {
            name: _middle_cut(name, LONGEST_NAME)
            for name in sorted(result.site.zones.values(), key=len, reverse=True)
            if len(name) > LONGEST_NAME
        }

    def ticket(self) -> Ticket:
        """The record."""
        r, info = self.result, self.result.site
        stop = self.stop()
        cautions = list(dict.fromkeys(c for f in self.findings for c in f.cautions))
        head = self.installation[0].cautions if self.installation else ()
        event = happening(r, self.installation[0] if self.installation else None, self.plate_max())
        said = {*stop, REPRODUCE} if WATCHED_SHORT in event.steps.lower() else set(stop)
        do_not = [c for c in cautions if c not in said]
        checks, n_more = walk(self.findings)
        say = self.tamed
        return Ticket(
            site_id=info.site_id,
            name=info.site_id if r.redacted else info.name,
            kind=info.kind,
            n_zones=len(info.zones),
            window=words.clock_span(
                r.window.start_ts, r.window.end_ts, info.timezone, with_date=True, units=r.units
            ),
            timezone=info.timezone,
            stop=tuple(stop),
            complaint="" if r.redacted else info.complaint or "",
            answers=tuple(Answer(a.words, say(a.said)) for a in answers(r)),
            seen=self.seen(),
            call=r.verdict.call,
            sentence=say(r.verdict.sentence),
            how_sure=say(_how_sure(r.verdict.how_sure)),
            ruled_out=tuple(say(t) for t in r.verdict.ruled_out),
            steps=say(event.steps),
            when=say(event.when),
            checks=tuple(
                replace(c, how=say(c.how), good=say(c.good), bad=say(c.bad)) for c in checks
            ),
            n_more_checks=n_more,
            bring=self.bring(checks),
            places=self.places(),
            settings=self.settings(),
            boxes=self.boxes(),
            do_not=tuple(do_not or [CLEAN_LOG]),
            n_head_cautions=sum(c in head for c in do_not) or 1,
            data=tuple(say(t) for t in self.data()),
            prove=say(self.prove(event)),
            run_id=r.run_id,
            tool_version=r.tool_version,
            redacted=r.redacted,
        )

    def tamed(self, text: str) -> str:
        """The text with long zone names cut, as the sheet names them."""
        for name, short in self.long_names.items():
            text = text.replace(name, short)
        return text

    def stop(self) -> list[str]:
        """What stands before everything else: people first, then gas, heat and leak control."""
        lines = []
        if self.site.call_first:
            lines.append("Call this customer before anything else: marked call first.")
        grave = [f for f in self.installation if f.severity == "act"]
        said = {c for f in grave for c in f.cautions}
        lines += [c for c in (HEAT_OFF, CARBON_MONOXIDE, ICE) if c in said]
        if self.site.equipment.leak_control:
            lines.append(
                "Leak control is fitted: treat its alarm as a leak. No ignition source, air the "
                "room, do not bypass it; a certified technician only."
            )
        return lines

    def seen(self) -> str:
        """'8.1 days, 8 to 44 °F outdoors, 131 heat hours, no cooling hours'."""
        r = self.result
        length_s = (r.window.end_ts - r.window.start_ts) / MICROSECONDS
        weather = r.frames.get("interval.weather")
        if weather is None or weather.empty:
            outdoor = "outdoor air not logged"
        else:
            span = words.span_of(
                [float(weather["outdoor_f"].min()), float(weather["outdoor_f"].max())],
                "temperature",
                r.units,
            )
            outdoor = f"{span} outdoors"
        heat, cool = (self._hours(mode) for mode in ("heating", "cooling"))
        return f"{words.duration(length_s)}, {outdoor}, {heat} of heat, {cool} of cooling"

    def _hours(self, mode: str) -> str:
        frame = self.result.frames.get("measure.condition_time")
        if frame is None:
            return "unknown hours"
        s = float(frame.loc[frame["class"] == mode, "outside_visit_s"].sum())
        return words.hours(s) if s >= 1 else "no hours"

    def bring(self, checks: list[TicketCheck]) -> tuple[str, ...]:
        """Instruments and parts; what a check asks for, and what every such visit needs."""
        kind = self.result.site.kind
        said = " ".join(f"{c.how} {c.bad}" for c in checks).lower()
        out = ["two-tube manometer", "two matched air probes"]
        if kind in BURNER_KINDS:
            out.append("combustion analyser and CO meter (gas)")
        out.append("a filter of the size fitted: ask before leaving")
        if "damper" in said or "actuator" in said:
            out.append("spare damper actuator")
        if "amps" in said or "capacitor" in said or "contactor" in said:
            out.append("clamp meter")
        out.append("24\u00a0V meter, hole plugs")
        return tuple(out)

    def places(self) -> tuple[tuple[str, str], ...]:
        """Zones by name with the place of their dampers; nothing where redacted."""
        if self.result.redacted:
            return ()
        return tuple(
            (self.tamed(z.name or f"zone {z.number}"), _middle_cut(z.location, 60))
            for z in self.site.zones
            if z.location
        )

    def settings(self) -> tuple[tuple[str, str], ...]:
        """Settings in force at the end, then those worth reading that nobody gave."""
        latest = {key: value for key, value, _ in self.result.site.settings}
        missing = [key for key in WORTH_READING if key not in latest]
        return (*latest.items(), *((key, "") for key in missing))

    def boxes(self) -> tuple[tuple[str, str], ...]:
        """What to measure on the visit, with the plate's own band where it was given."""
        kind, plate, units = self.result.site.kind, self.site.equipment, self.result.units
        made: list[tuple[str, str]] = [("Supply static", ""), ("Return static", "")]
        total = plate.max_external_static_inwc
        if total is not None:  # the plate's figure is of neither side alone
            made.append(("Supply + return", f"plate: {words.static(total, units)}"))
        if kind in BURNER_KINDS:
            bands = plate.temperature_rise_f or ()
            for n in range(max(1, plate.heating_stages or 1)):
                name = f"Rise, stage {n + 1}"
                band = bands[n] if n < len(bands) else None
                made.append((name, f"plate: {_band(band, units)}" if band else ""))
        if kind in COMPRESSOR_KINDS:
            made.append(("Split (cooling)", ""))
        made.append(("Filter: size, state", ""))
        return tuple(made)

    def data(self) -> list[str]:
        """What limits the sheet most first: clocks, what was not logged, then coverage."""
        verdict = self.result.verdict
        coverage = self.result.frames.get("signal.coverage")
        logged = set() if coverage is None else set(coverage.loc[coverage["valid_s"] > 0, "role"])
        absent = [say for roles, say in WOULD_SETTLE if not logged.intersection(roles)]
        made = [clock_note(self.result, *BESIDE_STATES)]
        if absent:
            made.append(f"Not logged, and would settle more: {'; '.join(absent)}.")
        _, _, looked = f" {verdict.how_sure}".partition(" Looked at: ")
        looked, _, about = looked.partition(" About the log: ")
        made += [words.sentence(part) for part in (looked, about)]
        # told above already, or asked of equipment that is not here
        told = ("the clock", "not logged", NOT_HERE)
        rest = [t for t in verdict.cannot_tell if not t.partition(": ")[2].startswith(told)]
        made += [words.sentence(f"cannot tell: {t}") for t in rest[:3]]
        return [part for part in made if part]

    def prove(self, event: Happening) -> str:
        """What a log after the fix must hold, and how many days that takes at this log's pace."""
        t = self.result.thresholds
        need_h, need_calls, need_days = (
            t.get("compare_min_hours", 5.0),
            t.get("compare_min_calls", 20.0),
            t.get("compare_min_days", 4.0),
        )
        if not event.mode:
            return "Nothing found to prove; log the season that has not been seen."
        who = words.calling(event.zones, self.result.site.zones) if event.zones else "any zone"
        state = f"{who} calling for {'heat' if event.mode == 'heating' else 'cooling'}"
        need = f"{need_h:g} hours (or {need_calls:g} calls) of {state}, in like weather"
        seen_s = hours_of_calls(self.result, event.mode, event.zones)
        length_s = (self.result.window.end_ts - self.result.window.start_ts) / MICROSECONDS
        if seen_s <= 0:
            return f"To show that the fix held, a log needs {need}."
        days = max(need_days, math.ceil(need_h * 3600 / (seen_s / length_s) / 86400))
        return (
            f"To show that the fix held, a log needs {need}: at this log's pace about "
            f"{days:g} days after the fix."
        )

    def plate_max(self) -> str:
        """The plate's maximum outlet temperature in words, '' where not given."""
        value = self.site.equipment.max_outlet_f
        return "" if value is None else words.temperature(value, self.result.units)


def _how_sure(said: str) -> str:
    """How sure, without when it happened and what was looked at: both have their own place."""
    sure = re.split(r"(?:^| )(?:It happened|Looked at:) ", said)[0]
    return sure.strip()


def _middle_cut(text: str, limit: int) -> str:
    if len(text) <= limit:
        return text
    head = (limit - 1) * 2 // 3
    return f"{text[:head].rstrip()}…{text[-(limit - 1 - head) :].lstrip()}"


def _band(band: tuple[float, float], units: str) -> str:
    low, high = (words.temperature_difference(v, units) for v in band)
    return f"{low.split(' ', 1)[0]} to {high}"
