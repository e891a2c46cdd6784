"""Long or wide: how analog readings are best kept in a site's store.

Writes the same readings in three layouts, each with DuckDB, and in turn measures writing, size on
disk and the read every later stage begins with (linear pieces of all channels, in order):

long   one row per reading: (channel_id, ts, value), stored in (channel_id, ts) order
wide   one row per logger and instant with one column per channel: what the export looks like
slots  as wide, but with eight fixed columns, so that every logger of every site has one table

Two data sets: the sample site's three analog loggers (5 s, 10 s, 2 min), and a simulated year of
one logger with ten analog channels at 60 s. Only ratios taken in one run mean anything.

Run: python tests/benchmarks/storage_layout.py
"""

from __future__ import annotations

import gzip
import io
import statistics
import tempfile
import time
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

SAMPLE = Path(__file__).parents[2] / "sample_data" / "larch-14" / "exports"
ROUNDS = 5
SLOTS = 8


def sample_loggers() -> list[pd.DataFrame]:
    """The sample's analog loggers as wide frames: ts [us], one column per channel."""

    def read(name: str) -> io.StringIO:
        return io.StringIO(gzip.open(SAMPLE / f"{name}.csv.gz", "rt", encoding="utf-8").read())

    plenum = pd.read_csv(read("plenum_temps"), skiprows=6)
    stamp = pd.to_datetime(plenum["Date"] + " " + plenum["Time"], format="%m/%d/%Y %I:%M:%S %p")
    static = pd.read_csv(read("trunk_static"), sep=";", decimal=",")
    rooms = pd.read_csv(read("rooms_outdoor"), sep="\t", on_bad_lines="skip")
    rooms_stamp = pd.to_datetime(rooms.iloc[:, 0], errors="coerce")
    rooms = rooms[rooms_stamp.notna()]
    return [
        wide(stamp, plenum.iloc[:, 2:]),
        wide(pd.to_datetime(static.iloc[:, 0]), static.iloc[:, 1:]),
        wide(rooms_stamp[rooms_stamp.notna()], rooms.iloc[:, 1:]),
    ]


def wide(stamp: pd.Series, values: pd.DataFrame) -> pd.DataFrame:
    """A wide frame with columns ts, v0, v1, ..., sorted and without repeated instants."""
    frame = values.apply(pd.to_numeric, errors="coerce").reset_index(drop=True)
    frame.columns = [f"v{n}" for n in range(frame.shape[1])]
    frame.insert(0, "ts", stamp.astype("datetime64[us]").astype("int64").to_numpy())
    return frame.sort_values("ts").drop_duplicates("ts").reset_index(drop=True)


