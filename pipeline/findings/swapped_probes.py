"""Swapped probes: the column told as return leaves the rooms' temperature, supply stays near it.

What it says
    In how many runs the probe told as return stood further from the rooms than supply did; where no
    run was logged, by how much more it swings.

Why it matters
    Rise and split change their sign, and limits are looked for in return air.

What looks like it but is not
    An attic around the plenum: judged only at the ends of runs. A bypass: return follows supply
    then, but less far. The reversing valve: supply is the one that moves, in either mode.

Source
    Ours: supply air departs from the rooms, return air comes from them.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings._base import (
    Cause,
    Check,
    Declaration,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._channels import TABLES, Trouble, judged, too_few_runs
from pipeline.findings._site import SiteFrames, records

CODE = "swapped-probes"
ROLES = ("supply_temp", "return_temp")


def _most(found: Trouble) -> Weighed:
    s = found.first
    if s.of_n == 0:
        return Weighed(Weight.FITS, "no run was logged; return swings, supply stays with the rooms")
    if s.n >= s.of_n / 2:
        return Weighed(Weight.FITS, f"it shows in {words.of_all(s.n, s.of_n, 'run')}")
    return Weighed(Weight.AGAINST, f"it shows in only {words.of_all(s.n, s.of_n, 'run')}")


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Supply and return swapped",
    question="Do the supply and return columns stand under their own names?",
    about="log",
    needs_tables=(*TABLES, "trust.look"),
    thresholds=(
        "probe_min_runs",
        "probe_share_min_frac",
        "probe_apart_min_f",
        "probe_swing_min_f",
        "probe_swing_min_times",
    ),
    causes=(
        Cause(
            "the columns, or the probes, are swapped",
            "Raised by the runs that show it, or by how both swing where none was logged.",
            _most,
        ),
        Cause(
            "the probe named return hangs in the supply duct",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "office",
            "{action}",
            "supply rises in heat and falls in cooling",
            "go by the probes: warm one in the hand and see which column moves",
        ),
    ),
    confused_with=("A reversing valve set the wrong way round in site.toml.",),
    source="Ours: supply air departs from the rooms, return air comes from them.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        blind=_blind,
        holds="in runs the supply probe is the one that moves away from room temperature",
    )


def _blind(site: SiteFrames) -> str | None:
    """Why the probes cannot be judged: too few runs, and without any no swing that tells either."""
    reason = too_few_runs(site)
    if reason is None or not site.table("trust.run").empty:
        return reason
    looks = {r.role: r for r in records(site.table("trust.look"))}
    if not set(ROLES) <= set(looks):
        return reason
    supply_f, return_f = (looks[r].high_value - looks[r].low_value for r in ROLES)
    least = site.threshold("probe_swing_min_times")
    swings = supply_f >= site.threshold("probe_swing_min_f") and supply_f >= least * return_f
    return None if swings else reason


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = found.first
    if s.of_n == 0:
        headline = (
            "supply and return are swapped: the probe named return swings as supply air does and "
            "the one named supply stays near the rooms"
        )
        return headline, f"it swings by {found.value(s)} more; no run was logged"
    headline = (
        f"supply and return are swapped: in {words.of_all(s.n, s.of_n, 'run')} the probe named "
        "return is the one in supply air"
    )
    return headline, f"it was {found.value(s)} further from room temperature than the other one"
