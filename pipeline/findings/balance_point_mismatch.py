"""Balance points: heating begins with the fuel that the balance points forbid in that weather.

What it says
    How many heating starts had the wrong fuel for the weather, and at what outdoor temperature the
    system really changes over, beside the setting.

Why it matters
    Gas burned while the heat pump could carry the house costs money; a heat pump run far below its
    point does not keep up, frosts and wears.

What looks like it but is not
    Gas that joins or takes over after its delay between the points: that is backup, in order.
    Emergency heat, defrost, a compressor that is locked out. A logger's outdoor sensor in the sun.

Source
    Common practice, no source; the points as the site file gives them.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import Any

import pandas as pd

from pipeline import words
from pipeline.findings import _cautions, _episodes
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
from pipeline.findings._episodes import Episodes
from pipeline.findings._site import SiteFrames, flags, number, numbers, records
from pipeline.units import MICROSECONDS


@dataclass(frozen=True)
class Changeover:
    """The outdoor temperature that parts the starts of the two fuels best.

    at_f : that temperature; n_wrong : starts on the wrong side of it; n : starts
    """

    at_f: float
    n_wrong: int
    n: int


def _other_temperature(e: Episodes) -> Weighed:
    site, over, low_f = e.site, e.more["changeover"], e.more["low_f"]
    if over is None and e.more["other_ran"]:
        return Weighed(
            Weight.STRONG,
            f"{e.more['began']} began every heating run at {site.temperatures(e.more['outdoors'])} "
            "outdoors and the other fuel only came in behind it: the changeover lies outside that",
        )
    if over is None:
        return Weighed(Weight.AGAINST, "one fuel began every heating run: nothing changes over")
    said = (
        f"it changes over at {site.temperature(over.at_f)} by the logger, the site sheet says "
        f"{site.temperature(low_f)}; {words.of_all(over.n - over.n_wrong, over.n, 'start')} fit "
        "that"
    )
    clean = over.n_wrong <= (1 - site.threshold("cause_share_min_frac")) * over.n
    return Weighed(Weight.STRONG if clean else Weight.OPEN, said)


def _never_changes(e: Episodes) -> Weighed:
    if e.more["other_ran"]:
        return Weighed(Weight.RULED_OUT, "both fuels heated in this log")
    return Weighed(
        Weight.STRONG,
        f"{e.more['began']} began all {e.more['n_all']} heating runs, outdoor air "
        f"{e.site.temperatures(e.more['outdoors'])}, and the other never ran",
    )


def _sun(e: Episodes) -> Weighed:
    if any(r.source == "burner" for r in e.rows):
        return Weighed(
            Weight.RULED_OUT, "a sensor in the sun reads warm and would keep the furnace off"
        )
    day = [r for r in e.rows if _is_day(e.site, r)]
    hours = words.in_units("9 am and 6 pm", e.site.units)
    said = f"{words.of_all(len(day), e.n, 'such start')} came between {hours}"
    share = e.site.threshold("cause_share_min_frac")
    if len(day) >= share * e.n:
        return Weighed(Weight.FITS, f"{said}, when sun or exhaust can reach a sensor")
    return Weighed(Weight.AGAINST, f"{said}: sun cannot be it at night")


def _is_day(site: SiteFrames, row: Any) -> bool:
    hour = words.local(int(row.start_ts), site.site.timezone).hour
    return SUN_HOURS[0] <= hour < SUN_HOURS[1]


SUN_HOURS = (9, 18)
FINDING = Declaration(
    title="Wrong fuel for the weather",
    question="Does each fuel begin the heating on its own side of the balance points?",
    needs_tables=("measure.balance", "measure.heat_day"),
    needs_roles=(("output_y1",), ("output_w1", "output_aux"), ("outdoor_temp",)),
    figure="outdoor",
    thresholds=(
        "balance_margin_f",
        "balance_past_s",
        "outdoor_sensor_tolerance_f",
        "balance_min_starts",
        "balance_takeover_s",
        "episodes_plan_per_week",
        "episodes_plan_days",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the changeover sits at another temperature than the site sheet says: the setting "
            "itself, "
            "or the outdoor sensor it goes by",
            "Raised when one outdoor temperature parts the starts of the two fuels. The log cannot "
            "tell a wrong setting from a sensor that is off by as much.",
            _other_temperature,
            replays="low_balance_f high_balance_f",
        ),
        Cause(
            "one fuel is locked out or switched off, whatever the weather",
            "Raised when one fuel began every run. Ruled out when both did.",
            _never_changes,
            not_it="one fuel locked out",
        ),
        Cause(
            "sun, exhaust air or a warm wall on the outdoor sensor",
            "Raised when the heat pump began below its point nearly always by day, lowered when at "
            "night. Ruled out when gas began above the points.",
            _sun,
            not_it="sun or warm air on the outdoor sensor",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "which decides the fuel: the panel, or a thermostat with its own outdoor sensor?",
            "one of the two, the other leaves it alone",
            "set one of them to leave it alone, by its instructions",
        ),
        Check(
            "panel",
            "read both balance points and the outdoor temperature it shows; hold a reference "
            "thermometer in the shade beside its outdoor sensor for ten minutes",
            "points {points} as on the site sheet, reading within 2 degrees F of the reference",
            "write down the old values; move or replace the sensor first, then set the points as "
            "designed",
        ),
        Check(
            "outdoor unit",
            "does it start when the panel calls for compressor heat in mild weather?",
            "starts, warm supply air in ten minutes",
            "find what keeps it off before changing a point",
        ),
    ),
    cautions=(
        _cautions.SETTINGS,
        _cautions.GAS,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Emergency heat left on: there the compressor hardly runs at all in mild weather.",
        "Backup after its delay: there the compressor began the run and gas took over.",
    ),
    symptom_of=("emergency-heat-left-on",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from five heating starts with the wrong fuel, where the points were given."""
    if not site.equipment.get("has_heat_pump"):
        return CannotTell("there is no heat pump, so no balance point")
    low_f, high_f = (site.setting(f"{which}_balance_f") for which in ("low", "high"))
    if low_f is None and high_f is None:
        return CannotTell(
            f"the site file gives no balance point to hold the fuels against{_did(site)}"
        )
    rows = _starts(site)
    wrong = rows[rows["wrong"]]
    n, least = len(wrong), int(site.threshold("balance_min_starts"))
    if rows.empty:
        return CannotTell("no heating start outside visits with outdoor air known")
    if n < least:
        return NotFound(f"{words.of_all(n, len(rows), 'heating start')} had the wrong fuel")
    outdoors = numbers(rows["outdoor_f"])
    e = _episodes.episodes(
        site,
        wrong,
        state_s=float(rows["on_s"].sum()),
        state="heat",
        more={
            "changeover": _changeover(rows),
            "began": "gas" if (rows["source"] == "burner").all() else "the heat pump",
            "other_ran": site.table("measure.balance")["source"].nunique() > 1,
            "low_f": low_f if low_f is not None else high_f,
            "n_all": len(rows),
            "outdoors": outdoors,
        },
    )
    return _found(e, low_f, high_f)


