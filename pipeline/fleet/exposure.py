"""On how many days a site's findings were seen, of those on which they could have been."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

import pandas as pd

from pipeline.fleet.history import CANNOT_TELL, FOUND, Done, Looked
from pipeline.fleet.known import STATES, state_of
from pipeline.fleet.rank import Seen

H = 3_600.0
WEIGHTS = {
    "act": "fleet_weight_act",
    "plan": "fleet_weight_plan",
    "watch": "fleet_weight_watch",
}


def seen_days(
    site_id: str,
    code: str,
    looked: Sequence[Looked],
    state_days: Mapping[str, frozenset[dt.date]],
    done: Sequence[Done],
    numbers: Mapping[str, float],
) -> Seen | None:
    """The finding in days; None where no unit could have shown it.

    looked : the units' answers, in order of time
    state_days : by state, the days with enough time in it

    Days before the last service are left out where enough days have been looked at since; days
    long before the end of the log always are.
    """
    decisive = [u for u in looked if u.result != CANNOT_TELL]
    if not decisive:
        return None
    weight: dict[dt.date, float] = {}
    could: set[dt.date] = set()
    in_state = state_days[state_of(code)]
    for unit in decisive:
        days = {d for d in in_state if unit.first_day <= d <= unit.last_day}
        could |= days
        if unit.result == FOUND:
            seen = set(unit.event_days) or days or {unit.last_day}
            weight |= dict.fromkeys(seen, severity_weight(unit.severity, numbers))
    could |= set(weight)
    last = max(u.last_day for u in looked)
    begin = last - dt.timedelta(days=round(numbers["fleet_recent_days"]) - 1)
    could = {d for d in could if d >= begin}
    for visit in reversed(done):
        since = {d for d in could if d > visit.day}
        if len(since) >= numbers["fleet_rate_min_days"]:
            could = since
            break
    counted = [d for d in weight if d in could]
    # a finding of which no day is left to count weighs as it last did
    newest = [severity_weight(u.severity, numbers) for u in decisive if u.result == FOUND][-1:]
    weights = [weight[d] for d in counted] or newest or [0.0]
    return Seen(site_id, len(could), len(counted), sum(weights) / len(weights))


def severity_weight(severity: str, numbers: Mapping[str, float]) -> float:
    """Of one day with a finding of that severity; a note weighs nothing."""
    name = WEIGHTS.get(severity)
    return numbers[name] if name else 0.0


def days_in_states(
    days: pd.DataFrame, numbers: Mapping[str, float]
) -> dict[str, frozenset[dt.date]]:
    """By state, the local days with enough time in it.

    days : rows of unusual.site_day of one site
    """
    least_s = numbers["fleet_day_state_min_s"]
    made = {}
    for state, (_, columns) in STATES.items():
        if days.empty:
            made[state] = frozenset[dt.date]()
            continue
        enough = days.loc[days[list(columns)].sum(axis=1) >= least_s, "day"]
        made[state] = frozenset(d.date() for d in pd.to_datetime(enough))
    return made


def hours(days: pd.DataFrame, *columns: str) -> float | None:
    """Hours over all days, of columns in seconds; None where none of them is ever known."""
    if days.empty or not days[list(columns)].notna().to_numpy().any():
        return None
    return float(days[list(columns)].sum().sum()) / H
