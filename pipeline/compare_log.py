"""One log in two windows: every stretch with its side, day, outdoor band and who called."""

from __future__ import annotations

from functools import partial

import numpy as np
import pandas as pd

from pipeline import words
from pipeline.errors import InputError
from pipeline.findings._site import records
from pipeline.result import SiteResult, Span
from pipeline.units import MICROSECONDS


class TwoWindows:
    """The frames of one result, placed in the windows before (side 0) and after (side 1).

    pieces : stretches of interval.condition cut at days, weather steps, gaps and windows; visits
        and stretches without outdoor air left out

    Raises InputError where the two cannot be compared at all.
    """

    def __init__(self, result: SiteResult, before: Span, after: Span) -> None:
        self.result = result
        self.sides = (before, after)
        self.limits = result.thresholds
        self.band_f = self.limits["compare_band_f"]
        self._check_windows()
        self.weather = self.frame("interval.weather")
        self.days = self.frame("run.day")
        self.pieces = self._pieces()
        self._check_sides()

    # ------------------------------------------------------------------ what is there

    def frame(self, name: str) -> pd.DataFrame:
        """The table's rows outside visits; an empty frame where it is missing."""
        frame = self.result.frames.get(name)
        if frame is None:
            return pd.DataFrame()
        if "in_visit" in frame.columns:
            frame = frame[~frame["in_visit"].astype("boolean").fillna(False)]
        return frame

    def _check_windows(self) -> None:
        window, zone = self.result.window, self.result.site.timezone
        units = self.result.units
        moment = partial(words.clock, timezone=zone, with_date=True, units=units)
        span = partial(words.clock_span, timezone=zone, with_date=True, units=units)
        (b, a) = self.sides
        log = span(window.start_ts, window.end_ts)
        for name, side in (("before", b), ("after", a)):
            if side.start_ts >= side.end_ts:
                raise InputError(
                    f"the window {name} is empty or runs backwards",
                    found=span(side.start_ts, side.end_ts),
                    expected="a begin that lies before its end",
                )
            if side.end_ts <= window.start_ts or side.start_ts >= window.end_ts:
                raise InputError(
                    f"nothing was logged in the window {name}",
                    found=span(side.start_ts, side.end_ts),
                    expected=f"a time within the log: {log}",
                )
        if a.start_ts < b.end_ts:
            raise InputError(
                "the two windows overlap, or after lies before",
                found=f"before ends {moment(b.end_ts)}, after begins {moment(a.start_ts)}",
                expected="the window after to begin when the one before has ended",
            )
        self.sides = tuple(  # type: ignore[assignment]
            Span(max(s.start_ts, window.start_ts), min(s.end_ts, window.end_ts)) for s in (b, a)
        )

    def _check_sides(self) -> None:
        if self.weather.empty:
            raise InputError(
                "outdoor air was not logged, so hours cannot be matched by weather",
                expected="a channel with the role outdoor_temp on both sides",
                hint="log it, or compare by eye in the report: a number would mislead",
            )
        for n, name in enumerate(("before", "after")):
            known = self.pieces[self.pieces["side"] == n]
            if known.empty or not known["class"].isin(["heating", "cooling"]).any():
                raise InputError(
                    f"neither heat nor cooling was seen to run {name}",
                    found="no hours with outputs, fan, calls and outdoor air known together",
                    expected="a log of the outputs on both sides",
                )

    def _pieces(self) -> pd.DataFrame:
        """Conditions cut at weather steps, days, windows and gaps, with day, band, side."""
        condition = self.frame("interval.condition")
        if condition.empty or self.weather.empty:
            return pd.DataFrame(columns=["side", "class"])
        gaps = self.frame("trust.gap")
        edges = [condition["start_ts"], condition["end_ts"], self.days["start_ts"]]
        edges += [self.weather["start_ts"], self.weather["end_ts"]]
        if not gaps.empty:
            edges += [gaps["start_ts"], gaps["end_ts"]]
        ends = [t for s in self.sides for t in (s.start_ts, s.end_ts)]
        cuts = np.unique(np.concatenate([np.asarray(e, dtype="i8") for e in (*edges, ends)]))
        made = pd.DataFrame({"start_ts": cuts[:-1], "end_ts": cuts[1:]})
        at = inside(condition, made["start_ts"])
        for column in ("class", "source", "stage", "zones", "n_heat", "n_cool"):
            made[column] = condition[column].to_numpy(dtype=object)[at]
        made = made[at >= 0]
        for role in ("supply_temp", "static_pressure"):
            own = gaps[gaps["role"] == role] if not gaps.empty else gaps
            spans = [(int(g.start_ts), int(g.end_ts)) for g in records(own)]
            lost = np.zeros(len(made), dtype=bool)
            for start, end in spans:
                lost |= ((made["start_ts"] >= start) & (made["start_ts"] < end)).to_numpy()
            made[role] = ~lost & self._is_logged(role)
        made["hours"] = (made["end_ts"] - made["start_ts"]) / MICROSECONDS / 3600
        return self.placed(made, "start_ts")

    def _is_logged(self, role: str) -> bool:
        coverage = self.frame("signal.coverage")
        return not coverage.empty and bool(
            ((coverage["role"] == role) & (coverage["valid_s"] > 0)).any()
        )

    def placed(self, rows: pd.DataFrame, ts: str) -> pd.DataFrame:
        """The rows with side, day and band of the instant; those in neither window are left out."""
        rows = rows.copy()
        stamps = rows[ts].to_numpy(dtype="i8")
        rows["side"] = -1
        for n, side in enumerate(self.sides):
            rows.loc[(stamps >= side.start_ts) & (stamps < side.end_ts), "side"] = n
        rows["day"] = np.searchsorted(self.days["start_ts"].to_numpy(dtype="i8"), stamps, "right")
        at = inside(self.weather, rows[ts])
        outdoor = self.weather["outdoor_f"].to_numpy(dtype=float)[at]
        rows["outdoor_f"] = np.where(at >= 0, outdoor, np.nan)
        rows["band"] = np.floor(rows["outdoor_f"] / self.band_f)
        return rows[(rows["side"] >= 0) & rows["band"].notna()]

    def state_at(self, rows: pd.DataFrame, ts: str) -> pd.DataFrame:
        """Rows placed, with the zones that called at the instant."""
        rows = self.placed(rows, ts)
        condition = self.frame("interval.condition")
        at = inside(condition, rows[ts])
        rows["zones"] = condition["zones"].to_numpy(dtype=object)[at]
        return rows[at >= 0]


def inside(spans: pd.DataFrame, stamps: pd.Series) -> np.ndarray:
    """Position of the span [start, end) that holds each instant, -1 for none; spans in order."""
    starts = spans["start_ts"].to_numpy(dtype="i8")
    ends = spans["end_ts"].to_numpy(dtype="i8")
    ts = stamps.to_numpy(dtype="i8")
    at = np.searchsorted(starts, ts, side="right") - 1
    return np.where((at >= 0) & (ts < ends[np.maximum(at, 0)]), at, -1)
