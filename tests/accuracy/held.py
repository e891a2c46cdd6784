"""One site's measures held against its truth: figures with their errors, events with their matches.

Where a definition needs two intervals to see something, only what lasts that long must be found;
what lies on the edge of it may be found and is counted neither way.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tests.accuracy import more
from tests.accuracy.holding import Events, Fact, Figure, Frames, matched, quiet_before, us

FIRST_STAGES = ("output_w1", "output_y1")
TABLES = (
    "measure.runtime",
    "measure.stage_time",
    "measure.cycle",
    "measure.static_total",
    "measure.stage_up",
    "measure.trip_context",
    "interval.output_run",
    "interval.cut_out",
    *more.TABLES,
)


def figures(truth: Fact, frames: Frames) -> list[Figure]:
    """Runtimes, stage seconds, seconds above target, steady rise and zone calls."""
    out = []
    runtime = frames["measure.runtime"].set_index("output")
    for output, true in truth["runtime_s"].items():
        if true >= 600 and output in runtime.index:
            row = runtime.loc[output]
            out.append(Figure("runtime", true, row.on_s, row.plus_minus_s, true))
    stage_time = frames["measure.stage_time"]
    split = {(r.mode, r.source, r.stage): r for r in stage_time.itertuples()}
    heating, cooling = truth["stages_s"]["heating"], truth["stages_s"]["cooling"]
    if not any(source == "both" for _, source, _ in split):
        for true, key in (
            (heating["burner_first"], ("heating", "burner", "first")),
            (heating["burner_second"], ("heating", "burner", "second")),
            (heating["compressor_first"], ("heating", "compressor", "first")),
            (heating["compressor_second"], ("heating", "compressor", "second")),
            (cooling["first"], ("cooling", "compressor", "first")),
            (cooling["second"], ("cooling", "compressor", "second")),
        ):
            if true >= 600:
                row = split.get(key)
                told, bound = (0.0, None) if row is None else (row.s, row.plus_minus_s)
                out.append(Figure("stage time", true, told, bound, true))
    out += more.figures(truth, frames)
    return out


def starts(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Runs that with their rests last two intervals: each found once, ends within an interval."""
    must = found = told = told_true = 0
    reach = interval_s * 1_000_000 + 1_000_000
    least = 2 * interval_s * 1_000_000
    runs = frames["interval.output_run"]
    for output in ("output_w1", "output_y1"):
        mine = runs[runs["output"] == output].sort_values("start_ts")
        if mine.empty:
            continue
        true = [(us(r["start"]), us(r["end"]), r["closed"]) for r in truth["runs"][output]]
        claimed: set[int] = set()
        for i, (start, end, closed) in enumerate(true):
            hit = mine[(mine.start_ts < end) & (mine.end_ts > start)]
            claimed |= set(hit.index)
            rest_before = start - true[i - 1][1] if i else least
            rest_after = true[i + 1][0] - end if i + 1 < len(true) else least
            if not closed or min(end - start, rest_before, rest_after) < least:
                continue
            must += 1
            found += (
                len(hit) == 1
                and abs(hit.start_ts.iloc[0] - start) <= reach
                and abs(hit.end_ts.iloc[0] - end) <= reach
            )
        # a sampled output holds an interval past its last reading, where the truth has ended
        mine = mine[mine.start_ts < us(truth["window"]["end"])]
        told += len(mine)
        told_true += len(claimed & set(mine.index))
    return Events("starts", must, found, told, told_true)


def start_counts(truth: Fact, frames: Frames, interval_s: float) -> list[Events]:
    """Counts that are given as exact: each must be the truth's."""
    out = []
    cycle = frames["measure.cycle"]
    first, last = more.judged_span(truth)
    for output, source in (("output_w1", "burner"), ("output_y1", "compressor")):
        mine = cycle[cycle["source"] == source]
        if mine.empty:
            continue
        begun = [r for r in truth["runs"][output] if r["start"] > truth["window"]["start"]]
        true = sum(not run["in_visit"] for run in begun)
        # a run that only ends in a visit may be left out or counted; one that begins in its last
        # interval is read after it
        reach = interval_s * 1e6
        most = true + sum(
            run["in_visit"] and first - reach <= us(run["start"]) < last for run in begun
        )
        told = int(mine.n_start.sum())
        if bool(mine.is_at_least.any()):
            sure_wrong = int(told > most)
            out.append(Events("starts told as at least", 1, 1 - sure_wrong, 1, 1, sure_wrong))
        else:
            right = int(true <= told <= most)
            out.append(Events("starts told as exact", 1, right, 1, right, 1 - right))
    return out


