"""Airflow falling: at like output, stage, calls and weather airflow drops from day to day.

What it says
    By how much the air is down on the log's last days against its first ones, and what supply
    static did meanwhile.

Why it matters
    A filter that fills or a blower that fails is caught weeks before a limit opens, and the visit
    can be planned.

What looks like it but is not
    Another stage, other calling zones, other weather: only like is held against like. A heat source
    that makes more heat: static stays. Ducts that close: static rises.

Source
    At constant output the rise goes as one over the airflow. How much is told: ours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings import _cautions
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    Found,
    NotFound,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._rooms import columns
from pipeline.findings._site import SiteFrames, number, records
from pipeline.findings._windows import Event, evidence, windows

LESS_AIR = ("return side", "at its cap")


@dataclass(frozen=True)
class Falling:
    """Days of measure.airflow_index with an interval, and states of measure.sign with less air.

    drop : share of air lost on the last days; static_inwc : change of static meanwhile
    """

    site: SiteFrames
    mode: str
    days: list[Any]
    states: list[Any]
    drop: float
    static_inwc: float | None


def _static(f: Falling) -> str:
    if f.static_inwc is None:
        return "supply static was not logged"
    side = "down" if f.static_inwc < 0 else "up"
    return f"supply static went {side} by {f.site.static(abs(f.static_inwc))}"


def _return_side(f: Falling) -> Weighed:
    if f.static_inwc is None:
        return Weighed(Weight.OPEN, _static(f))
    if f.static_inwc <= -f.site.threshold("sign_static_inwc"):
        return Weighed(Weight.STRONG, _static(f))
    return Weighed(Weight.FITS if any(s.reads in LESS_AIR for s in f.states) else Weight.OPEN,
                   _static(f))  # fmt: skip


def _blower(f: Falling) -> Weighed:
    return Weighed(Weight.OPEN, f"{_static(f)}; a weakening blower reads the same as a filter")


def _supply_side(f: Falling) -> Weighed:
    if f.static_inwc is None:
        return Weighed(Weight.OPEN, _static(f))
    up = f.static_inwc >= f.site.threshold("sign_static_inwc")
    down = f.static_inwc <= -f.site.threshold("sign_static_inwc")
    weight = Weight.RULED_OUT if down else Weight.FITS if up else Weight.AGAINST
    return Weighed(weight, _static(f))


FINDING = Declaration(
    title="Airflow falling",
    question="Does airflow drop from the log's first days to its last?",
    needs_tables=("measure.airflow_index", "measure.sign", "interval.steady_air"),
    needs_roles=(("supply_temp",), ("return_temp",), ("output_w1", "output_y1", "output_aux")),
    figure="rise",
    thresholds=(
        "airflow_index_low",
        "airflow_index_days",
        "airflow_index_plan",
        "airflow_sign_states",
        "sign_static_inwc",
    ),
    causes=(
        Cause(
            "the return side fills: filter, coil before the tap, return grilles",
            "Raised when supply static fell meanwhile, or a blower that holds its airflow came to "
            "its cap.",
            _return_side,
        ),
        Cause(
            "the blower weakens: capacitor, wheel, belt, motor",
            "Supply static and rise cannot tell it from a filter.",
            _blower,
        ),
        Cause(
            "the supply side closes: registers, dampers, ducts",
            "Raised when supply static rose meanwhile. Ruled out when it fell.",
            _supply_side,
            not_it="the supply side",
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "filter, then static on both sides of filter and coil",
            "no more than their data say",
            "change the filter, have the coil cleaned, then log on to see the air come back",
        ),
        Check(
            "unit",
            "motor current, capacitor, wheel",
            "as on the plate",
            "weak capacitor or dirty wheel: have it put right; a failing one shows first in warm "
            "weather",
        ),
    ),
    cautions=(
        _cautions.ELECTRICITY,
        _cautions.ICE,
        _cautions.LIMIT,
        _cautions.GAS,
        _cautions.REFRIGERANT,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Low charge or lost heat: the split or rise gets smaller, not larger.",
        "Another blower speed set at a visit: a step, not a slope.",
    ),
    source="q = 1.08 x CFM x rise; bounds: ours.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by the index of the last days, or by states whose rise rose as static says less air."""
    table = site.table("measure.airflow_index")
    states = records(site.table("measure.sign"))
    told = [_mode(site, table, states, mode) for mode in ("heating", "cooling")]
    known = [f for f in told if f is not None]
    if not known:
        return CannotTell("too few steady stretches on the first and last days to compare")
    found = [f for f in known if _is_found(f)]
    if not found:
        said = [
            f"{words.share(1 - f.drop)} of what it was on the first days {_when(f)}" for f in known
        ]
        return NotFound(f"airflow on the last days was {words.joined(said)}")
    f = max(found, key=lambda x: x.drop)
    last = [r for r in f.days if not r.is_reference]
    events = _events(site, f)
    head = (
        f"airflow is down about {words.share(f.drop)} {_when(f)} from the log's first days to its "
        "last, same stage, calls and weather"
    )
    return Found(
        severity="plan" if f.drop >= site.threshold("airflow_index_plan") else "watch",
        certainty="likely",
        summary=words.sentences(head, _static(f)),
        headline=head,
        aside="airflow drops from day to day",
        facts=f,
        evidence=evidence(events),
        windows=windows(site, events),
        table=columns(
            last,
            ("Day", (words.day(r.day, with_year=site.with_year) for r in last)),
            ("Airflow against the first days", (words.share(float(r.airflow_index)) for r in last)),
            ("Like stretches", (str(int(r.n_stretch)) for r in last)),
        ),
    )


