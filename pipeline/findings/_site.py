"""One site's tables as a finding sees them, with its zone names, settings and ways to say times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from types import SimpleNamespace
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.channels import ROLES
from pipeline.result import SiteInfo, Span
from pipeline.sampling import intervals
from pipeline.units import MICROSECONDS

GROUPS = {
    "output": "the panel's outputs",
    "fan": "the blower",
    "zone_call": "the zones' calls",
    "zone_call_w1": "the zones' heat calls",
    "zone_call_y1": "the zones' cooling or compressor calls",
}


@dataclass(frozen=True)
class Coverage:
    """How much data is behind a figure; a row of measure.coverage."""

    coverage: float
    resolution_s: float | None
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class SiteFrames:
    """The frames of ONE site and what is needed to read them.

    site : result.SiteInfo; its zones and timezone name things
    window : what was looked at, UTC microseconds
    tables : frames by table name ('measure.trip_context'), rows of this site only; columns as in
        their declarations (a site_id column is ignored). What is installed and how it is set comes
        from run.site, run.setting, run.zone and run.visit.
    thresholds : judgement numbers in force, by name
    units : 'us' or 'si', for sentences
    """

    site: SiteInfo
    window: Span
    tables: dict[str, pd.DataFrame] = field(repr=False)
    thresholds: dict[str, float] = field(repr=False)
    units: str = "us"

    # ------------------------------------------------------------------ tables

    def has_table(self, name: str) -> bool:
        """Whether the table was made in this run."""
        return name in self.tables

    def table(self, name: str) -> pd.DataFrame:
        """The table's rows of this site. Raises KeyError if it was not made."""
        return self.tables[name]

    def threshold(self, name: str) -> float:
        """The value in force. Raises KeyError for an unknown name."""
        return self.thresholds[name]

    def coverage(self, figure: str) -> Coverage | None:
        """Coverage and resolution of a figure of measure.coverage; None if it is not there."""
        return self._coverages.get(figure)

    @cached_property
    def _coverages(self) -> dict[str, Coverage]:
        """Rows of measure.coverage by figure, the first of each: every rule asks for one."""
        if not self.has_table("measure.coverage"):
            return {}
        return {
            row.figure: Coverage(
                coverage=row.coverage or 0.0,
                resolution_s=row.resolution_s,
                missing=tuple(
                    part.strip() for part in (row.missing or "").split(",") if part.strip()
                ),
            )
            for row in reversed(records(self.table("measure.coverage")))
        }

    @cached_property
    def role_intervals_s(self) -> dict[str, float]:
        """How often each role was read [s], the slowest of its channels."""
        return intervals(
            self.table("signal.coverage"),
            self.table("channel.rate") if self.has_table("channel.rate") else None,
            1.0 - self.threshold("coverage_warn_frac"),
        )

    @cached_property
    def logged_roles(self) -> frozenset[str]:
        """Roles of which something trusted was logged in the window."""
        rows = self.table("signal.coverage")
        return frozenset(rows.loc[rows["valid_s"] > 0, "role"])

    @cached_property
    def equipment(self) -> dict[str, Any]:
        """The row of run.site: kind, has_burner, staged_by and so on; nulls are None."""
        rows = self.table("run.site")
        return vars(records(rows.head(1))[0])

    @cached_property
    def made_once(self) -> dict[str, Any]:
        """What several findings read of this site and is costly to make, by name."""
        return {}

    # ------------------------------------------------------------------ settings

    def setting(self, name: str, ts: int | None = None) -> float | None:
        """The numeric setting in force at `ts` (at the window's end if None), or None."""
        return number(self._setting(name, "value", ts))

    def setting_text(self, name: str, ts: int | None = None) -> str | None:
        """The setting that is a word, in force at `ts` (at the window's end if None), or None."""
        value = self._setting(name, "value_text", ts)
        return value if isinstance(value, str) else None

    def _setting(self, name: str, column: str, ts: int | None) -> Any:
        at = self.window.end_ts - 1 if ts is None else ts
        for row in self._settings.get(name, []):
            if row.start_ts <= at < row.end_ts:
                return getattr(row, column)
        return None

    @cached_property
    def _settings(self) -> dict[str, list[Any]]:
        """Rows of run.setting by name: asked for once per event, so read once."""
        found: dict[str, list[Any]] = {}
        for row in records(self.table("run.setting")):
            found.setdefault(row.name, []).append(row)
        return found

    # ------------------------------------------------------------------ time in a state

    def seconds_in(
        self,
        classes: Sequence[str],
        *,
        stage: int | None = None,
        n_zones: int | None = None,
        zones: str | None = None,
        sources: Sequence[str] | None = None,
    ) -> float:
        """Seconds in a state, visits left out, from measure.condition_time.

        classes : of condition_time.class; each further argument narrows the state
        """
        rows = self.table("measure.condition_time")
        keep = rows["class"].isin(list(classes))
        if stage is not None:
            keep &= rows["stage"] == stage
        if n_zones is not None:
            keep &= rows["n_zones"] == n_zones
        if zones is not None:
            keep &= rows["zones"] == zones
        if sources is not None:
            keep &= rows["source"].isin(list(sources))
        return float(rows.loc[keep, "outside_visit_s"].sum())

    @property
    def window_s(self) -> float:
        """Length of the window [s]."""
        return (self.window.end_ts - self.window.start_ts) / MICROSECONDS

    @property
    def weeks(self) -> float:
        """Length of the window in weeks, at least one: a short log is not scaled up."""
        return max(1.0, self.window_s / (7 * 86400))

    def overlaps_visit(self, start_ts: int, end_ts: int) -> bool:
        """Whether the stretch touches a visit."""
        return any(a < end_ts and b > start_ts for a, b in self._visits)

    @cached_property
    def _visits(self) -> list[tuple[int, int]]:
        """Begin and end of every visit: asked for once per call of a zone, so read once."""
        rows = self.table("run.visit")
        return [(int(a), int(b)) for a, b in zip(rows["start_ts"], rows["end_ts"], strict=True)]

    # ------------------------------------------------------------------ words

    @cached_property
    def with_date(self) -> bool:
        """Whether weekdays repeat in the window, so that clock times need their date."""
        first = words.local(self.window.start_ts, self.site.timezone).date()
        last = words.local(self.window.end_ts - 1, self.site.timezone).date()
        return (last - first).days >= 7

    @cached_property
    def with_year(self) -> bool:
        """Whether dates repeat in the window, or nearly: then they need their year."""
        return self.window_s >= 300 * 86400

    def clock(self, ts: int, *, with_seconds: bool = False) -> str:
        """The local clock time with its day, as sentences say it."""
        return words.clock(
            ts,
            self.site.timezone,
            with_date=self.with_date,
            with_year=self.with_year,
            with_seconds=with_seconds,
            units=self.units,
        )

    def clock_span(self, start_ts: int, end_ts: int) -> str:
        """From-to on the local clock."""
        return words.clock_span(
            start_ts,
            end_ts,
            self.site.timezone,
            with_date=self.with_date,
            with_year=self.with_year,
            units=self.units,
        )

    def local_day(self, ts: int) -> str:
        """The local date, 'Tue Jan 13'."""
        return words.day(words.local(ts, self.site.timezone).date(), with_year=self.with_year)

    def zones(self, text: str | None) -> str:
        """Zone names of a stored list such as '1+3'."""
        return words.zones(text, self.site.zones)

    def calling(self, text: str | None) -> str:
        """Who was calling: 'Den alone', 'Den and Office', 'no zone'."""
        return words.calling(text, self.site.zones)

    def temperature(self, value_f: float) -> str:
        """A temperature in the units of this report."""
        return words.temperature(value_f, self.units)

    def temperature_difference(self, value_f: float) -> str:
        """A temperature difference in the units of this report."""
        return words.temperature_difference(value_f, self.units)

    def static(self, value_inwc: float) -> str:
        """A duct static pressure in the units of this report."""
        return words.static(value_inwc, self.units)

    def temperatures(self, values: Sequence[float]) -> str:
        """Lowest to highest temperature."""
        return words.span_of(values, "temperature", self.units)

    def statics(self, values: Sequence[float]) -> str:
        """Lowest to highest static."""
        return words.span_of(values, "pressure", self.units)


