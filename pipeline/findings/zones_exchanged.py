"""Zones exchanged: a zone's temperature answers to another zone's calls, and that one's to its own.

What it says
    Which two zones, and that the log cannot tell columns from wires.

Why it matters
    Every statement on comfort would be about the wrong room.

What looks like it but is not
    A room beside a duct, stairs, an open door: they answer to both. It takes both zones to be
    exchanged.

Source
    Ours: a straight line fit of each room's movement on all zones' calls.
"""

from __future__ import annotations

from pipeline import words
from pipeline.findings._base import (
    Cause,
    Check,
    Declaration,
    Outcome,
    Weighed,
    Weight,
)
from pipeline.findings._channels import TABLES, Trouble, judged
from pipeline.findings._site import SiteFrames, flags

CODE = "zones-exchanged"
ROLES = ("zone_temp",)


def _open(found: Trouble) -> Weighed:
    return Weighed(Weight.OPEN, f"{found.labels}: the log shows the same either way")


FINDING = Declaration(
    title="Zones exchanged",
    question="Does each zone's temperature answer its own zone's calls?",
    about="log",
    needs_tables=(*TABLES, "interval.call"),
    thresholds=(
        "exchange_min_calls",
        "exchange_margin_times",
    ),
    causes=(
        Cause(
            "the columns of two zones are exchanged in site.toml or at the logger",
            "Open: wires give the same log.",
            _open,
        ),
        Cause(
            "thermostat wires or dampers of two zones are crossed in the house",
            "Open: columns give the same log.",
            _open,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "call one of {channels} alone and put a hand on both zones' registers",
            "the register of the calling zone blows",
            "the other one blows: the house is crossed; else exchange zone in the two blocks",
        ),
    ),
    confused_with=("One zone that heats its neighbour.",),
    source="Ours: a straight line fit of each room's movement on all zones' calls.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found where trust.problem has a stretch of it; see the stage for how."""
    return judged(
        site,
        CODE,
        ROLES,
        _tell,
        severity="watch",
        certainty="likely",
        blind=_blind,
        holds="each zone answers its own calls",
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
