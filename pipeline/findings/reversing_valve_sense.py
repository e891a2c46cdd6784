"""Reversing-valve sense: O/B says cooling while the air is warm and heat is wanted, or the reverse.

What it says
    In how many compressor runs O/B, as told, contradicts the air and what was called for.

Why it matters
    Heat is booked as cooling: stages, fuel, defrost and rise are then told for the wrong mode.

What looks like it but is not
    A valve that does not move: then the air contradicts the calls too, and it is not told here.

Source
    Ours.
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
from pipeline.findings._site import SiteFrames

CODE = "reversing-valve-sense"
ROLES = ("output_ob",)


def _most(found: Trouble) -> Weighed:
    s = found.first
    if s.n >= s.of_n / 2:
        return Weighed(Weight.FITS, f"it shows in {words.of_all(s.n, s.of_n, 'compressor run')}")
    return Weighed(
        Weight.AGAINST, f"it shows in only {words.of_all(s.n, s.of_n, 'compressor run')}"
    )


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Reversing valve set the wrong way round in site.toml",
    question="Does O/B mean in this log what site.toml says?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "probe_min_runs",
        "probe_share_min_frac",
        "probe_apart_min_f",
        "sense_mild_heating_f",
        "sense_mild_cooling_f",
    ),
    causes=(
        Cause(
            "ob_energised_in in site.toml is the wrong one",
            "Raised by the runs that show it.",
            _most,
        ),
        Cause(
            "the O/B column belongs to another terminal",
            "Open: the log shows the same either way.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "office",
            "{action}",
            "the review shows heat in heating weather",
            "read the thermostat's and the equipment's setting for O/B",
        ),
    ),
    confused_with=("Supply and return swapped.",),
    source="Ours.",
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
        holds="O/B fits supply air in compressor runs",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    s = found.first
    headline = (
        "O/B is the wrong way round in site.toml: supply air says the opposite in "
        f"{words.of_all(s.n, s.of_n, 'compressor run')}"
    )
    return headline, "the calls, or the weather, agree with supply air"


def _blind(site: SiteFrames) -> str | None:
    told = site.equipment.get("ob_energised_in")
    return too_few_runs(site) if told else "ob_energised_in is not given"