def role_words(role: str) -> str:
    """A role, or a group of roles in measure.coverage, as a technician says it."""
    if role in GROUPS:
        return GROUPS[role]
    label = ROLES[role].label.replace("{zone} ", "zone ")
    return label if label[:2].isupper() or label[1:2].isdigit() else label[0].lower() + label[1:]


def none_if_null(value: Any) -> Any:
    """The value, or None where a frame holds NaN, NaT, NA or None."""
    return None if value is None or bool(pd.isna(value)) else value


def number(value: Any) -> float | None:
    """The value as a float, or None where a frame holds a null."""
    value = none_if_null(value)
    return None if value is None else float(value)


def records(rows: pd.DataFrame) -> list[Any]:
    """The rows as plain records whose attributes are the columns; nulls are None."""
    columns = [str(c) for c in rows.columns]
    if not len(rows):
        return []
    lists = [_values(rows.iloc[:, n]) for n in range(len(columns))]
    return [
        SimpleNamespace(**dict(zip(columns, values, strict=True)))
        for values in zip(*lists, strict=True)
    ]


def _values(column: pd.Series) -> list[Any]:
    if column.dtype.kind in "mM":  # its null stays NaT whatever stands in for it
        return [none_if_null(v) for v in column]
    # the stubs do not know None, which pandas takes for any kind of column
    objects: Any = column.to_numpy(dtype=object, na_value=None)  # type: ignore[call-overload]
    return list(objects)


def flags(column: pd.Series) -> pd.Series:
    """A boolean column with nulls as False."""
    return column.astype("boolean").fillna(False).astype(bool)


def numbers(column: pd.Series) -> list[float]:
    """The column's values without nulls, as floats."""
    return [float(v) for v in column if none_if_null(v) is not None]
