"""The measures of a comparison: each a row with its verdict, and rise against the plate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline import words
from pipeline.clock_left import ahead, clocks_left
from pipeline.compare_log import TwoWindows
from pipeline.like_hours import Cells, Difference, difference

BETTER, WORSE, NEITHER, NOT_YET, CANNOT = (
    "better", "worse", "no evidence either way", "not yet shown", "cannot compare",
)  # fmt: skip
VERDICTS = (WORSE, BETTER, NEITHER, NOT_YET, CANNOT)
MOST_NAMED = 3
"""Sets of zones that a rate names; more are counted."""


@dataclass(frozen=True)
class Row:
    """One measure on both sides.

    unit : 'per 10 h of heat', '% of the time', 'rise'; before, after, low, high : in that unit
        (rises in °F); low, high : interval of after less before
    state : who called in the hours that are counted, 'with Den calling alone'; '' where all count
    n_before, n_after : events, None where it is no count
    before_hours, after_hours : like hours (runs, for a share of runs) on each side
    verdict : one of VERDICTS; why : the reason in a sentence
    """

    name: str
    unit: str
    verdict: str
    why: str
    before: float | None = None
    after: float | None = None
    low: float | None = None
    high: float | None = None
    n_before: int | None = None
    n_after: int | None = None
    before_hours: float = 0.0
    after_hours: float = 0.0
    before_days: int = 0
    after_days: int = 0
    state: str = ""


class Measures(TwoWindows):
    """Two windows with every measure of a comparison."""

    # ------------------------------------------------------------------ one row

    def row(
        self,
        name: str,
        unit: str,
        events: pd.DataFrame,
        exposure: pd.DataFrame,
        *,
        scale: float,
        what: str,
        is_count: bool = True,
        by_zones: bool = True,
    ) -> Row:
        """One measure. events : placed rows with `n`; exposure : placed rows with `x`.

        scale : from happened per exposure to the unit; what : 'heat', for sentences
        """
        events, exposure = events.copy(), exposure.copy()
        for rows in (events, exposure):
            zones = rows["zones"] if by_zones and "zones" in rows else pd.Series("", rows.index)
            rows["key"] = zones.fillna("?").astype(str) + "|" + rows["band"].astype(str)
            rows["who"] = zones.fillna("?").astype(str)
        state = ""
        if by_zones and len(events):
            # the state that showed it, on either side
            shown = exposure["who"].isin(set(events["who"]))
            # hours of this state are not hours of heat: a rate that does not say so misleads
            state = "" if shown.all() else self._callers(events)
            exposure = exposure[shown]
        for n, side in enumerate(("before", "after")):
            if exposure[exposure["side"] == n].empty:
                why = f"no {what} of this kind was logged {side}"
                return Row(name, unit, CANNOT, why, state=state)
        keys = sorted(set(exposure["key"]))
        d = difference(*(self._cells(events, exposure, n, keys) for n in (0, 1)), is_count=is_count)
        sides = [set(exposure.loc[exposure["side"] == n, "key"]) for n in (0, 1)]
        alike = events[events["key"].isin(sides[0] & sides[1])]
        counts = [int(alike.loc[alike["side"] == n, "n"].sum()) for n in (0, 1)]
        verdict, why = self._verdict(d, exposure, what, is_count, counts)

        def scaled(value: float | None) -> float | None:
            return None if value is None else value * scale

        return Row(
            name,
            unit,
            verdict,
            why,
            before=scaled(d.before),
            after=scaled(d.after),
            low=scaled(d.low),
            high=scaled(d.high),
            n_before=counts[0] if is_count else None,
            n_after=counts[1] if is_count else None,
            before_hours=d.before_exposure,
            after_hours=d.after_exposure,
            before_days=d.before_days,
            after_days=d.after_days,
            state=state,
        )

    def _callers(self, events: pd.DataFrame) -> str:
        """'with Den calling alone', the commonest first; of many: how many sets of zones."""
        often = events.groupby("who")["n"].sum().sort_values(ascending=False, kind="stable")
        sets = [who for who in often.index if words.zone_numbers(who.replace("?", ""))]
        if len(sets) < len(often) or len(sets) > MOST_NAMED:
            return f"in the {words.count(len(often), 'calling combination')} that showed it"
        names = self.result.site.zones
        alone = [words.zones(who, names) for who in sets if len(words.zone_numbers(who)) == 1]
        several = [words.zones(who, names) for who in sets if len(words.zone_numbers(who)) > 1]
        said = [f"{words.joined(alone, 'or')} calling alone"] if alone else []
        said += [f"{who} calling" for who in several]
        return f"with {words.joined(said, 'or')}"

    def _cells(
        self, events: pd.DataFrame, exposure: pd.DataFrame, side: int, keys: list[str]
    ) -> Cells:
        own = exposure[exposure["side"] == side]
        days = sorted(set(own["day"]))

        def table(rows: pd.DataFrame, value: str) -> np.ndarray:
            sums = rows.pivot_table(index="day", columns="key", values=value, aggfunc="sum")
            return sums.reindex(index=days, columns=keys).fillna(0.0).to_numpy(dtype=float)

        happened = events[events["side"] == side]
        if happened.empty:
            return Cells(np.zeros((len(days), len(keys))), table(own, "x"))
        return Cells(table(happened, "n"), table(own, "x"))

    def _verdict(
        self,
        d: Difference,
        exposure: pd.DataFrame,
        what: str,
        is_count: bool,
        counts: Sequence[int],
    ) -> tuple[str, str]:
        if d.before is None or d.after is None:
            ranges = [self._outdoor(exposure, n) for n in (0, 1)]
            return NOT_YET, f"no hours are alike: before {ranges[0]}, after {ranges[1]} outdoors"
        need_h, need_n = self.limits["compare_min_hours"], self.limits["compare_min_calls"]
        is_runs = what.startswith("runs")
        for side, x in (("before", d.before_exposure), ("after", d.after_exposure)):
            if is_runs and x < need_n:
                return NOT_YET, f"only {x:.0f} like {what} {side}, {need_n:g} are needed"
            if not is_runs and x < need_h and self._calls(exposure, side) < need_n:
                return NOT_YET, (
                    f"only {words.hours(x * 3600)} of like {what} {side}; {need_h:g} hours or "
                    f"{need_n:g} calls are needed"
                )
        need_days = self.limits["compare_min_days"]
        for side, days in (("before", d.before_days), ("after", d.after_days)):
            if days < need_days:
                found = words.count(days, "day")
                return NOT_YET, f"only {found} with like {what} {side}, {need_days:g} are needed"
        if is_count and not sum(counts):
            return NEITHER, "none on either side"
        if d.low is None or d.high is None or d.low <= 0 <= d.high:
            return NEITHER, "days differ as much by themselves"
        if is_count and d.chance is not None and d.chance >= self.limits["compare_chance"]:
            return NEITHER, "so few events fall this unevenly by chance"
        return (BETTER, "fewer than before") if d.high < 0 else (WORSE, "more than before")

    def _calls(self, exposure: pd.DataFrame, side: str) -> int:
        """Calls begun in the exposure's own strata."""
        calls = self.frame("interval.call")
        if calls.empty:
            return 0
        calls = self.state_at(calls[calls["has_start"].astype(bool)], "start_ts")
        calls = calls[calls["side"] == (0 if side == "before" else 1)]
        key = calls["zones"].fillna("?").astype(str) + "|" + calls["band"].astype(str)
        common = set(exposure.loc[exposure["side"] == 0, "key"]) & set(
            exposure.loc[exposure["side"] == 1, "key"]
        )
        return int(key.isin(common).sum())

    def _outdoor(self, rows: pd.DataFrame, side: int) -> str:
        values = rows.loc[rows["side"] == side, "outdoor_f"]
        if values.empty:
            return "nothing"
        span = [float(values.min()), float(values.max())]
        return words.span_of(span, "temperature", self.result.units)

    # ------------------------------------------------------------------ the measures

    def rows(self) -> list[Row]:
        """Every measure, whatever it comes to."""
        heat = self._hours(["heating"], "supply_temp")
        cool = self._hours(["cooling"], "supply_temp")
        run = self._hours(["heating", "cooling"])
        trips = self.frame("measure.trip_context")
        made = []
        for kind, name, x, what in (
            ("high", "High-limit trips", heat, "heat"),
            ("low", "Low-limit trips", cool, "cooling"),
        ):
            own = trips[trips["kind"] == kind] if len(trips) else trips
            if kind == "low" and x.empty and not len(own):
                continue  # a heating log says nothing of it, and nobody asked
            made.append(
                self.row(
                    name, f"per 10 h of {what}", self._events(own, "drop_ts"), x,
                    scale=10, what=what,
                )
            )  # fmt: skip
        cut = self.frame("interval.cut_out")
        cut = self.state_at(cut, "start_ts").assign(n=1.0) if len(cut) else self._events(cut, "")
        made.append(
            self.row("Equipment cut-outs", "per 10 h running", cut, run, scale=10, what="running")
        )
        made.append(self._static(self._hours(["heating", "cooling"], "static_pressure")))
        made.append(self._short_runs())
        ups = self.frame("measure.stage_up")
        for result, name in (
            ("too few zones", "Second stage with too few zones"),
            ("early", "Second stage before its delay"),
        ):
            own = ups[ups["result"] == result] if len(ups) else ups
            heat_all = self._hours(["heating"])
            if len(ups):
                made.append(
                    self.row(
                        name, "per 10 h of heat", self._events(own, "start_ts"), heat_all,
                        scale=10, what="heat",
                    )
                )  # fmt: skip
        made.append(self._not_keeping_up())
        return made

    def _hours(self, classes: list[str], role: str = "") -> pd.DataFrame:
        rows = self.pieces[self.pieces["class"].isin(classes)]
        if role:
            rows = rows[rows[role]]
        return rows.assign(x=rows["hours"])

    def _events(self, rows: pd.DataFrame, ts: str) -> pd.DataFrame:
        if rows.empty:
            return pd.DataFrame({c: [] for c in ("side", "day", "band", "zones", "n")})
        return self.placed(rows, ts).assign(n=1.0)

    def _static(self, hours: pd.DataFrame) -> Row:
        name, unit = "Static above target", "% of the time"
        targets = self.setting_on_sides("static_target_inwc")
        if len(set(targets)) > 1:
            return Row(
                name, unit, CANNOT,
                "the static target was changed between the two, so it is another question",
            )  # fmt: skip
        if targets[0] is None:
            return Row(name, unit, CANNOT, "no static target was given")
        rows = self.frame("interval.static_above_target")
        if len(rows):
            rows = rows[rows["class"].isin(["heating", "cooling"])]
            rows = self.placed(rows, "start_ts")
            rows = rows.assign(n=rows["above_s"] / 3600)
        else:
            rows = self._events(rows, "")
        made = self.row(
            name, unit, rows, hours, scale=100, what="running with static logged", is_count=False
        )
        # its own row says it too: who called is read on another clock
        off = words.joined(ahead(c) for c in clocks_left(self.result, "static_pressure"))
        return replace(made, why=f"{made.why}; the clock of {off}, not corrected") if off else made

    def _short_runs(self) -> Row:
        runs = self.frame("interval.source_run")
        if len(runs):
            runs = self.state_at(runs[runs["is_closed"].astype(bool)], "start_ts")
        short = self.frame("measure.short_cycle")
        if len(short):
            short = short[short["what"] == "run"]
        is_short = set(zip(short["source"], short["start_ts"], strict=True)) if len(short) else ()
        if not len(runs):
            return Row("Short runs", "% of runs", CANNOT, "no runs were seen")
        runs = runs.assign(x=1.0)
        runs["n"] = [
            float(key in is_short) for key in zip(runs["source"], runs["start_ts"], strict=True)
        ]
        return self.row(
            "Short runs", "% of runs", runs[runs["n"] > 0], runs, scale=100, what="runs"
        )

    def _not_keeping_up(self) -> Row:
        rows = self.frame("interval.not_keeping_up")
        rows = self.placed(rows, "start_ts") if len(rows) else self._events(rows, "")
        if len(rows):
            rows = rows.assign(n=rows["length_s"] / 3600)
        calls = self.pieces.copy()
        callers = calls[["n_heat", "n_cool"]].apply(pd.to_numeric, errors="coerce").sum(axis=1)
        calls["x"] = calls["hours"] * callers
        return self.row(
            "Zones not keeping up", "% of calling time", rows, calls[calls["x"] > 0],
            scale=100, what="calls", is_count=False, by_zones=False,
        )  # fmt: skip

    def rises(self) -> tuple[list[Row], list[str]]:
        """Rise (split) of each source and stage in like steady air, against the plate."""
        air = self.frame("interval.steady_air")
        if air.empty:
            why = "Rise against the plate: no steady air with supply and return was logged."
            return [], [why]
        air = air.assign(start_ts=air["steady_ts"])
        air = self.placed(air, "start_ts")
        plate = self.frame("run.plate")
        rows, said = [], []
        states = (
            air[["mode", "source", "stage"]]
            .drop_duplicates()
            .sort_values(["mode", "source", "stage"])
        )
        for mode, source, stage in states.itertuples(index=False, name=None):
            of_it = (air["mode"] == mode) & (air["source"] == source) & (air["stage"] == stage)
            own = air[of_it]
            what = "Rise" if mode == "heating" else "Split"
            name = f"{what} ({words.source(source).removeprefix('the ')}, {words.stage(stage)})"
            own = own.assign(n=own["rise_f"] * own["s"] / 3600, x=own["s"] / 3600)
            row = self.row(name, "rise", own, own, scale=1, what="steady air", is_count=False)
            band = _band(plate, source, mode, stage)
            rows.append(_against(row, band))
            said.append(self._rise_sentence(rows[-1], band))
        return rows, said or ["Rise against the plate: no steady air on either side."]

    def _rise_sentence(self, row: Row, band: tuple[float, float] | None) -> str:
        def say(v: float | None) -> str:
            return "–" if v is None else words.temperature_difference(v, self.result.units)

        plate = "the plate's band was not given"
        if band is not None:
            low, high = say(band[0]).split(" ", 1)[0], say(band[1])
            plate = f"the plate asks for {low} to {high}"
        if row.before is None:
            return f"{row.name}: {row.why}; {plate}."
        return f"{row.name}: {say(row.before)} before, {say(row.after)} after; {plate}."

    def setting_on_sides(self, name: str) -> list[float | str | None]:
        """The setting in the middle of each window, None where it was not given."""
        found: list[float | str | None] = []
        frame = self.frame("run.setting")
        for side in self.sides:
            middle = (side.start_ts + side.end_ts) // 2
            value: float | str | None = None
            for r in frame[frame["name"] == name].to_dict("records") if len(frame) else ():
                if r["start_ts"] <= middle < r["end_ts"]:
                    value = r["value_text"] if isinstance(r["value_text"], str) else r["value"]
            found.append(value)
        return found


def _band(plate: pd.DataFrame, source: str, mode: str, stage: int) -> tuple[float, float] | None:
    if plate.empty:
        return None
    own = plate[(plate["source"] == source) & (plate["mode"] == mode) & (plate["stage"] == stage)]
    own = own[own["rise_low_f"].notna() & own["rise_high_f"].notna()]
    if own.empty:
        return None
    return float(own["rise_low_f"].iloc[0]), float(own["rise_high_f"].iloc[0])


def _against(row: Row, band: tuple[float, float] | None) -> Row:
    """A shown change of rise: worse where it moves out of the plate's band, better back into it."""
    if row.verdict not in (BETTER, WORSE) or row.before is None or row.after is None:
        return row
    if band is None:
        return replace(row, verdict=NEITHER, why="changed; the plate's band was not given")

    def off(v: float) -> float:
        return max(band[0] - v, 0.0, v - band[1])

    was, now = off(row.before), off(row.after)
    if now > was:
        return replace(row, verdict=WORSE, why="moved away from the plate's band")
    if now < was:
        return replace(row, verdict=BETTER, why="moved towards the plate's band")
    return replace(row, verdict=NEITHER, why="changed, inside the plate's band on both sides")
