"""Events and figures of staging, fuels, defrosts and zones held against a site's truth.

As in held.py: what a definition must see has to be found; what lies at its edge may be.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from sample_data.world.export import START_S, STOP_S
from sample_data.world.worlds import FIRST_VISIT_S, LAST_VISIT_S
from tests.accuracy.holding import Events, Fact, Figure, Frames, matched, quiet_before, us

TABLES = (
    "measure.balance",
    "measure.stage_up_missing",
    "measure.limit_approach",
    "measure.static_hunting",
    "measure.rise",
    "measure.zone_call",
    "interval.both_fuels",
    "interval.defrost",
    "interval.not_keeping_up",
    "interval.steady",
    "interval.static_piece",
)
MINUTE_US = 60_000_000
SURELY_PAST_F = 4.0  # the audit's 2 °F, the sensor's tolerance and its lag
HARDLY_PAST_F = 1.0
PROBE_F = 1.0  # what the site file says a probe is good to


def judged_span(truth: Fact) -> tuple[int, int]:
    """Between the visits, as the truth has it."""
    return (
        us(truth["window"]["start"]) + (FIRST_VISIT_S - START_S["panel"]) * 1_000_000,
        us(truth["window"]["end"]) + (STOP_S["panel"] - LAST_VISIT_S) * 1_000_000,
    )


def above_target(truth: Fact, frames: Frames) -> list[Figure]:
    """Seconds above target between the same two instants as the truth's, with its bounds."""
    piece = frames["interval.static_piece"]
    if piece.empty or piece["target_inwc"].isna().all():
        return []
    begin, end = judged_span(truth)
    piece = piece[piece["fan_on"] & (piece["start_ts"] >= begin) & (piece["end_ts"] <= end)]
    true, fan_s = truth["static"]["above_target_s"], truth["static"]["fan_s"]
    told = float(piece["above_s"].sum())
    low, high = float(piece["above_low_s"].sum()), float(piece["above_high_s"].sum())
    bound = (told - low) if true < told else (high - told)
    scale = max(true, 0.2 * fan_s)
    return [
        Figure("seconds above target", true, told, bound, scale),
        Figure(
            "seconds above, as measured", true, float(piece.measured_above_s.sum()), None, scale
        ),
    ]


