"""The files that a system's loggers export, faults of the log included."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from sample_data.world import climates
from sample_data.world.channels import PA_PER_INWC, Channel, channels
from sample_data.world.dialects import DIALECTS, Texts, numbers, write
from sample_data.world.loop import Record
from sample_data.world.system import WARM_UP_S, LogFault, System

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
START_S = {"panel": 120, "plenum": 305, "static": 185, "rooms": 480}  # after the first visit began
STOP_S = {"panel": 1500, "plenum": 1260, "static": 1350, "rooms": 1200}  # before the record's end


@dataclass(frozen=True)
class Export:
    """One exported file and what is true of it."""

    name: str
    text: str
    channels: tuple[Channel, ...]
    seconds: NDArray[np.int64]  # of the record, at each row
    interval_s: int | None  # None: on change
    clock_offset_s: float = 0.0  # at the first row: this clock minus the true one
    drift_s_per_day: float = 0.0
    gap: tuple[int, int] | None = None
    spoilt_lines: tuple[int, ...] = ()  # counted from 1


def utc_s(system: System) -> int:
    """Seconds since 1970 at the record's first second."""
    return int((system.start.astimezone(UTC) - EPOCH).total_seconds())


def zone_offset_s(system: System, at_utc_s: NDArray[np.int64]) -> NDArray[np.int64]:
    """The local clock minus UTC at each instant (seconds since 1970)."""
    at = pd.to_datetime(at_utc_s, unit="s", utc=True).tz_convert(system.weather.timezone)
    local = at.tz_localize(None) - pd.Timestamp(0)
    return np.asarray(local // pd.Timedelta(seconds=1), dtype=np.int64) - at_utc_s


def file_of(role: str) -> str:
    """The logger that carries a role."""
    if role in ("supply_temp", "return_temp"):
        return "plenum"
    if role in ("static_pressure", "return_static"):
        return "static"
    return "rooms" if role in ("zone_temp", "outdoor_temp") else "panel"


def rows_of(system: System, fault: LogFault, seconds: NDArray[np.int64]) -> NDArray[np.bool_]:
    """The rows that lie in the fault's hours."""
    hours = (seconds - WARM_UP_S) / 3600.0
    return (hours >= fault.from_h) & (hours < fault.to_h)


def spoil_values(
    system: System, channel: Channel, values: NDArray[np.float64], seconds: NDArray[np.int64]
) -> NDArray[np.float64]:
    """A sampled channel's readings with what faults of the log do to them (file's unit)."""
    values = values.copy()
    celsius = channel.unit == "degC"
    for number, fault in enumerate(system.logging.faults):
        mine = fault.role == channel.role and fault.zone in (-1, channel.zone)
        if not mine or len(values) == 0:
            continue
        rows = rows_of(system, fault, seconds)
        rng = np.random.default_rng([system.seed, 900 + number])
        scale = 1.0 / 1.8 if celsius else 1.0
        if fault.kind == "stuck" and rows.any():
            values[rows] = values[int(np.argmax(rows))]
        elif fault.kind == "spikes":
            at = rng.choice(np.arange(20, len(values) - 20), int(fault.amount), replace=False)
            values[at] += np.where(rng.random(len(at)) < 0.5, -1.0, 1.0) * 60.0 * scale
        elif fault.kind == "open":
            at = rng.choice(np.arange(20, len(values) - 20), int(fault.amount), replace=False)
            values[at] = -55.0 if celsius else -67.0
        elif fault.kind == "shift":
            values[rows] += fault.amount * PA_PER_INWC
        elif fault.kind == "flat":
            values[rows] = 0.4
        elif fault.kind == "unit":
            values *= 1.0 / PA_PER_INWC  # in. w.c. under a heading that says Pa
        elif fault.kind == "sun":
            shine = climates.sun(
                system.weather, system.season, system.first_second, system.seconds, system.seed
            )
            values += fault.amount * scale * shine[seconds]
    return values


def swap_columns(system: System, group: list[Channel]) -> list[Channel]:
    """The channels of a file with the contents of exchanged columns."""
    out = list(group)
    for fault in system.logging.faults:
        if fault.kind == "swapped":
            pair = ["supply_temp", "return_temp"]
        elif fault.kind == "exchanged":
            pair = []
        else:
            continue
        if fault.kind == "exchanged":
            last = len(system.zones) - 1
            a, b = ((0, 1), (0, last), (last, max(0, last - 1)))[int(fault.amount) - 1]
            places = [i for i, c in enumerate(out) if c.role == "zone_temp" and c.zone in (a, b)]
        else:
            places = [i for i, c in enumerate(out) if c.role in pair]
        if len(places) == 2:
            i, j = places
            out[i], out[j] = (
                replace(out[i], values=out[j].values),
                replace(out[j], values=out[i].values),
            )
    return out


def state_texts(channel: Channel, on: NDArray[np.bool_], system: System) -> Texts:
    """A state channel's words at its rows."""
    off_word, on_word = channel.words
    if channel.words == ("off", "on"):
        off_word, on_word = DIALECTS[system.logging.dialect].on_off
    on = spoil_states(system, channel, on)
    return pa.array([off_word, on_word]).take(pa.array(on.astype(np.int64)))


def spoil_states(system: System, channel: Channel, on: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """A state channel with what faults of the log do to it."""
    for fault in system.logging.faults:
        if fault.role == channel.role and fault.kind == "inverted":
            on = ~on
        if fault.role == channel.role and fault.kind == "dead":
            on = np.zeros_like(on)
    return on


def totals(
    system: System, channel: Channel, seconds: NDArray[np.int64], step: int
) -> NDArray[np.float64]:
    """Seconds that a state was on in the `step` seconds that end at each row."""
    on = spoil_states(system, channel, np.asarray(channel.values, bool))
    summed = np.concatenate([[0], np.cumsum(on)])
    return np.asarray(summed[seconds] - summed[seconds - step], dtype=np.float64)


def one_file(system: System, name: str, group: list[Channel]) -> Export:
    """One logger's export."""
    log = system.logging
    dialect = DIALECTS[log.dialect]
    first = WARM_UP_S + START_S[name]
    last = system.seconds - STOP_S[name]
    fast = name in ("plenum", "static") or name == "panel"
    step: int | None = log.fast_s if fast else log.slow_s
    if name == "static":
        step = max(1, log.fast_s // 2)
    group = swap_columns(system, group)
    if name == "panel" and log.totals:
        step = log.slow_s
    if name == "panel" and log.states == "change" and not log.totals:
        step = None
        table = np.stack([c.values for c in group], axis=1).astype(bool)
        moved = np.zeros(len(table), dtype=bool)
        moved[1:] = (table[1:] != table[:-1]).any(axis=1)
        moved[[first, last]] = True
        seconds = np.flatnonzero(moved)
        seconds = seconds[(seconds >= first) & (seconds <= last)]
    else:
        assert step is not None
        seconds = np.arange(first, last + 1, step)
    offset, drift, gap = float(system.seed * 7 % 5 - 2 if name != "panel" else 0), 0.0, None
    for fault in log.faults:
        if file_of(fault.role) != name:
            continue
        offset += fault.amount if fault.kind == "clock" else 0.0
        drift += fault.amount if fault.kind == "drift" else 0.0
        if fault.kind == "gap":
            lost = rows_of(system, fault, seconds)
            if lost.any() and not lost.all():
                left = np.flatnonzero(~lost)
                before = left[left < int(np.argmax(lost))]
                after = left[left > int(np.argmax(lost))]
                if len(before) and len(after):
                    gap = (int(seconds[before[-1]]), int(seconds[after[0]]))
            seconds = seconds[~lost]
    wrong = np.rint(offset + drift * (seconds - first) / 86400.0)
    shown = (utc_s(system) + seconds + wrong).astype(np.int64)
    columns = []
    for number, channel in enumerate(group):
        if channel.is_state and log.totals:
            assert step is not None
            on_s = totals(system, channel, seconds, step)
            scale, digits = (100.0 / step, 2) if log.totals == "percent_on" else (1.0, 0)
            texts = numbers(on_s * scale, digits, dialect.decimal)
        elif channel.is_state:
            texts = state_texts(channel, np.asarray(channel.values[seconds], bool), system)
            if step is None and number >= 0:
                texts = _blank_repeats(texts, dialect.long)
        else:
            rng = np.random.default_rng([system.seed, 100 + START_S[name], number])
            draw = np.round(rng.standard_normal(len(seconds)), 6)
            read = np.asarray(channel.values[seconds], np.float64)
            read = read + draw * (channel.noise + channel.noise_share * np.abs(read))
            read = spoil_values(system, channel, read, seconds)
            decimals = channel.decimals
            if any(f.kind == "unit" and f.role == channel.role for f in log.faults):
                decimals = 3
            texts = numbers(read, decimals, dialect.decimal)
        columns.append(texts)
    text = write(dialect, shown, zone_offset_s(system, shown), [c.column for c in group], columns)
    spoilt: tuple[int, ...] = ()
    for fault in log.faults:
        if fault.kind == "spoilt" and name == file_of(fault.role):
            text, spoilt = spoil_lines(system, text, int(fault.amount))
    return Export(
        f"{name}.csv", text, tuple(group), seconds, step, offset, drift, gap, spoilt
    )  # fmt: skip


def _blank_repeats(texts: Texts, long: bool) -> Texts:
    """In a long table only what changed is written: repeats become empty, ends stay."""
    if not long or len(texts) < 3:
        return texts
    words = np.asarray(texts.to_numpy(zero_copy_only=False), dtype=object)
    same = np.zeros(len(words), dtype=bool)
    same[1:-1] = words[1:-1] == words[:-2]
    words[same] = ""
    return pa.array(words.tolist(), pa.string())


def spoil_lines(system: System, text: str, count: int) -> tuple[str, tuple[int, ...]]:
    """`count` lines cut short or with a word in a cell; gives their numbers from 1."""
    lines = text.split("\n")
    rng = np.random.default_rng([system.seed, 950])
    top = len(DIALECTS[system.logging.dialect].preamble) + 5
    chosen = np.sort(rng.choice(np.arange(top, len(lines) - 5), count, replace=False))
    delimiter = DIALECTS[system.logging.dialect].delimiter
    for place in chosen.tolist():
        cells = lines[place].split(delimiter)
        lines[place] = cells[0][:9] if place % 2 else delimiter.join([*cells[:-1], "ERR"])
    return "\n".join(lines), tuple(int(place) + 1 for place in chosen)


def exports(system: System, record: Record) -> list[Export]:
    """All files of the system's loggers."""
    found = channels(system, record)
    names = list(dict.fromkeys(c.file for c in found))
    return [one_file(system, name, [c for c in found if c.file == name]) for name in names]
