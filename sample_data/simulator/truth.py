"""Ground truth, straight from the record's one-second arrays; shares no code with the pipeline.

Half-open segments [start, end); UTC instants; seconds, °F, in. w.c. Everything lies within the
panel log's span; "without_visits" leaves out what lies in a visit of site.toml.
"""

from collections.abc import Sequence

import numpy as np

from sample_data.simulator import larch_14 as site
from sample_data.simulator.events import (
    cycles,
    reached_without_trip,
    runs,
    second_stage_starts,
    static_facts,
    trips,
)
from sample_data.simulator.house import Record
from sample_data.simulator.known import (
    VISITS,
    Fact,
    Known,
    segments,
    utc,
)
from sample_data.simulator.loggers import STATIC_CLOCK_S, Export

PLANTED = [
    {
        "condition": "second stage runs with one zone: the panel behaves as if minimum zones were "
        "1, the sheet says 2",
        "codes": ["second-stage-too-few-zones"],
    },
    {
        "condition": "relief opens one damper and no more, so one small zone alone on second stage "
        "stays over target",
        "codes": ["static-above-target"],
    },
    {
        "condition": "zone 3 alone on second stage reaches the panel's high limit",
        "codes": ["high-limit-trips"],
    },
    {
        "condition": "zone 3's thermostat cycles 8 to 9 times an hour; the sheet says 3",
        "codes": ["short-cycling"],
    },
    {
        "condition": f"the static logger's clock runs {STATIC_CLOCK_S} s ahead of the panel log",
        "codes": ["clock-offset"],
    },
    {
        "condition": "the plenum logger lost three hours on Friday 16 January",
        "codes": ["logging-gap"],
    },
]
MAY_BE_FOUND = {
    "relief-missing": "zones 1 and 2 may relieve and never do while zone 4's damper is open",
    "rise-outside-plate": "only with zone 3 alone",
    "near-limit": "supply comes within 5 °F of the limit without a trip",
    "second-stage-stayed-in": "W2 stays with one zone left: the panel's minimum is 1",
    "zone-overheats": "the basement is warmed by relief",
    "static-peak-in-purge": "a short call of zone 3 ends before relief has opened",
    "cycles-per-hour": "zone 3's thermostat against the 3 on the sheet",
}
MUST_NOT_BE_FOUND = [
    "equipment-cut-outs",
    "low-limit-trips",
    "limit-did-not-act",
    "stage-drop-on-limit",
    "second-stage-early",
    "second-stage-never-came-on",
    "second-stage-not-by-panel",
    "balance-point-mismatch",
    "both-fuels",
    "chatter",
    "swapped-probes",
    "stuck-sensor",
    "static-zero-shifted",
    "zone-never-satisfied",
    "no-purge-after-heat",
    "fault-contact",
    "emergency-heat-left-on",
]


def truth(record: Record, files: Sequence[Export]) -> Fact:
    """Everything that is true of the sample, as one JSON object."""
    known = Known(record)
    points = known.points
    w1, w2, y1, ob = (points[name] for name in ("W1", "W2", "Y1", "O/B"))
    listed = {name: runs(known, name) for name in ("W1", "Y1")}
    tripped, not_trips = trips(known)
    static_file = next(export for export in files if export.name == "trunk_static.csv")
    states = {name: segments(flag) for name, flag in points.items()}
    facts: Fact = {
        "site": site.SITE,
        "seed": site.SEED,
        "units": "UTC instants, seconds, °F, in. w.c.",
        "window": {"start": utc(known.first), "end": utc(known.end)},
        "visits": [
            {
                "start": utc(site.second_of(start)),
                "end": utc(site.second_of(end)),
                "what": what,
            }
            for start, end, what in VISITS
        ],
        "files": {export.name: file_facts(export) for export in files},
        "states": {
            name: [[utc(start), utc(end)] for start, end in some] for name, some in states.items()
        },
        "runtime_s": {name: int(flag.sum()) for name, flag in points.items()},
        "runtime_without_visits_s": {
            name: int((flag & ~known.in_visit).sum()) for name, flag in points.items()
        },
        "stages": {
            "heating": {
                "burner_first_s": int((w1 & ~w2).sum()),
                "burner_second_s": int((w1 & w2).sum()),
                "compressor_first_s": int((y1 & ~ob).sum()),
            },
            "cooling": {"first_s": int((y1 & ob).sum())},
        },
        "zones_calling_s": {
            str(zones): int((known.span & (known.calling == zones)).sum())
            for zones in range(len(site.ZONES) + 1)
        },
        "runs": listed,
        "cycles": {name: cycles(known, name, some) for name, some in listed.items()},
        "trips": tripped,
        "drops_within_30_s_of_last_call": not_trips,
        "reached_limit_without_trip": reached_without_trip(known),
        "static": static_facts(
            known,
            max(known.first, int(static_file.seconds[0])),
            min(known.end, int(static_file.seconds[-1])),
        ),
        "second_stage_starts": second_stage_starts(known),
        "outdoor_f": {
            "min": round(float(site.outdoor(len(w1))[known.span].min()), 1),
            "max": round(float(site.outdoor(len(w1))[known.span].max()), 1),
        },
        "planted": PLANTED,
        "must_be_found": sorted({code for planted in PLANTED for code in planted["codes"]}),
        "may_be_found": MAY_BE_FOUND,
        "must_not_be_found": MUST_NOT_BE_FOUND,
    }
    facts["identities"] = identities(known, files, facts)
    return facts


