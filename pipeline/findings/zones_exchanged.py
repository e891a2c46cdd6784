"""Zones exchanged: what one zone calls for arrives at another.

What it says
    Which two zones: each room answers the other's calls; or one zone's call opens the other's
    damper; or the one calls on in vain while the other, not calling, gets far too much. The log
    cannot tell columns from wires.

Why it matters
    Every statement on comfort would be about the wrong room.

What looks like it but is not
    A room beside a duct, stairs, an open door: they answer to both. Relief, which opens a damper a
    while after the call began. One damper stuck shut and another stuck open look the same by rooms.

Source
    Ours: a straight line fit of each room's movement on all zones' calls, and what dampers and
    rooms do as a call begins.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings import _cautions, _crossed
from pipeline.findings._base import (
    Cause,
    Check,
    Declaration,
    Found,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._channels import TABLES, Trouble, judged
from pipeline.findings._crossed import Pair
from pipeline.findings._site import SiteFrames, flags
from pipeline.findings._windows import evidence, windows

CODE = "zones-exchanged"
ROLES = ("zone_temp",)


def _open(found: Trouble | Pair) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


def _house(found: Trouble | Pair) -> Weighed:
    if isinstance(found, Pair) and not found.is_by_dampers:
        return Weighed(Weight.FITS, "both rooms are off for days, as they would be")
    return _open(found)


def _two_dampers(found: Trouble | Pair) -> Weighed | None:
    if not isinstance(found, Pair):
        return None
    if found.is_by_dampers:
        return Weighed(Weight.RULED_OUT, "the dampers move, each with the other zone's call")
    return Weighed(Weight.OPEN, "two dampers at fault at once leave the same rooms")


FINDING = Declaration(
    title="Zones exchanged",
    question="Does each zone's temperature answer its own zone's calls?",
    about="log",
    needs_tables=(
        *TABLES,
        "interval.call",
        "interval.condition",
        "interval.zone_minute",
        "run.setting",
        "signal.state",
    ),
    thresholds=(
        "exchange_min_calls",
        "exchange_margin_times",
        "crossed_min_calls",
        "crossed_share",
        "crossed_calls_max_share",
        "crossed_short_f",
        "crossed_past_f",
        "damper_travel_unknown_s",
        "damper_calling_share",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "the columns of two zones are exchanged in site.toml or at the logger",
            "Open: wires give the same log.",
            _open,
        ),
        Cause(
            "thermostat wires or dampers of two zones are crossed in the house",
            "Open: columns give the same log. Fits where both rooms are off for days.",
            _house,
        ),
        Cause(
            "one zone's damper stays shut and the other's stays open",
            "Only where rooms show it. Ruled out where the dampers are seen to move.",
            _two_dampers,
            not_it="two dampers that stick",
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "call one of {channels} alone and put a hand on both zones' registers",
            "the register of the calling zone blows",
            "the other one blows: wires or dampers are crossed in the house. The right one blows: "
            "swap the zone numbers of the two columns in site.toml",
        ),
    ),
    cautions=(_cautions.ELECTRICITY,),
    confused_with=(
        "One zone that heats its neighbour.",
        "Relief: it opens the other damper too, a while after the call began.",
    ),
    source="Ours: a straight line fit of each room's movement on all zones' calls, and what "
    "dampers and rooms do as a call begins.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it, else by dampers or rooms that are crossed."""
    outcome = judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        certainty="likely",
        blind=_blind,
        holds="each zone answers its own calls",
    )
    if isinstance(outcome, Found):
        return outcome
    pair = _crossed.by_dampers(site) or _crossed.by_rooms(site)
    return outcome if pair is None else _crossed_zones(site, pair)


def _crossed_zones(site: SiteFrames, pair: Pair) -> Found:
    drawn = pair.events()
    return Found(
        severity="plan",
        certainty="likely" if pair.is_by_dampers else "possible",
        summary=words.sentences(pair.headline, "columns or wires: the log cannot tell"),
        headline=pair.headline,
        aside=f"{pair.labels} look crossed",
        facts=pair,
        evidence=evidence(drawn),
        windows=windows(site, drawn),
        fill={"channels": pair.labels},
    )


def _tell(found: Trouble) -> tuple[str, str]:
    """The headline, and what else to say."""
    pair = found.channels
    headline = (
        f"{words.joined([s.label for s in pair[:2]])} are exchanged: each answers the other's calls"
    )
    return headline, "columns or wires: the log cannot tell"


def _blind(site: SiteFrames) -> str | None:
    """Which zones called too seldom to be told apart; they could be exchanged unseen."""
    rows = site.table("channel.channel")
    rooms = set(rows.loc[(rows["role"] == "zone_temp") & flags(rows["is_primary"]), "zone"])
    if len(rooms) < 2:
        return "only one zone's temperature is logged"
    if not rows["role"].str.startswith("zone_call_").any():
        return "not logged: the zones' calls"
    calls = site.table("interval.call")
    least = int(site.threshold("exchange_min_calls"))
    told = {zone for zone, n in calls.groupby("zone").size().items() if n >= least} & rooms
    if len(told) > 1:
        return None
    few = words.joined(site.site.zones.get(int(z), f"Zone {z}") for z in sorted(rooms - told))
    return f"{few} called fewer than {words.times(least)}; two zones with calls are needed"
