"""What short cycling is judged on: short runs and rests, and fitted rates that are in excess."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings._site import SiteFrames, number, records

RATE_NAMES = {
    "burner": "cycles_per_hour_gas",
    "compressor": "cycles_per_hour_compressor",
    "strip": "cycles_per_hour_electric",
}


@dataclass(frozen=True)
class Rate:
    """A fitted cycle rate that is in excess: of what, how high, and what it is held against."""

    what: str
    mode: str
    fitted_per_h: float
    allowed_per_h: float
    is_set: bool


@dataclass(frozen=True)
class Cycling:
    """What was short, of the sources in which it is found; visits and limits left out.

    sources : rows of measure.cycle in which short cycling is found by number
    rows : their short runs and rests, in order of time
    rates : zone calls whose fitted rate is in excess
    equipment : sources that start more often than the calls do
    """

    site: SiteFrames
    sources: list[Any]
    rows: pd.DataFrame
    rates: list[Rate]
    equipment: list[Rate]

    @property
    def n_run(self) -> int:
        """Short runs."""
        return int((self.rows["what"] == "run").sum())

    @property
    def n_rest(self) -> int:
        """Short rests."""
        return int((self.rows["what"] == "rest").sum())

    @property
    def n_start(self) -> int:
        """Starts of the sources in which it is found."""
        return sum(int(r.n_start) for r in self.sources)


def of_cycle(short: pd.DataFrame, cycle: Any) -> pd.DataFrame:
    """The rows of measure.short_cycle that belong to a row of measure.cycle."""
    return short[(short["source"] == cycle.source) & (short["mode"] == cycle.mode)]


def zone_rates(site: SiteFrames) -> list[Rate]:
    """Zone calls whose fitted rate is in excess of their setting, or of the usual one."""
    fits = site.table("measure.cycle_fit")
    found = []
    for row in records(fits[fits["what"].str.startswith("zone")]):
        fitted = number(row.nmax_per_h)
        if fitted is None:
            continue
        set_per_h = number(row.set_per_h)
        if set_per_h is not None:
            allowed = set_per_h * site.threshold("cycle_rate_excess_ratio")
        else:
            allowed = site.threshold(RATE_NAMES[_source_of(site, row.mode)])
        if fitted > allowed:
            held = set_per_h if set_per_h is not None else allowed
            found.append(Rate(row.what, row.mode, fitted, held, set_per_h is not None))
    return found


def equipment_rates(site: SiteFrames) -> list[Rate]:
    """Sources that start more often at half load than all calls taken together."""
    fits = site.table("measure.cycle_fit")
    found = []
    for row in records(fits[fits["what"].isin(list(RATE_NAMES))]):
        fitted, calls = number(row.nmax_per_h), fitted_rate(fits, "any call", row.mode)
        if fitted is None or calls is None:
            continue
        limit = max(
            calls * site.threshold("cycle_rate_excess_ratio"),
            site.threshold(RATE_NAMES[row.what]),
        )
        if fitted > limit:
            found.append(Rate(row.what, row.mode, fitted, calls, True))
    return found


def fitted_rate(fits: pd.DataFrame, what: str, mode: str) -> float | None:
    """The fitted rate at half load [1/h] of measure.cycle_fit; None if there is none."""
    rows = fits[(fits["what"] == what) & (fits["mode"] == mode)]
    return None if rows.empty else number(rows["nmax_per_h"].iloc[0])


def rate_words(site: SiteFrames, r: Rate) -> str:
    """A rate in excess, as a technician says it."""
    if r.what.startswith("zone"):
        who = site.zones(r.what.removeprefix("zone ").strip())
        against = (
            f"set to {r.allowed_per_h:g}" if r.is_set else f"{r.allowed_per_h:g} is usual at most"
        )
        return f"{who} cycles about {r.fitted_per_h:.1f} an hour at half load, {against}"
    return (
        f"{words.source(r.what)} cycles about {r.fitted_per_h:.1f} an hour at half load, the "
        f"calls of all zones together {r.allowed_per_h:.1f}"
    )


def what_ran(r: Any) -> str:
    """'the furnace', 'the compressor in cooling'."""
    mode = f" in {r.mode}" if r.source == "compressor" and r.mode != "unknown" else ""
    return f"{words.source(r.source)}{mode}"


def _source_of(site: SiteFrames, mode: str) -> str:
    if mode == "cooling":
        return "compressor"
    equipment = site.equipment
    if equipment.get("has_burner"):
        return "burner"
    return "compressor" if equipment.get("has_heat_pump") else "strip"


def is_too_doubtful(site: SiteFrames, cycle: Any) -> bool:
    """Whether runs were inferred, starts off by as much as would be called short cycling."""
    if not getattr(cycle, "is_inferred", None):
        return False
    error = cycle.starts_error_frac
    return error is None or float(error) > site.threshold("short_cycling_min_share") / 2


def why_doubtful(cycles: Sequence[Any]) -> str:
    """Why short runs cannot be told from runs that were inferred, as a clause."""
    errors = [float(r.starts_error_frac) for r in cycles if r.starts_error_frac is not None]
    about = f", starts about ±{words.share(max(errors))}" if errors else ""
    return (
        f"runs are only inferred from supply and return temperature{about}: short runs are fewer "
        "than that; log the outputs"
    )
