"""Supply static: a shifted zero and since when, no answer to the fan, another unit or sign."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.measures.check_readings import look_of
from pipeline.measures.trouble import Channel, Problem, SiteChannels
from pipeline.units import MICROSECONDS, UNITS

COMMON_UNITS = ("Pa", "inwc", "kPa")


def problems(site: SiteChannels) -> Iterator[Problem]:
    """Every problem of these kinds of one site."""
    channel = site.of_role("static_pressure")
    if channel is None:
        return
    whole = list(_unit_or_sign(site, channel))
    yield from whole
    if whole:
        return  # its numbers mean nothing yet
    flat = list(_flat(site, channel))
    yield from flat
    silent = site.by_outputs_clock(np.array([p.start_ts for p in flat] or [site.end_ts]), channel)
    yield from _zero(site, channel, until=int(silent.min()))


def _answers(site: SiteChannels) -> pd.DataFrame:
    """Runs outside visits with static before and in them; `answer` is how far it rose."""
    runs = site.runs
    runs = runs[runs["static_inwc"].notna() & runs["static_before_inwc"].notna()]
    return runs.assign(answer=runs["static_inwc"] - runs["static_before_inwc"])


def _unit_or_sign(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    runs, limits = _answers(site), site.limits
    look = look_of(site, channel)
    if len(runs) < limits["flat_min_starts"] or look is None:
        return
    answer = float(runs["answer"].median())
    # an answer is one only if it is steadier than it is small
    spread = float(np.median(np.abs(runs["answer"] - answer))) + abs(look.step_value or 0.0) / 2
    same = float((np.sign(runs["answer"]) == np.sign(answer)).mean())
    if (
        answer == 0
        or same < limits["probe_share_min_frac"]
        or abs(answer) < limits["answer_spread_min_times"] * spread
    ):
        return
    common = {
        "channel_id": channel.channel_id,
        "code": "unit-mismatch",
        "start_ts": site.start_ts,
        "end_ts": site.end_ts,
        "figure": answer,
        "figure_unit": "store difference",
        "n": len(runs),
        "of_n": len(runs),
        "is_cut": True,
    }
    if limits["static_least_inwc"] <= abs(answer) <= limits["static_most_inwc"]:
        if answer < 0:
            yield Problem(**common, reason="sign inverted", correction="inverted = true")  # type: ignore[arg-type]
        return
    # what is held at the target is the high static of few zones calling, not the middle one
    usual = site.setting("static_target_inwc") or limits["static_usual_inwc"]
    high = float(np.quantile(runs["answer"].abs(), 0.9))
    fits = sorted(
        (abs(np.log(high * UNITS[unit].scale / UNITS[channel.unit].scale / usual)), unit)
        for unit in COMMON_UNITS
        if unit != channel.unit
    )
    stays, clearly = abs(np.log(high / usual)), np.log(limits["unit_clear_times"])
    if fits[0][0] > np.log(limits["static_most_inwc"] / usual) or fits[0][0] + clearly > stays:
        return  # no unit makes sense of it
    clear = fits[0][0] + clearly < fits[1][0] and answer > 0
    yield Problem(
        **common,  # type: ignore[arg-type]
        reason="in another unit than told",
        correction=f'unit = "{fits[0][1]}"' if clear else None,
    )


def _flat(site: SiteChannels, channel: Channel) -> Iterator[Problem]:
    """Stretches of starts in a row without an answer; the last one may last to the log's end."""
    runs, limits = _answers(site), site.limits
    look = look_of(site, channel)
    step = float(look.step_value) if look is not None and pd.notna(look.step_value) else 0.0
    least = max(limits["flat_max_inwc"], step)
    silent = runs["answer"].abs().to_numpy() < least
    start, end = runs["start_ts"].to_numpy(), runs["end_ts"].to_numpy()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], silent.astype(int), [0]])))
    for a, b in edges.reshape(-1, 2).tolist():
        if b - a < limits["flat_min_starts"]:
            continue
        since = site.start_ts if a == 0 else site.own_clock(int(end[a - 1]), channel)
        until = site.end_ts if b == len(silent) else site.own_clock(int(start[b]), channel)
        yield Problem(
            channel.channel_id,
            "static-flat",
            since,
            until,
            float(np.median(runs["static_inwc"].to_numpy()[a:b])),
            "store",
            b - a,
            len(silent),
            True,
            "static does not answer the fan",
        )