def _when(f: Falling) -> str:
    return "in heat" if f.mode == "heating" else "in cooling"


def _mode(site: SiteFrames, table: Any, states: list[Any], mode: str) -> Falling | None:
    days = [
        r
        for r in records(table[table["mode"] == mode].sort_values("day"))
        if number(r.index_high) is not None
    ]
    mine = [s for s in states if s.mode == mode and s.reads in LESS_AIR]
    n = int(site.threshold("airflow_index_days"))
    last = [r for r in days if not r.is_reference][-n:]
    if len(last) < n and not mine:
        return None
    drop = 1 - max((float(r.airflow_index) for r in last), default=1.0)
    if mine and len(mine) >= site.threshold("airflow_sign_states"):
        shares = [1 - float(s.rise_first_f) / float(s.rise_last_f) for s in mine]
        drop = max(drop, sum(shares) / len(shares))
    static = [float(r.static_change_inwc) for r in last if number(r.static_change_inwc) is not None]
    if mine:
        static = [float(s.static_last_inwc) - float(s.static_first_inwc) for s in mine]
    change = sum(static) / len(static) if static else None
    return Falling(site, mode, days, mine, max(0.0, drop), change)


def _is_found(f: Falling) -> bool:
    site, n = f.site, int(f.site.threshold("airflow_index_days"))
    if len(f.states) >= site.threshold("airflow_sign_states"):
        return True
    last = [r for r in f.days if not r.is_reference][-n:]
    low = site.threshold("airflow_index_low")
    return len(last) == n and all(float(r.index_high) <= low for r in last)


def _events(site: SiteFrames, f: Falling) -> list[Event]:
    rows = site.table("interval.steady_air")
    keep = (rows["mode"] == f.mode) & rows["is_last"].astype("boolean").fillna(False)
    return [
        Event(
            start_ts=int(r.steady_ts),
            end_ts=max(int(r.end_ts), int(r.steady_ts) + 1),
            worth=float(r.rise_f),
            say=(
                f"{site.clock(int(r.steady_ts))}, {site.calling(r.zones)}, steady at "
                f"{site.temperature_difference(float(r.rise_f))}"
            ),
            label="steady",
        )
        for r in records(rows[keep].sort_values("steady_ts"))
        if number(r.rise_f) is not None
    ]
