"""Aux too readily: strip heat comes on in weather that the heat pump should carry alone.

What it says
    How often strip heat came on above the high balance point, how soon after the compressor, and
    for how long.

Why it matters
    Strip heat costs two to four times what the heat pump costs for the same heat.

What looks like it but is not
    Strip heat that tempers a defrost. Emergency heat. A heat pump that has failed. Below the high
    point it is backup: after its delay, or after a setpoint step, that is in order.

Source
    Common practice, no source; the high point as the site file gives it.
"""

from __future__ import annotations

from statistics import median

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _episodes
from pipeline.findings._base import (
    NOT_HERE,
    CannotTell,
    Cause,
    Check,
    Declaration,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._episodes import Episodes
from pipeline.findings._site import SiteFrames, flags
from pipeline.units import MICROSECONDS


def _no_lockout(e: Episodes) -> Weighed:
    high_f = e.site.setting("high_balance_f")
    known = e.numbers("outdoor_f")
    said = f"strip heat came on up to {e.site.temperature(max(known))} outdoors"
    if high_f is not None:
        said += f", the high balance point is {e.site.temperature(high_f)}"
    return Weighed(Weight.STRONG, said)


def _soon(e: Episodes) -> Weighed:
    waits = e.numbers("since_y_s")
    if not waits:
        return Weighed(Weight.OPEN, "the compressor's start before it was not seen")
    soon_s = e.site.threshold("aux_soon_s")
    n = sum(w <= soon_s for w in waits)
    said = (
        f"{words.of_all(n, len(waits), 'start')} came within {words.duration(soon_s)} of the "
        f"compressor, typically {words.duration(median(waits))} after it"
    )
    share = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if n >= share * len(waits) else Weight.AGAINST, said)


def _weak_pump(e: Episodes) -> Weighed:
    waits = e.numbers("since_y_s")
    late = sum(w > e.site.threshold("aux_late_s") for w in waits)
    said = (
        "the compressor had run for more than "
        f"{words.duration(e.site.threshold('aux_late_s'))} before "
        f"{words.of_all(late, e.n, 'start')}"
    )
    share = e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.FITS if late >= share * e.n else Weight.AGAINST, said)


FINDING = Declaration(
    title="Strip heat in mild weather",
    question="Does strip heat stay off while the heat pump can carry the house?",
    needs_tables=("measure.balance", "interval.source_run", "measure.condition_time"),
    needs_roles=(("output_aux", "output_w1"), ("output_y1",), ("outdoor_temp",)),
    figure="outdoor",
    thresholds=(
        "balance_margin_f",
        "outdoor_sensor_tolerance_f",
        "aux_brief_s",
        "aux_min_starts",
        "aux_soon_s",
        "aux_late_s",
        "aux_delay_spread_s",
        "aux_delay_min_share",
        "defrost_max_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "nothing locks it out above the high point: lockout off, set too high, or its outdoor "
            "sensor reads cold",
            "Raised whenever it comes on above the point.",
            _no_lockout,
            replays="high_balance_f",
        ),
        Cause(
            "the backup delay is too short, or a thermostat asks for it at once",
            "Raised when most come within five minutes of the compressor.",
            _soon,
        ),
        Cause(
            "a heat pump that gives too little heat",
            "Raised when the compressor had run long before most of them.",
            _weak_pump,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "read the aux settings of every thermostat: lockout temperature, differential, delay, "
            "second-stage response",
            "as designed for this heat pump",
            "write down the old values and set them by the instructions",
        ),
        Check(
            "panel",
            "read the high balance point, the backup delay and the outdoor reading beside a "
            "reference thermometer",
            "as on the site sheet, reading within 2 degrees F",
            "sensor first, then the setting",
        ),
        Check(
            "outdoor unit",
            "in steady heat with strip heat off: rise against the data sheet at this weather",
            "as the data sheet gives it",
            "airflow first, then a certified technician for the refrigerant side",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.ELECTRICITY, _cautions.REFRIGERANT),
    confused_with=(
        "Defrost: strip heat for minutes while supply air dips.",
        "Emergency heat left on: there the compressor does not run.",
    ),
    symptom_of=("heating-with-cooling", "too-much-defrost"),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three strip-heat starts above the high point that no defrost explains."""
    if not site.equipment.get("has_heat_pump") or site.equipment.get("has_burner"):
        return CannotTell(f"{NOT_HERE}a heat pump with strip heat")
    if site.setting("high_balance_f") is None:
        return CannotTell("the site file gives no high balance point to hold strip heat against")
    table = site.table("measure.balance")
    starts = table[(table["source"] == "strip") & ~flags(table["in_visit"])]
    known = starts[starts["outdoor_f"].notna()]
    above = known[known["result"] == "above the high point"]
    above = above.assign(since_y_s=_since_compressor(site, above))
    e = _episodes.episodes(
        site,
        above[~_may_temper(site, above)],
        state_s=site.seconds_in(["heating"]),
        state="heat",
    )
    if e.n < site.threshold("aux_min_starts"):
        if not len(known):
            return CannotTell("strip heat never came on outside visits")
        return NotFound(
            f"{words.of_all(e.n, len(known), 'strip-heat start')} came above the high balance point"
        )
    return _episodes.found(
        e,
        severity="plan" if e.is_persistent() else "watch",
        headline=(
            f"strip heat came on above the high balance point {e.often}, {e.how_long}{e.outdoor()}"
        ),
        aside="strip heat comes on in mild weather",
        label="strip heat",
        say=lambda r: (
            f"strip heat for {words.duration(r.on_s)} at {site.temperature(r.outdoor_f)} outdoors"
        ),
        detail=[f"that is {words.of_all(e.n, len(known), 'strip-heat start')}"],
        columns=(
            *_episodes.span_columns(site, "Strip heat on"),
            ("After the compressor", lambda r: _episodes.dash(r.since_y_s, words.duration)),
            *_episodes.outdoor_column(site),
        ),
    )


def _may_temper(site: SiteFrames, rows: pd.DataFrame) -> pd.Series:
    """Starts that may temper a defrost which the log does not show.

    A defrost's clock adds compressor heat up over runs, so it comes at any age of a run; a backup
    delay always comes at the same.
    """
    if site.equipment.get("defrost_heat_from") == "none":
        return pd.Series(False, index=rows.index)
    short = rows["on_s"] <= site.threshold("defrost_max_s")
    brief = rows["on_s"] <= site.threshold("aux_brief_s")
    waits = rows["since_y_s"].astype(float)
    spread_s = site.threshold("aux_delay_spread_s")
    near = {w: waits.between(w, w + spread_s) for w in waits.dropna()}
    together = max(near.values(), key=lambda some: int(some.sum()), default=None)
    least = site.threshold("aux_delay_min_share") * len(rows)
    if together is None or together.sum() < max(least, site.threshold("aux_min_starts")):
        return short
    return brief | (short & ~together)


def _since_compressor(site: SiteFrames, rows: pd.DataFrame) -> pd.Series:
    """How long the compressor had run at each start; null if it was off."""
    runs = site.table("interval.source_run")
    runs = runs[runs["source"] == "compressor"]
    found: list[float | None] = []
    for ts in rows["start_ts"]:
        inside = runs[(runs["start_ts"] <= ts) & (runs["end_ts"] > ts)]
        found.append(float(ts - inside["start_ts"].iloc[0]) / MICROSECONDS if len(inside) else None)
    return pd.Series(found, index=rows.index, dtype=float)
