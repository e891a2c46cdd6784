"""The four loggers left at the house: what each reads of the record, and the file it exports.

Every table is written column by column; no loop runs over rows. Noise is drawn for the whole
record, so that a shorter record gives the same first rows.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_data.simulator import larch_14 as site
from sample_data.simulator.house import Record

Signal = NDArray[np.float64]

PA_PER_INWC = 249.08891  # conventional inch of water: 1,000 kg/m³, 9.80665 m/s²
PROBE_LAG_S = 12.0
ROOM_LAG_S = 180.0
OUTDOOR_LAG_S = 300.0
STATIC_ZERO_PA = 0.3  # the transducer's own zero, as it came
STATIC_CLOCK_S = 240  # planted: this logger's clock runs ahead of the panel's
POINTS = [
    *(f"Z{zone} call" for zone in site.ZONES),
    *(f"Z{zone} damper" for zone in site.ZONES),
    "W1", "W2", "Y1", "G", "O/B",
]  # fmt: skip
FLAG_OF_POINT = [
    *(f"call_{zone}" for zone in site.ZONES),
    *(f"damper_{zone}" for zone in site.ZONES),
    "w1", "w2", "y1", "g", "ob",
]  # fmt: skip


@dataclass(frozen=True)
class Export:
    """One exported file: its text and what is true of it."""

    name: str
    text: str
    preamble_lines: int
    rows: int  # physical lines after the header, malformed ones included
    seconds: NDArray[np.int64]  # of the record, at each reading the logger took
    interval_s: int | None
    clock_offset_s: int = 0
    gap: tuple[int, int] | None = None  # seconds of the last reading before, the first after
    malformed: list[dict[str, object]] = field(default_factory=list)


def lagged(signal: Signal, lag_s: float) -> Signal:
    """`signal` through a first-order lag: what a probe with this time constant shows."""
    return np.asarray(pd.Series(signal).ewm(alpha=1.0 / (1.0 + lag_s), adjust=False).mean())


def supply_at_probe(record: Record) -> Signal:
    """Supply air at the logger's probe (°F), every second, without noise."""
    return lagged(record.signal("supply_f"), PROBE_LAG_S)


def static_at_sensor(record: Record) -> Signal:
    """Static at the logger's sensor (in. w.c.), every second, without noise."""
    return record.signal("static_inwc") + STATIC_ZERO_PA / PA_PER_INWC


def noise(seed: int, seconds: int) -> Signal:
    """The first `seconds` of a stream of standard normal values, one per second."""
    stream = np.random.default_rng([site.SEED, seed]).standard_normal(site.SECONDS)
    return np.asarray(np.round(stream[:seconds], 6))


def every(first: str, last: str, step_s: int, limit: int) -> NDArray[np.int64]:
    """Seconds of the record from local time `first` to `last`, below `limit`."""
    seconds = np.arange(site.second_of(first), site.second_of(last) + 1, step_s)
    return seconds[seconds < limit]


def wall_clock(seconds: NDArray[np.int64], offset_s: int = 0) -> pd.DatetimeIndex:
    """What a local clock without a zone shows (no clock change falls in the record)."""
    start = pd.Timestamp(site.START.replace(tzinfo=None))
    return pd.DatetimeIndex(start + pd.to_timedelta(seconds + offset_s, unit="s"))


def tenths(values: Signal) -> Signal:
    """Rounded to 0.1, without a negative zero."""
    return np.asarray(np.round(values, 1)) + 0.0


def plenum_temps(record: Record) -> Export:
    """Supply and return air every 10 s; its battery was off its contacts for three hours."""
    count = len(record.signals)
    before = every("2026-01-12 14:05:10", "2026-01-16 11:02:40", 10, count)
    after = every("2026-01-16 14:03:13", "2026-01-20 15:24:00", 10, count)
    seconds = np.concatenate([before, after])
    supply = supply_at_probe(record) + 0.12 * noise(10, count)
    back = lagged(record.signal("return_f"), PROBE_LAG_S) + 0.06 * noise(11, count)
    at = wall_clock(seconds)
    half = np.where(at.hour < 12, " AM", " PM")
    table = pd.DataFrame(
        {
            "Date": at.strftime("%m/%d/%Y"),
            "Time": at.strftime("%I:%M:%S") + half,
            "Supply air (°F)": tenths(supply[seconds]),
            "Return air (°F)": tenths(back[seconds]),
        }
    )
    preamble = [
        "Temperature logger, two probes",
        "Placed: supply trunk 4 ft from the unit; return drop above the filter",
        "Started: 01/12/2026 02:05:10 PM",
        "Interval: 10 s",
        "Stop: when full",
        "",
    ]
    text = "\n".join(preamble) + "\n" + table.to_csv(index=False, float_format="%.1f")
    gap = (int(before[-1]), int(after[0])) if len(after) else None
    return Export("plenum_temps.csv", text, len(preamble), len(table), seconds, 10, gap=gap)


