"""What the tables of a replay share: the values tried, and how a setting's value is said."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from typing import Any

from pipeline.findings import SiteFrames
from pipeline.replay.record import Line, ReplayTable, Reproduced
from pipeline.replay.settings import BY_NAME, value_words

Asked = dict[str, tuple[float, ...]]
Made = tuple[list[ReplayTable], list[Reproduced], list[str]]
"""Tables, checks against the log, and what else is not known."""
NOT_GIVEN = "not given"


def said(site: SiteFrames, name: str, value: float | None) -> str:
    """A setting's value as it is shown: '10 min', '0.45 in. w.c.', '2 zones'."""
    return NOT_GIVEN if value is None else value_words(name, value, site.units)


def choices(site: SiteFrames, asked: Asked, names: tuple[str, ...]) -> list[tuple[Any, ...]]:
    """Combinations of the asked values; a setting not asked for stays as it is."""
    given = [asked.get(n) or (site.setting(n),) for n in names]
    now = tuple(site.setting(n) for n in names)
    return [c for c in product(*given) if c != now]


def lines_of(
    site: SiteFrames,
    asked: Asked,
    names: tuple[str, ...],
    figures: Callable[..., tuple[float | None, ...]],
) -> tuple[Line, ...]:
    """The row as set, then one for each combination of what is asked."""
    now = tuple(site.setting(n) for n in names)
    lines = []
    for values in (now, *choices(site, asked, names)):
        labels = tuple(said(site, n, v) for n, v in zip(names, values, strict=True))
        lines.append(Line(labels, figures(*values), is_present=values == now))
    return tuple(lines)


def heads(names: tuple[str, ...]) -> tuple[str, ...]:
    """Titles of the columns that say what was set."""
    return tuple(BY_NAME[n].title.capitalize() for n in names)
