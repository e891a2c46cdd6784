"""How to see it happen on the visit, and when it happened: from the worst finding's own events.

Nothing is made to happen that may harm: where heat ran without air, a limit did not act or the
equipment stopped itself, the sheet says to watch, not to force.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._cautions import HEAT_OFF, WATCHED
from pipeline.result import Finding, SiteResult
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class Happening:
    """steps : what to do and what to expect; when : days, hours and weather of the events.

    mode, zones : the state that showed it: heating or cooling, '' if none; zones '1+3', None: any
    """

    steps: str
    when: str
    mode: str = ""
    zones: str | None = None


def happening(result: SiteResult, finding: Finding | None, plate_max: str) -> Happening:
    """How to see the worst finding of the installation.

    plate_max : the plate's maximum outlet temperature in words, '' if not given
    """
    if finding is None:
        return Happening("Nothing was found that could be made to happen.", "")
    when = _when(result, finding)
    if HEAT_OFF in finding.cautions:
        steps = (
            "Do not force it. With the heat off, prepare the checks; then watch one normal call "
            "from the unit and stop it at the first sign."
        )
        return Happening(steps, when, "heating")
    maker = _STEPS.get(finding.code)
    made = maker(_Log(result, plate_max)) if maker else None
    if made is None:
        first = finding.windows[0].title if finding.windows else ""
        steps = "Nothing to force. Look at what the log shows: " + (first or finding.summary)
        return Happening(steps, when, _mode(result))
    return Happening(made.steps, when, made.mode, made.zones)


def _watched(result: SiteResult, plate_max: str) -> str:
    """When to end the call; each of the two temperatures stands beside what it belongs to."""
    latest = {key: value for key, value, _ in result.site.settings}
    text = WATCHED.removeprefix("stay at the unit; ")
    for what, value in (
        ("the panel's limit", latest.get("high_limit_f", "")),
        ("the plate's maximum outlet temperature", plate_max),
    ):
        if value:
            text = text.replace(what, f"{what} ({value})")
    return text


def hours_of_calls(result: SiteResult, mode: str, zones: str | None) -> float:
    """Seconds in which exactly these zones called ('1+3'; None: any), visits left out."""
    frame = result.frames.get("measure.zones_calling")
    if frame is None or frame.empty:
        return 0.0
    rows = frame[frame["mode"] == mode]
    if zones:
        rows = rows[rows["zones"] == zones]
    return float(rows["s"].sum())


class _Log:
    """The tables that the steps read."""

    def __init__(self, result: SiteResult, plate_max: str) -> None:
        self.result = result
        self.watched = f"Stay at the unit: {_watched(result, plate_max)}."

    def table(self, name: str) -> pd.DataFrame:
        """The table's rows outside visits; an empty frame where it is missing."""
        frame = self.result.frames.get(name)
        if frame is None:
            return pd.DataFrame()
        if "in_visit" in frame.columns:
            frame = frame[~frame["in_visit"].astype("boolean").fillna(False)]
        return frame

    def is_off_the_clock(self, role: str) -> bool:
        """Whether this role's clock is off, uncorrected, by more than a minute or so.

        What such a channel read cannot be told beside calls and stages.
        """
        channels, left = self.table("channel.channel"), self.table("trust.clock_left")
        if channels.empty or left.empty:
            return False
        own = channels.loc[channels["role"] == role, "channel_id"]
        off_us = left.loc[left["channel_id"].isin(own), "left_us"].abs()
        least_us = self.result.thresholds["clock_offset_warn_s"] * MICROSECONDS
        return bool((off_us >= least_us).any())

    def who(self, zones: str) -> str:
        """'Den alone', 'Den and Office'."""
        return words.calling(zones, self.result.site.zones)

    def most_common(self, rows: pd.DataFrame, *columns: str) -> pd.DataFrame:
        """The rows of the commonest combination of these columns."""
        sized = rows.groupby(list(columns), dropna=False).size()
        key = sized.index[int(sized.to_numpy().argmax())]
        key = key if isinstance(key, tuple) else (key,)
        for column, value in zip(columns, key, strict=True):
            rows = rows[rows[column].isna() if pd.isna(value) else rows[column] == value]
        return rows

    def minutes(self, seconds: Sequence[float]) -> str:
        """'12 to 23 min'."""
        return words.durations([float(s) for s in seconds])


