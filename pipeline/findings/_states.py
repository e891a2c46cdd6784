"""In which state do the events come: zones calling and stage, against the hours in each state.

The causes of trips, cut-outs, static and short runs differ in where the events come: with one
small zone, on second stage, or everywhere. A state is only telling if the log also holds hours in
other states in which the events did not come as often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from pipeline import words
from pipeline.findings._site import SiteFrames

MODE_WORDS = {"heating": "heat", "cooling": "cooling"}


@dataclass(frozen=True)
class State:
    """A state of the system; None leaves that part open."""

    stage: int | None = None
    n_zones: int | None = None
    zones: str | None = None

    def holds(self, rows: pd.DataFrame) -> pd.Series:
        """Which rows (columns stage, n_zones, zones) are in this state."""
        keep = pd.Series(True, index=rows.index)
        for column in ("stage", "n_zones", "zones"):
            value = getattr(self, column)
            if value is not None:
                keep &= rows[column] == value
        return keep

    def text(self, site: SiteFrames) -> str:
        """The state in words: 'with Den calling alone on second stage'."""
        parts = []
        if self.zones is not None:
            alone = " alone" if len(words.zone_numbers(self.zones)) == 1 else ""
            parts.append(f"with {site.zones(self.zones)} calling{alone}")
        elif self.n_zones is not None:
            alone = " alone" if self.n_zones == 1 else ""
            noun = "zone" if self.n_zones == 1 else "zones"
            parts.append(f"with {words.number(self.n_zones)} {noun} calling{alone}")
        if self.stage is not None:
            parts.append(f"on {words.stage(self.stage)}")
        return " ".join(parts)


@dataclass(frozen=True)
class Pattern:
    """Where the events come.

    state : the narrowest state that holds most of them; None if no state does
    n, seconds : events and time in it; n_all, all_s : in the mode altogether
    contrasts : what other states saw, in words, only those with enough time
    is_telling : the log holds so much other time that several events were to be expected in it,
        and they came several times less often
    """

    mode: str
    state: State | None
    n: int
    n_all: int
    seconds: float
    all_s: float
    contrasts: tuple[str, ...]
    is_telling: bool

    @property
    def few_zones(self) -> bool:
        """The state is one zone calling alone."""
        return self.state is not None and (
            self.state.n_zones == 1 or len(words.zone_numbers(self.state.zones)) == 1
        )

    @property
    def on_second_stage(self) -> bool:
        """The state is second stage."""
        return self.state is not None and self.state.stage == 2

    def text(self, site: SiteFrames, noun: str, plural: str | None = None) -> str:
        """One clause: how many of the events came in the state, and what the others saw."""
        many = plural or f"{noun}s"
        if self.state is None:
            return f"the {many} came in no one state: {self.spread(site, noun, plural)}"
        lead = "the only " + noun if self.n_all == 1 else f"{words.of_all(self.n, self.n_all)}"
        head = lead if self.n_all == 1 else f"{lead} {many}"
        said = f"{head} came {self.state.text(site)}, in {words.hours(self.seconds)} of that"
        return "; ".join((said, words.joined(self.contrasts))) if self.contrasts else said

    def spread(self, site: SiteFrames, noun: str, plural: str | None = None) -> str:
        """Number of events and hours in the mode."""
        kind = MODE_WORDS[self.mode]
        return f"{words.count(self.n_all, noun, plural)} in {words.hours(self.all_s)} of {kind}"


def pattern(
    site: SiteFrames, events: pd.DataFrame, mode: str, sources: Sequence[str] | None = None
) -> Pattern:
    """Where the events come, for one mode ('heating' or 'cooling').

    events : one row per event, columns stage, n_zones, zones; visits already left out
    sources : count only the time in which these sources ran; None: any
    """
    time = site.table("measure.condition_time")
    time = time[time["class"] == mode]
    if sources is not None:
        time = time[time["source"].isin(list(sources))]
    all_s = float(time["outside_visit_s"].sum())
    n_all = len(events)
    state = _narrowest(events, site.threshold("cause_share_min_frac"))
    if state is None:
        return Pattern(mode, None, 0, n_all, 0.0, all_s, (), False)
    inside = state.holds(events)
    n = int(inside.sum())
    seconds = float(time.loc[state.holds(time), "outside_visit_s"].sum())
    other_s, n_other = all_s - seconds, n_all - n
    enough_s = site.threshold("cause_other_min_h") * 3600
    often = site.threshold("cause_rate_ratio_min")
    # at the state's own rate the other hours would have brought that many: none there is no chance
    expected = n * other_s / seconds if seconds > 0 else 0.0
    is_telling = other_s >= enough_s and expected >= often and expected >= often * n_other
    return Pattern(
        mode,
        state,
        n,
        n_all,
        seconds,
        all_s,
        _contrasts(state, events, time, mode, enough_s),
        is_telling,
    )


def _narrowest(events: pd.DataFrame, min_share: float) -> State | None:
    """The narrowest state that holds at least this share of the events."""
    if events.empty:
        return None
    for columns in (
        ["stage", "zones"],
        ["stage", "n_zones"],
        ["zones"],
        ["n_zones"],
        ["stage"],
    ):
        known = events.dropna(subset=columns)
        if known.empty:
            continue
        sizes = known.groupby(columns, sort=True).size()
        if sizes.max() < min_share * len(events):
            continue
        key = sizes.idxmax()
        values = dict(zip(columns, key if isinstance(key, tuple) else (key,), strict=True))
        zones = values.get("zones")
        return State(
            stage=int(values["stage"]) if "stage" in values else None,
            n_zones=int(values["n_zones"]) if "n_zones" in values else None,
            zones=str(zones) if zones is not None else None,
        )
    return None


def _contrasts(
    state: State, events: pd.DataFrame, time: pd.DataFrame, mode: str, enough_s: float
) -> tuple[str, ...]:
    """What the neighbouring states saw: same stage with other zones, same zones on the other."""
    kind = MODE_WORDS[mode]
    told = []
    if state.stage is not None and (state.zones is not None or state.n_zones is not None):
        stage_only = State(stage=state.stage)
        who = "two or more zones" if state.n_zones == 1 else "other zones"
        told += _contrast(
            stage_only.holds(events) & ~state.holds(events),
            stage_only.holds(time) & ~state.holds(time),
            time,
            f"of {words.stage(state.stage)} with {who} calling",
            enough_s,
        )
        zones_only = State(n_zones=state.n_zones, zones=state.zones)
        other_stage = words.stage(1 if state.stage == 2 else 2)
        single = state.n_zones == 1 or len(words.zone_numbers(state.zones)) == 1
        same = "of it alone" if single and state.zones else "of the same zones"
        told += _contrast(
            zones_only.holds(events) & ~state.holds(events),
            zones_only.holds(time) & ~state.holds(time),
            time,
            f"{same} on {other_stage}",
            enough_s,
        )
    if not told:
        told = _contrast(
            ~state.holds(events),
            ~state.holds(time),
            time,
            f"of {kind} in any other state",
            enough_s,
        )
    return tuple(told)


def _contrast(
    in_events: pd.Series, in_time: pd.Series, time: pd.DataFrame, where: str, enough_s: float
) -> list[str]:
    seconds = float(time.loc[in_time, "outside_visit_s"].sum())
    n = int(in_events.sum())
    if seconds < enough_s and n == 0:
        return []
    return [f"{'none' if n == 0 else n} in {words.hours(seconds)} {where}"]
