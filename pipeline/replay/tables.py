"""The tables of a replay, one per group of settings that act together, and its cautions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from pipeline import words
from pipeline.findings import SiteFrames, _cautions, _clocks
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
    for names, figure, make in _GROUPS:
        if set(names) & set(asked):
            more, checked, said = make(site, asked)
            behind = _behind(site, figure)
            tables += [replace(t, notes=(*t.notes, *behind)) for t in more]
            checks += checked
            notes += said
    return tables, checks, [*_clocks_said(site), *notes]


def _behind(site: SiteFrames, figure: str) -> list[str]:
    """How much of the log a table rests on, as a sentence; none where that is not known."""
    covered = site.coverage(figure)
    if covered is None:
        return []
    fine = f", to {words.duration(covered.resolution_s)}" if covered.resolution_s else ""
    return [f"Behind it: logged {words.share(covered.coverage)} of the time{fine}."]


def _clocks_said(site: SiteFrames) -> list[str]:
    """A sentence per clock that is off and was not put right in this replay."""
    return [
        f"The clock of {c.logger} runs {words.duration(abs(c.left_s or 0.0))} "
        f"{'ahead of' if (c.left_s or 0.0) > 0 else 'behind'} {c.reference} and was not put "
        "right: what it read is laid beside the wrong runs and calls. Replay again with --align."
        for c in _clocks.off_clocks(site)
    ]


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


_GROUPS: tuple[tuple[tuple[str, ...], str, Callable[[SiteFrames, Asked], Made]], ...] = (
    (STAGING, "staging", second_stage),
    (("static_target_inwc",), "static", static_target),
    (POINTS, "outdoor", balance_points),
    (("compressor_min_off_min",), "outputs", minimum_off),
    (("high_limit_f",), "trips", limit("high")),
    (("low_limit_f",), "trips", limit("low")),
)
"""Settings that one function replays together, and what of measure.coverage it rests on."""