def file_facts(export: Export) -> Fact:
    """What is true of one exported file; `rows` counts the physical lines after the header."""
    gaps = []
    if export.gap:
        last, first = export.gap
        gaps.append({"last_before": utc(last), "first_after": utc(first), "seconds": first - last})
    return {
        "rows": export.rows,
        "preamble_lines": export.preamble_lines,
        "header_line": export.preamble_lines + 1,
        "readings": len(export.seconds),
        "interval_s": export.interval_s,
        "clock_offset_s": export.clock_offset_s,
        "first": utc(int(export.seconds[0])),
        "last": utc(int(export.seconds[-1])),
        "gaps": gaps,
        "malformed": export.malformed,
    }


def identities(known: Known, files: Sequence[Export], facts: Fact) -> dict[str, bool]:
    """What must hold whatever happened, checked on the arrays and on the facts themselves."""
    span_s = known.end - known.first
    on = known.points
    static = facts["static"]["whole_span"]
    table = static["by_zones_calling_and_stage"]
    gap = next(export.gap for export in files if export.name == "plenum_temps.csv")
    quiet = True
    if gap:
        alone = (known.calling == 1) & known.calls[:, 2] & on["W2"]
        quiet = not (alone | known.limit)[gap[0] : gap[1]].any()
    runs_s = {name: sum(end - start for start, end in segments(flag)) for name, flag in on.items()}
    dropped = [trip["drop"] for trip in facts["trips"]]
    run_ends = {run["end"] for some in facts["runs"].values() for run in some}
    return {
        "segments on add up to runtime": runs_s == facts["runtime_s"],
        "segments on and off add up to the window": all(
            sum(end - start for start, end in segments(~flag & known.span)) + runs_s[name] == span_s
            for name, flag in on.items()
        ),
        "zones calling add up to the window": sum(facts["zones_calling_s"].values()) == span_s,
        "stages add up to W1": facts["stages"]["heating"]["burner_first_s"]
        + facts["stages"]["heating"]["burner_second_s"]
        == facts["runtime_s"]["W1"],
        "run lengths add up to runtime": all(
            sum(run["seconds"] for run in facts["runs"][name]) == facts["runtime_s"][name]
            for name in facts["runs"]
        ),
        "W2 only with W1": not (on["W2"] & ~on["W1"]).any(),
        "both fuels never on": not (on["W1"] & on["Y1"]).any(),
        "fan on with every heat output": not (known.heat & ~on["G"]).any(),
        "every trip ends a run": all(drop in run_ends for drop in dropped),
        "trips start before heat drops and peak within 30 s": all(
            trip["start"] < trip["drop"] <= trip["peak_at"] <= utc_plus(trip["drop"], 30)
            for trip in facts["trips"]
        ),
        "supply reaches the limit less 1 °F in trips or as the last call ends": all(
            reach["last_call_ended"] for reach in facts["reached_limit_without_trip"]
        ),
        "no trip within 30 s of the last call's end": not facts["drops_within_30_s_of_last_call"],
        "above target adds up": static["above_target_s"]
        == sum(sum(stages.values()) for stages in table.values()),
        "furnace's own limit never opened": not known.own_limit.any(),
        "plenum gap holds no trip and no zone 3 alone on second stage": quiet,
    }


def utc_plus(instant: str, seconds: int) -> str:
    """The instant so many seconds later."""
    return f"{np.datetime64(instant[:-1]) + np.timedelta64(seconds, 's')}Z"
