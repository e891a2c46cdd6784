"""A site against its peers: sites with the same kind of equipment, stages, nearly as many zones,
in weather like its own.

Each figure is regressed on the weather over the days of all sites of one kind; a site's own is the
median of what remains of its days, and it is held against the same of its peers: how many robust
deviations (Qn, Rousseeuw and Croux 1993) it lies from their median. Eight peers carry no
covariance of thirty figures, so figures are judged one by one, and the level for a flag pays for
how many are asked and for how few the peers are (Student's t).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline import words
from pipeline.unusual import features, weather
from pipeline.unusual.days import MOST_DEPARTURES, NINE_IN_TEN
from pipeline.unusual.features import Feature
from pipeline.unusual.record import (
    CANNOT_TELL,
    UNUSUAL,
    USUAL,
    Departure,
    SiteJudged,
    SitesJudged,
)
from pipeline.unusual.say import figure, span
from pipeline.unusual.weather import Bools, Floats

KIND_WORDS = {
    "furnace_ac": "furnace with cooling",
    "heat_pump": "heat pump",
    "dual_fuel": "dual fuel",
    "furnace": "furnace",
    "ac": "air conditioner",
}
KIND_COLUMNS = ("kind", "heating_stages", "cooling_stages")
QN_NORMAL = 2.21914446598508
"""Makes Qn the standard deviation of a normal sample (Croux and Rousseeuw 1992)."""
QN_EFFICIENCY = 0.6
"""Share of its degrees of freedom that Qn's scale is worth in samples of eight to twenty."""


@dataclass(frozen=True)
class Group:
    """All sites of one kind: effects is sites x figures (figure's unit, or its root), NaN unknown.

    outdoor_f : each site's mean outdoor air; base : per figure, what the group usually has
    """

    site_ids: tuple[str, ...]
    n_zones: Floats
    outdoor_f: Floats
    figures: tuple[Feature, ...]
    effects: Floats
    base: Floats


def judge_sites(
    site_days: pd.DataFrame,
    sites: pd.DataFrame,
    thresholds: dict[str, float],
    *,
    units: str = "us",
) -> SitesJudged:
    """Every site against its peers.

    site_days : rows of unusual.site_day of all sites
    sites : one row per site: site_id, kind, heating_stages, cooling_stages, n_zones
    thresholds : values in force, by name; the fleet's, not one site's
    """
    share = thresholds["unusual_site_share"]
    made: dict[str, SiteJudged] = {}
    days_of = {str(site_id): rows for site_id, rows in site_days.groupby("site_id")}
    told = sites.assign(**{c: sites[c].fillna(0) for c in KIND_COLUMNS[1:]})
    for kind, rows in told.groupby(list(KIND_COLUMNS), sort=True):
        group = _group(rows.sort_values("site_id"), days_of, thresholds)
        for i in range(len(group.site_ids)):
            judged = _judged(group, i, _kind_words(kind), thresholds, units)
            made[judged.site_id] = judged
    return SitesJudged(share, tuple(made[s] for s in sorted(made)))


def _group(
    rows: pd.DataFrame, days_of: dict[str, pd.DataFrame], thresholds: dict[str, float]
) -> Group:
    coverage = thresholds["coverage_warn_frac"]
    ids = tuple(str(s) for s in rows["site_id"])
    least_days = round(thresholds["unusual_site_min_days"])
    value, outdoors, owner = [], [], []
    for n, site_id in enumerate(ids):
        own = days_of.get(site_id)
        if own is None:
            continue
        value.append(features.values(own, coverage))
        outdoors.append(features.weather(own, coverage))
        owner += [n] * len(own)
    n_zones = rows["n_zones"].to_numpy(float)
    figures = features.FEATURES
    effects = np.full((len(ids), len(figures)), np.nan)
    base = np.full(len(figures), np.nan)
    outdoor_f = np.full(len(ids), np.nan)
    if not value:
        return Group(ids, n_zones, outdoor_f, figures, effects, base)
    every, air, of = pd.concat(value), pd.concat(outdoors), np.array(owner)
    mean_f = air["mean_f"].to_numpy()
    for n in range(len(ids)):
        own_f = mean_f[of == n]
        if np.isfinite(own_f).sum() >= least_days:
            outdoor_f[n] = np.nanmean(own_f)
    if len(ids) <= thresholds["unusual_site_min_peers"]:
        return Group(ids, n_zones, outdoor_f, figures, effects, base)
    regressors = weather.terms(
        {name: air[name].to_numpy(float) for name in air.columns},
        pd.DatetimeIndex(every.index).day_of_week.to_numpy().astype(np.int64),
    )
    for j, feature in enumerate(figures):
        r = weather.removed(
            feature, every[feature.column].to_numpy(), mean_f, regressors, 4 * least_days
        )
        if r is None:
            continue
        base[j] = float(np.median(r.expected[r.applies])) if r.applies.any() else np.nan
        for n in range(len(ids)):
            own = (of == n) & r.applies
            if own.sum() >= least_days:
                effects[n, j] = float(np.median(r.residual[own]))
    return Group(ids, n_zones, outdoor_f, figures, effects, base)


