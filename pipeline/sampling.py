"""Sampling: whether a log is fine enough for a measure, and which interval would do.

Each measure declares, at the head of its stage, the slowest interval at which its figure is certain
and the channels that it counts from (`interval_max_s`, `counted_from`). Here that is held against
how often those were read:

- as fast as declared, or faster: the figure is *certain*
- slower, up to `sampling_part_times` as slow: short events pass unseen, so a count or a time is
  *at least* what is told
- slower still: the figure is *not given*

Outdoor air beside outputs, and rooms beside supply air, are left out: they move slowly, and no
event is counted from them. A stretch logged at a slower rate counts where it is more of the window
than a figure may lack without a warning.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline import words
from pipeline.tables import Measure, tables
from pipeline.units import MICROSECONDS

CERTAIN, AT_LEAST, NOT_GIVEN = "certain", "at least", "not given"
RESULTS = (CERTAIN, AT_LEAST, NOT_GIVEN)
"""From the best to the worst."""


@dataclass(frozen=True)
class Standing:
    """How one measure stands on one site.

    result : one of RESULTS
    interval_s : how often the slowest of its channels was read
    enough_s : the interval at which it would be certain
    why : the same as a clause; '' where it is certain
    """

    measure: str
    result: str
    interval_s: float
    enough_s: float
    why: str


def declared(names: Iterable[str]) -> dict[str, Measure]:
    """Of these tables the measures that declare how fine their channels must be."""
    found = {name: tables()[name].measure for name in names}
    return {n: m for n, m in found.items() if m is not None and m.interval_max_s}


def intervals(
    coverage: pd.DataFrame, rates: pd.DataFrame | None, most_apart_frac: float
) -> dict[str, float]:
    """How often each role was read [s], the slowest of its channels.

    coverage, rates : signal.coverage, and channel.rate where it was made
    most_apart_frac : share of the window that may be slower without counting
    """
    made: dict[str, float] = {}
    slower: dict[int, list[tuple[float, float]]] = {}
    for r in [] if rates is None else rates.to_dict(orient="records"):
        held_s = (int(r["end_ts"]) - int(r["start_ts"])) / MICROSECONDS
        slower.setdefault(int(r["channel_id"]), []).append((float(r["interval_s"]), held_s))
    for c in coverage.to_dict(orient="records"):
        if not c["valid_s"] > 0 or pd.isna(c["interval_s"]):
            continue
        slowest_s = float(c["interval_s"])
        others = [] if pd.isna(c["channel_id"]) else slower.get(int(c["channel_id"]), [])
        for interval_s, _ in others:
            held_s = sum(s for i, s in others if i >= interval_s)
            if held_s > most_apart_frac * float(c["window_s"]):
                slowest_s = max(slowest_s, interval_s)
        made[c["role"]] = max(made.get(c["role"], 0.0), slowest_s)
    return made


def standing(
    name: str, logged: Mapping[str, float], numbers: Mapping[str, float]
) -> Standing | None:
    """How a measure stands where roles were logged as `intervals` says.

    None: it declares nothing, or none of its channels was logged.
    """
    measure = declared([name]).get(name)
    if measure is None or measure.interval_max_s is None:
        return None
    own = {r: s for r, s in logged.items() if r.startswith(measure.counted_from)}
    if not own:
        return None
    enough_s = measure.interval_max_s
    interval_s = max(own.values())
    if interval_s <= enough_s:
        return Standing(name, CERTAIN, interval_s, enough_s, "")
    every, would_do = words.duration(interval_s), words.duration(enough_s)
    if interval_s <= numbers["sampling_part_times"] * enough_s:
        why = f"read every {every}: what is shorter may be missed, every {would_do} would do"
        return Standing(name, AT_LEAST, interval_s, enough_s, why)
    why = f"read only every {every}, too seldom to tell; every {would_do} would do"
    return Standing(name, NOT_GIVEN, interval_s, enough_s, why)


def standings(
    frames: Mapping[str, pd.DataFrame], numbers: Mapping[str, float]
) -> dict[str, Standing]:
    """How every measure stands that counts from something logged, by table name.

    A measure that lacks what it cannot do without is left out: no interval would make it certain.
    frames : signal.coverage, and channel.rate where it was made
    """
    coverage = frames.get("signal.coverage")
    if coverage is None:
        return {}
    logged = intervals(coverage, frames.get("channel.rate"), 1.0 - numbers["coverage_warn_frac"])
    found = {
        name: standing(name, logged, numbers)
        for name, measure in declared(tables()).items()
        if all(any(r.startswith(group) for r in logged) for group in measure.not_without)
    }
    return {name: s for name, s in found.items() if s is not None}
