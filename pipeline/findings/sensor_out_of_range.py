"""Sensor out of range: readings outside what the channel can read at all.

What it says
    Which channel, how many readings, what they said.

Why it matters
    They are a broken circuit or the wrong column, not weather or comfort.

What looks like it but is not
    A wrong unit, told by its own finding. Error numbers that are taken for no reading on loading.

Source
    Ranges of roles: common practice, no source.
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
from pipeline.findings._channels import TABLES, Trouble, judged, said
from pipeline.findings._site import SiteFrames

CODE = "sensor-out-of-range"
ROLES = ("supply_temp", "return_temp", "static_pressure", "zone_temp", "outdoor_temp")


def _one_value(found: Trouble) -> Weighed:
    values = {round(s.figure, 1) for s in found.of(found.first)}
    if len(values) == 1:
        return Weighed(Weight.FITS, f"always {said(found.site, found.first)}")
    return Weighed(Weight.OPEN, f"out-of-range readings of {len(values)} different values")


def _most(found: Trouble) -> Weighed:
    s = found.first
    if s.n >= s.of_n / 2:
        return Weighed(
            Weight.FITS, f"{words.of_all(s.n, s.of_n, 'reading')} of that channel are out of range"
        )
    return Weighed(
        Weight.AGAINST,
        f"only {words.of_all(s.n, s.of_n, 'reading')} of that channel are out of range",
    )


FINDING = Declaration(
    title="Readings no sensor there can give",
    question="Does a channel read what no sensor in its place can read?",
    about="log",
    needs_tables=TABLES,
    thresholds=(
        "outlier_min_events",
        "beyond_unit_frac",
    ),
    causes=(
        Cause(
            "an open or shorted sensor circuit",
            "Fits when the readings are one and the same number.",
            _one_value,
        ),
        Cause(
            "the column is not the one site.toml says",
            "Fits when most readings are out of range.",
            _most,
        ),
    ),
    check_next=(
        Check(
            "log",
            "{channels}: look at {columns} in the export and at the probe's plug",
            "the numbers fit that place",
            "correct the column in site.toml, or replace the lead",
        ),
    ),
    confused_with=("°C logged where site.toml says °F.",),
    source="Ranges of roles: common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="note",
        least="outlier_min_events",
        holds="every reading lies within what its sensor can read",
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    channel = max(found.channels, key=lambda one: one.n)
    headline = (
        f"{channel.label} gave {words.count(channel.n, 'reading')} that no sensor there can give, "
        f"such as {said(found.site, channel)}"
    )
    return headline, f"first {found.site.clock(channel.start_ts)}"
