"""Power dropout: the panel and its thermostats were without 24 V for a while.

What it says
    When every call and every output went off at one instant, fan and all, and how long it took
    until something came back.

Why it matters
    A transformer at its limit, a short or a bad breaker drops out again, on the coldest day; every
    dropout restarts the compressor's wait and loses what thermostats remember.

What looks like it but is not
    The last call of a run ending: there the fan runs on in purge. A gap in the log: there nothing
    is known. A coarse log, in which two ends fall between the same readings.

Source
    Common practice, no source.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

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
from pipeline.findings._site import SiteFrames, flags, numbers, records
from pipeline.units import MICROSECONDS

SOURCES = ("output_w1", "output_y1", "output_aux")
CALLS = ("zone_call_w1", "zone_call_y1")


def _transformer(e: Episodes) -> Weighed:
    busy = sum(r.n_calls for r in e.rows) / e.n
    return Weighed(
        Weight.FITS,
        f"{words.times(e.n)} with {words.count(round(busy), 'zone')} calling on average, when the "
        "load on the transformer is highest; with nothing calling the log would not show a dropout",
    )


def _mains(e: Episodes) -> Weighed:
    return Weighed(
        Weight.OPEN,
        f"down for {words.durations(e.lengths_s)}: ask the customer whether the lights went out",
    )


FINDING = Declaration(
    title="Power dropout",
    question="Did panel and thermostats lose their power?",
    needs_tables=("signal.state", "channel.channel", "run.visit", "interval.zone_minute"),
    needs_roles=(SOURCES, CALLS),
    figure="conditions",
    thresholds=(
        "dropout_back_s",
        "dropout_quiet_s",
        "dropout_step_s",
        "dropout_step_f",
        "dropout_purge_share",
        "dropout_purge_s",
        "dropout_min_calls",
        "dropout_sure_calls",
        "count_min_intervals",
        "dropout_interval_max_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
    ),
    causes=(
        Cause(
            "24 V: transformer at its limit, a short in a thermostat or damper wire, fuse, float "
            "switch in the R wire, door switch",
            "Fits when it happens with zones calling.",
            _transformer,
        ),
        Cause("line power: breaker, disconnect, an outage in the street", "Open.", _mains),
    ),
    check_next=(
        Check(
            "thermostat",
            "ask for outages at these times; did clocks or schedules reset?",
            "an outage in the street explains it",
            "go on at the panel",
        ),
        Check(
            "panel",
            "24 V between R and C with every damper moving and every zone calling; add up the VA",
            "24 to 28 V, loads under the transformer's rating",
            "larger transformer or a second one by the panel's instructions; find the short first",
        ),
        Check(
            "unit",
            "power off and verified: breaker, its wires, the door switch's seat, the 24 V fuse",
            "tight, the door presses its switch home",
            "repair what is loose",
        ),
    ),
    cautions=(
        _cautions.ELECTRICITY,
        _cautions.OWN_LIMIT,
        _cautions.CODES_FIRST,
        _cautions.SETTINGS,
    ),
    confused_with=(
        "Output chatter: off for seconds.",
        "A gap in the log: the logger had no power.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where all calls and outputs go off at one instant and the usual purge is missing."""
    logged = _logged_24(site)
    if logged is not None:
        return _outcome(site, logged, "24 V was logged off", "shown")
    channels = site.table("channel.channel")
    used = channels["role"].isin([*SOURCES, *CALLS, "output_g"]) & flags(channels["is_primary"])
    slowest_s = max(numbers(channels.loc[used, "interval_s"]), default=0.0)
    if slowest_s > site.threshold("dropout_interval_max_s"):
        return CannotTell(
            f"sampled every {words.duration(slowest_s)}: calls and outputs seem to end together "
            "anyway"
        )
    return _outcome(
        site,
        _dropouts(site, slowest_s),
        "panel and thermostats lost their power: every call and output went off in the same "
        "instant",
        "likely",
    )


def _outcome(site: SiteFrames, rows: list[Any], what: str, certainty: str) -> Outcome:
    if not rows:
        return NotFound(
            "calls and outputs never all went off in the same instant with no purge after"
        )
    e = Episodes(site, tuple(rows), site.window_s, "log")
    return _episodes.found(
        e,
        severity="plan" if e.is_persistent() else "watch",
        certainty=certainty,
        headline=f"{what}, {words.times(e.n)}, {words.durations(e.lengths_s)} until something "
        "came back",
        aside="panel and thermostats lost their power",
        label="no power",
        say=lambda r: (
            f"everything off for {words.duration((r.end_ts - r.start_ts) / MICROSECONDS)}"
        ),
        columns=(
            *_episodes.span_columns(site, "Off from"),
            ("Zones calling", lambda r: str(r.n_calls)),
        ),
    )


