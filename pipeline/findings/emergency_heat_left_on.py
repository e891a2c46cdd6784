"""Emergency heat left on: strip heat or gas carries weather that the heat pump should carry.

What it says
    On which days backup heat did all the heating, in what weather, and whether a thermostat called
    for emergency heat.

Why it matters
    Strip heat costs two to four times what the heat pump costs; a switch left on is one phone call.

What looks like it but is not
    Weather under the low balance point. A compressor that is locked out by a fault or has no power:
    the log looks the same unless the thermostats' emergency call is logged.

Source
    Common practice, no source.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

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
from pipeline.findings._site import SiteFrames, flags, number, records
from pipeline.units import MICROSECONDS


def _switch(e: Episodes) -> Weighed:
    if "zone_call_emergency" not in e.site.logged_roles:
        return Weighed(
            Weight.FITS,
            f"no compressor heat on {words.count(e.n, 'day')}; emergency calls were not logged",
        )
    n = sum(bool(r.is_called) for r in e.rows)
    said = f"a zone called for emergency heat on {words.of_all(n, e.n, 'such day')}"
    return Weighed(Weight.STRONG if n else Weight.RULED_OUT, said)


def _locked_out(e: Episodes) -> Weighed:
    called = sum(bool(r.is_called) for r in e.rows)
    if called == e.n:
        return Weighed(
            Weight.AGAINST,
            f"the thermostats asked for emergency heat on {words.of_all(e.n, e.n, 'such day')}",
        )
    y_s = e.more["compressor_s"]
    if y_s:
        return Weighed(Weight.OPEN, f"the compressor heated {words.hours(y_s)} on other days")
    return Weighed(Weight.FITS, "the compressor never heated in this log")


FINDING = Declaration(
    title="Emergency heat left on",
    question="Does backup heat carry weather that the heat pump should carry?",
    needs_tables=("measure.heat_day", "measure.balance", "run.day"),
    needs_roles=(("output_y1",), ("output_w1", "output_aux")),
    figure="outputs",
    thresholds=(
        "emergency_margin_f",
        "emergency_share",
        "emergency_min_heat_s",
        "episodes_plan_days",
    ),
    causes=(
        Cause(
            "a thermostat's emergency heat is selected",
            "Raised when a zone called for emergency heat. Ruled out when those calls were logged "
            "and none stood.",
            _switch,
            not_it="a thermostat's emergency heat",
        ),
        Cause(
            "the compressor is locked out: fault, breaker, lockout temperature, no Y at the unit",
            "Raised when it never heated, lowered when emergency heat was called for throughout.",
            _locked_out,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "ask the customer, then read the emergency-heat switch of every thermostat",
            "off; nobody meant it to be on",
            "ask why it was turned on: it may hide a heat pump that failed",
        ),
        Check(
            "panel",
            "call one zone for heat above the low point: does Y out come on?",
            "Y out on within its minimum-off time",
            "read its lockout temperature, fault lamp and outdoor reading",
        ),
        Check(
            "outdoor unit",
            "with Y on: running, breaker and disconnect closed, fault codes read before anything "
            "is reset",
            "runs, warm supply air in ten minutes",
            "repair the heat pump before emergency heat is switched off",
        ),
    ),
    cautions=(
        _cautions.CODES_FIRST,
        _cautions.ELECTRICITY,
        _cautions.OWN_LIMIT,
        _cautions.SETTINGS,
    ),
    confused_with=(
        "Wrong balance point: there the compressor still heats in milder weather.",
        "Compressor dead with Y on: there Y out is on and supply stays cold.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by day: emergency heat called for, or backup alone in mild weather all day."""
    if not site.equipment.get("has_heat_pump"):
        return CannotTell("there is no heat pump, so no emergency heat")
    days = records(site.table("measure.heat_day"))
    least_s = site.threshold("emergency_min_heat_s")
    judged = [d for d in days if (number(d.heat_s) or 0.0) >= least_s]
    if not judged:
        return CannotTell("no day with an hour of heat outside visits")
    share = site.threshold("emergency_share")
    called = [
        d for d in judged if d.is_called and d.burner_s + d.strip_s >= share * float(d.heat_s)
    ]
    mild = _began_mild(site)
    on = called or [d for d in judged if d.is_emergency_heat and d.day in mild]
    if not on or (not called and len(on) < site.threshold("episodes_plan_days")):
        if all(d.is_emergency_heat is None for d in judged):
            return CannotTell(
                "the site file gives no low balance point and emergency calls were not logged"
            )
        return NotFound(
            f"the compressor heated on each of {words.count(len(judged), 'day')} with heat, or one "
            "run that began in the cold went on"
        )
    begins = {d.day: d for d in records(site.table("run.day"))}
    rows = tuple(_row(begins, d) for d in on)
    e = Episodes(
        site,
        rows,
        state_s=sum(float(d.heat_s) for d in judged),
        state="heat",
        more={"compressor_s": sum(float(d.compressor_s) for d in days)},
    )
    mild_s = sum(number(d.alone_above_low_s) or 0.0 for d in on)
    is_called = bool(called)
    backup = "gas" if sum(float(d.burner_s) for d in on) else "strip heat"
    what = "emergency heat is on" if is_called else "emergency heat on, or the compressor is out"
    lasting = len(on) >= site.threshold("episodes_plan_days")
    weather = (
        f"{words.hours(mild_s)} of it in weather the heat pump should carry"
        if mild_s
        else "the weather was too cold for the heat pump in this log, but it will not come back by "
        "itself"
    )
    return _episodes.found(
        e,
        severity="plan" if lasting and mild_s else "watch",
        certainty="shown" if is_called else "likely",
        headline=(
            f"{what}: {backup} did the heating on "
            f"{words.of_all(len(on), len(judged), 'day')} with heat, "
            f"{words.hours(sum(r.alone_s for r in rows))} of it"
        ),
        aside="emergency heat is on",
        label="emergency heat",
        say=lambda r: f"{backup} alone for {words.hours(r.alone_s)}{_outdoor(site, r)}",
        detail=[weather],
        columns=(
            ("Day", lambda r: site.local_day(int(r.start_ts))),
            ("Backup alone", lambda r: words.hours(r.alone_s)),
            *_episodes.outdoor_column(site),
            ("Called for", lambda r: {True: "yes", False: "no"}.get(r.is_called, "–")),
        ),
        worth=lambda r: r.alone_s,
    )


def _began_mild(site: SiteFrames) -> set[Any]:
    """Local days on which backup began the heating well above the low point.

    A run that began in the cold and goes on into a milder day is no switch left on.
    """
    rows = site.table("measure.balance")
    rows = rows[rows["source"].isin(["burner", "strip"]) & flags(rows["is_first"])]
    low_f = rows["low_balance_f"].astype(float) + site.threshold("emergency_margin_f")
    return set(rows.loc[rows["outdoor_f"].astype(float) >= low_f, "day"])


def _row(begins: dict[Any, Any], day: Any) -> Any:
    """A day as an episode."""
    of = begins[day.day]
    return SimpleNamespace(
        start_ts=int(of.start_ts),
        end_ts=int(of.start_ts) + 3600 * MICROSECONDS,
        alone_s=float(day.burner_s) + float(day.strip_s),
        outdoor_f=day.outdoor_f,
        is_called=day.is_called,
    )


def _outdoor(site: SiteFrames, row: Any) -> str:
    known = number(row.outdoor_f)
    return "" if known is None else f", outdoor air {site.temperature(known)} on average"
