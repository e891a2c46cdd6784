"""Static hunting: static swings to and fro while calls and stage stay as they are.

What it says
    For how long, how fast and how far supply static swung with the same zones calling on the same
    stage, and whether relief dampers moved with it.

Why it matters
    Dampers wear and air at the registers comes and goes. A panel that hunts neither relieves nor
    lets go: its wait, hold or band does not suit the ducts.

What looks like it but is not
    A blower's ramp in the first minute. Dampers on the move after calls change. A relief damper
    that opens and closes once. Wind or turbulence at the tap: fast and small.

Source
    More than six turns an hour for half an hour, swings of 0.1 in. w.c.: common practice, no
    source.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
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
from pipeline.findings._site import SiteFrames, flags, records
from pipeline.findings._windows import Event, evidence, lines, windows


@dataclass(frozen=True)
class Hunting:
    """Stretches that hunt, visits left out, in order of time.

    n_relief : relief dampers that opened within them; None if dampers were not logged
    run_s : heating and cooling time
    """

    site: SiteFrames
    rows: list[Any]
    n_relief: int | None
    run_s: float

    @property
    def length_s(self) -> float:
        """Their length in all."""
        return sum(float(r.length_s) for r in self.rows)

    @property
    def n_turn(self) -> int:
        """Turns of static, both ways."""
        return sum(int(r.n_turn) for r in self.rows)


def _relief_moves(h: Hunting) -> Weighed:
    turns = words.count(h.n_turn, "turn")
    if h.n_relief is None:
        return Weighed(Weight.OPEN, "dampers were not logged")
    said = f"{words.count(h.n_relief, 'relief opening')} during {turns} of static"
    # a relief damper that brings it about opens once for every second turn
    share = h.site.threshold("hunting_relief_share")
    if h.n_relief >= share * h.n_turn / 2:
        return Weighed(Weight.STRONG, said)
    return Weighed(Weight.AGAINST if h.n_relief else Weight.RULED_OUT, said)


def _own_damper(h: Hunting) -> Weighed:
    if h.n_relief is None:
        return Weighed(Weight.OPEN, "dampers were not logged")
    if h.n_relief == 0:
        return Weighed(
            Weight.FITS,
            f"no relief damper opened through {words.count(h.n_turn, 'turn')} of static",
        )
    return Weighed(
        Weight.OPEN, "a bypass damper, or a blower that hunts for its airflow, was not logged"
    )


def _tap(h: Hunting) -> Weighed:
    swing = median(float(r.swing_inwc) for r in h.rows)
    return Weighed(
        Weight.AGAINST, f"it swings {h.site.static(swing)}: turbulence at a tap is fast and small"
    )


FINDING = Declaration(
    title="Static hunting",
    question="Does static swing to and fro while calls and stage stay unchanged?",
    needs_tables=("measure.static_hunting", "interval.relief", "measure.condition_time"),
    needs_roles=(("static_pressure",), ("zone_call_w1", "zone_call_y1")),
    figure="static",
    thresholds=(
        "hunting_swing_inwc",
        "hunting_per_hour",
        "hunting_min_s",
        "hunting_plan_share",
        "hunting_relief_share",
        "judged_min_h",
    ),
    causes=(
        Cause(
            "relief opens and closes again: hold time too short, or it closes too near the target",
            "Raised when relief dampers open about once for every two turns. Ruled out when none "
            "opens.",
            _relief_moves,
            not_it="relief that opens and closes again",
        ),
        Cause(
            "a bypass damper or the blower's own control keeps hunting and does not settle",
            "Raised when no relief damper moves meanwhile.",
            _own_damper,
        ),
        Cause(
            "the tap: turbulence, water in the tube",
            "Lowered by wide swings.",
            _tap,
        ),
    ),
    check_next=(
        Check(
            "panel",
            "read the static target, the relief wait and hold, and at what static relief closes "
            "again; photograph them",
            "a hold of about a minute or more, and relief closing clearly under the target",
            "write down the old values, then lengthen the hold by the panel's instructions",
        ),
        Check(
            "dampers",
            "watch the relief dampers with {zones} calling for ten minutes",
            "one opens and stays",
            "it opens and closes again and again: settings first, then a damper too large for "
            "relief",
        ),
        Check(
            "ducts",
            "look at tap and tube: place, burr, water; any bypass damper and its weight",
            "straight duct, square to the air, dry",
            "move the tap; set the bypass by its instructions",
        ),
    ),
    cautions=(_cautions.RELIEF, _cautions.SETTINGS, _cautions.ELECTRICITY),
    confused_with=(
        "Short calls of a neighbouring zone: then calls change with the static.",
        "A blower's ramp: once, in the first minute.",
    ),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found by stretches that hunt for half an hour together; severity by share of running time.

    Where zones call for minutes no single stretch with unchanged calls is half an hour long.
    """
    table = site.table("measure.static_hunting")
    often = table["per_hour"] > site.threshold("hunting_per_hour")
    rows = table[often & ~flags(table["in_visit"])].sort_values("start_ts")
    run_s = site.seconds_in(["heating", "cooling"])
    if float(rows["length_s"].sum()) < site.threshold("hunting_min_s"):
        if run_s < site.threshold("judged_min_h") * 3600:
            return CannotTell(words.only(run_s, "heating or cooling"))
        swing = site.static(site.threshold("hunting_swing_inwc"))
        length = words.duration(site.threshold("hunting_min_s"))
        return NotFound(
            f"static did not swing {swing} to and fro for {length} together in "
            f"{words.hours(run_s)} of heating and cooling"
        )
    h = Hunting(site, records(rows), _n_relief(site, rows), run_s)
    events = [_event(site, r) for r in h.rows]
    plan = run_s > 0 and h.length_s >= site.threshold("hunting_plan_share") * run_s
    longest = max(h.rows, key=lambda r: float(r.length_s))
    return Found(
        severity="plan" if plan else "watch",
        certainty="shown",
        summary=words.sentences(
            _headline(h),
            f"longest {site.clock_span(int(longest.start_ts), int(longest.end_ts))}, "
            f"{site.calling(longest.zones)} calling, calls and stage unchanged",
        ),
        headline=_headline(h),
        aside="static then swings to and fro",
        facts=h,
        evidence=evidence(events),
        windows=windows(site, events),
        fill={"zones": site.zones(longest.zones)},
        table=columns(
            h.rows,
            ("When", (site.clock(int(r.start_ts)) for r in h.rows)),
            ("For", (words.duration(float(r.length_s)) for r in h.rows)),
            ("Turns", (str(int(r.n_turn)) for r in h.rows)),
            ("Swing", (site.static(float(r.swing_inwc)) for r in h.rows)),
            ("Calling", (site.zones(r.zones) for r in h.rows)),
        ),
    )


def _n_relief(site: SiteFrames, rows: Any) -> int | None:
    if "zone_damper" not in site.logged_roles:
        return None
    starts = [int(t) for t in site.table("interval.relief")["start_ts"]]
    return sum(int(r.start_ts) <= t < int(r.end_ts) for r in records(rows) for t in starts)


def _headline(h: Hunting) -> str:
    site = h.site
    swing = median(float(r.swing_inwc) for r in h.rows)
    pace = h.n_turn / (h.length_s / 3600) if h.length_s else 0.0
    return (
        f"static swung to and fro by {site.static(swing)} for {words.hours(h.length_s)} in "
        f"{words.hours(h.run_s)} of heating and cooling, turning about {pace:.0f} times an hour"
    )


def _event(site: SiteFrames, r: Any) -> Event:
    start = int(r.start_ts)
    return Event(
        start_ts=start,
        end_ts=int(r.end_ts),
        worth=float(r.length_s),
        say=(
            f"{site.clock(start)}, {site.calling(r.zones)}, {words.count(int(r.n_turn), 'turn')} "
            f"in {words.duration(float(r.length_s))}"
        ),
        label="hunting",
        lines=lines(site, start, "static_target_inwc"),
    )
