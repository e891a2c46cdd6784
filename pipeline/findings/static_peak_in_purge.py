"""Static peak in purge: dampers shut on a running blower after the heat, or at its start.

What it says
    After how many runs (or at how many starts) the blower pushed against closed dampers, for how
    long, and how high static went against the run's own highest.

Why it matters
    The exchanger is still hot and its air has nowhere to go: noise, the furnace's own limit after
    the run, and a blower that is held back at every call's end.

What looks like it but is not
    The last zone's damper held open through the purge: that is how it should be. A step of blower
    speed between heat and purge. A peak inside the run, which is a question of relief.

Source
    Common practice, no source.
"""

from __future__ import annotations

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _occurrences
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._occurrences import Occurrences
from pipeline.findings._site import SiteFrames, flags


def _released(e: Occurrences) -> Weighed:
    n = e.count("is_after")
    said = f"{words.of_all(n, e.n, 'peak')} came after heat or cooling had gone off"
    if not n:
        return Weighed(Weight.RULED_OUT, f"{words.of_all(0, e.n, 'peak')} came after a run")
    closed = [s for s in e.values("purge_closed_s") if s > 0]
    if closed:
        said += f"; every damper was shut for {words.durations(closed)} with the blower on"
    return Weighed(Weight.STRONG if closed else Weight.FITS, said)


def _idle_closed(e: Occurrences) -> Weighed:
    n = e.count("is_at_start")
    said = f"static was highest in the first minute of {words.of_all(n, e.n, 'such run')}"
    return Weighed(
        Weight.FITS if n else Weight.RULED_OUT,
        said if n else f"{words.of_all(0, e.n, 'peak')} came at a start",
    )


def _slow_dampers(e: Occurrences) -> Weighed:
    if not e.count("is_at_start"):
        return Weighed(Weight.RULED_OUT, f"{words.of_all(0, e.n, 'peak')} came at a start")
    return Weighed(Weight.OPEN, "how fast the dampers really open is not in the log")


FINDING = Declaration(
    title="Static peak in purge",
    question="Does the blower push against closed dampers after a run, or at its start?",
    needs_tables=("measure.purge", "measure.condition_time"),
    needs_roles=(("zone_damper", "static_pressure"), ("output_w1", "output_y1", "output_aux")),
    compares=("static_pressure",),
    figure="fan",
    thresholds=(
        "purge_closed_least_s",
        "purge_peak_inwc",
        "purge_peak_share",
        "purge_hot_f",
        "start_closed_s",
        "judged_min_h",
        "trips_plan_per_week",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the last zone's damper is let go at the end of the call while the blower runs on",
            "Raised most when the dampers' outputs are off in the purge; ruled out when no peak "
            "came after a run.",
            _released,
            not_it="a damper let go in the purge",
        ),
        Cause(
            "all dampers are driven shut while nothing calls, so every run begins against them",
            "Raised when static is highest in a run's first minute.",
            _idle_closed,
            not_it="dampers shut while idle",
        ),
        Cause(
            "heat starts before the dampers are open: no end switch, no opening delay",
            "Open when peaks come at starts: how fast dampers travel is not logged.",
            _slow_dampers,
            not_it="heat that starts before the dampers are open",
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the purge and last-damper settings against the furnace's fan-off delay",
            "the last zone's damper held open at least as long as the blower runs on",
            "write down the old value and lengthen the panel's purge; do not shorten the blower's "
            "off-delay to quieten it",
        ),
        Check(
            "dampers",
            "end a call and watch the last damper until the blower stops; then start one",
            "open until the blower stops, and open within its travel time at the start",
            "setting, end switch, opening delay or actuator wire",
        ),
        Check(
            "ducts",
            "two-tube manometer in the supply trunk through the end of a call",
            "static falls as the heat goes off",
            "it peaks: nothing is open while the blower runs; go back to the purge setting",
        ),
    ),
    cautions=(
        _cautions.RELIEF,
        _cautions.OWN_LIMIT,
        _cautions.SETTINGS,
        _cautions.CARBON_MONOXIDE,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Static above target: there it is over the target in the run itself.",
        "No purge after heat: there the blower stops at once.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when so many runs end (or begin) with every damper shut, or a peak of static."""
    every = _occurrences.load(
        site,
        _marked(site),
        site.seconds_in(["heating", "cooling"]),
        "heating and cooling",
    )
    if every.n < site.threshold("trips_plan_per_week") or not every.can_judge:
        return CannotTell(words.only(every.seconds, every.what))
    e = every.where(flags(every.rows["is_after"]) | flags(every.rows["is_at_start"]))
    n_after = every.count("is_after")
    if max(n_after, every.count("is_at_start")) < site.threshold("purge_peak_share") * every.n:
        return NotFound(f"{words.of_all(e.n, every.n, 'run')} ended or began against shut dampers")
    after = n_after >= site.threshold("purge_peak_share") * every.n
    e = e.where(e.rows["is_after"] if after else e.rows["is_at_start"])
    hot = flags(e.rows["is_hot_plenum"])
    peaks = e.values("purge_max_inwc" if after else "start_max_inwc")
    return _occurrences.found(
        e,
        severity="plan" if after and bool(hot.any()) else "watch",
        certainty="shown" if "zone_damper" in site.logged_roles else "likely",
        headline=(
            f"the blower pushed against shut dampers {'after' if after else 'at the start of'} "
            f"{words.of_all(e.n, every.n, 'run')}"
        ),
        details=(
            f"static went up to {site.statics(peaks)}, in the runs themselves "
            f"{site.statics(e.values('run_max_inwc'))}"
            if peaks and e.values("run_max_inwc")
            else "",
            f"after {words.of_all(int(hot.sum()), e.n, 'such run')} the plenum was still hot"
            if after
            else "",
        ),
        label="against shut dampers",
        say=lambda r: (
            f"every damper shut for {words.duration(float(r.purge_closed_s or 0))} with the "
            f"blower on, static up to {_occurrences.or_dash(r.purge_max_inwc, site.static)}"
        ),
        worth=lambda r: float(r.purge_max_inwc or 0.0),
        columns=(
            (
                "Dampers shut, blower on",
                lambda r: _occurrences.or_dash(r.purge_closed_s, words.duration),
            ),
            ("Highest after", lambda r: _occurrences.or_dash(r.purge_max_inwc, site.static)),
            ("Highest in the run", lambda r: _occurrences.or_dash(r.run_max_inwc, site.static)),
        ),
        settings=("static_target_inwc",),
    )


def _marked(site: SiteFrames) -> pd.DataFrame:
    """Runs with what counts: after them or at their start, as episodes of the purge."""
    rows = site.table("measure.purge")
    over, closed_s = site.threshold("purge_peak_inwc"), site.threshold("purge_closed_least_s")
    high = rows[["run_max_inwc", "purge_max_inwc", "start_max_inwc"]].astype(float)
    most = high["run_max_inwc"]
    return rows.assign(
        start_ts=rows["end_ts"],
        end_ts=rows["purge_until_ts"],
        is_after=(rows["purge_closed_s"].astype(float) >= closed_s)
        | (high["purge_max_inwc"] >= most + over),
        is_at_start=(rows["start_closed_s"].astype(float) >= closed_s)
        | (high["start_max_inwc"] >= most + over),
    )
