"""Equipment without fan: burner, strip heat or compressor on for minutes with the blower standing.

What it says
    How often and how long a source was on while the blower was seen to stand, what showed it
    (a proof of running, or static at rest), and what supply air did.

Why it matters
    Heat without air overheats the exchanger or the strips until a limit opens, again and again; a
    compressor without air freezes its coil or trips on pressure. It is acted on at once.

What looks like it but is not
    A furnace that does not light: W is on, its blower waits for a fire, and the duct stays cold.
    A furnace that warms up before its blower starts (half a minute to a minute and a half). G off
    in gas heat: the furnace starts its own blower. A tube off the static tap: static rests while
    the blower runs. A weak blower: static low, not at rest.

Source
    Common practice, no source.
"""

from __future__ import annotations

from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _occurrences
from pipeline.findings._base import (
    CannotTell,
    Cause,
    Check,
    Declaration,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._occurrences import Occurrences
from pipeline.findings._site import SiteFrames, flags
from pipeline.units import MICROSECONDS

SHOWN_BY = {
    "blower_run": "its own proof of running",
    "static_pressure": "static at rest",
    "output_g": "the fan output off",
}


def _shown_by(e: Occurrences) -> str:
    return words.joined(SHOWN_BY[name] for name in sorted(set(e.rows["evidence"])))


def _blower(e: Occurrences) -> Weighed:
    said = f"no air for {words.duration(e.lasted_s)} with the equipment on, by {_shown_by(e)}"
    if e.more["g_on"]:
        return Weighed(Weight.STRONG, f"{said}; the panel asks for the fan meanwhile")
    return Weighed(Weight.FITS, said)


def _fan_call(e: Occurrences) -> Weighed | None:
    if "output_g" not in e.site.logged_roles or not e.count("is_not_burner"):
        return None
    n = int((e.rows["evidence"] == "output_g").sum())
    said = f"the fan output was off in {words.of_all(n, e.n, 'such run')}"
    return Weighed(Weight.STRONG if n == e.n else Weight.AGAINST, said)


def _tube(e: Occurrences) -> Weighed:
    by_static = int((e.rows["evidence"] == "static_pressure").sum())
    if not by_static:
        return Weighed(Weight.RULED_OUT, f"it shows by {_shown_by(e)}, not by static")
    longest = float((e.rows["end_ts"] - e.rows["start_ts"]).max()) / MICROSECONDS
    if longest > e.site.threshold("no_fan_answered_s"):
        return Weighed(
            Weight.AGAINST,
            f"it stayed on for {words.duration(longest)}: with air its calls would have ended",
        )
    return Weighed(Weight.OPEN, "only static says so: hold a hand to a grille")


FINDING = Declaration(
    title="Equipment without fan",
    question="Did burner, strip heat or compressor run for minutes with the blower stopped?",
    needs_tables=("interval.fan_missing", "measure.condition_time"),
    needs_roles=(
        ("output_w1", "output_y1", "output_aux"),
        ("blower_run", "static_pressure", "output_g"),
    ),
    figure="conditions",
    thresholds=(
        "no_fan_act_s",
        "no_fan_answered_min",
        "no_fan_answered_s",
        "judged_min_h",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "the blower does not run when it is asked to: motor, board, capacitor, belt, door "
            "switch open",
            "Raised most where the fan output or W is on meanwhile.",
            _blower,
        ),
        Cause(
            "nothing asks the blower to run: the fan output, its wire, the fan setting",
            "Raised where strip heat or compressor ran with the fan output off; lowered where it "
            "was on.",
            _fan_call,
        ),
        Cause(
            "the blower runs and static does not show it: tube off, tap plugged",
            "Ruled out where a proof of running told it. Lowered where a run went on for hours: "
            "with air its calls would have ended.",
            _tube,
            not_it="a tube off the static tap",
        ),
    ),
    check_next=(
        Check(
            "panel",
            "with a zone calling, 24 V at the fan output and at the unit's fan terminal",
            "there when heat, cooling or fan is called",
            "the wire, the panel's fan output or its fan setting is at fault",
        ),
        Check(
            "ducts",
            "a hand at a grille in a fan call, then static by a second gauge",
            "air moves, and static is well over zero",
            "no air: go to the unit at once. Air but no static: put the tube back, then log again",
        ),
        Check(
            "unit",
            "a qualified technician: door shut on its switch, blower motor, capacitor and board, "
            "fault code read first",
            "the blower starts by itself within the furnace's delay and stays on",
            "heat and cooling stay off until it is mended",
        ),
    ),
    cautions=(
        _cautions.HEAT_OFF,
        _cautions.OWN_LIMIT,
        _cautions.CARBON_MONOXIDE,
        _cautions.CODES_FIRST,
        _cautions.ELECTRICITY,
        _cautions.SYMPTOMS,
    ),
    confused_with=(
        "A tube off the static tap: air moves and rooms keep up.",
        "A weak blower: static is low, not at rest.",
        "Warm-up before the blower starts: over in a minute and a half.",
        "A furnace that does not light: the duct stays cold while W is on.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found from the first time; act for heat that lasts and is proven, else plan."""
    rows = site.table("interval.fan_missing")
    unlit = (rows["source"] == "burner") & ~flags(rows["is_heat_seen"].fillna(True))
    rows = rows[~unlit]
    rows = rows.assign(is_not_burner=rows["source"] != "burner")
    running = ["heating", "cooling"]
    e = _occurrences.load(
        site,
        rows,
        site.seconds_in(running),
        "heating and cooling",
        g_on="output_g" in site.logged_roles and not (rows["evidence"] == "output_g").any(),
        n_unlit=int(unlit.sum()),
    )
    if not e.n:
        return _occurrences.none(e)
    if _calls_are_answered(e):
        return CannotTell(
            f"static rests while the equipment is on, yet its runs end within "
            f"{words.duration(site.threshold('no_fan_answered_s'))} as satisfied calls do: air "
            "moves, and the tube may be off the static tap"
        )
    heats = e.rows["source"] != "compressor"
    proven = _is_proven(e)
    act = e.lasted_s >= site.threshold("no_fan_act_s") and proven and bool(heats.any())
    return _occurrences.found(
        e,
        severity="act" if act else "plan",
        certainty="shown" if proven else "likely",
        headline=_headline(e),
        details=_details(e),
        label="no fan",
        say=lambda r: f"{words.source(r.source)} on and the blower stopped{_supply(site, r)}",
        worth=lambda r: float(r.length_s),
        columns=(
            ("On", lambda r: words.source(r.source)),
            ("Shown by", lambda r: SHOWN_BY[r.evidence]),
            (
                "Highest supply air",
                lambda r: _occurrences.or_dash(r.supply_max_f, site.temperature),
            ),
        ),
    )


def _is_proven(e: Occurrences) -> bool:
    """A proof of running says so, or static at rest over a burner whose heat is seen."""
    return bool((e.rows["evidence"] == "blower_run").any()) or e.count("is_heat_seen") > 0


def _calls_are_answered(e: Occurrences) -> bool:
    """Whether static alone says so, and runs come to their end as they do in a house with air."""
    if (e.rows["evidence"] != "static_pressure").any():
        return False
    lengths = (e.rows["end_ts"] - e.rows["start_ts"]) / MICROSECONDS
    ended = int((lengths <= e.site.threshold("no_fan_answered_s")).sum())
    most = e.site.threshold("cause_share_min_frac")
    return ended >= e.site.threshold("no_fan_answered_min") and ended >= most * e.n


def _headline(e: Occurrences) -> str:
    what = words.joined(words.source(s) for s in dict.fromkeys(e.rows["source"]))
    often = "" if e.n == 1 else f" {words.times(e.n)}"
    return f"{what} ran with the blower stopped{often}, {words.duration(e.lasted_s)} in all"


def _details(e: Occurrences) -> tuple[str, ...]:
    supply = e.values("supply_max_f")
    return (
        f"shown by {_shown_by(e)}",
        f"supply air in the still duct reached {e.site.temperatures(supply)}" if supply else "",
        f"{words.times(e.more['n_unlit'])} more W was on and the duct stayed cold: no fire there"
        if e.more["n_unlit"]
        else "",
    )


def _supply(site: SiteFrames, r: Any) -> str:
    if r.supply_max_f is None:
        return ""
    return f", supply air up to {site.temperature(float(r.supply_max_f))}"
