"""One site's tables as the trust stages make them, for cases of channels written by hand."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.measures.channel_problem import READS
from pipeline.measures.trouble import Channel, SiteChannels
from pipeline.tables import tables
from pipeline.thresholds import values_for

MINUTE = 60_000_000
HOUR = 60 * MINUTE
START = 1_768_176_000_000_000  # Monday 2026-01-12 00:00 UTC


def made(
    channels: list[tuple[str, int | None, str]],
    hours: float = 168.0,
    site: dict[str, Any] | None = None,
    settings: dict[str, float] | None = None,
    covers_gas_heat: bool = True,
    **rows: list[dict[str, Any]],
) -> SiteChannels:
    """A site of these channels (role, zone, unit), numbered from 1, with rows by table name.

    trust_look=[...] fills trust.look, and so on; what is left out is empty.
    """
    given = {name.replace("_", ".", 1): some for name, some in rows.items()}
    if settings:
        given["run.setting"] = [
            {"name": n, "value": v, "start_ts": START} for n, v in settings.items()
        ]
    given["run_state.fan_output"] = [{"covers_gas_heat": covers_gas_heat}]
    frames = {}
    for name in READS:
        columns = [c.name for c in tables()[name].with_site]
        frame = pd.DataFrame(given.get(name, []))
        frames[name] = frame.reindex(columns=list(dict.fromkeys([*columns, *frame.columns])))
    return SiteChannels(
        frames,
        values_for({}),
        site or {},
        START,
        START + round(hours * HOUR),
        "UTC",
        tuple(
            Channel(n, role, zone, "logger", 60.0, unit)
            for n, (role, zone, unit) in enumerate(channels, start=1)
        ),
    )


def codes(problems: Any) -> set[str]:
    """What was found."""
    return {p.code for p in problems}


def look(channel_id: int = 1, **more: Any) -> dict[str, Any]:
    """How a channel's readings look as a whole: fine, unless told otherwise."""
    fine = {"n_reading": 1000, "n_lost": 0, "step_value": 0.1, "low_value": 70.0}
    fine |= {"median_value": 71.0, "high_value": 72.0, "first_ts": START, "last_ts": START + HOUR}
    return {"channel_id": channel_id} | fine | more


def runs(n: int, **columns: Any) -> list[dict[str, Any]]:
    """So many runs of 20 minutes, one an hour, after 40 minutes of rest; columns may be lists."""
    out = []
    for k in range(n):
        row = {"start_ts": START + k * HOUR, "end_ts": START + k * HOUR + 20 * MINUTE}
        row |= {"rest_s": 2400.0, "has_w": True, "has_y": False}
        out.append(row | {c: v[k] if isinstance(v, list) else v for c, v in columns.items()})
    return out


def on_off(channel_id: int, stretches: list[tuple[float, bool]]) -> list[dict[str, Any]]:
    """A state from the window's start on: (hours, on) one after another."""
    out, at = [], START
    for hours, is_on in stretches:
        end = at + round(hours * HOUR)
        out.append({"channel_id": channel_id, "start_ts": at, "end_ts": end, "is_on": is_on})
        at = end
    return out