def _judged(
    group: Group, i: int, kind: str, thresholds: dict[str, float], units: str
) -> SiteJudged:
    least = round(thresholds["unusual_site_min_peers"])
    zones_apart = thresholds["unusual_site_zones_apart"]
    outdoor_apart_f = thresholds["unusual_site_outdoor_apart_f"]
    is_alike = (
        (np.abs(group.n_zones - group.n_zones[i]) <= zones_apart)
        & (np.abs(group.outdoor_f - group.outdoor_f[i]) <= outdoor_apart_f)
        & (np.arange(len(group.site_ids)) != i)
    )
    order = np.argsort(np.abs(group.outdoor_f - group.outdoor_f[i]), kind="stable")
    peers = tuple(group.site_ids[n] for n in order if is_alike[n])
    alike = f"{kind}, {words.count(int(group.n_zones[i]), 'zone')} give or take " + (
        f"{zones_apart:g}, outdoor air within "
        f"{words.temperature_difference(outdoor_apart_f, units)}"
    )
    site_id = group.site_ids[i]
    if not np.isfinite(group.outdoor_f[i]):
        why = f"fewer than {round(thresholds['unusual_site_min_days'])} days with outdoor air"
        return SiteJudged(site_id, CANNOT_TELL, words.sentence(why), None, (), alike)
    if len(peers) < least:
        why = f"cannot compare: {words.count(len(peers), 'site')} like it, {least} needed"
        return SiteJudged(site_id, CANNOT_TELL, words.sentence(why), None, peers, alike)
    found = _departures(group, i, is_alike, least, thresholds["unusual_site_share"], units)
    if not found:
        return SiteJudged(
            site_id, CANNOT_TELL, "No figure that enough sites like it have.", None, peers, alike
        )
    score = max(s for s, _ in found)
    off = [d for s, d in sorted(found, key=lambda f: -f[0]) if s >= 1 and d is not None]
    if not off:
        return SiteJudged(site_id, USUAL, "", min(score, 0.999), peers, alike)
    why = words.sentence("; ".join(d.sentence for d in off[:MOST_DEPARTURES]))
    return SiteJudged(site_id, UNUSUAL, why, score, peers, alike, tuple(off[:MOST_DEPARTURES]))


def _departures(
    group: Group, i: int, is_alike: Bools, least: int, share: float, units: str
) -> list[tuple[float, Departure | None]]:
    """(score, what to say) of each figure that the site and enough peers have."""
    from scipy.special import stdtrit

    asked = [
        j
        for j in range(len(group.figures))
        if np.isfinite(group.effects[i, j])
        and np.isfinite(group.effects[is_alike, j]).sum() >= least
    ]
    made: list[tuple[float, Departure | None]] = []
    for j in asked:
        own = group.effects[i, j]
        others = group.effects[is_alike, j]
        others = others[np.isfinite(others)]
        feature, m = group.figures[j], len(others)
        middle = float(np.median(others))
        root = float(np.sqrt(group.base[j])) if feature.is_amount else 0.0
        floor = feature.least / 3 / (max(2 * root, 1.0) if feature.is_amount else 1.0)
        # a median of m strays by 1.25 / sqrt(m)
        scale = max(qn(others), floor) * np.sqrt(1 + 1.57 / m)
        limit = -float(stdtrit(max(2.0, QN_EFFICIENCY * (m - 1)), share / (2 * len(asked))))
        size = (own - middle) / scale
        made.append(
            (abs(size) / limit, _departure(group, j, own, middle, scale, float(size), m, units))
        )
    return made


def _departure(
    group: Group, j: int, own: float, middle: float, scale: float, size: float, m: int, units: str
) -> Departure | None:
    feature, base = group.figures[j], float(group.base[j])
    root = np.sqrt(base) if feature.is_amount else base

    def told(effect: float) -> float:
        at = root + effect
        return float(max(at, 0.0) ** 2) if feature.is_amount else float(at)

    value, expected = told(own), told(middle)
    low, high = told(middle - NINE_IN_TEN * scale), told(middle + NINE_IN_TEN * scale)
    if abs(value - expected) < feature.least:
        return None
    sentence = (
        f"{feature.name} {figure(feature, value, units)} a day at like weather; {m} sites like it "
        f"{span(feature, low, high, units)}"
    )
    if not feature.is_amount:
        sentence = sentence.replace(" a day at like weather", " at like weather")
    return Departure(
        feature.column, feature.name, value, expected, low, high, feature.unit, size, sentence
    )


def qn(sample: Floats) -> float:
    """A robust standard deviation: a low quantile of the differences of all pairs.

    Factors for small samples: Croux and Rousseeuw 1992, from memory.
    """
    n = len(sample)
    if n < 2:
        return 0.0
    i, j = np.triu_indices(n, 1)
    apart = np.sort(np.abs(sample[i] - sample[j]))
    h = n // 2 + 1
    small = n / (n + (1.4 if n % 2 else 3.8))
    return float(QN_NORMAL * small * apart[h * (h - 1) // 2 - 1])


def _kind_words(kind: Any) -> str:
    name, heating, cooling = kind
    stages = [
        words.count(int(n), f"{what} stage")
        for n, what in ((heating, "heating"), (cooling, "cooling"))
        if n
    ]
    return ", ".join([KIND_WORDS.get(str(name), str(name)), *stages])
