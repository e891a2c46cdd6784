"""Fan on in cooling: the fan runs between cooling calls, hour after hour.

What it says
    For how much of the time between cooling calls G held the fan on, at night and altogether, and
    which thermostat asked for it.

Why it matters
    Air over a wet coil with the compressor off carries the water back into the house.

What looks like it but is not
    Purge, a circulation program of some minutes an hour, ventilation that is required, leak
    control.

Source
    Common practice, no source.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from pipeline import words
from pipeline.findings import _cautions, _episodes
from pipeline.findings._base import (
    MAX_TABLE_ROWS,
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
from pipeline.findings._site import SiteFrames, flags, records
from pipeline.units import MICROSECONDS


def _thermostat(e: Episodes) -> Weighed:
    if "zone_call_g" not in e.site.logged_roles:
        return Weighed(Weight.FITS, "fan calls of the thermostats were not logged")
    share, zones = e.more["g_share"], e.more["g_zones"]
    said = f"a thermostat called for the fan in {words.share(share)} of that time"
    if zones:
        said += f", most of all {e.site.zones(zones)}"
    high = share >= e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.STRONG if high else Weight.AGAINST, said)


def _panel(e: Episodes) -> Weighed:
    if "zone_call_g" not in e.site.logged_roles:
        return Weighed(Weight.OPEN, "fan calls of the thermostats were not logged")
    share = e.more["g_share"]
    said = f"no thermostat called for the fan in {words.share(1 - share)} of that time"
    low = share < e.site.threshold("cause_share_min_frac")
    return Weighed(Weight.FITS if low else Weight.AGAINST, said)


FINDING = Declaration(
    title="Fan on between cooling calls",
    question="Does the fan stop between cooling calls?",
    needs_tables=("interval.condition", "signal.state", "measure.condition_time"),
    needs_roles=(("output_g",), ("output_y1",), ("zone_call_y1",)),
    figure="conditions",
    thresholds=(
        "fan_between_share",
        "fan_between_min_s",
        "fan_asked_share",
        "judged_min_h",
        "cause_share_min_frac",
    ),
    causes=(
        Cause(
            "a thermostat's fan switch is ON",
            "Raised when a fan call stands nearly all of that time.",
            _thermostat,
        ),
        Cause(
            "the panel, a humidistat or a ventilator asks for it",
            "Raised when no thermostat does.",
            _panel,
        ),
    ),
    check_next=(
        Check(
            "thermostat",
            "ask, and read the fan switch of {zone}",
            "AUTO, or the customer wants it on and knows",
            "set it to AUTO if the customer agrees: a phone call",
        ),
        Check(
            "panel",
            "circulation, ventilation and fan-delay settings",
            "off, or as the design asks for fresh air",
            "write down the old value; required ventilation stays",
        ),
    ),
    cautions=(_cautions.SETTINGS, _cautions.SYMPTOMS),
    confused_with=("Fan never stops: there G is off and the blower runs.",),
    source="Common practice, no source.",
)


def judge(site: SiteFrames) -> Outcome:
    """Found when the fan ran through most of the time between cooling calls."""
    if site.equipment.get("has_economizer"):
        return CannotTell("the fan of light commercial equipment may have to run for fresh air")
    cool_s = site.seconds_in(["cooling"])
    if cool_s < site.threshold("judged_min_h") * 3600:
        return CannotTell(words.only(cool_s, "cooling"))
    if site.seconds_in(["heating"]) > cool_s:
        return CannotTell(
            "it heated more than it cooled, and this is a question for cooling weather"
        )
    table = site.table("interval.condition")
    rows = table[
        table["class"].isin(["fan_only", "off", "purge"])
        & ~flags(table["in_visit"])
        & (table["n_cool"] == 0)
        & (table["n_heat"] == 0)
    ]
    lengths = rows["end_ts"] - rows["start_ts"]
    between_s = float(lengths.sum()) / MICROSECONDS
    if between_s < site.threshold("fan_between_min_s"):
        return CannotTell(f"only {words.hours(between_s)} between calls")
    fan = rows[rows["class"] == "fan_only"]
    fan_s = float((fan["end_ts"] - fan["start_ts"]).sum()) / MICROSECONDS
    share = fan_s / between_s
    if share < site.threshold("fan_between_share"):
        return NotFound(
            f"the fan ran {words.share(share)} of {words.hours(between_s)} between cooling calls"
        )
    spans = [(int(r.start_ts), int(r.end_ts)) for r in records(fan.sort_values("start_ts"))]
    asked, _ = _called(site, spans, "output_g")
    if asked < site.threshold("fan_asked_share"):
        return NotFound(
            f"the blower ran between calls with G off for {words.share(1 - asked)} of that time: "
            "nothing asked for it"
        )
    g_share, g_zones = _called(site, spans, "zone_call_g")
    longest = sorted(_joined(spans), key=lambda s: s[0] - s[1])
    e = Episodes(
        site,
        tuple(SimpleNamespace(start_ts=a, end_ts=b) for a, b in sorted(longest[:MAX_TABLE_ROWS])),
        between_s,
        "time between cooling calls",
        {"g_share": g_share, "g_zones": g_zones},
    )
    return _episodes.found(
        e,
        severity="watch",
        headline=(
            f"the fan runs on between cooling calls: {words.share(share)} of "
            f"{words.hours(between_s)}, up to {words.duration(max(e.lengths_s))} at a stretch"
        ),
        aside="the fan runs on between cooling calls",
        label="fan on",
        say=lambda r: (
            f"fan on with no call for {words.duration((r.end_ts - r.start_ts) / MICROSECONDS)}"
        ),
        columns=_episodes.span_columns(site),
        fill={"zone": site.zones(g_zones) if g_zones else "every zone"},
    )


def _joined(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans that touch as one."""
    made: list[tuple[int, int]] = []
    for a, b in spans:
        if made and made[-1][1] == a:
            made[-1] = (made[-1][0], b)
        else:
            made.append((a, b))
    return made


def _called(site: SiteFrames, spans: list[tuple[int, int]], role: str) -> tuple[float, str]:
    """Share of the time in which the role is on, and the zone that has it on for longest."""
    state = site.table("signal.state")
    rows = records(state[(state["role"] == role) & flags(state["is_on"])])
    total = sum(b - a for a, b in spans)
    by_zone: dict[int, int] = {}
    for row in rows:
        inside = _inside(row, spans)
        if inside:
            zone = int(row.zone or 0)
            by_zone[zone] = by_zone.get(zone, 0) + inside
    if not by_zone or not total:
        return 0.0, ""
    top = max(by_zone, key=lambda z: (by_zone[z], -z))
    return by_zone[top] / total, str(top)


def _inside(row: Any, spans: list[tuple[int, int]]) -> int:
    """How much of the state lies in the spans."""
    return sum(max(0, min(b, row.end_ts) - max(a, row.start_ts)) for a, b in spans)
