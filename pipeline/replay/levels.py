"""Levels that readings are held to: another static target, an earlier limit."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings import SiteFrames
from pipeline.findings._site import flags, records
from pipeline.replay.record import Column, Line, ReplayTable, Reproduced
from pipeline.replay.values import Asked, Made, heads, said
from pipeline.units import MICROSECONDS

MAX_LINES = 12
MIN_SHOWN_S = 60.0
"""Combinations that have a line of their own: so many at most, each with a minute somewhere."""


def static_target(site: SiteFrames, asked: Asked) -> Made:
    """Time above each asked target, in all and by what ran and who called."""
    if "static_pressure" not in site.logged_roles:
        return [], [], ["Static was not logged, so no target can be replayed."]
    rows = site.table("replay.above")
    values = asked["static_target_inwc"]
    now = site.setting("static_target_inwc")
    order = [0, *range(1, len(values) + 1)]
    names = {n: said(site, "static_target_inwc", v) for n, v in enumerate((now, *values))}
    shown = [n for n in order if (n or now is not None) and not (n and names[n] == names[0])]
    total = rows.groupby("n")[["fan_s", "above_s"]].sum()

    def of(n: int) -> tuple[float, float]:
        if n not in total.index:
            return 0.0, 0.0
        above, fan = (float(v) for v in total.loc[n, ["above_s", "fan_s"]].to_numpy())
        return above, fan

    lines = []
    for n in shown:
        above, fan = of(n)
        share = 100 * above / fan if fan else None
        lines.append(Line((names[n],), (above / 3600, share), is_present=n == 0))
    tables = [
        ReplayTable(
            key="static",
            title="Time above the static target",
            heads=heads(("static_target_inwc",)),
            columns=(Column("time above it", "h"), Column("of fan time", "%")),
            lines=tuple(lines),
            sentence=words.sentences(
                *(
                    f"above {line.labels[0]}{' as set' if line.is_present else ''} for "
                    f"{words.hours((line.values[0] or 0) * 3600)}, "
                    f"{words.share((line.values[1] or 0) / 100)} of fan time"
                    for line in lines
                )
            ),
            notes=(
                "Relief would have opened at another static: time above a lower target is an upper "
                "bound where relief dampers are free, above a higher one a lower bound.",
            ),
            drawn=0,
        ),
        _by_calling(site, rows, shown, names),
    ]
    checks = []
    if now is not None:
        logged = _logged_above(site)
        replayed = of(0)[0]
        agrees = abs(logged - replayed) <= max(1.0, 0.002 * logged)
        checks.append(
            Reproduced(
                "time above the target", logged / 3600, replayed / 3600, "h", agrees,
                "the same time either way" if agrees else
                "the fan's state is told an interval late: time just before its starts is counted "
                "by the measure, not by the replay",
            )
        )  # fmt: skip
    return tables, checks, []


def _logged_above(site: SiteFrames) -> float:
    rows = site.table("measure.static_by_calling")
    return float(rows["above_target_s"].fillna(0).sum())


def _by_calling(
    site: SiteFrames, rows: pd.DataFrame, shown: list[int], names: dict[int, str]
) -> ReplayTable:
    """Hours above each target by what ran and who called, the worst first."""
    wide = rows.pivot_table(
        index=["class", "stage", "zones"], columns="n", values="above_s", aggfunc="sum"
    ).fillna(0.0)
    wide = wide.reindex(columns=shown, fill_value=0.0)
    wide = wide.loc[wide.max(axis=1).sort_values(ascending=False, kind="stable").index]
    n_shown = min(MAX_LINES, int((wide.max(axis=1) >= MIN_SHOWN_S).sum()))
    lines = [
        Line(
            (_state(str(kind), int(stage)), site.calling(str(zones))),
            tuple(float(v) / 3600 for v in values),
        )
        for (kind, stage, zones), values in zip(
            wide.index[:n_shown], wide.head(n_shown).itertuples(index=False), strict=True
        )
    ]
    rest = wide.iloc[n_shown:]
    if len(rest):
        lines.append(Line(("all others", ""), tuple(float(v) / 3600 for v in rest.sum())))
    worst = ""
    if n_shown:
        top = lines[0]
        worst = (
            f"most of it in {top.labels[0]} with {top.labels[1]} calling: "
            f"{words.hours(max(v or 0 for v in top.values) * 3600)} at most"
        )
    return ReplayTable(
        key="static-calling",
        title="Time above each target by what ran and who called",
        heads=("Running", "Calling"),
        columns=tuple(Column(f"above {names[n]}", "h") for n in shown),
        lines=tuple(lines),
        sentence=words.sentence(worst or "static stood above none of them"),
    )


def _state(kind: str, stage: int) -> str:
    if kind in ("heating", "cooling") and stage:
        return f"{kind}, {words.stage(stage)}"
    return kind.replace("_", " ")


def limit(kind: str) -> Callable[[SiteFrames, Asked], Made]:
    """Runs that would have reached each asked limit; kind: high or low."""
    name = f"{kind}_limit_f"

    def make(site: SiteFrames, asked: Asked) -> Made:
        if "supply_temp" not in site.logged_roles:
            return [], [], [f"Supply air was not logged, so no {kind} limit can be replayed."]
        rows = site.table("replay.limit_reached")
        rows = rows[rows["kind"] == kind]
        what = "heat" if kind == "high" else "cooling"
        by_n = {n: rows[rows["n"] == n] for n in sorted({int(n) for n in rows["n"]})}
        lines = []
        for n, value in enumerate((site.setting(name), *asked[name])):
            own = by_n.get(n)
            if own is None or (n and value == site.setting(name)):
                continue
            hit = own[own["reach_ts"].notna()]
            alone = hit["zones"].fillna("").map(lambda z: bool(z) and "+" not in z)
            lines.append(
                Line(
                    (said(site, name, value),),
                    (float(len(hit)), 100 * len(hit) / max(1, len(own)), float(alone.sum())),
                    is_present=n == 0,
                )
            )
        if not lines:
            return [], [], [f"No {what} outside visits, so no {kind} limit can be replayed."]
        n_runs = max(len(own) for own in by_n.values())
        table = ReplayTable(
            key=f"{kind}-limit",
            title=f"Runs of {what} that would have reached the {kind} limit",
            heads=heads((name,)),
            columns=(
                Column("runs that reach it", "runs"),
                Column("of all runs", "%"),
                Column("of them one zone calling alone", "runs"),
            ),
            lines=tuple(lines),
            sentence=words.sentences(
                *(
                    f"supply air reached {line.labels[0]}"
                    f"{' as set' if line.is_present else ''} in "
                    f"{words.of_all(int(line.values[0] or 0), n_runs)} runs of {what}"
                    for line in lines
                )
            ),
            notes=(
                "A run counts once: what supply air would have done after the first trip is not "
                "known.",
                "The panel's own sensor may read apart from the logger's.",
            ),
            drawn=0,
        )
        return [table], _limit_check(site, kind, by_n.get(0)), []

    return make


def _limit_check(site: SiteFrames, kind: str, own: pd.DataFrame | None) -> list[Reproduced]:
    """Runs that reached the limit as set, against runs that a trip ended."""
    if own is None:
        return []
    table = site.table("measure.trip_context")
    trips = table[(table["kind"] == kind) & ~flags(table["in_visit"])]
    drops = [int(t) for t in trips["drop_ts"]]
    reached = own[own["reach_ts"].notna()]
    ended = sum(_ends_one(r, drops) for r in records(own))
    hit = len(reached)
    apart = (1 - site.threshold("replay_agrees_share")) * max(hit, ended)
    agrees = abs(hit - ended) <= max(1, round(apart))
    what = "heat" if kind == "high" else "cooling"
    return [
        Reproduced(
            f"runs of {what} that reached the {kind} limit", float(ended), float(hit), "runs",
            agrees,
            "as many as the limit ended" if agrees else
            "the panel's sensor and the logger's do not reach the limit in the same runs, or it "
            "does not act at its setting",
        )
    ]  # fmt: skip


def _ends_one(r: Any, drops: Iterable[int]) -> bool:
    """Whether a trip dropped this run, or dropped another source while it was on."""
    return any(r.start_ts < t <= r.end_ts + 2 * MICROSECONDS for t in drops)
