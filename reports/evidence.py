"""The figure of a finding's evidence: every channel of those minutes on one time axis."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from pipeline.channels import OUTPUT_ROLES, ROLES
from pipeline.result import EvidenceWindow, Finding, Span
from pipeline.units import MICROSECONDS
from pipeline.words import joined
from reports.block import Model, Readings
from reports.display import number, text
from reports.figure import Band, Level, Line, Mark, Panel, TimeFigure, Track
from reports.markup import slug
from reports.theme import ROLE_STYLE, zone_style

# Panels in the order of the air's way; each lists the roles it takes.
PANELS: tuple[tuple[str, str, tuple[str, ...], float], ...] = (
    ("Air", "temperature", ("supply_temp", "return_temp", "mixed_temp", "outdoor_temp"), 1.25),
    ("Duct static", "pressure", ("static_pressure", "return_static"), 1.0),
    ("Zones", "temperature", ("zone_temp", "zone_heat_setpoint", "zone_cool_setpoint"), 1.0),
    ("Humidity", "humidity", ("return_rh", "zone_rh"), 0.7),
)
CALL_ROLES = tuple(r for r in ROLES if r.startswith("zone_call_"))
SAME_EVENT_US = 60 * MICROSECONDS
"""A mark this near to a trip is that trip's."""
SLIVERS = 500
"""A stretch shorter than this part of a drawing is a pixel or two."""
Spans = tuple[tuple[int, int], ...]


def evidence_figure(model: Model, finding: Finding, window: EvidenceWindow) -> TimeFigure:
    """One evidence window of a finding as a figure; empty (`is_empty`) where nothing was logged."""
    states = model.states_of(finding.code, window.n)
    span = Span(window.start_ts, window.end_ts)
    tracks, notes = state_tracks(model, states, span)
    panels, more = reading_panels(
        model, model.readings_of(span), span, _calling_zones(states), window.lines
    )
    bands = [
        Band(s.start_ts, s.end_ts, s.label)
        for s in window.spans
        if _meets(s, span) and not _is_sliver(s, span)
    ]
    bands += [
        Band(v.start_ts, v.end_ts, "service visit", "visit")
        for v in model.result.site.visits
        if _meets(v, span)
    ]
    when = model.clock.span(window.start_ts, window.end_ts)
    return TimeFigure(
        key=f"{slug(finding.code)}-{window.n}",
        title=f"{when} {model.clock.name(window.start_ts)}.",
        sentence=window.title,
        start_ts=window.start_ts,
        end_ts=window.end_ts,
        offset_us=model.clock.offset_us(window.start_ts),
        zone_name=model.clock.name(window.start_ts),
        hours=model.clock.hours,
        panels=panels,
        tracks=tracks,
        marks=_marks(model, window),
        bands=tuple(bands),
        notes=(*notes, *_on_before(model, span), *more, *clock_note(model, span)),
    )


def _is_sliver(part: Span, whole: Span) -> bool:
    """Too short to be seen as a band: its mark stands for it."""
    return part.end_ts - part.start_ts < (whole.end_ts - whole.start_ts) / SLIVERS


def _on_before(model: Model, span: Span) -> tuple[str, ...]:
    """Since when outputs were on that the stretch begins with: the sentence may speak of it."""
    runs = [
        (model.role(r["output"]), int(number(r["start_ts"]) or 0))
        for r in model.rows("interval.output_run")
        if (number(r["start_ts"]) or 0) < span.start_ts < (number(r["end_ts"]) or 0)
    ]
    since = [f"{name} since {model.clock.time(ts)}" for name, ts in sorted(runs)]
    return (f"On when it begins: {joined(since)}.",) if since else ()


def _marks(model: Model, window: EvidenceWindow) -> tuple[Mark, ...]:
    """The finding's own marks, or the beginnings of its stretches, and every panel trip besides."""
    marks = [Mark(m.ts, m.label) for m in window.marks] or [
        Mark(s.start_ts, s.label)
        for s in window.spans
        if window.start_ts <= s.start_ts < window.end_ts
    ]
    for trip in model.rows("interval.trip"):
        ts = round(number(trip["drop_ts"]) or number(trip["start_ts"]) or 0)
        near = any(abs(ts - m.ts) <= SAME_EVENT_US for m in marks)
        if window.start_ts <= ts < window.end_ts and not near:
            marks.append(Mark(ts, f"{text(trip['kind'])}-limit trip"))
    return tuple(sorted(marks, key=lambda m: m.ts))


def clock_note(model: Model, span: Span) -> tuple[str, ...]:
    """Sentences for loggers drawn at a wrong time, and for a change of the clocks."""
    return _offset_notes(model) + _change_note(model, span)


def _offset_notes(model: Model) -> tuple[str, ...]:
    least = model.result.thresholds.get("clock_offset_warn_s", 60)
    out = []
    for row in model.rows("trust.clock_offset"):
        offset = number(row["offset_s"])
        if offset is None or number(row["applied_s"]) or row["confidence"] != "shown":
            continue
        if abs(offset) < least:
            continue
        names = [
            model.role(c["role"], c["zone"])
            for c in model.rows("channel.channel")
            if c["logger"] == row["logger"]
        ]
        side, when = ("ahead", "late") if offset > 0 else ("behind", "early")
        out.append(
            f"The clock of {text(row['logger'])} runs {model.show.duration(abs(offset))} {side} "
            f"and was not corrected in this report: {joined(names)} drawn that much too {when}."
        )
    return tuple(out)


