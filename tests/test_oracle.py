"""Runs, starts, runtime, calls and conditions by SQL, against a slow loop over seconds.

The loop knows nothing of segments, windows or joins: it looks at one second after another, as a
person with the printed log would. Logs are drawn at random, with gaps, chatter and edges that
coincide, for a furnace with an air conditioner and three zones; G is the fan.
"""

from __future__ import annotations

import random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

US = 1_000_000
CHATTER_S = 15
PURGE_S = 180  # purge_s not given: 120 s, and the minute over that the stage allows
TRAVEL_S = 75  # damper_travel_s not given
OUTPUTS = ("output_w1", "output_w2", "output_y1", "output_g")
CALLS = (("zone_call_w1", 1), ("zone_call_w1", 2), ("zone_call_y1", 3))
CHANNELS = (*((o, None) for o in OUTPUTS), *CALLS)

Channel = tuple[str, int | None]
Stretch = tuple[int, bool | None]  # length in seconds; on, off, or None for not known


# ---------------------------------------------------------------------------- logs at random


def random_stretches(rng: random.Random, until_s: int) -> list[Stretch]:
    """Stretches of one channel: short and long, now and then not known."""
    stretches: list[Stretch] = []
    at = 0
    while at < until_s:
        length = rng.choice([rng.randrange(1, 20), rng.randrange(14, 17), rng.randrange(20, 600)])
        state = rng.choices([True, False, None], [10, 10, 1])[0]
        stretches.append((length, state))
        at += length
    return stretches


def to_states(stretches: list[Stretch]) -> list[tuple[float, float, bool]]:
    """As a store keeps them: equal neighbours are one, what is not known is left out."""
    states: list[tuple[float, float, bool]] = []
    at = 0
    for length, state in stretches:
        if state is not None:
            if states and states[-1][1] == at and states[-1][2] == state:
                states[-1] = (states[-1][0], at + length, state)
            else:
                states.append((at, at + length, state))
        at += length
    return states


def by_second(stretches: list[Stretch], window: tuple[int, int]) -> list[bool | None]:
    """The channel's state in each second of the window."""
    line: list[bool | None] = []
    for length, state in stretches:
        line += [state] * length
    line += [None] * max(0, window[1] - len(line))
    return line[window[0] : window[1]]


# ---------------------------------------------------------------------------- the slow loop


def slow_runs(line: list[bool | None]) -> list[dict[str, Any]]:
    """Runs of one output, by walking from second to second."""
    line = list(line)
    n = len(line)
    chatter = [False] * n
    # an off that short, seen to begin and to end, is chatter
    for at in range(n):
        if line[at] is False and at > 0 and line[at - 1] is True:
            end = at
            while end < n and line[end] is False:
                end += 1
            if end < n and line[end] is True and end - at <= CHATTER_S:
                for k in range(at, end):
                    chatter[k] = True
    runs = []
    at = 0
    while at < n:
        if line[at] is not True:
            at += 1
            continue
        end = at
        while end < n and (line[end] is True or chatter[end]):
            end += 1
        inside = range(at, end)
        has_start = at > 0 and line[at - 1] is False
        has_end = end < n and line[end] is False
        runs.append(
            {
                "start": at,
                "end": end,
                "on_s": sum(line[k] is True for k in inside),
                "has_start": has_start,
                "has_end": has_end,
                "is_closed": has_start and has_end,
                "n_chatter": sum(chatter[k] and not chatter[k - 1] for k in inside),
            }
        )
        at = end
    return runs


def slow_calls(line: list[bool | None]) -> list[tuple[int, int, bool, bool]]:
    """Calls of one channel: from, until, whether each end was seen. A break is a break."""
    calls = []
    at = 0
    while at < len(line):
        if line[at] is not True:
            at += 1
            continue
        end = at
        while end < len(line) and line[end] is True:
            end += 1
        seen_start = at > 0 and line[at - 1] is False
        seen_end = end < len(line) and line[end] is False
        calls.append((at, end, seen_start, seen_end))
        at = end
    return calls


def slow_conditions(lines: dict[Channel, list[bool | None]]) -> list[dict[str, Any]]:
    """What held in each second."""
    found = []
    source_off = fan_off = idle = None
    changed = 0
    before: tuple[int, ...] | None = None
    for at in range(len(lines["output_w1", None])):
        now = {c: line[at] for c, line in lines.items()}
        w1, w2, y1, fan = (now[o, None] for o in OUTPUTS)
        calls_known = all(now[c] is not None for c in CALLS)
        heat = [zone for role, zone in CALLS if role == "zone_call_w1" and now[role, zone] is True]
        cool = [zone for role, zone in CALLS if role == "zone_call_y1" and now[role, zone] is True]
        # dampers travel after every change of what is seen to call
        if (calling := (*heat, 0, *cool)) != before:
            before, changed = calling, at
        if None in (w1, w2, y1):
            held = "unknown"
        elif w1:
            held = "heating"
        elif y1:
            held = "cooling"
        elif fan is None:
            held = "unknown"
        elif not fan:
            held = "off"
        elif calls_known and (heat or cool):
            held = "waiting"
        elif (
            source_off is not None
            and (fan_off is None or fan_off < source_off)
            and at - idle < PURGE_S
        ):
            held = "purge"
        else:
            held = "fan_only"
        source = {
            "heating": "both" if w1 and y1 else "burner",
            "cooling": "compressor",
        }.get(held)
        found.append(
            {
                "w1": w1,
                "w2": w2,
                "y1": y1,
                "fan_on": fan,
                "class": held,
                "source": source,
                "stage": 0 if source is None else 2 if w1 and w2 else 1,
                "n_heat": len(heat) if calls_known else None,
                "heat_zones": "+".join(map(str, heat)) if calls_known else None,
                "n_cool": len(cool) if calls_known else None,
                "settled_s": changed + TRAVEL_S,
            }
        )
        # the second is over: when each was last on
        if w1 or y1:
            source_off = idle = at + 1
        if calls_known and (heat or cool):
            idle = at + 1
        if fan is False:
            fan_off = at + 1
    return found


