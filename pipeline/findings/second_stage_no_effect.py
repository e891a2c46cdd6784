"""Second stage makes no difference: W2 comes on and the furnace goes on as before.

What it says
    At how many second-stage starts supply air rose no further over the minutes that followed, calls
    and dampers unchanged, and what static did meanwhile.

Why it matters
    The house pays for two stages and has one. If the blower goes to its higher speed all the
    same, supply air even gets cooler.

What looks like it but is not
    A second stage that never comes on: there W2 is off. A damper that opens at the same moment.
    A furnace that times its second stage by itself: it has it already. A compressor's second stage
    changes the split too little to be told so: it is not judged.

Source
    Common practice, no source: second stage brings 10 to 30 °F at the same air.
"""

from __future__ import annotations

from statistics import median

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _occurrences, _staging
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
from pipeline.findings._site import SiteFrames


def _air(e: Occurrences) -> str:
    steps = e.values("static_step_inwc")
    if not steps:
        return "static was not logged"
    return f"static rose by {e.site.statics(steps)}"


def _gas_valve(e: Occurrences) -> Weighed:
    steps = e.values("static_step_inwc")
    most = e.site.threshold("equipment_stage_step_inwc")
    if steps and median(steps) >= most:
        return Weighed(
            Weight.STRONG, f"{_air(e)}: the board hears W2, and the burner stays as it was"
        )
    return Weighed(Weight.OPEN, _air(e))


def _wire(e: Occurrences) -> Weighed:
    steps = e.values("static_step_inwc")
    most = e.site.threshold("equipment_stage_step_inwc")
    if steps and median(steps) >= most:
        return Weighed(Weight.RULED_OUT, f"{_air(e)}: the blower does answer W2")
    return Weighed(Weight.STRONG if steps else Weight.OPEN, _air(e))


def _already(e: Occurrences) -> Weighed:
    n = e.more["n_by_itself"]
    if not n:
        return Weighed(Weight.AGAINST, "no step repeats with W2 off")
    return Weighed(Weight.STRONG, f"a step with W2 off repeats in {words.count(n, 'run')}")


FINDING = Declaration(
    title="Second stage makes no difference",
    question="Does supply air get warmer when second stage comes on?",
    needs_tables=(
        "measure.stage_step",
        "measure.equipment_stage",
        "measure.condition_time",
        "interval.cut_out",
    ),
    needs_roles=(("output_w2",), ("supply_temp",), ("zone_call_w1", "zone_call_y1")),
    compares=("supply_temp", "static_pressure"),
    figure="staging",
    thresholds=(
        "stage_step_min_events",
        "stage_step_share",
        "stage_step_none_f",
        "stage_step_looked_s",
        "equipment_stage_step_inwc",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the gas valve's second stage does not open: valve, its wire, board output",
            "Raised most when the blower goes to its higher speed and the air gets no warmer.",
            _gas_valve,
        ),
        Cause(
            "W2 does not reach the furnace: wire, terminal, board set to one stage",
            "Raised when neither air nor heat answers. Ruled out when the blower does.",
            _wire,
            not_it="the W2 wire",
        ),
        Cause(
            "the furnace is on second stage already, by its own timer",
            "Raised when a step with W2 off repeats in the same log.",
            _already,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "call every zone, wait for W2 out; 24 V at the furnace's W2",
            "there within the delay",
            "the panel's output or the W2 wire",
        ),
        Check(
            "unit",
            "a qualified technician: board's stage setting, 24 V at the gas valve's second stage, "
            "rise on each stage against the plate",
            "rise goes up with second stage, inside the plate on both",
            "valve or board by the equipment's instructions",
        ),
    ),
    cautions=(
        _cautions.GAS,
        _cautions.CARBON_MONOXIDE,
        _cautions.ELECTRICITY,
        _cautions.SETTINGS,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Second stage never came on: there W2 is off.",
        "Furnace stages itself: the step comes with W2 off.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when so many second-stage starts of the burner bring no warmer air."""
    cannot = _staging.not_applicable(site)
    if cannot is not None:
        return cannot
    rows = site.table("measure.stage_step")
    rows = rows[(rows["source"] == "burner") & rows["supply_step_f"].notna()]
    stopped = _stopped(site, rows)
    n_stopped, rows = int(stopped.sum()), rows[~stopped]
    by_itself = site.table("measure.equipment_stage")
    second_s = site.seconds_in(["heating"], stage=2, sources=["burner", "both"])
    every = _occurrences.load(
        site,
        rows,
        second_s,
        "second-stage heat",
        n_by_itself=int(by_itself["is_repeatable"].astype("boolean").fillna(False).sum()),
    )
    if every.n < site.threshold("stage_step_min_events"):
        return CannotTell(
            f"{words.count(every.n, 'second-stage start')} with calls and dampers left alone for "
            "minutes, too few to judge"
            + (
                f"; in {n_stopped} more the furnace stopped by itself meanwhile"
                if n_stopped
                else ""
            )
        )
    least = site.threshold("stage_step_none_f")
    e = every.where(every.rows["supply_step_f"].astype(float) < least)
    steps = [float(v) for v in every.rows["supply_step_f"]]
    if every.n - e.n > site.threshold("stage_step_share") * every.n:
        return NotFound(
            f"supply air typically rose another {site.temperature_difference(median(steps))}, "
            f"over {words.count(every.n, 'second-stage start')}"
        )
    return _occurrences.found(
        e,
        severity="plan",
        certainty="shown" if e.values("static_step_inwc") else "likely",
        headline=(
            f"second stage makes no difference: supply air got no warmer at "
            f"{words.of_all(e.n, every.n, 'second-stage start')}"
        ),
        details=(
            f"within {words.duration(site.threshold('stage_step_looked_s'))} it typically went "
            f"{_moved(site, median(steps))}; {_air(e)}",
        ),
        label="second stage on",
        say=lambda r: (
            f"{site.calling(r.zones)}, W2 on with supply air at "
            f"{site.temperature(float(r.supply_before_f))}, "
            f"{_moved(site, float(r.supply_step_f))} after"
        ),
        worth=lambda r: -float(r.supply_step_f),
        columns=(
            ("Calling", lambda r: site.zones(r.zones)),
            ("Supply air before", lambda r: site.temperature(float(r.supply_before_f))),
            ("After", lambda r: _moved(site, float(r.supply_step_f))),
            ("Static by", lambda r: _occurrences.or_dash(r.static_step_inwc, site.static)),
        ),
    )


def _stopped(site: SiteFrames, rows: pd.DataFrame) -> pd.Series:
    """Where the burner went out by itself in the minutes looked at: supply air could not rise."""
    at = site.table("interval.cut_out")["start_ts"].to_numpy()
    inside = [bool(((at >= r.start_ts) & (at < r.end_ts)).any()) for r in rows.itertuples()]
    return pd.Series(inside, index=rows.index, dtype=bool)


def _moved(site: SiteFrames, step_f: float) -> str:
    """'up by 2 °F' or 'down by 3 °F'."""
    way = "up" if step_f >= 0 else "down"
    return f"{way} by {site.temperature_difference(abs(step_f))}"