def _logged_24(site: SiteFrames) -> list[Any] | None:
    """Times without 24 V where that was logged; None where it was not."""
    if "voltage_24" not in site.logged_roles:
        return None
    state = site.table("signal.state")
    off = state[(state["role"] == "voltage_24") & ~flags(state["is_on"])]
    return [
        SimpleNamespace(start_ts=int(r.start_ts), end_ts=int(r.end_ts), n_calls=0)
        for r in records(off)
        if not site.overlaps_visit(int(r.start_ts), int(r.end_ts))
    ]


def _dropouts(site: SiteFrames, slowest_s: float) -> list[Any]:
    """Instants at which everything went off together, outside visits, with what came back when."""
    state = site.table("signal.state")
    state = state[state["role"].isin([*SOURCES, *CALLS, "output_g"])]
    on = state[flags(state["is_on"])].sort_values("start_ts")
    together = int(max(1.0, slowest_s) * MICROSECONDS)
    outputs = on[on["role"].isin(SOURCES)]
    calls = on[on["role"].isin(CALLS)]
    fan = on[on["role"] == "output_g"]
    quiet = int(site.threshold("dropout_quiet_s") * MICROSECONDS)
    purges = _purges(site, outputs, fan, together)
    starts, ends = _edges(on)
    all_ends = np.sort(ends)
    call_ends, fan_ends = _edges(calls)[1], _edges(fan)[1]
    call_zones = calls["zone"].to_numpy()
    found = []
    for ts in sorted({int(t) for t in outputs["end_ts"]}):
        after, until = np.searchsorted(all_ends, [ts + together + 1, ts + quiet + 1])
        if until > after or _any_on(starts, ends, ts + together):
            continue
        zones = set(call_zones[np.abs(call_ends - ts) <= together])
        fan_off = bool((np.abs(fan_ends - ts) <= together).any())
        sure = len(zones) >= site.threshold("dropout_sure_calls")
        no_purge = purges and fan_off and len(zones) >= site.threshold("dropout_min_calls")
        if not (sure or no_purge) or _is_known_until(state, ts, together) is False:
            continue
        if _setpoint_moved(site, ts, zones):
            continue
        later = int(np.searchsorted(starts, ts + together, side="right"))
        back = int(starts[later]) if later < len(starts) else site.window.end_ts
        if not _call_again(site, calls, zones, ts + together, back):
            continue
        if back - ts >= quiet and not site.overlaps_visit(ts - quiet, back):
            found.append(SimpleNamespace(start_ts=ts, end_ts=back, n_calls=len(zones)))
    return found


def _call_again(
    site: SiteFrames, calls: pd.DataFrame, zones: set[int], off_ts: int, back: int
) -> bool:
    """Whether half of what called calls again as the power is back; what was satisfied waits."""
    until = back + site.threshold("dropout_back_s") * MICROSECONDS
    again = calls[(calls["start_ts"] > off_ts) & (calls["start_ts"] <= until)]
    if back >= site.window.end_ts or not zones:
        return True
    return 2 * len(zones & set(again["zone"])) >= len(zones)


def _setpoint_moved(site: SiteFrames, ts: int, zones: set[int]) -> bool:
    """Whether a calling zone's setpoint stepped about then: a schedule ends calls all at once."""
    around = round(site.threshold("dropout_step_s") * MICROSECONDS)
    rows = site.table("interval.zone_minute")
    rows = rows[(rows["ts"] >= ts - around) & (rows["ts"] <= ts + around)]
    for _, own in rows[rows["zone"].isin(list(zones))].groupby("zone"):
        for column in ("heat_setpoint_f", "cool_setpoint_f"):
            if own[column].max() - own[column].min() >= site.threshold("dropout_step_f"):
                return True
    return False


def _purges(site: SiteFrames, outputs: pd.DataFrame, fan: pd.DataFrame, together: int) -> bool:
    """Whether the fan's output usually runs on after the last output: then its absence tells."""
    purge = int(site.threshold("dropout_purge_s") * MICROSECONDS)
    starts, ends = _edges(outputs)
    fan_starts, fan_ends = _edges(fan)
    n = n_on = 0
    for ts in sorted({int(t) for t in outputs["end_ts"]}):
        ran = fan_ends[fan_starts < ts]
        if _any_on(starts, ends, ts + together) or not (ran >= ts - together).any():
            continue
        n += 1
        n_on += bool((ran >= ts + purge + together).any())
    return n > 0 and n_on >= site.threshold("dropout_purge_share") * n


def _edges(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Starts and ends, in the order of the rows."""
    return rows["start_ts"].to_numpy(dtype="int64"), rows["end_ts"].to_numpy(dtype="int64")


def _any_on(starts: np.ndarray, ends: np.ndarray, ts: int) -> bool:
    """Whether any of these stretches holds the instant."""
    return bool(((starts <= ts) & (ends > ts)).any())


def _is_known_until(state: pd.DataFrame, ts: int, together: int) -> bool:
    """Whether the states are known just after the instant: a gap in the log is no dropout."""
    after = (state["start_ts"] <= ts + together) & (state["end_ts"] > ts + together)
    return bool(state.loc[after, "channel_id"].nunique() == state["channel_id"].nunique())