def _trips(log: _Log, kind: str) -> Happening | None:
    rows = log.table("measure.trip_context")
    if rows.empty:
        return None
    rows = rows[(rows["kind"] == kind) & rows["zones"].notna()]
    if rows.empty:
        return None
    rows = log.most_common(rows, "zones", "stage")
    zones, stage = str(rows["zones"].iloc[0]), int(rows["stage"].iloc[0])
    mode = "heating" if kind == "high" else "cooling"
    if not words.zone_numbers(zones):
        return None
    come = " and let second stage come" if stage == 2 else ""
    r = log.result
    expects = []
    static = rows["static_max_inwc"].dropna()
    if not static.empty and not log.is_off_the_clock("static_pressure"):
        expects.append(f"static over {words.static(float(static.min()), r.units)}")
    at = words.temperature(float(rows["peak_f"].median()), r.units)
    ran = rows["run_before_s"].dropna()
    within = f", {log.minutes(ran.tolist())} into the run" if not ran.empty else ""
    what = "heat" if kind == "high" else "cooling"
    expects.append(f"{what} dropping out near {at}{within}")
    steps = (
        f"Call {log.who(zones)} for {what}{come}. "
        f"{log.watched if kind == 'high' else 'Not in cold weather, unless the equipment allows.'} "
        f"Expect {words.joined(expects)}. "
        "If it does not come: the dampers first, then the settings."
    )
    return Happening(steps, "", mode, zones)


def _static(log: _Log) -> Happening | None:
    rows = log.table("measure.static_by_calling")
    if rows.empty:
        return None
    rows = rows[rows["class"].isin(["heating", "cooling"]) & rows["zones"].notna()]
    rows = rows[(rows["n_zones"] > 0) & (rows["above_margin_s"] > 0)]
    if rows.empty:
        return None
    row = rows.sort_values("above_margin_s").iloc[-1]
    stage = f" on {words.stage(int(row['stage']))}" if int(row["stage"]) else ""
    mode = str(row["class"])
    r = log.result
    expected = (
        "static over its target; by how much cannot be told before its clock is put right"
        if log.is_off_the_clock("static_pressure")
        else f"static up to {words.static(float(row['p95_inwc']), r.units)}"
    )
    steps = (
        f"Call {log.who(str(row['zones']))} for {'heat' if mode == 'heating' else 'cooling'}"
        f"{stage}, wait until the dampers stand still. "
        + (f"{log.watched} " if int(row["stage"]) == 2 and mode == "heating" else "")
        + f"Expect {expected}. "
        "If it stays at target: compare the transducer with a manometer."
    )
    return Happening(steps, "", mode, str(row["zones"]))


def _short_runs(log: _Log) -> Happening | None:
    rows = log.table("measure.short_cycle")
    if rows.empty or rows["zones"].dropna().empty:
        return None
    rows = log.most_common(rows[rows["zones"].notna()], "zones", "source", "mode", "what")
    first = rows.iloc[0]
    lengths = log.minutes(rows["length_s"].tolist())
    if not words.zone_numbers(str(first["zones"])):
        return None
    what = "stop after" if first["what"] == "run" else "start again after only"
    steps = (
        f"Call {log.who(str(first['zones']))} from rest and let it run its course. Expect "
        f"{words.source(str(first['source']))} to {what} {lengths}. Time it by the clock; "
        "if it runs longer, look at the thermostat's cycle setting first."
    )
    return Happening(steps, "", str(first["mode"]), str(first["zones"]))


def _second_stage(log: _Log, result: str) -> Happening | None:
    rows = log.table("measure.stage_up")
    if rows.empty:
        return None
    rows = rows[(rows["result"] == result) & rows["zones"].notna()]
    if rows.empty:
        return None
    rows = log.most_common(rows, "zones", "mode")
    zones, mode = str(rows["zones"].iloc[0]), str(rows["mode"].iloc[0])
    if not words.zone_numbers(zones):
        return None
    after = rows["run_before_s"].dropna()
    when = f" {log.minutes(after.tolist())} into the run" if not after.empty else ""
    needs = rows["min_zones_setting"].dropna()
    though = (
        f", though the panel is set to wait for {words.count(int(needs.iloc[0]), 'zone')}"
        if result == "too few zones" and not needs.empty
        else ""
    )
    steps = (
        f"Call {log.who(zones)} for {'heat' if mode == 'heating' else 'cooling'} and nothing "
        f"else. {f'{log.watched} ' if mode == 'heating' else ''}"
        f"Expect second stage{when}{though}. "
        "If it stays in first stage: the settings have been changed since."
    )
    return Happening(steps, "", mode, zones)


