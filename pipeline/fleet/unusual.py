"""Unusual days, lasting changes and unusual sites, as the fleet's record holds them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from pipeline.fleet.rows import SiteRows
from pipeline.fleet_result import Peers, StepChange, UnusualDay
from pipeline.site import Site
from pipeline.thresholds import values_for


def days_and_changes(
    site: Site, rows: SiteRows, units: str
) -> tuple[tuple[UnusualDay, ...], tuple[StepChange, ...], str]:
    """The site's unusual days, its lasting changes, and why neither can be told ('': they can)."""
    from pipeline.unusual import days as own_past

    if rows.days.empty:
        return (), (), ""
    visits = pd.DataFrame(
        [(v.start_ts, v.end_ts, v.what, False) for v in site.visits],
        columns=["start_ts", "end_ts", "what", "is_assumed"],
    )
    judged = own_past.judge(rows.days, values_for(site.thresholds), units=units, visits=visits)
    days = tuple(
        UnusualDay(d.day, d.score or 0.0, tuple(p.sentence for p in d.departures) or (d.why,))
        for d in judged.days.unusual
    )
    changes = tuple(
        StepChange(s.day, s.feature, s.name, s.unit, s.before, s.after, s.sentence)
        for change in judged.changes.changes
        for s in change.steps
    )
    return days, changes, judged.days.why if judged.days.n_more else ""


def peers(
    sites: Sequence[Site],
    rows: Mapping[str, SiteRows],
    numbers: Mapping[str, float],
    units: str,
) -> dict[str, Peers]:
    """Every site against its like, by site id; sites without a day are left out."""
    from pipeline.unusual import peers as like_with_like

    known = [s for s in sites if not rows[s.id].days.empty]
    if not known:
        return {}
    days = pd.concat([rows[s.id].days for s in known], ignore_index=True)
    kinds = pd.DataFrame(
        {
            "site_id": [s.id for s in known],
            "kind": [s.equipment.kind for s in known],
            "heating_stages": [s.equipment.heating_stages for s in known],
            "cooling_stages": [s.equipment.cooling_stages for s in known],
            "n_zones": [len(s.zones) for s in known],
        }
    )
    judged = like_with_like.judge_sites(days, kinds, dict(numbers), units=units)
    return {
        s.site_id: Peers(
            site_ids=s.peers,
            alike=s.alike,
            is_compared=s.score is not None,
            why_not="" if s.score is not None else s.why,
            is_unusual=s.result == "unusual",
            distance=s.score,
            differs=tuple(d.sentence for d in s.departures),
        )
        for s in judged.sites
    }