def rise(truth: Fact, frames: Frames) -> list[Figure]:
    """Median steady rise (split) by source and stage [°F], from half an hour of it on.

    Held to the median of the true air over the same seconds: which seconds are steady is the
    measure's own choice, what the air did in them is not. Good to what one probe is good to.
    """
    told = frames["measure.rise"]
    told = told[told["is_total"] & (told["steady_s"] >= 1800) & told["rise_f"].notna()]
    steady = frames["interval.steady"]
    steady = steady[steady["steady_ts"].notna() & ~steady["in_visit"]]
    first, air = us(truth["air"]["first"]), truth["air"]["rise_f"]
    out = []
    for row in told.itertuples():
        same = steady[
            (steady["mode"] == row.mode)
            & (steady["source"] == row.source)
            & (steady["stage"] == row.stage)
        ]
        parts = [
            air[int(start - first) // 1_000_000 : int(end - first) // 1_000_000]
            for start, end in zip(same["steady_ts"], same["end_ts"], strict=True)
        ]
        true = float(np.median(np.concatenate(parts))) * (1 if row.mode == "heating" else -1)
        out.append(Figure("steady rise", true, float(row.rise_f), PROBE_F, max(abs(true), 1.0)))
    return out


def open_at_start(truth: Fact, zone: int) -> bool:
    """Whether one of a zone's calls stands as the log begins: its start is not seen."""
    return any(
        some and some[0][0] == truth["window"]["start"]
        for name, some in truth["states"].items()
        if name in (f"zone_call_w1.{zone}", f"zone_call_y1.{zone}")
    )


def zone_calls(truth: Fact, frames: Frames) -> list[Figure]:
    """Seconds and number of each zone's calls, visits included."""
    calls = frames["measure.zone_call"]
    out = []
    for zone in truth["zones"]:
        mine = calls[(calls["zone"] == zone["zone"]) & (calls["mode"] != "unknown")]
        true = zone["heat_calling_s"] + zone["cool_calling_s"]
        if mine.empty or true < 3600:
            continue
        # a bound of half an interval at each end of each call
        bound = float(((mine["n_call"] + 1) * mine["resolution_s"]).sum())
        told = float(mine["calling_s"].sum())
        out.append(Figure("zone calling", true, told, bound, true))
        told = float(mine["n_call"].sum())
        begun = zone["calls"] - open_at_start(truth, zone["zone"])
        out.append(Figure("zone calls", begun, told, None, max(begun, 50)))
    return out


def balance(truth: Fact, frames: Frames, interval_s: float, sheet: Mapping[str, Any]) -> Events:
    """Heating runs begun by a source past its balance point; starts within a run are left out."""
    low, high = sheet.get("low_balance_f"), sheet.get("high_balance_f")
    must, may = [], []
    for start in truth["heating_starts"]:
        past = None
        if start["source"] == "compressor" and low is not None:
            past = float(low) - start["outdoor_f"]
        if start["source"] == "burner" and high is not None and truth["kind"] == "dual_fuel":
            past = start["outdoor_f"] - float(high)
        if truth["kind"] == "heat_pump" and high is not None and start["outdoor_f"] > float(high):
            may.append(us(start["start"]))  # strips that start with the compressor
        if past is None or past < HARDLY_PAST_F:
            continue
        long = us(start["end"]) - us(start["start"]) >= 2 * interval_s * 1e6
        clear = past >= SURELY_PAST_F and not start["in_visit"] and long
        (must if clear else may).append(us(start["start"]))
    begun = [us(s["start"]) for s in truth["heating_starts"]]
    frame = frames["measure.balance"]
    frame = frame[
        ~frame["in_visit"] & frame["result"].isin(["below the low point", "above the high point"])
    ]
    reach = (interval_s + 2) * 1e6
    told = [ts for ts in frame["start_ts"] if any(abs(at - ts) <= reach for at in begun)]
    return matched(
        "balance point",
        must,
        may,
        ((ts, True) for ts in told),
        lambda at, seen: abs(at - seen) <= reach,
    )


def spans(
    what: str,
    true: list[tuple[int, int]],
    least_s: float,
    told: list[tuple[int, int]],
    slack_s: float,
    span: tuple[int, int],
) -> Events:
    """Stretches matched by overlap, `slack_s` apart at most; those of `least_s` must be found.

    What reaches out of `span` (into a visit) may be told.
    """
    slack = slack_s * 1e6

    def meets(a: tuple[int, int], b: tuple[int, int]) -> bool:
        return a[0] - slack < b[1] and b[0] < a[1] + slack

    must = [t for t in true if t[1] - t[0] >= least_s * 1e6 and span[0] <= t[0] and t[1] <= span[1]]
    found = sum(any(meets(t, seen) for seen in told) for t in must)
    right = sum(any(meets(t, seen) for t in true) for seen in told)
    return Events(what, len(must), found, len(told), right)


def stretches(rows: list[Fact]) -> list[tuple[int, int]]:
    """From and until of the truth's events [us]."""
    return [(us(row["start"]), us(row["end"])) for row in rows]


def told_in(frame: Any) -> list[tuple[int, int]]:
    """From and until of a table's rows outside visits [us]."""
    frame = frame[~frame["in_visit"]] if "in_visit" in frame else frame
    return list(zip(frame["start_ts"], frame["end_ts"], strict=True))


def both_fuels(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Furnace and compressor at once, from a minute and two intervals on."""
    true = stretches(truth["balance"]["both_fuels"])
    least = max(60.0, 2 * interval_s)
    told = told_in(frames["interval.both_fuels"])
    return spans("both fuels", true, least, told, interval_s, judged_span(truth))


def defrosts(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Defrosts of two minutes and three intervals or more: supply has to be seen falling."""
    true = stretches(truth["defrosts"])
    least = max(120.0, 3 * interval_s)
    told = told_in(frames["interval.defrost"])
    return spans("defrosts", true, least, told, 120 + interval_s, judged_span(truth))


def never_came_on(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Second stage in order and not coming. The truth has no word on whether the room was closing:
    only a quarter of an hour of it must be told. Where the panel dropped it in the same run, that
    has its own name.
    """
    drops = [us(drop["start"]) for drop in truth["stage_drops"]]
    runs = [
        (us(run["start"]), us(run["end"]))
        for output in ("output_w1", "output_y1")
        for run in truth["runs"].get(output, [])
    ]
    true = [
        (start, end)
        for mode in ("heating", "cooling")
        for start, end in stretches(truth["second_stage"][mode]["never_came_on"])
        if not any(a <= start < b and any(a <= drop <= start for drop in drops) for a, b in runs)
    ]
    frame = frames["measure.stage_up_missing"]
    told = told_in(frame[frame["result"] == "never came on"])
    return spans(
        "second stage never came on", true, 900, told, 300 + interval_s, judged_span(truth)
    )


def stage_drops(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Second stage dropped by the panel on the supply limit, the calls quiet about it."""
    reach = (2 * interval_s + 30) * 1e6
    second = [
        us(end) for name in ("output_w2", "output_y2") for _, end in truth["states"].get(name, [])
    ]
    must, may = [], []
    for drop in truth["stage_drops"]:
        at = us(drop["start"])
        took = any(abs(end - at) <= 3e6 for end in second)  # it was on
        quiet = quiet_before(truth, at + int(reach), 2 * int(reach), ("zone_call",))
        lasts = us(drop["end"]) - at >= 2 * interval_s * 1e6
        (must if took and quiet and lasts and not drop["in_visit"] else may).append(at)
    frame = frames["measure.limit_approach"]
    frame = frame[(frame["kind"] == "stage drop") & ~frame["in_visit"]]
    return matched(
        "stage drops",
        must,
        may,
        ((ts, False) for ts in frame["start_ts"]),
        lambda at, seen: abs(at - seen) <= reach,
    )


def hunting(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Static that turns eight times an hour for 40 min; what turns less often may be told, and so
    may what turns because the equipment stops by itself and takes the blower along.
    """
    rows = truth["hunting"]
    true = stretches(rows)
    stops = [us(event["start"]) for event in truth["cut_outs"]]
    often = [
        stretch
        for row, stretch in zip(rows, true, strict=True)
        if row["reversals"] * 3.6e9 / (stretch[1] - stretch[0]) > 8
        and stretch[1] - stretch[0] >= 40 * MINUTE_US
        and interval_s <= 30
        and not any(stretch[0] <= at < stretch[1] for at in stops)
    ]
    frame = frames["measure.static_hunting"]
    told = told_in(frame[frame["is_hunting"]])
    need = spans("hunting", often, 0, told, interval_s, judged_span(truth))
    may = spans("hunting", true, 0, told, interval_s, judged_span(truth))
    return Events("hunting", need.n_must, need.n_found, may.n_told, may.n_told_true)


def not_keeping_up(truth: Fact, frames: Frames) -> Events:
    """Zones over 2 °F off for 90 min on two days or more; on one day they may be told."""
    frame = frames["interval.not_keeping_up"]
    told = set(frame["zone"])
    must = {z["zone"] for z in truth["zones"] if len(z["off_by_2f_90min_days"]) >= 2}
    may = {z["zone"] for z in truth["zones"] if z["off_by_2f_90min_days"]}
    return Events("zones not keeping up", len(must), len(must & told), len(told), len(told & may))


def figures(truth: Fact, frames: Frames) -> list[Figure]:
    """Static, rise and calls."""
    return [*above_target(truth, frames), *rise(truth, frames), *zone_calls(truth, frames)]


def events(
    truth: Fact, frames: Frames, interval_s: float, sheet: Mapping[str, Any]
) -> list[Events]:
    """Fuels, defrosts, second stage, hunting and rooms; `sheet`: the settings as given."""
    return [
        balance(truth, frames, interval_s, sheet),
        both_fuels(truth, frames, interval_s),
        defrosts(truth, frames, interval_s),
        never_came_on(truth, frames, interval_s),
        stage_drops(truth, frames, interval_s),
        hunting(truth, frames, interval_s),
        not_keeping_up(truth, frames),
    ]