# ---------------------------------------------------------------------------- both held together


def compare(
    bench: Any, site_log: Any, drawn: dict[str, dict[Channel, list[Stretch]]], window: Any
) -> None:
    """Run the stages on all drawn sites at once and hold each against the loop."""
    logs = {
        site_id: site_log(
            window=window, states={c: to_states(stretches) for c, stretches in channels.items()}
        )
        for site_id, channels in drawn.items()
    }
    bench.measure(logs, "measure.runtime")
    tables = {
        t: bench.rows(t)
        for t in (
            "interval.output_run",
            "interval.call",
            "interval.source_run",
            "interval.condition",
            "measure.runtime",
        )
    }
    start_ts = next(iter(logs.values())).ts(window[0])

    def second(ts: int) -> int:
        assert (ts - start_ts) % US == 0
        return (ts - start_ts) // US

    for site_id, channels in drawn.items():
        lines = {c: by_second(stretches, window) for c, stretches in channels.items()}
        own = {t: [r for r in rows if r["site_id"] == site_id] for t, rows in tables.items()}

        runs = {o: slow_runs(lines[o, None]) for o in OUTPUTS}
        found_runs = [
            {"start": second(r["start_ts"]), "end": second(r["end_ts"])}
            | {k: r[k] for k in ("on_s", "has_start", "has_end", "is_closed", "n_chatter")}
            | {"output": r["output"]}
            for r in own["interval.output_run"]
        ]
        assert found_runs == [r | {"output": o} for o in sorted(OUTPUTS) for r in runs[o]]

        found_calls = [
            (r["zone"], second(r["start_ts"]), second(r["end_ts"]), r["has_start"], r["has_end"])
            for r in own["interval.call"]
        ]
        assert found_calls == [
            (zone, *call) for c in CALLS for zone in c[1:] for call in slow_calls(lines[c])
        ]

        for row in own["measure.runtime"]:
            line, output_runs = lines[row["output"], None], runs[row["output"]]
            assert row["on_s"] == sum(state is True for state in line)
            assert row["n_start"] == sum(r["has_start"] for r in output_runs)
            assert row["n_run"] == len(output_runs)
            assert row["n_open_run"] == sum(not r["is_closed"] for r in output_runs)

        for source, output in (("burner", "output_w1"), ("compressor", "output_y1")):
            line = lines[output, None]
            rests = []
            for n, run in enumerate(runs[output]):
                at = runs[output][n - 1]["end"] if n else None
                known = at is not None and all(s is False for s in line[at : run["start"]])
                # a rest has at least a second, or the run before it was cut, not ended
                rests.append(run["start"] - at if known and run["start"] > at else None)
            found = [
                r["rest_before_s"] for r in own["interval.source_run"] if r["source"] == source
            ]
            assert found == rests

        expected = slow_conditions(lines)
        rows = own["interval.condition"]
        assert second(rows[0]["start_ts"]) == 0
        at = 0
        for row in rows:
            assert second(row["start_ts"]) == at
            got = {k: row[k] for k in expected[0] if k != "settled_s"}
            got["settled_s"] = second(row["settled_ts"])
            end = second(row["end_ts"])
            for k in range(at, end):
                assert got == expected[k], f"{site_id}: second {k} of {at} to {end}"
            # a row is as long as it can be
            assert end == len(expected) or expected[end] != got, f"{site_id}: {end}"
            at = end
        assert at == len(expected)


def test_twenty_random_sites_in_one_batch(bench: Any, site_log: Any) -> None:
    window = (400, 5400)
    drawn = {
        f"site-{seed:02}": {
            c: random_stretches(random.Random(f"{seed} {c}"), window[1] + 400) for c in CHANNELS
        }
        for seed in range(20)
    }
    compare(bench, site_log, drawn, window)


@pytest.mark.parametrize("state", [True, False])
def test_one_state_throughout(bench: Any, site_log: Any, state: bool) -> None:
    channels = {c: [(1000, state)] for c in CHANNELS}
    compare(bench, site_log, {"elm": channels}, (100, 900))


stretches = st.lists(
    st.tuples(
        st.one_of(st.integers(1, 17), st.integers(18, 300)),
        st.sampled_from([True, False, True, False, None]),
    ),
    min_size=1,
    max_size=12,
)


@given(drawn=st.fixed_dictionaries({c: stretches for c in CHANNELS}))
@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
def test_logs_that_hypothesis_finds(
    bench: Any, site_log: Any, drawn: dict[Channel, list[Stretch]]
) -> None:
    compare(bench, site_log, {"elm": drawn}, (10, 900))