def _zero(site: SiteChannels, channel: Channel, until: int) -> Iterator[Problem]:
    rests, limits = site.outside_visits(site.table("trust.rest")), site.limits
    rests = rests[
        (rests["spread_inwc"] <= limits["zero_steady_inwc"])
        & (60 * rests["n_minute"] >= limits["zero_rest_min_s"])
        & (rests["end_ts"] <= until)
    ].sort_values("start_ts")
    if len(rests) < limits["zero_min_rests"]:
        return
    level = rests["static_inwc"].to_numpy()
    start, end = rests["start_ts"].to_numpy(), rests["end_ts"].to_numpy()
    first = _step_place(level, limits["zero_step_times"], limits["zero_step_min_inwc"])
    least = limits["zero_shift_min_inwc"]
    look = look_of(site, channel)
    step = float(look.step_value) if look is not None and pd.notna(look.step_value) else 0.0
    least = max(least, step)
    parts = [
        (a, b) for a, b in ((0, first), (first, len(level))) if b - a >= limits["zero_min_rests"]
    ]
    shifted = [
        (a, b)
        for a, b in parts
        if abs(_zero_of(level[a:b])) > least
        and _closest_half(level[a:b]) <= limits["zero_steady_inwc"]
    ]
    told = site.table("run.zero_shift")
    told = told[told["channel_id"] == channel.channel_id]
    for a, b in shifted:
        part = level[a:b]
        zero = _zero_of(part)
        # it began between the last rest at another level and the first at this one
        edge = first if 0 < first < len(level) and (a, b) != (0, len(level)) else None
        moved = None
        if edge is not None:
            step = _zero_of(level[edge:]) - _zero_of(level[:edge])
            moved = _dated(site, int(end[edge - 1]), int(start[edge]), step)
        lines = [f"zero_shift = {site.in_channel_unit(zero, channel):.4g}"]
        since_ts, until_ts = site.start_ts, site.end_ts
        if moved is not None:
            since, until = (
                site.own_clock(ts, channel) for ts in (moved.earliest_ts, moved.latest_ts)
            )
            likely = None if moved.at_ts is None else site.own_clock(moved.at_ts, channel)
            if a > 0:
                since_ts = since
                lines.append(f'zero_shift_from = "{site.written_local(likely or since)}"')
            else:
                until_ts = until
                lines.append(f'zero_shift_until = "{site.written_local(likely or until)}"')
        is_dated = moved is None or moved.length_h <= limits["zero_date_max_h"]
        yield Problem(
            channel.channel_id,
            "static-zero-shifted",
            since_ts,
            until_ts,
            zero,
            "store difference",
            len(part),
            len(level),
            True,
            "static zero shifted",
            # a channel's block takes one shift: two, or one beside one that is told, fit into none;
            # one without a date would shift readings that are sound
            "\n".join(lines) if len(shifted) == 1 and told.empty and is_dated else None,
        )


@dataclass(frozen=True)
class Moved:
    """Between when and when the zero moved, by the outputs' clock; most likely, where runs tell."""

    earliest_ts: int
    at_ts: int | None
    latest_ts: int

    @property
    def length_h(self) -> float:
        """How long the doubt lasts."""
        return (self.latest_ts - self.earliest_ts) / MICROSECONDS / 3600.0


def _dated(site: SiteChannels, after_ts: int, before_ts: int, step_inwc: float) -> Moved:
    """When the zero moved by `step_inwc`, between the two rests that show it to have moved.

    Cold weather leaves days without a rest; static in the runs between them moves by the same step.
    The place is the one that leaves the least sum of distances to the usual static of a run (they
    lie far apart by what calls: distances, not squares).
    """
    runs = site.runs[site.runs["static_inwc"].notna()].sort_values("start_ts")
    start, value = runs["start_ts"].to_numpy(), runs["static_inwc"].to_numpy()
    sound, later = start < after_ts, start >= before_ts
    between = ~sound & ~later
    usual = np.concatenate([value[sound], value[later] - step_inwc])
    if len(usual) < site.limits["probe_min_runs"] or not between.any():
        return Moved(after_ts, None, before_ts)
    away = value[between] - float(np.median(usual))
    cost = np.concatenate([[0.0], np.cumsum(np.abs(away) - np.abs(away - step_inwc))])
    # cost[k]: k runs came before it; it moved between the start of run k and that of the run after
    doubt = cost - cost.min() <= site.limits["zero_date_runs"] * abs(step_inwc)
    possible = np.flatnonzero(doubt)
    begins = np.concatenate([[after_ts], start[between], [before_ts]])
    best = int(np.argmin(cost))
    return Moved(int(begins[possible[0]]), int(begins[best + 1]), int(begins[possible[-1] + 1]))


def _zero_of(level: np.ndarray) -> float:
    """Where static rests: the lower level of its rests, a second one is a fan-only speed."""
    return float(np.quantile(level, 0.25))


def _closest_half(level: np.ndarray) -> float:
    """The least width that holds half of the levels.

    A sensor's zero is the same at every rest. Static that rests at another level each time is a
    blower that never stops, working against whichever dampers stand open.
    """
    ordered = np.sort(level)
    half = (len(ordered) + 1) // 2
    return float((ordered[half - 1 :] - ordered[: len(ordered) - half + 1]).min())


def _step_place(level: np.ndarray, times: float, least_inwc: float) -> int:
    """The place at which one step explains the levels best (least squares); their number: none."""
    n = len(level)
    if n < 2:
        return n
    total = np.cumsum(level)
    k = np.arange(1, n)
    gain = total[:-1] ** 2 / k + (total[-1] - total[:-1]) ** 2 / (n - k)
    best = int(np.argmax(gain)) + 1
    before, after = level[:best], level[best:]
    scatter = np.median(
        np.abs(np.concatenate([before - np.median(before), after - np.median(after)]))
    )
    gap = abs(float(np.median(after) - np.median(before)))
    return best if gap > max(times * scatter, least_inwc) else n