def _found(e: Episodes, low_f: float | None, high_f: float | None) -> Found:
    site, over = e.site, e.more["changeover"]
    gas = [r for r in e.rows if r.source == "burner"]
    pump = [r for r in e.rows if r.source == "compressor"]
    points = words.joined(
        f"{which} {site.temperature(value)}"
        for which, value in (("low", low_f), ("high", high_f))
        if value is not None
    )
    at = f", it changes over at {site.temperature(over.at_f)} by the logger" if over else ""
    told = []
    if gas:
        told.append(_clause(site, gas, "gas began the heating", "when the heat pump should"))
    if pump:
        told.append(_clause(site, pump, "the heat pump began it" if gas else
                            "the heat pump began the heating", "below its low point"))  # fmt: skip
    return _episodes.found(
        e,
        severity="plan" if e.is_persistent() else "watch",
        headline=f"wrong fuel for the weather: {words.joined(told)}; points set: {points}{at}",
        aside=f"{words.count(e.n, 'heating run')} began with the wrong fuel for the weather",
        label="wrong fuel",
        say=lambda r: f"{_fuel(r)} began the heating at {site.temperature(r.outdoor_f)} outdoors",
        detail=[f"that is {words.of_all(e.n, e.more['n_all'], 'heating start')}"],
        columns=(
            *_episodes.span_columns(site, "Began"),
            ("Fuel", _fuel),
            *_episodes.outdoor_column(site),
        ),
        fill={"points": points},
        worth=lambda r: abs(float(r.outdoor_f) - e.more["low_f"]),
    )