def _stayed_in(log: _Log) -> Happening | None:
    rows = log.table("measure.stage_up")
    if rows.empty:
        return None
    stayed = rows.loc[rows["is_stayed_in"].eq(True), "stayed_in_s"]
    if stayed.empty:
        return None
    steps = (
        f"Call two zones until second stage is on, then end one of the calls. {log.watched} "
        f"Expect second stage to stay in for {log.minutes(stayed.tolist())}."
    )
    mode = str(rows.loc[stayed.index, "mode"].iloc[0])
    return Happening(steps, "", mode, None)


_STEPS: dict[str, Callable[[_Log], Happening | None]] = {
    "high-limit-trips": lambda log: _trips(log, "high"),
    "low-limit-trips": lambda log: _trips(log, "low"),
    "static-above-target": _static,
    "short-cycling": _short_runs,
    "second-stage-too-few-zones": lambda log: _second_stage(log, "too few zones"),
    "second-stage-early": lambda log: _second_stage(log, "early"),
    "second-stage-stayed-in": _stayed_in,
}
"""Findings whose events say how to see them again; for any other the sheet says what to look at."""


def _mode(result: SiteResult) -> str:
    frame = result.frames.get("measure.condition_time")
    if frame is None:
        return ""
    hours = {m: float(frame.loc[frame["class"] == m, "s"].sum()) for m in ("heating", "cooling")}
    best = max(hours, key=lambda m: hours[m])
    return best if hours[best] > 0 else ""


def _when(result: SiteResult, finding: Finding) -> str:
    """'on 7 days, 18 of 23 times between 8 pm and 10 pm, 15 to 34 °F outdoors'."""
    starts = sorted(e.start_ts for e in finding.evidence)
    if not starts:
        return ""
    local = [words.local(ts, result.site.timezone) for ts in starts]
    days = len({t.date() for t in local})
    parts = [f"on {words.count(days, 'day')}"]
    minutes = [t.hour * 60 + t.minute for t in local]
    say = partial(words.of_day, units=result.units)
    first, length, n = _busiest(minutes, 1.0)
    if length > result.thresholds.get("when_max_spread_h", 4) * 60:
        first, length, n = _busiest(minutes, result.thresholds.get("ticket_when_share", 0.8))
    if len(starts) >= 3 and length <= result.thresholds.get("ticket_when_max_h", 8) * 60:
        which = "always" if n == len(starts) else f"{n} of {len(starts)} times"
        parts.append(f"{which} between {say(first)} and {say(first + length)}")
    else:
        parts.append("at any time of day" if len(starts) >= 3 else f"at {say(minutes[0])}")
    outdoor = _outdoor_at(result.frames.get("interval.weather"), starts)
    if outdoor:
        parts.append(f"{words.span_of(outdoor, 'temperature', result.units)} outdoors")
    return words.sentence(", ".join(parts))


def _busiest(minutes: Sequence[int], share: float) -> tuple[int, int, int]:
    """Start, length [min] and events of the shortest stretch of the day with that share of them."""
    ordered = sorted(minutes)
    need = max(1, -(-len(ordered) * round(share * 100) // 100))
    twice = [*ordered, *(m + 1440 for m in ordered)]
    length, first = min((twice[i + need - 1] - m, m) for i, m in enumerate(ordered))
    n = sum((m - first) % 1440 <= length for m in ordered)
    return first, length, n


def _outdoor_at(weather: Any, starts: Sequence[int]) -> list[float]:
    """Outdoor air at these instants, where it was known."""
    if weather is None or weather.empty:
        return []
    ends = weather["end_ts"].to_numpy()
    begins = weather["start_ts"].to_numpy()
    values = weather["outdoor_f"].to_numpy()
    out = []
    for ts in starts:
        i = int(begins.searchsorted(ts, side="right")) - 1
        if i >= 0 and ts < ends[i]:
            out.append(float(values[i]))
    return out