def _change_note(model: Model, span: Span) -> tuple[str, ...]:
    if not model.clock.changes_within(span):
        return ()
    return (
        f"Clocks change within this drawing; its axis stays on {model.clock.name(span.start_ts)}.",
    )


def reading_panels(
    model: Model,
    readings: Sequence[Readings],
    span: Span,
    calling: set[int] | None = None,
    levels: Iterable[tuple[str, float, str]] = (),
) -> tuple[tuple[Panel, ...], tuple[str, ...]]:
    """(panels, notes) of the readings of a stretch, one line per channel.

    calling : zones whose setpoints are drawn; None draws all
    levels : (role, value in store units, label), drawn in the panel that takes the role
    """
    if not readings:
        return (), ("No temperatures or pressures were recorded here.",)
    holds = _holds(model)
    panels, left_out, notes = [], set(), []
    known = {role for _, _, roles, _ in PANELS for role in roles}
    by_role: dict[str, list[Readings]] = defaultdict(list)
    for part in readings:
        by_role[part.role].append(part)
    extra = sorted(set(by_role) - known)
    layout = [
        *PANELS,
        *((model.role(r), ROLES[r].dimension, (r,), 0.7) for r in extra if r in ROLES),
    ]
    for title, dimension, roles, weight in layout:
        lines, gaps = [], []
        for role in roles:
            for part in by_role.get(role, ()):
                zone = part.zone
                if role.endswith("setpoint") and calling is not None and zone not in calling:
                    left_out.add(model.zone(zone))
                    continue
                line, missing = _line(model, dimension, part, span, holds.get(part.channel_id))
                lines.append(line)
                gaps.append(missing)
        if not lines:
            continue
        common = _common(gaps)
        partial = sorted({gap for missing in gaps for gap in missing} - set(common))
        notes += _missing_notes(model, lines, gaps, set(common))
        panels.append(
            Panel(
                title=title,
                unit=model.show.unit(dimension).label,
                lines=tuple(lines),
                levels=tuple(
                    Level(float(model.show.shown(dimension, np.array([value]))[0]), label)
                    for role, value, label in levels
                    if role in roles
                ),
                gaps=common,
                partial=tuple(partial),
                weight=weight,
                from_zero=dimension == "pressure",
            )
        )
    if any(p.gaps for p in panels):
        notes.insert(0, "Hatched: nothing was recorded.")
    if left_out:
        notes.append(
            f"Setpoints not drawn for zones that did not call: {joined(sorted(left_out))}."
        )
    return tuple(panels), tuple(notes)


def _missing_notes(
    model: Model, lines: list[Line], gaps: list[Spans], common: set[tuple[int, int]]
) -> list[str]:
    """One sentence per stretch that some lines of a panel lack, naming them."""
    named: dict[tuple[int, int], list[str]] = defaultdict(list)
    for line, missing in zip(lines, gaps, strict=True):
        for gap in missing:
            if gap not in common:
                named[gap].append(line.name)
    return [
        f"Not recorded {model.clock.span(*gap)}: {joined(names)} (hatched along the foot)."
        for gap, names in sorted(named.items())
    ]


def state_tracks(
    model: Model, states: pd.DataFrame | None, span: Span
) -> tuple[tuple[Track, ...], tuple[str, ...]]:
    """(tracks, notes) of state stretches with role, zone, start_ts, end_ts, is_on.

    What no stretch covers is unknown. States that were off throughout are named in a note
    instead of filling the drawing with empty rows.
    """
    if states is None:
        return (), ("No calls or outputs were recorded here.",)
    tracks: list[Track] = []
    off: dict[str, list[str]] = {"off": [], "closed": []}
    # plain lists: there are few rows, in many small groups
    names = ("role", "zone", "channel_id", "start_ts", "end_ts", "is_on")
    grouped: dict[tuple[str, int | None], dict[object, list[tuple[int, int, bool]]]] = {}
    for role, zone, channel, *stretch in zip(*(states[n].tolist() for n in names), strict=True):
        channels = grouped.setdefault((text(role), _zone(zone)), {})
        channels.setdefault(channel, []).append((stretch[0], stretch[1], bool(stretch[2])))
    for (role, zone), channels in sorted(
        grouped.items(), key=lambda g: (_rank(g[0][0]), -1 if g[0][1] is None else g[0][1])
    ):
        for i, stretches in enumerate(channels.values()):
            own = sorted(stretches)
            name = model.role(role, zone) + (f" {i + 1}" if len(channels) > 1 else "")
            on = _spans((a, b) for a, b, is_on in own if is_on)
            unknown = uncovered(_spans((a, b) for a, b, _ in own), span)
            if on or unknown:
                hue, group = track_hue(model, role, zone), _group(role)
                tracks.append(Track(name, hue, group, on, unknown, words=state_words(role)))
            else:
                off[state_words(role)[1]].append(name)
    notes = [f"{w.capitalize()} throughout: {joined(names)}." for w, names in off.items() if names]
    if any(t.unknown for t in tracks):
        notes.append("Hatched in a row: not recorded; neither one nor the other.")
    return tuple(tracks), tuple(notes)


