"""one row per logger: how far its clock is from the reference's, from edges that both logged

The reference is the logger that carries the outputs, else the calls. What the other logger measures
answers the reference's edges after a delay that is unknown but bounded: a fan moves within seconds
of G, air cools within seconds of the burner going off. An effect never comes before its cause, so
offset and delay are told apart by the tightest bounds among the edges that answer; the doubt that
is left stands in `plus_minus_s`. W on to warm air carries ignition and fan delays and is not used.
Room temperatures have no sharp edge; their slope follows the calls, which shows a clock that is
wrong by a quarter of an hour and more (`clock_rooms`). Outdoor temperature is left open.

A clock that gains or loses is told by how much a day, and not straightened: site.toml has one
number per logger. Taking out the offset of the middle leaves half of what grew over the log at
either end, which `plus_minus_s` holds.

In order: edges are found in each channel by itself (`edges`); the links between two loggers are
drawn up with their delays' bounds (`clock_links`); one offset that serves all links is searched,
and refused where another fits nearly as well; what each link takes is measured (`clock_answers`
on `edge_match`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from pipeline.measures.clock_answers import (
    Answer,
    Drift,
    is_backwards,
    is_clear,
    measured,
    search_with_drift,
)
from pipeline.measures.clock_links import ANALOG, CALLS, OUTPUTS, candidates, nothing_sharp
from pipeline.measures.clock_logger import Logger
from pipeline.measures.clock_rooms import rooms_answer
from pipeline.measures.edge_match import Match
from pipeline.measures.edges import n_instants
from pipeline.measures.one_row import by_site

TABLE = "trust.clock_offset"
STAGE = "30_trust/31"
DECLARED = """
[columns]
logger = "VARCHAR | - | store.file.logger"
reference_logger = "VARCHAR | - | whose clock it is compared with"
offset_s = "DOUBLE | s | this logger's clock minus the reference's, as logged; null: cannot tell"
plus_minus_s = "DOUBLE | s | half width of the interval that holds the offset"
n_edge = "BIGINT | - | edges used"
edge = "VARCHAR | - | which edges, in words"
confidence = "VARCHAR | - | shown, likely, cannot tell or reference"
drift_s_per_day = "DOUBLE | s/day | what it gains; 0: none seen; null: cannot tell"
applied_s = "DOUBLE | s | offset taken out in this run; 0 if none"
why = "VARCHAR | - | one plain sentence"
"""
READS = [
    "channel.channel",
    "channel.state",
    "run.clock",
    "run.reference",
    "run.setting",
    "run.site",
    "run.threshold",
    "trust.clock_reading",
]
COLUMNS = [
    "site_id",
    "logger",
    "reference_logger",
    "offset_s",
    "plus_minus_s",
    "n_edge",
    "edge",
    "confidence",
    "drift_s_per_day",
    "applied_s",
    "why",
]
HOUR_S = 3600.0
DAY_S = 86400.0


def build(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """One row per logger of each site: columns of trust.clock_offset, in (site_id, logger) order.

    frames : the tables of READS, any number of sites; instants int64 UTC microseconds
    `offset_s` is as logged: what is left in this run plus what run.clock has taken out of this
    logger, less what it has taken out of the reference.
    """
    channels = frames["channel.channel"]
    readings, states = frames["trust.clock_reading"], frames["channel.state"]
    sharp = channels[channels["role"].isin([*ANALOG, "zone_temp"]) & channels["is_primary"]]
    readings = readings[readings["channel_id"].isin(sharp["channel_id"])]
    reading_of = dict(list(readings.groupby(["site_id", "channel_id"], sort=False)))
    state_of = dict(list(states.groupby(["site_id", "channel_id"], sort=False)))
    clocks = frames["run.clock"]
    applied = {
        (site_id, logger): float(offset_s)
        for site_id, logger, offset_s in zip(
            clocks["site_id"], clocks["logger"], clocks["offset_s"], strict=True
        )
    }
    has_burner = dict(
        zip(frames["run.site"]["site_id"], frames["run.site"]["has_burner"], strict=True)
    )
    marks = frames["run.reference"]
    settings = frames["run.setting"]
    travels = settings[settings["name"] == "damper_travel_s"].drop_duplicates("site_id")
    travel_of = dict(zip(travels["site_id"], travels["value"], strict=True))
    limits_of = by_site(frames["run.threshold"])
    rows: list[dict[str, Any]] = []
    for site_id, of_site in channels.groupby("site_id", sort=True):
        loggers = [
            Logger(str(name), of_logger, site_id, reading_of, state_of)
            for name, of_logger in of_site.groupby("logger", sort=True)
        ]
        limits = {str(name): float(value) for name, value in limits_of[site_id].items()}
        if site_id in travel_of:
            limits["damper_travel_s"] = float(travel_of[site_id])
        of_marks = marks[marks["site_id"] == site_id]
        reference = _reference(loggers, frozenset(of_marks["logger"]))
        reference_applied_s = applied.get((site_id, reference.name), 0.0) if reference else 0.0
        for logger in loggers:
            applied_s = applied.get((site_id, logger.name), 0.0)
            row = _compare(
                logger,
                reference,
                bool(has_burner[site_id]),
                limits,
                applied_s - reference_applied_s,
            )
            given = {"site_id": site_id, "logger": logger.name, "applied_s": applied_s}
            rows.append({**_CANNOT_TELL, **row, **given})
    return pd.DataFrame(rows, columns=COLUMNS)


_CANNOT_TELL: dict[str, Any] = {
    "reference_logger": None,
    "offset_s": None,
    "plus_minus_s": None,
    "n_edge": 0,
    "edge": "",
    "confidence": "cannot tell",
    "drift_s_per_day": None,
}


def _reference(loggers: list[Logger], marked: frozenset[str]) -> Logger | None:
    """The logger that carries the outputs, else the calls, else the one that site.toml marks.

    Where several carry outputs (calls) the marked one of them, else the one with the most. None if
    there is none of these.
    """
    for roles in (OUTPUTS, CALLS):
        ranked = sorted(
            (a for a in loggers if a.roles & set(roles)),
            key=lambda a: (a.name not in marked, -len(a.roles & set(roles)), a.name),
        )
        if ranked:
            return ranked[0]
    return next((a for a in loggers if a.name in marked), None)


def _compare(
    logger: Logger,
    reference: Logger | None,
    has_burner: bool,
    limits: Mapping[str, float],
    taken_out_s: float,
) -> dict[str, Any]:
    """What differs from _CANNOT_TELL in the logger's row.

    taken_out_s : difference of the two clocks that is no longer in the instants
    """
    if reference is None:
        return {
            "why": "No logger carries outputs or calls, and site.toml marks none: there is no "
            "clock to go by."
        }
    row: dict[str, Any] = {"reference_logger": reference.name}
    if logger is reference:
        carried = [w for w, r in (("outputs", OUTPUTS), ("calls", CALLS)) if logger.roles & set(r)]
        reason = (
            f"It carries the {carried[0]}" if carried else "site.toml marks it as the reference"
        )
        why = f"{reason}: the other clocks are compared with this one."
        nought = {"offset_s": 0.0, "plus_minus_s": 0.0}
        return {**row, **nought, "confidence": "reference", "why": why}
    links = candidates(reference, logger, has_burner, limits)
    if not links:
        return {**row, **_by_rooms(logger, reference, limits, taken_out_s)}
    enough = limits["clock_min_edges"]
    n_cause = n_instants([c.link.cause for c in links])
    n_effect = n_instants([c.link.effect for c in links])
    if min(n_cause, n_effect) < enough:
        why = (
            f"Too few edges to compare: {n_cause} in {reference.name} and {n_effect} here; "
            f"{enough:.0f} on each side are needed."
        )
        return {**row, "n_edge": min(n_cause, n_effect), "why": why}
    drift, peak = search_with_drift(links, limits)
    if peak is None or peak.n < enough:
        n = int(peak.n) if peak else 0
        why = (
            f"No offset within {limits['clock_search_h']:.0f} h brings {enough:.0f} edges of "
            f"{reference.name} and this logger together; the best, {n}."
        )
        return {**row, "n_edge": n, "why": why}
    if not is_clear(peak, drift, limits):
        why = (
            "More than one offset fits about as well: the runs repeat too regularly, or too few "
            "are answered here."
        )
        return {**row, "n_edge": int(peak.n), "why": why}
    if is_backwards(reference, logger, has_burner, peak, limits):
        why = f"{reference.name} tells heat the other way round: put that right first."
        return {**row, "n_edge": int(peak.n), "why": why}
    drift, answers = measured(reference, logger, links, drift, peak, limits)
    if sum(a.match.n for a in answers) < enough:
        why = "The edges that agree are too few or too scattered in time."
        return {**row, "n_edge": sum(a.match.n for a in answers), "why": why}
    return {**row, **_estimate(answers, reference, limits, taken_out_s, drift)}


def _estimate(
    answers: Sequence[Answer],
    reference: Logger,
    limits: Mapping[str, float],
    taken_out_s: float,
    drift: Drift,
) -> dict[str, Any]:
    """Offset, doubt, confidence and sentence from the answers.

    The answer with the tightest bounds gives the offset. The others only bound it: what answers
    later than expected has met a timer, but nothing answers before it was asked.
    """
    main = min(answers, key=lambda a: (a.high_s - a.low_s, a.likely_s(limits)))
    high = main.match.at_s - main.low_s
    low = main.match.at_s - main.high_s
    for answer in answers:
        if (
            answer.match.n < limits["clock_min_edges"]
            or answer.match.share < limits["clock_shown_share"]
        ):
            continue  # a few that happen to lie early must not pull the rest
        if answer.low_s == 0:
            high = min(high, answer.match.at_s + answer.match.error_s)
        if answer.high_s == 0:
            low = max(low, answer.match.at_s - answer.match.error_s)
    contradict = low > high
    low, high = min(low, high), max(low, high)
    left_s = min(max(main.likely_s(limits), low), high)
    link = main.match.link
    half_s = link.cause.half_s + link.effect.half_s
    doubt_s = max(
        max(high - left_s, left_s - low) + main.match.error_s + half_s,
        2 * link.cause.half_s,
        2 * link.effect.half_s,
    )
    ever_s = float(np.ceil(doubt_s + drift.total_s / 2))
    doubt_s = float(np.ceil(doubt_s))
    named = [a for a in answers if a is main or (a.pair and a.pair == main.pair)]
    n_edge = sum(a.match.n for a in named)
    seen = " and ".join(_said(a.match) for a in named)
    edge = "; ".join(f"{a.match.link.cause_words}: {a.match.link.effect_words}" for a in named)
    row: dict[str, Any] = {"n_edge": n_edge, "edge": edge}
    if doubt_s > limits["clock_doubt_max_s"] and abs(left_s) <= doubt_s:
        why = (
            f"{_capital(seen)}. Such edges may be answered up to {main.high_s - main.low_s:.0f} s "
            f"late, so they show no difference under {doubt_s:.0f} s."
        )
        return {**row, "why": why}
    share_needed = limits["clock_shown_share"]
    if (
        not main.is_on
        and not main.is_damper
        and len(named) == 1
        and main.match.share < share_needed
    ):
        # what does not always end with its output, a contactor that sticks, looks like this as well
        why = f"{_capital(seen)}: only what goes off is answered, and that too seldom."
        return {**row, "why": why}
    offset_s = float(round(left_s + taken_out_s))
    said = _conclusion(offset_s, doubt_s, reference.name, taken_out_s, drift)
    shown = (
        n_edge >= limits["clock_shown_edges"]
        and main.match.share >= limits["clock_shown_share"]
        and doubt_s <= limits["clock_offset_warn_s"]
        and not contradict
    )
    return {
        **row,
        "offset_s": offset_s,
        "plus_minus_s": ever_s,
        "confidence": "shown" if shown else "likely",
        "drift_s_per_day": float(round(drift.rate * DAY_S, 1)),
        "why": f"{_capital(seen)}: {said}",
    }


def _by_rooms(
    logger: Logger, reference: Logger, limits: Mapping[str, float], taken_out_s: float
) -> dict[str, Any]:
    """What the room temperatures of a logger without edges say: hours, or nothing."""
    rooms = rooms_answer(reference, logger, limits)
    if rooms is None:
        return {"why": nothing_sharp(logger, reference)}
    row: dict[str, Any] = {"n_edge": rooms.n_call, "edge": "a call: the room's slope follows"}
    zones = f"{rooms.n_zone} zone{'' if rooms.n_zone == 1 else 's'}"
    if (
        rooms.n_call < limits["clock_shown_edges"]
        or rooms.fit < limits["clock_rooms_min_fit"]
        or rooms.runner_up > limits["clock_rooms_max_runner_up_share"]
    ):
        why = (
            f"Room temperatures change too slowly to be timed, and those of {zones} do not fit the "
            f"calls of {reference.name} at one shift of the clock only."
        )
        return {**row, "why": why}
    lag_s, doubt_s = limits["clock_rooms_lag_s"], limits["clock_rooms_doubt_s"]
    left_s = rooms.answer_s - lag_s
    seen = (
        f"Rooms follow the calls of {reference.name} best {_by(rooms.answer_s)} "
        f"({zones}, {rooms.n_call} calls)"
    )
    if abs(left_s) < limits["clock_rooms_least_s"]:
        why = (
            f"{seen}, as rooms do: no whole hour is wrong, and what is less than "
            f"{limits['clock_rooms_least_s'] / 60:.0f} min room temperatures cannot tell."
        )
        return {**row, "why": why}
    hours = round(left_s / HOUR_S)
    whole = hours != 0 and abs(left_s - hours * HOUR_S) <= doubt_s
    if whole:  # nobody sets a clock wrong by 57 min
        left_s = hours * HOUR_S
    offset_s = float(round(left_s + taken_out_s))
    said = _conclusion(offset_s, doubt_s, reference.name, taken_out_s, None)
    return {
        **row,
        "offset_s": offset_s,
        "plus_minus_s": doubt_s,
        "confidence": "likely",
        "why": f"{seen}: {said}",
    }


def _by(seconds: float) -> str:
    return f"{abs(seconds) / 60:.0f} min {'later' if seconds >= 0 else 'earlier'}"


def _said(found: Match) -> str:
    """'static rises 241 s after G goes on (112 of 115 times)'."""
    after = "after" if found.at_s >= 0 else "before"
    return (
        f"{found.link.effect_words} {abs(found.at_s):.0f} s {after} {found.link.cause_words} "
        f"({found.n} of {found.n_possible} times)"
    )


def _conclusion(
    offset_s: float, doubt_s: float, reference: str, taken_out_s: float, drift: Drift | None
) -> str:
    """What the edges mean for the clock, in words."""
    if abs(offset_s) <= doubt_s:
        text = f"no difference from {reference} beyond the {doubt_s:.0f} s these edges can show"
    else:
        way = "ahead of" if offset_s > 0 else "behind"
        text = (
            f"this clock runs {_length(offset_s)} {way} {reference}, give or take {doubt_s:.0f} s"
        )
    if taken_out_s:
        text += f"; {taken_out_s:.0f} s are taken out in this run already"
    if drift is not None and drift.rate:
        does = "gains" if drift.rate > 0 else "loses"
        text += f"; it {does} about {abs(drift.rate) * DAY_S:.0f} s a day, and this is halfway"
    hours = abs(round(offset_s / HOUR_S))
    if hours and abs(abs(offset_s) - hours * HOUR_S) <= max(doubt_s, 120.0):
        if hours < 20:
            text += (
                f". So near {hours} h it may be the logger's daylight-saving or time zone setting"
            )
        else:
            text += f". So near {hours} h it may be a wrong date in the logger"
    return text + "."


def _length(seconds: float) -> str:
    """'240 s', '900 s (15 min)', '7200 s (2.0 h)', without sign."""
    size = abs(seconds)
    if size < 600:
        return f"{size:.0f} s"
    more = f"{size / 60:.0f} min" if size < 2 * HOUR_S else f"{size / HOUR_S:.1f} h"
    return f"{size:.0f} s ({more})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
