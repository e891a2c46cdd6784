"""Output without call: heat or cooling stays on with no zone calling for it.

What it says
    How often an output ran on after the last call had gone, beyond every honest reason, and for how
    long.

Why it matters
    A compressor that runs with its dampers closing ices the coil; a burner overheats. Rooms are
    driven past their setpoints.

What looks like it but is not
    A compressor's minimum run, the end of an ignition sequence, purge, defrost heat, a
    dehumidifying call, a visit. A call that is not logged.

Source
    Common practice, no source.
"""

from __future__ import annotations

from statistics import median

from pipeline import words
from pipeline.findings import _cautions, _episodes
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
from pipeline.findings._episodes import Episodes
from pipeline.findings._site import SiteFrames, flags, number


def _of(n: int, e: Episodes) -> str:
    return words.of_all(n, e.n, "such stretch", "such stretches")


def _holds_on(e: Episodes) -> Weighed:
    lengths = e.lengths_s
    said = f"it went off by itself {words.durations(lengths)} after the call"
    after = sum(bool(r.follows_call) for r in e.rows)
    said += f"; {_of(after, e)} followed a call that had ended"
    if after < e.site.threshold("cause_share_min_frac") * e.n:
        return Weighed(Weight.OPEN, said)
    return Weighed(Weight.STRONG, said)


def _other_call(e: Episodes) -> Weighed:
    alone = sum(not r.follows_call for r in e.rows)
    said = f"{_of(alone, e)} began with no call before"
    if alone == 0:
        return Weighed(Weight.RULED_OUT, f"each followed a call: {said}")
    return Weighed(Weight.FITS, said)


def _timer(e: Episodes) -> Weighed:
    middle = median(e.lengths_s)
    near = sum(abs(s - middle) <= e.site.threshold("uncalled_alike_s") for s in e.lengths_s)
    said = f"{_of(near, e)} lasted about {words.duration(middle)}"
    alike = e.n > 1 and near >= e.site.threshold("cause_share_min_frac") * e.n
    return Weighed(Weight.FITS if alike else Weight.AGAINST, said)


FINDING = Declaration(
    title="Output on with no call",
    question="Does heat or cooling stay on with no zone calling for it?",
    needs_tables=(
        "interval.output_uncalled",
        "interval.condition",
        "interval.weather",
        "measure.condition_time",
    ),
    needs_roles=(
        ("output_w1", "output_y1", "output_aux"),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="conditions",
    thresholds=(
        "uncalled_min_s",
        "uncalled_alike_s",
        "least_run_compressor_s",
        "least_run_burner_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "a contactor or relay that sticks: it lets go late",
            "Raised when nearly all follow a call that had ended.",
            _holds_on,
        ),
        Cause(
            "something holds it on for a set time: a minimum run, an off-delay, a second control",
            "Raised when they last about equally long, else lowered.",
            _timer,
        ),
        Cause(
            "it is fed by something else: a jumper, a thermostat past the panel, dehumidifying",
            "Ruled out when each followed a call.",
            _other_call,
            not_it="an output fed past the panel",
        ),
    ),
    check_next=(
        Check(
            "panel",
            "end all calls and watch the {output} lamp and its terminal with a meter",
            "lamp and terminal off within the minimum run",
            "lamp off and terminal on: a relay that sticks or a wire that feeds it from "
            "elsewhere. Both on: the settings, next step",
        ),
        Check(
            "panel",
            "read minimum run, off-delay and dehumidify settings, photograph them",
            "as on the site sheet",
            "write down the old values, set them by the instructions",
        ),
        Check(
            "unit",
            "power off, isolate and verify: contactor and relay points, wires rubbed bare",
            "points open freely",
            "replace what sticks",
        ),
    ),
    cautions=(
        _cautions.ELECTRICITY,
        _cautions.ICE,
        _cautions.GAS,
        _cautions.SETTINGS,
    ),
    confused_with=(
        "Purge: the fan alone, for minutes.",
        "A call that is not logged: then one zone's temperature moves as if it called.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from three stretches, or one that is long; plan where they persist."""
    run_s = site.seconds_in(["heating", "cooling"])
    table = site.table("interval.output_uncalled")
    rows = table[table["what"].isin(["heating", "cooling"]) & flags(table["is_uncalled"])]
    rows = rows.assign(follows_call=rows["on_ts"].isin(_called_until(site)))
    rows = _episodes.with_outdoor(site, rows)
    e = _episodes.episodes(site, rows, state_s=run_s, state="heat and cooling")
    if run_s < site.threshold("judged_min_h") * 3600:
        return CannotTell(words.only(run_s, "heat and cooling"))
    if not e.n:
        return NotFound(
            f"never without a normal reason for it, in {words.hours(run_s)} of heat and cooling"
        )
    modes = {r.what for r in e.rows}
    what = "heat" if modes == {"heating"} else "cooling" if modes == {"cooling"} else "an output"
    terminal = {"heat": "heat output", "cooling": "Y out"}.get(what, "output")
    return _episodes.found(
        e,
        severity="plan" if e.is_persistent() else "watch",
        headline=f"{what} stayed on with no zone calling {e.often}, {e.how_long}{e.outdoor()}",
        aside=f"{what} stays on with no zone calling",
        label="no call",
        say=lambda r: (
            f"{'heat' if r.what == 'heating' else 'cooling'} on with no zone calling "
            f"for {words.duration(number(r.length_s) or 0.0)}"
        ),
        columns=(
            *_episodes.span_columns(site),
            ("What", lambda r: "heat" if r.what == "heating" else "cooling"),
            *_episodes.outdoor_column(site),
        ),
        fill={"output": terminal},
    )


def _called_until(site: SiteFrames) -> set[int]:
    """Instants up to which heat or cooling ran with a zone calling for it."""
    rows = site.table("interval.condition")
    ran = rows["class"].isin(["heating", "cooling"]) & (rows["n_zones"].fillna(0) > 0)
    return {int(ts) for ts in rows.loc[ran, "end_ts"]}
