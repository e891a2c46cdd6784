"""The tables of a replay, one per group of settings that act together, and its cautions."""

from __future__ import annotations

from collections.abc import Callable

from pipeline.findings import SiteFrames, _cautions
from pipeline.replay.levels import limit, static_target
from pipeline.replay.record import ReplayTable, Reproduced
from pipeline.replay.second_stage import SETTINGS as STAGING
from pipeline.replay.second_stage import second_stage
from pipeline.replay.sources import POINTS, balance_points, minimum_off
from pipeline.replay.values import Asked, Made


def every(site: SiteFrames, asked: Asked) -> Made:
    """All tables that the asked settings call for, the checks, and what else is not known."""
    tables: list[ReplayTable] = []
    checks: list[Reproduced] = []
    notes: list[str] = []
    for names, make in _GROUPS:
        if set(names) & set(asked):
            more, checked, said = make(site, asked)
            tables += more
            checks += checked
            notes += said
    return tables, checks, notes


def cautions(asked: Asked) -> tuple[str, ...]:
    """What not to do with such figures, by what was asked."""
    some = [_cautions.SETTINGS]
    if "high_limit_f" in asked:
        some += [_cautions.LIMIT, _cautions.CARBON_MONOXIDE]
    if "low_limit_f" in asked:
        some.append(_cautions.LOW_LIMIT)
    if {"stage_up_delay_min", "stage2_min_zones"} & set(asked):
        some.append(_cautions.LIMIT)
    if "static_target_inwc" in asked:
        some.append(_cautions.RELIEF)
    return tuple(dict.fromkeys((*some, _cautions.SYMPTOMS, _cautions.CLEAN_LOG)))


_GROUPS: tuple[tuple[tuple[str, ...], Callable[[SiteFrames, Asked], Made]], ...] = (
    (STAGING, second_stage),
    (("static_target_inwc",), static_target),
    (POINTS, balance_points),
    (("compressor_min_off_min",), minimum_off),
    (("high_limit_f",), limit("high")),
    (("low_limit_f",), limit("low")),
)