def simulated_year() -> list[pd.DataFrame]:
    """One logger, ten channels, a year at 60 s: daily swings, cycling, 0.1 steps, some blanks."""
    rng = np.random.default_rng(20260101)
    n = 525_600
    minute = np.arange(n)
    columns = {"ts": 1_767_225_600_000_000 + minute * 60_000_000}
    for channel in range(10):
        swing = 10 * np.sin(2 * np.pi * (minute / 1440 + channel / 10))
        cycling = 30 * ((minute // (7 + channel)) % 3 == 0) if channel < 3 else 0
        noise = rng.normal(0, 0.3, n)
        value = np.round(70 + swing + cycling + noise, 1)
        value[rng.random(n) < 0.001] = np.nan
        columns[f"v{channel}"] = value
    return [pd.DataFrame(columns)]


def write(layout: str, loggers: list[pd.DataFrame], path: Path) -> None:
    """Write the readings in one layout to a new DuckDB file."""
    with duckdb.connect(str(path), config={"threads": 1}) as con:
        if layout == "long":
            con.execute("create table reading (channel_id integer, ts bigint, value double)")
            channel_id = 0
            for frame in loggers:
                con.register("frame", frame)
                for column in frame.columns[1:]:
                    con.execute(
                        f"insert into reading select {channel_id}, ts, {column} from frame"
                        f" where {column} is not null and not isnan({column})"
                    )
                    channel_id += 1
        elif layout == "wide":
            for number, frame in enumerate(loggers):
                con.register("frame", frame)
                con.execute(f"create table logger_{number} as select * from frame")
        else:
            columns = ", ".join(f"v{n} double" for n in range(SLOTS))
            con.execute(f"create table sample (logger_id integer, ts bigint, {columns})")
            part = 0
            for frame in loggers:
                con.register("frame", frame)
                values = list(frame.columns[1:])
                for first in range(0, len(values), SLOTS):
                    chosen = values[first : first + SLOTS]
                    filled = chosen + ["null"] * (SLOTS - len(chosen))
                    con.execute(
                        f"insert into sample select {part}, ts, {', '.join(filled)} from frame"
                    )
                    part += 1


def read_pieces(layout: str, loggers: list[pd.DataFrame], path: Path) -> int:
    """Make the long table of linear pieces that every later stage reads; the rows made."""
    with duckdb.connect(config={"threads": 1}) as con:
        con.execute(f"attach '{path}' as site (read_only)")
        if layout == "long":
            con.execute(
                "create table piece as select channel_id, ts, value,"
                " lead(channel_id) over () as next_channel, lead(ts) over () as next_ts,"
                " lead(value) over () as next_value from site.reading"
            )
        else:
            con.execute(
                "create table piece (channel_id integer, ts bigint, value double,"
                " next_channel integer, next_ts bigint, next_value double)"
            )
            channel_id = 0
            for number, frame in enumerate(loggers):
                for place, _ in enumerate(frame.columns[1:]):
                    source = f"site.logger_{number}" if layout == "wide" else "site.sample"
                    # each slot table part holds SLOTS channels of one logger
                    part = (
                        sum(-(-(f.shape[1] - 1) // SLOTS) for f in loggers[:number])
                        + place // SLOTS
                    )
                    column = f"v{place}" if layout == "wide" else f"v{place % SLOTS}"
                    only = "true" if layout == "wide" else f"logger_id = {part}"
                    con.execute(
                        f"insert into piece select {channel_id}, ts, {column}, {channel_id},"
                        f" lead(ts) over (), lead({column}) over () from {source}"
                        f" where {only} and {column} is not null and not isnan({column})"
                    )
                    channel_id += 1
        row = con.execute("select count(*) from piece").fetchone()
        return int(row[0]) if row else 0


def measure(name: str, loggers: list[pd.DataFrame]) -> None:
    """Print size, seconds and ratios of each layout, run in turn."""
    layouts = ("long", "wide", "slots")
    took: dict[tuple[str, str], list[float]] = {}
    size = {}
    rows = {}
    for _ in range(ROUNDS):
        for layout in layouts:
            with tempfile.TemporaryDirectory() as folder:
                path = Path(folder) / "site.duckdb"
                started = time.perf_counter()
                write(layout, loggers, path)
                took.setdefault((layout, "write"), []).append(time.perf_counter() - started)
                size[layout] = path.stat().st_size
                started = time.perf_counter()
                rows[layout] = read_pieces(layout, loggers, path)
                took.setdefault((layout, "read"), []).append(time.perf_counter() - started)
    if len(set(rows.values())) != 1:
        raise SystemExit(f"layouts disagree on the number of readings: {rows}")
    cells = rows["long"]
    print(f"\n{name}: {cells:,} readings, medians of {ROUNDS} rounds in turn")
    print("layout  write s (ratio)   read s (ratio)   MB   bytes per reading")
    for layout in layouts:
        write_s = statistics.median(took[layout, "write"])
        read_s = statistics.median(took[layout, "read"])
        write_ratio = write_s / statistics.median(took["long", "write"])
        read_ratio = read_s / statistics.median(took["long", "read"])
        print(
            f"{layout:6}  {write_s:6.3f} ({write_ratio:4.2f})   {read_s:6.3f} ({read_ratio:4.2f})"
            f"  {size[layout] / 1e6:6.2f}  {size[layout] / cells:5.2f}"
        )


if __name__ == "__main__":
    measure("sample site", sample_loggers())
    measure("simulated year", simulated_year())