def trips(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Panel limit trips outside visits, by the instant of the drop."""
    frame = frames["measure.trip_context"]
    frame = frame[~frame.in_visit]
    reach = (2 * interval_s + 10) * 1e6
    true = [(us(t["drop"]), t["in_visit"]) for t in truth["trips"]]
    return matched(
        "limit trips",
        [at for at, visit in true if not visit],
        [at for at, visit in true if visit],
        zip(frame.drop_ts, frame.is_certain, strict=True),
        lambda at, seen: abs(at - seen) <= reach,
    )


def fell(truth: Fact, at: int, until: int) -> bool:
    """Whether supply over return fell by 15 °F or a quarter within 3 min of the peak about `at`."""
    first, air = us(truth["air"]["first"]), truth["air"]["rise_f"]
    begin = int(at - first) // 1_000_000
    end = min(begin + 180, int(until - first) // 1_000_000 + 1)
    peak = float(air[max(0, begin - 30) : begin + 30].max())
    return peak - float(air[begin:end].min()) >= max(15.0, 0.25 * peak)


def cut_outs(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Stops of the equipment with its output on, where the definition can see them.

    It asks for 3 min of unchanged outputs, calls and dampers (seen as such if they last two
    intervals longer), a proven fan, and a fall of 15 °F or a quarter of the rise.
    """
    must, may = [], []
    sources = set(frames["interval.cut_out"]["source"])
    for event in truth["cut_outs"]:
        at = us(event["start"])
        lasts_s = (us(event["end"]) - at) / 1e6
        if event["kind"] == "compressor protection" and "compressor" not in sources:
            may.append(at)
            continue
        seen = (
            event["fan"]
            and not event["in_visit"]
            and lasts_s >= max(60, 2 * interval_s)
            and quiet_before(
                truth,
                at,
                180_000_000 + int(2 * interval_s * 1e6),
                ("output_", "zone_call", "zone_damper"),
            )
            # the last reading before its end lies up to an interval earlier
            and fell(truth, at, us(event["end"]) - int(interval_s * 1e6))
        )
        (must if seen else may).append(at)
    frame = frames["interval.cut_out"]
    frame = frame[~frame.in_visit]
    return matched(
        "equipment cut-outs",
        must,
        may,
        zip(frame.start_ts, frame.is_certain, strict=True),
        lambda at, seen: -200e6 <= seen - at <= (60 + 2 * interval_s) * 1e6,
    )


def second_runs(truth: Fact) -> list[tuple[int, int]]:
    """From and until of each time W2 or Y2 was on [us]."""
    return [
        (us(start), us(end))
        for name in ("output_w2", "output_y2")
        for start, end in truth["states"].get(name, [])
    ]


def since_s(truth: Fact, output: str, at: int) -> float:
    """How long an output had been on at an instant, chatter bridged; 0 if it was off."""
    runs = ((us(run["start"]), us(run["end"])) for run in truth["runs"][output])
    return max(((at - start) / 1e6 for start, end in runs if start <= at < end), default=0.0)


def staging(truth: Fact, frames: Frames, interval_s: float, delay_s: float | None) -> Events:
    """Second-stage starts out of order: early by more than the tolerance, or with too few zones."""
    frame = frames["measure.stage_up"]
    frame = frame[~frame.in_visit]
    reach = (interval_s + 2) * 1e6
    tolerance_s = max(30.0, 2 * interval_s)
    must, may = [], []
    for mode in ("heating", "cooling"):
        for start in truth["second_stage"][mode]["starts"]:
            at = us(start["at"])
            steady = quiet_before(truth, at + int(reach) + 1, 2 * int(reach) + 1, ("zone_call",))
            # a chatter starts no clock again
            ran_s = max(start["ran_s"], *(since_s(truth, name, at) for name in FIRST_STAGES))
            clearly = (
                delay_s is not None
                and not start["asked"]
                and (max(start["longest_called_s"], ran_s) < delay_s - tolerance_s)
            )
            wrong = (start["too_few_zones"] and steady) or (start["early"] and clearly)
            edge = start["too_few_zones"] or start["early"]
            long = any(
                abs(a - at) <= 3e6 and b - a >= 2 * interval_s * 1e6 for a, b in second_runs(truth)
            )
            if wrong and long and not start["in_visit"]:
                must.append(at)
            elif edge or start["in_visit"] or not steady:
                may.append(at)
    flagged = frame[frame["result"].isin(["early", "too few zones"])]
    return matched(
        "second stage out of order",
        must,
        may,
        ((ts, True) for ts in flagged.start_ts),
        lambda at, seen: abs(at - seen) <= reach,
    )


def stayed_in(truth: Fact, frames: Frames, interval_s: float) -> Events:
    """Second stage that stayed in after its condition had gone, by the run it belongs to.

    Where it should not have come on at all, that is the event, and its staying in is part of it;
    one that only took over from the other fuel is not audited.
    """
    frame = frames["measure.stage_up"]
    told = frame[~frame.in_visit & frame.is_stayed_in.eq(True)]
    true = [
        (us(e["start"]), us(e["end"]), e["in_visit"])
        for mode in ("heating", "cooling")
        for e in truth["second_stage"][mode]["stayed_in"]
    ]
    margin = 2 * interval_s * 1e6
    in_order = [
        us(start["at"])
        for mode in ("heating", "cooling")
        for start in truth["second_stage"][mode]["starts"]
        if not start["too_few_zones"] and not start["early"]
    ]
    audited = [run for run in second_runs(truth) if any(abs(run[0] - at) <= 3e6 for at in in_order)]
    hit = [bool(((told.start_ts < b) & (told.end_ts > a)).any()) for a, b, _ in true]
    long = [
        b - a >= margin + 120e6
        and not visit
        and any(begin < a and b <= end + 3e6 for begin, end in audited)
        for a, b, visit in true
    ]
    right = sum(any(r.start_ts < b and r.end_ts > a for a, b, _ in true) for r in told.itertuples())
    must = sum(long)
    found = sum(h for h, need in zip(hit, long, strict=True) if need)
    return Events("second stage stayed in", must, found, len(told), right)


def events(
    truth: Fact, frames: Frames, interval_s: float, sheet: Mapping[str, Any]
) -> list[Events]:
    """Every kind of event; `sheet`: the settings as the site file gives them."""
    delay = sheet.get("stage_up_delay_min")
    delay_s = None if delay is None else float(delay) * 60
    return [
        starts(truth, frames, interval_s),
        *start_counts(truth, frames, interval_s),
        trips(truth, frames, interval_s),
        cut_outs(truth, frames, interval_s),
        staging(truth, frames, interval_s, delay_s),
        stayed_in(truth, frames, interval_s),
        *more.events(truth, frames, interval_s, sheet),
    ]