def trunk_static(record: Record) -> Export:
    """Static in the supply trunk every 5 s, in Pa, by a clock that runs four minutes ahead."""
    count = len(record.signals)
    seconds = every("2026-01-12 14:03:05", "2026-01-20 15:22:30", 5, count)
    pascal = static_at_sensor(record) * PA_PER_INWC
    pascal = pascal + (0.2 + 0.012 * pascal) * noise(20, count)
    table = pd.DataFrame(
        {
            "Time": wall_clock(seconds, STATIC_CLOCK_S).strftime("%Y-%m-%d %H:%M:%S"),
            "Trunk static (Pa)": tenths(pascal[seconds]),
        }
    )
    text = table.to_csv(index=False, sep=";", decimal=",", float_format="%.1f")
    return Export("trunk_static.csv", text, 0, len(table), seconds, 5, STATIC_CLOCK_S)


def panel_points(record: Record) -> NDArray[np.bool_]:
    """The panel log's points by second, in the order of POINTS."""
    return np.stack([record.flag(name) for name in FLAG_OF_POINT], axis=1)


PANEL_LOG = ("2026-01-12 14:02:00", "2026-01-20 15:21:40")


def panel_states(record: Record) -> Export:
    """Calls, damper commands, outputs and fault contact on change, blank where unchanged.

    The first row and the last, written when the log was stopped, show every point.
    """
    count = len(record.signals)
    points = panel_points(record)
    first, last = (site.second_of(local) for local in PANEL_LOG)
    stopped = last < count
    changed = np.zeros_like(points)
    changed[1:] = points[1:] != points[:-1]
    changed[first] = True
    rows = np.flatnonzero(changed.any(axis=1))
    rows = rows[(rows >= first) & (rows < last)]
    if stopped:
        changed[last] = True
        rows = np.append(rows, last)
    stamps = wall_clock(rows).strftime("%Y-%m-%dT%H:%M:%S") + "-07:00"
    columns: dict[str, object] = {"Timestamp": stamps}
    for column, point in enumerate(POINTS):
        on, off = ("open", "closed") if point.endswith("damper") else ("on", "off")
        word = np.where(points[rows, column], on, off)
        columns[point] = np.where(changed[rows, column], word, "")
    fault = np.full(len(rows), "", dtype="<U5")
    fault[0] = "ok"
    if stopped:
        fault[-1] = "ok"
    columns["Fault"] = fault
    table = pd.DataFrame(columns)
    return Export("panel_states.csv", table.to_csv(index=False), 0, len(table), rows, None)


# local time of the line -> what happened to it
ROOM_LINES_SPOILT = {
    "2026-01-14T03:18:00": "cut short",
    "2026-01-15T09:46:00": "bad cell",
    "2026-01-17T16:30:00": "repeated header",
}


def rooms_outdoor(record: Record) -> Export:
    """Rooms and outdoors every 2 min, tabs, local time; three lines came out wrong."""
    count = len(record.signals)
    seconds = every("2026-01-12 14:08:00", "2026-01-20 15:26:00", 120, count)
    names = ("Main floor", "Upstairs", "Garage bedroom", "Basement")
    columns: dict[str, object] = {"Time": wall_clock(seconds).strftime("%Y-%m-%dT%H:%M:%S")}
    for zone, name in zip(site.ZONES, names, strict=True):
        air = lagged(record.signal(f"zone_{zone}_f"), ROOM_LAG_S) + 0.04 * noise(30 + zone, count)
        columns[f"{name} (°F)"] = tenths(air[seconds])
    outdoor = lagged(site.outdoor(count), OUTDOOR_LAG_S) + 0.1 * noise(35, count)
    columns["Outdoor (°F)"] = tenths(outdoor[seconds])
    lines = pd.DataFrame(columns).to_csv(index=False, sep="\t", float_format="%.1f").split("\n")
    malformed: list[dict[str, object]] = []

    for local, kind in ROOM_LINES_SPOILT.items():
        place = next((at for at, line in enumerate(lines) if line.startswith(local)), None)
        if place is None:
            continue  # the record ends before
        cells = lines[place].split("\t")
        if kind == "cut short":
            lines[place] = cells[0][:15]
        elif kind == "bad cell":
            lines[place] = "\t".join([*cells[:3], "ERR", *cells[4:]])
        else:
            lines.insert(place, lines[0])
        malformed.append({"line": place + 1, "kind": kind, "text": lines[place]})
    text = "\n".join(lines)
    rows = len(lines) - 2  # less the header and the empty piece after the last line end
    return Export("rooms_outdoor.csv", text, 0, rows, seconds, 120, malformed=malformed)


def exports(record: Record) -> list[Export]:
    """All four files of the record."""
    return [
        plenum_temps(record),
        trunk_static(record),
        panel_states(record),
        rooms_outdoor(record),
    ]