def state_words(role: str) -> tuple[str, str]:
    """What a state's two sides are called: a damper is open or closed, the rest on or off."""
    return ("open", "closed") if role == "zone_damper" else ("on", "off")


def track_hue(model: Model, role: str, zone: int | None) -> str:
    """Zones keep the hue of their temperature line; faults and limits stand out; the rest is on."""
    if zone is not None and zone in model.zone_numbers:
        return zone_style(model.zone_numbers.index(zone))[0]
    return "limit" if role in ("fault_contact", "equipment_limit", "float_switch") else "on"


def uncovered(spans: Spans, within: Span) -> Spans:
    """What of `within` no span covers; spans ascending. Slivers under a second are left out."""
    out, at = [], within.start_ts
    for a, b in spans:
        if a - at >= MICROSECONDS:
            out.append((at, min(a, within.end_ts)))
        at = max(at, b)
    if within.end_ts - at >= MICROSECONDS:
        out.append((at, within.end_ts))
    return tuple(out)


def _meets(a: Span, b: Span) -> bool:
    return a.start_ts < b.end_ts and b.start_ts < a.end_ts


def _zone(value: object) -> int | None:
    n = number(value)
    return None if n is None else int(n)


def _holds(model: Model) -> dict[int, int]:
    """Channel -> longest time between readings that is no gap [µs]."""
    factor = model.result.thresholds.get("hold_max_intervals", 2.5)
    out = {}
    for row in model.rows("channel.channel"):
        interval = number(row["interval_s"])
        channel = number(row["channel_id"])
        if interval and channel is not None:
            out[int(channel)] = round(interval * factor * MICROSECONDS)
    return out


def _line(
    model: Model, dimension: str, part: Readings, span: Span, hold_us: int | None
) -> tuple[Line, Spans]:
    role, zone, ts = part.role, part.zone, part.ts
    values = model.show.shown(dimension, part.values)
    at = np.flatnonzero(part.gap_after[:-1])
    covered = []
    for a, b in zip([0, *(at + 1)], [*at, len(ts) - 1], strict=True):
        covered.append((int(ts[a]), int(ts[b])))
    if hold_us is None and len(ts) > 1:  # a channel that no table lists: its own usual step
        hold_us = round(2.5 * float(np.median(np.diff(ts))))
    missing = [
        (a, b) for a, b in uncovered(tuple(covered), span) if hold_us is None or b - a > hold_us
    ]
    ts = np.insert(ts, at + 1, ts[at] + 1)
    values = np.insert(values, at + 1, np.nan)
    if zone is not None and zone in model.zone_numbers:
        hue, dash = zone_style(model.zone_numbers.index(zone))
        dash = "dot" if role.endswith("setpoint") else dash
    else:
        hue, dash = ROLE_STYLE.get(role, ("other", "solid"))
    return (
        Line(
            name=model.role(role, zone).removesuffix(" temperature"),
            hue=hue,
            dash=dash,
            ts=ts,
            values=values,
            unit=model.show.unit(dimension).label,
            decimals=model.show.decimals(dimension),
            scale=model.show.wire_scale(dimension),
            channel_id=part.channel_id,
        ),
        tuple(missing),
    )


def _common(gaps: list[Spans]) -> Spans:
    """What lies in a gap of every line: only there was nothing recorded at all."""
    if not gaps:
        return ()
    edges: dict[int, int] = defaultdict(int)
    for spans in gaps:
        for a, b in spans:
            edges[a] += 1
            edges[b] -= 1
    out, depth, since = [], 0, 0
    for at in sorted(edges):
        before, depth = depth, depth + edges[at]
        if before < len(gaps) <= depth:
            since = at
        elif depth < len(gaps) <= before:
            out.append((since, at))
    return tuple(out)


def _spans(stretches: Iterable[tuple[int, int]]) -> Spans:
    """Stretches, by start, as spans that do not touch."""
    out: list[tuple[int, int]] = []
    for a, b in stretches:
        if out and a <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], int(b)))
        else:
            out.append((int(a), int(b)))
    return tuple(out)


def _calling_zones(states: pd.DataFrame | None) -> set[int]:
    if states is None:
        return set()
    on = states[states["role"].isin(CALL_ROLES) & states["is_on"].astype(bool)]
    return {int(z) for z in on["zone"].dropna().unique()}


def _group(role: str) -> str:
    if role.startswith("zone_call"):
        return "calls"
    if role in OUTPUT_ROLES:
        return "outputs"
    return "dampers" if role == "zone_damper" else "proof"


def _rank(role: str) -> tuple[int, int]:
    order = ("calls", "outputs", "proof", "dampers")
    names = list(ROLES)
    return order.index(_group(role)), names.index(role) if role in names else len(names)
