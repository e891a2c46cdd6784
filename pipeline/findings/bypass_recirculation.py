"""Bypass or return leak: supply air comes back to the return without having been in a room.

What it says
    What share of the supply air comes straight back, told from how return air at the unit follows
    supply within minutes while the rooms stay as they are, and with how many zones calling.

Why it matters
    The unit works on its own air: supply ratchets up (or down) until a limit opens, while the rise
    looks healthy. The rooms get what is left.

What looks like it but is not
    Rooms at different temperatures: return is off the calling zones all along, but does not follow
    supply; where they lie far apart, it has to be past the furthest of them. Outdoor air through an
    economizer or a ventilator. A return probe near the coil or the exchanger.

Source
    Return = (1 - r) x rooms + r x supply. A departure of 6 °F is common practice, no source; the
    slope tells far less, whatever the rooms are, and is what is judged here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _rooms
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
from pipeline.findings._site import SiteFrames, flags, number, records


@dataclass(frozen=True)
class Back:
    """Rows of measure.recirculation that say so, the largest share first."""

    site: SiteFrames
    rows: list[Any]
    bypass: str | None

    @property
    def worst(self) -> Any:
        """The row with the largest share."""
        return self.rows[0]


def _shares(b: Back) -> str:
    return words.joined(
        f"{words.share(float(r.recirculated_frac))} with "
        f"{words.count(int(r.n_zones), 'zone')} calling"
        for r in b.rows
    )


def _bypass(b: Back) -> Weighed:
    said = f"supply air that comes straight back: {_shares(b)}"
    if b.bypass == "none":
        return Weighed(Weight.AGAINST, f"{said}; the site file says this system has no bypass")
    if b.bypass in ("barometric", "motorised"):
        return Weighed(Weight.STRONG, f"{said}; the system has a {b.bypass} bypass")
    return Weighed(Weight.OPEN, f"{said}; the site file does not say whether there is a bypass")


def _leak(b: Back) -> Weighed:
    said = f"supply air that comes straight back: {_shares(b)}"
    if b.bypass == "none":
        return Weighed(Weight.STRONG, f"{said}; the site file says this system has no bypass")
    return Weighed(Weight.OPEN, said)


def _relief_grille(b: Back) -> Weighed:
    return Weighed(Weight.OPEN, "where relief registers and return grilles stand is not in a log")


FINDING = Declaration(
    title="Supply air comes back to the return",
    question="Does supply air come back to the return without passing a room?",
    needs_tables=("measure.recirculation", "interval.zone_minute", "run.site"),
    needs_roles=(
        ("supply_temp",),
        ("return_temp",),
        ("zone_temp",),
        ("zone_call_w1", "zone_call_y1"),
    ),
    figure="recirculation",
    thresholds=(
        "recirculated_min_s",
        "recirculated_share",
        "recirculated_correlation",
        "recirculated_plan_share",
        "recirculated_rooms_apart_f",
    ),
    causes=(
        Cause(
            "a bypass that stands open: its weight, its motor, its setting",
            "Raised when the system has a bypass; lowered when it has none.",
            _bypass,
        ),
        Cause(
            "a leak from the supply plenum into the return: panel, seam, coil box",
            "Raised when the system has no bypass.",
            _leak,
        ),
        Cause(
            "a relief zone's register that blows at the return grille",
            "Such a log cannot tell.",
            _relief_grille,
        ),
    ),
    check_next=(
        Check(
            "ducts",
            "one zone calling: hand and thermometer on the bypass, return air before and after "
            "its tie-in",
            "bypass no warmer (colder) than the return, both readings alike",
            "set its weight or motor by its instructions; close what leaks",
        ),
        Check(
            "unit",
            "seams between supply plenum and return, coil box and filter slot, blower running",
            "tight",
            "seal it with what the duct code allows",
        ),
        Check(
            "log",
            "see where the return probe hangs: out of sight of exchanger and coil, after the last "
            "tie-in",
            "in mixed air",
            "move it and log again",
        ),
    ),
    cautions=(
        _cautions.LIMIT,
        _cautions.LOW_LIMIT,
        _cautions.ICE,
        _cautions.CARBON_MONOXIDE,
        _cautions.RELIEF,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "Rooms apart from one another: return is off the calling zones but does not follow supply.",
        "Outdoor air: return follows the weather, not supply.",
    ),
    source="A balance of heat, ours; bounds: ours.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by the share of supply air in the return, told from minutes within stretches."""
    if site.equipment.get("has_economizer"):
        return CannotTell("with an economizer the return holds outdoor air")
    least_s = site.threshold("recirculated_min_s")
    rows = [
        r
        for r in records(site.table("measure.recirculation"))
        if float(r.s) >= least_s and number(r.recirculated_frac) is not None
    ]
    if not rows:
        return CannotTell("heat or cooling never ran long enough with rooms and return known")
    among = [mode for mode in {r.mode for r in rows} if _lies_among_rooms(site, mode)]
    found = [r for r in rows if _is_found(site, r) and r.mode not in among]
    if not found and among:
        return NotFound("the rooms lie far apart and return air lies between them")
    if not found:
        most = max(float(r.recirculated_frac) for r in rows)
        s = sum(float(r.s) for r in rows)
        return NotFound(
            f"return does not follow supply: {words.share(max(0.0, most))} at most in "
            f"{words.hours(s)} of heating and cooling"
        )
    found.sort(key=lambda r: -float(r.recirculated_frac))
    b = Back(site, found, site.equipment.get("bypass"))
    w = b.worst
    plan = float(w.recirculated_frac) >= site.threshold("recirculated_plan_share")
    head = (
        f"about {words.share(float(w.recirculated_frac))} of the supply air comes straight back to "
        f"the return {_rooms.in_mode(w.mode)} with {words.count(int(w.n_zones), 'zone')} calling"
    )
    side = "warmer" if w.mode == "heating" else "colder"
    return Found(
        severity="plan" if plan else "watch",
        certainty="likely",
        summary=words.sentences(
            head,
            "return air follows supply within minutes and was "
            f"{_rooms.apart(site, abs(float(w.departure_f)))} {side} than the calling zones for "
            f"half of {words.hours(float(w.s))}",
            f"in all: {_shares(b)}" if len(b.rows) > 1 else "",
        ),
        headline=head,
        aside="supply air comes back to the return",
        facts=b,
        table=_rooms.columns(
            b.rows,
            ("Zones calling", (str(int(r.n_zones)) for r in b.rows)),
            ("Seen", (words.hours(float(r.s)) for r in b.rows)),
            ("Comes back", (words.share(float(r.recirculated_frac)) for r in b.rows)),
            ("Return off the zones", (_rooms.apart(site, float(r.departure_f)) for r in b.rows)),
        ),
    )


def _is_found(site: SiteFrames, r: Any) -> bool:
    return (
        float(r.recirculated_frac) >= site.threshold("recirculated_share")
        and (number(r.correlation) or 0.0) >= site.threshold("recirculated_correlation")
        and float(r.departure_f) > 0
    )


def _lies_among_rooms(site: SiteFrames, mode: str) -> bool:
    """Whether the rooms lie far apart and return air between them: then it may be a room's air.

    A zone that does not call may be far off those that do, and its air returns as well.
    """
    rows = site.table("interval.zone_minute")
    rows = rows[(rows["class"] == mode) & flags(rows["is_proven"]) & ~flags(rows["in_visit"])]
    rows = rows[rows["return_f"].notna()]
    if rows.empty:
        return False
    minute = rows.groupby("ts").agg(
        low_f=("temp_f", "min"), high_f=("temp_f", "max"), return_f=("return_f", "first")
    )
    if mode == "heating":
        past_f = (minute["return_f"] - minute["high_f"]).median()
    else:
        past_f = (minute["low_f"] - minute["return_f"]).median()
    apart_f = (minute["high_f"] - minute["low_f"]).median()
    return bool(apart_f >= site.threshold("recirculated_rooms_apart_f") and past_f <= 0)
