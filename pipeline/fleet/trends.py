"""Key rates by calendar week, and the days at a glance."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from pipeline.fleet_result import DayFigures, Trend

H = 3_600.0


@dataclass(frozen=True)
class Figure:
    """A rate: `over` and `under` are columns of unusual.site_day that add up over a week.

    times : what the quotient is multiplied by to be in `unit`
    """

    name: str
    label: str
    unit: str
    over: tuple[str, ...]
    under: tuple[str, ...]
    times: float


FIGURES = (
    Figure(
        "trips", "High-limit trips", "per 100 h of heat", ("n_high_trip",), ("heat_s",), 1e2 * H
    ),
    Figure(
        "cut_outs",
        "Stops of the equipment inside a call",
        "per 100 h of running",
        ("n_cut_out",),
        ("heat_s", "cool_s"),
        1e2 * H,
    ),
    Figure(
        "starts",
        "Starts",
        "per hour of running",
        ("n_heat_start", "n_cool_start"),
        ("heat_s", "cool_s"),
        H,
    ),
    Figure(
        "above_target",
        "Static above target",
        "% of fan time",
        ("above_target_s",),
        ("static_fan_s",),
        1e2,
    ),
    Figure(
        "not_keeping_up",
        "Not keeping up, worst zone",
        "% of the time known",
        ("not_keeping_up_s",),
        ("rooms_known_s",),
        1e2,
    ),
)


def trends(days: pd.DataFrame, numbers: Mapping[str, float]) -> tuple[Trend, ...]:
    """Every figure by week, of one site's days or of all sites' together.

    days : rows of unusual.site_day

    A week with less than compare_min_hours of the state has no value; a figure that has none in any
    week is left out.
    """
    if days.empty:
        return ()
    at = pd.to_datetime(days["day"])
    monday = (at - pd.to_timedelta(at.dt.day_of_week, unit="D")).dt.date
    made = []
    for figure in FIGURES:
        known = days[list(figure.over)].notna().any(axis=1)
        part = days.loc[known, [*figure.over, *figure.under]].fillna(0)
        by_week = part.groupby(monday[known]).sum().to_dict("index")
        weeks: list[dt.date] = []
        values: list[float | None] = []
        exposure: list[float] = []
        for week in sorted(set(monday)):
            sums = by_week.get(week, {})
            under_s = float(sum(sums.get(c, 0.0) for c in figure.under))
            over = float(sum(sums.get(c, 0.0) for c in figure.over))
            enough = under_s / H >= numbers["compare_min_hours"]
            weeks.append(week)
            values.append(over / under_s * figure.times if enough else None)
            exposure.append(under_s / H)
        if any(v is not None for v in values):
            made.append(
                Trend(
                    figure.name,
                    figure.label,
                    figure.unit,
                    tuple(weeks),
                    tuple(values),
                    tuple(exposure),
                )
            )
    return tuple(made)


def days_at_a_glance(
    days: pd.DataFrame, unusual: Sequence[dt.date], n_last: int
) -> tuple[DayFigures, ...]:
    """The last days of a site's log, oldest first."""
    flagged = frozenset(unusual)
    known = [c for c in days.columns if c.endswith("_known_s")]
    made = []
    for row in days.tail(n_last).to_dict("records"):
        day = pd.Timestamp(row["day"]).date()
        covered = [row[c] for c in known if not pd.isna(row[c])]
        starts = [_whole(row[c]) for c in ("n_heat_start", "n_cool_start")]
        seen = [n for n in starts if n is not None]
        made.append(
            DayFigures(
                day=day,
                covered_h=max(covered, default=0.0) / H,
                heat_h=_hours(row["heat_s"]),
                cool_h=_hours(row["cool_s"]),
                outdoor_f=None if pd.isna(row["outdoor_f"]) else float(row["outdoor_f"]),
                n_trips=_whole(row["n_high_trip"]),
                n_starts=sum(seen) if seen else None,
                above_target_h=_hours(row["above_target_s"]),
                is_unusual=day in flagged,
            )
        )
    return tuple(made)


def _hours(seconds: float) -> float | None:
    return None if pd.isna(seconds) else float(seconds) / H


def _whole(value: float) -> int | None:
    return None if pd.isna(value) else int(value)
