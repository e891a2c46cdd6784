"""A hand-made site: `build` gives SiteFrames from a few rows; all else is as in a quiet week.

Monday 2026-01-12 is day 0, in America/Denver (UTC-7 all week). Tables have exactly the columns
that `zonetrail stages` lists, so a finding that reads a column which no stage makes fails here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from pipeline.findings import SiteFrames
from pipeline.findings._judge import Rule, judge_rules, rules
from pipeline.result import Finding, Judged, SiteInfo, Span
from pipeline.tables import tables
from pipeline.thresholds import values_for

ZONES = {1: "Main floor", 2: "Primary bedroom", 3: "Bedroom over garage", 4: "Basement"}
ROLES = {
    "supply_temp": "plenum",
    "return_temp": "plenum",
    "static_pressure": "static",
    "output_w1": "panel",
    "output_w2": "panel",
    "output_y1": "panel",
    "output_g": "panel",
    "zone_call_w1": "panel",
    "zone_call_y1": "panel",
    "zone_damper": "panel",
    "outdoor_temp": "rooms",
    "zone_temp": "rooms",
}
FIGURES = (
    "trips", "cut_outs", "static", "staging", "outputs", "calls", "fan", "conditions", "outdoor",
    "rise", "recirculation",
)  # fmt: skip
SETTINGS = {
    "static_target_inwc": 0.40,
    "high_limit_f": 150.0,
    "low_limit_f": 42.0,
    "stage_up_delay_min": 10.0,
    "stage2_min_zones": 2.0,
}
MINUTE = 60_000_000
HOUR = 60 * MINUTE

Rows = Iterable[Mapping[str, Any]]


COLUMNS = {name: [c.name for c in table.columns] for name, table in tables().items()}


def frame(table: str, rows: Rows) -> pd.DataFrame:
    """Rows as the frame of a table; a column that the table does not have is refused."""
    rows = list(rows)
    for row in rows:
        unknown = set(row) - set(COLUMNS[table])
        assert not unknown, f"{table} has no column {unknown}"
    return pd.DataFrame(rows, columns=COLUMNS[table])


EMPTY = {name: frame(name, ()) for name in COLUMNS if name != "run.threshold"}


def instant(day: int, clock: str) -> int:
    """UTC microseconds of a local clock time ('06:42' or '06:42:10') of day 0 to 6."""
    hour, minute, *second = (int(part) for part in clock.split(":"))
    t = datetime(2026, 1, 12, hour, minute, *second, tzinfo=ZoneInfo("America/Denver"))
    return int((t + timedelta(days=day)).timestamp()) * 1_000_000


def local_date(ts: int) -> Any:
    return datetime.fromtimestamp(ts / 1e6, ZoneInfo("America/Denver")).date()


def condition_time(hours: Mapping[tuple[str, int, str], float]) -> list[dict[str, Any]]:
    """Rows of measure.condition_time from {(class, stage, zones): hours}."""
    return [
        {
            "class": cls,
            "source": {"heating": "burner", "cooling": "compressor"}.get(cls),
            "stage": stage,
            "n_zones": len(zones.split("+")) if zones else 0,
            "zones": zones,
            "s": h * 3600,
            "outside_visit_s": h * 3600,
        }
        for (cls, stage, zones), h in hours.items()
    ]


Build = Callable[..., SiteFrames]


def build_site(
    rows_of: Mapping[str, Rows] | None = None,
    *,
    hours: Mapping[tuple[str, int, str], float] | None = None,
    settings: Mapping[str, Any] | None = None,
    roles: Iterable[str] | None = None,
    coverage: float = 1.0,
    resolution_s: float = 10.0,
    thresholds: Mapping[str, float] | None = None,
    units: str = "us",
    days: int = 7,
    visits: Iterable[tuple[int, int]] = (),
    without: Iterable[str] = (),
    equipment: Mapping[str, Any] | None = None,
) -> SiteFrames:
    """Frames of a week in which nothing happened, with these rows and settings put in.

    hours : time in states, default 40 h of first stage with Main floor and 20 h of cooling
    settings : replace SETTINGS; a value None takes one out, a word stands as value_text
    roles : logged roles, default ROLES; coverage and resolution hold for every figure
    without : tables that were not made
    equipment : columns of run.site that differ
    """
    start, end = instant(0, "00:00"), instant(0, "00:00") + days * 24 * HOUR
    window_s = (end - start) / 1e6
    in_force = {k: v for k, v in (SETTINGS | dict(settings or {})).items() if v is not None}
    logged = list(ROLES if roles is None else roles)
    if hours is None:
        hours = {("heating", 1, "1"): 40.0, ("cooling", 1, "1"): 20.0}
    base: dict[str, Rows] = {
        "run.site": [
            {
                "name": "14 Larch Lane",
                "kind": "furnace_ac",
                "has_burner": True,
                "has_heat_pump": False,
                "fan_output_in_gas_heat": True,
                "staged_by": "panel",
                **(equipment or {}),
            }
        ],
        "run.zone": [
            {"zone": n, "name": name, "is_relief": True, "thermostat": "conventional"}
            for n, name in ZONES.items()
        ],
        "run.window": [{"start_ts": start, "end_ts": end, "timezone": "America/Denver"}],
        "run.setting": [
            {
                "name": name,
                "value": None if isinstance(value, str) else float(value),
                "value_text": value if isinstance(value, str) else None,
                "start_ts": start,
                "end_ts": end,
            }
            for name, value in in_force.items()
        ],
        "run.visit": [
            {"start_ts": a, "end_ts": b, "what": "visit", "is_assumed": False} for a, b in visits
        ],
        "channel.channel": [
            {
                "channel_id": n,
                "logger": ROLES.get(role, "panel"),
                "column_name": role,
                "role": role,
                "zone": 1 if role.startswith("zone") else None,
                "kind": "state" if role.startswith(("output", "zone_call", "zone_d")) else "analog",
                "is_sampled": True,
                "interval_s": resolution_s,
                "is_primary": True,
                "offset_s": 0.0,
            }
            for n, role in enumerate(logged, start=1)
        ],
        "signal.coverage": [
            {
                "channel_id": n,
                "role": role,
                "zone": 1 if role.startswith("zone") else None,
                "interval_s": resolution_s,
                "valid_s": window_s * coverage,
                "window_s": window_s,
                "coverage": coverage,
            }
            for n, role in enumerate(logged, start=1)
        ],
        "measure.coverage": [
            {
                "figure": figure,
                "window_s": window_s,
                "valid_s": window_s * coverage,
                "coverage": coverage,
                "resolution_s": resolution_s,
                "missing": "",
            }
            for figure in FIGURES
        ],
        "measure.condition_time": condition_time(hours),
    }
    made = dict(EMPTY)
    for name, rows in (base | dict(rows_of or {})).items():
        made[name] = frame(name, rows)
    for name in without:
        del made[name]
    return SiteFrames(
        site=SiteInfo(
            site_id="larch-14",
            name="14 Larch Lane",
            timezone="America/Denver",
            complaint=None,
            kind="furnace_ac",
            zones=dict(ZONES),
            settings=(),
            visits=tuple(Span(a, b, "visit") for a, b in visits),
        ),
        window=Span(start, end),
        tables=made,
        thresholds=values_for(dict(thresholds or {})),
        units=units,
    )


def trip_row(ts: int, **changes: Any) -> dict[str, Any]:
    """A panel high-limit trip of Bedroom over garage alone on second stage, 4 min long."""
    row = {
        "trip_id": 1,
        "kind": "high",
        "opened_by": "panel",
        "start_ts": ts,
        "drop_ts": ts + 10_000_000,
        "end_ts": ts + 4 * MINUTE,
        "peak_f": 151.0,
        "peak_ts": ts + 20_000_000,
        "limit_f": 150.0,
        "is_certain": True,
        "in_visit": False,
        "day": local_date(ts),
        "stage": 2,
        "source": "burner",
        "n_zones": 1,
        "zones": "3",
        "run_before_s": 700.0,
        "stage2_before_s": 100.0,
        "static_max_inwc": 0.80,
        "return_f": 69.0,
        "outdoor_f": 20.0,
        "recovery_s": 230.0,
    }
    return row | changes


@pytest.fixture(scope="session")
def build() -> Build:
    return build_site


@pytest.fixture(scope="session")
def at() -> Callable[[int, str], int]:
    return instant


@pytest.fixture(scope="session")
def trip() -> Callable[..., dict[str, Any]]:
    return trip_row


@pytest.fixture(scope="session")
def rule() -> Callable[[str], Rule]:
    by_code = {r.code: r for r in rules()}
    return by_code.__getitem__


@pytest.fixture(scope="session")
def judge(rule: Callable[[str], Rule]) -> Callable[..., tuple[Judged, Finding | None]]:
    """Judge one finding of a site: its result, and the finding if it was found."""

    def one(code: str, site: SiteFrames) -> tuple[Judged, Finding | None]:
        findings, judged = judge_rules(site, [rule(code)])
        assert len(judged) == 1
        assert [f.code for f in findings] == ([code] if judged[0].result == "found" else [])
        return judged[0], findings[0] if findings else None

    return one