def _clause(site: SiteFrames, rows: list[Any], what: str, against: str) -> str:
    outdoors = [float(r.outdoor_f) for r in rows]
    return f"{what} {words.times(len(rows))} at {site.temperatures(outdoors)} outdoors, {against}"


def _fuel(row: Any) -> str:
    return "gas" if row.source == "burner" else "heat pump"


def _starts(site: SiteFrames) -> pd.DataFrame:
    """Starts that begin the heating outside visits, weather known, with `wrong`.

    A burner that takes over from the compressor is backup and begins nothing; so are days on
    emergency heat no business of the points.
    """
    rows = site.table("measure.balance")
    rows = rows[flags(rows["is_first"]) & ~flags(rows["in_visit"]) & rows["outdoor_f"].notna()]
    rows = rows[rows["source"].isin(["burner", "compressor"]) & (rows["result"] != "excused")]
    days = site.table("measure.heat_day")
    emergency = flags(days["is_emergency_heat"]) | flags(days["is_called"])
    off_days = set(days.loc[emergency, "day"])
    rows = rows[~rows["day"].isin(off_days)].sort_values("start_ts").reset_index(drop=True)
    before = rows["end_ts"].where(rows["source"] == "compressor").ffill().shift(1)
    gap_s = (rows["start_ts"] - before) / MICROSECONDS
    takes_over = (rows["source"] == "burner") & (gap_s <= site.threshold("balance_takeover_s"))
    rows = rows[~takes_over].reset_index(drop=True)
    margin_f = site.threshold("balance_margin_f") + site.threshold("outdoor_sensor_tolerance_f")
    burner_high = (rows["source"] == "burner") & (
        rows["outdoor_low_f"] > rows["low_balance_f"].astype(float) + margin_f
    )
    past = rows["result"].isin(["below the low point", "above the high point"])
    return rows.assign(wrong=past | burner_high.fillna(False).astype(bool))


def _changeover(rows: pd.DataFrame) -> Changeover | None:
    """The temperature with the fewest starts on its wrong side; None with one fuel only."""
    pump = sorted(numbers(rows.loc[rows["source"] == "compressor", "outdoor_f"]))
    gas = sorted(numbers(rows.loc[rows["source"] == "burner", "outdoor_f"]))
    if not pump or not gas:
        return None
    # each start as a step of what a changeover just under it would put on the wrong side
    best = min(
        sorted({*pump, *gas}),
        key=lambda t: (sum(p < t for p in pump) + sum(g >= t for g in gas), t),
    )
    n_wrong = sum(p < best for p in pump) + sum(g >= best for g in gas)
    return Changeover(best, n_wrong, len(pump) + len(gas))


def _did(site: SiteFrames) -> str:
    """What the system did, for points that nobody gave."""
    rows = site.table("measure.balance")
    rows = rows[flags(rows["is_first"]) & ~flags(rows["in_visit"])]
    told = []
    for source, name in (("burner", "gas"), ("compressor", "the heat pump")):
        outdoors = [
            v for r in records(rows[rows["source"] == source]) if (v := number(r.outdoor_f))
        ]
        if outdoors:
            told.append(f"{name} began around {site.temperature(median(outdoors))} outdoors")
    return f"; {words.joined(told)}" if told else ""
