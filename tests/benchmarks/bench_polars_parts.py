"""What the polars script is made of: stretches, pieces and runs of all sites, cut and summed."""

from __future__ import annotations

import math

import polars as pl
from bench_data import TIMEZONE, ZONES

US = 1_000_000
HOUR, MINUTE, STEP = 3_600 * US, 60 * US, 300 * US
HOLD, CHATTER, BIN_F, FIT, FIT_HOURS = 2.5, 15 * US, 5.0, (0.2, 0.8), 8
SITE = 1 << 51  # more than any instant in microseconds before 2041
OUTPUTS = ("output_w1", "output_w2", "output_y1", "output_g")
MODES = {"w1": "heating", "y1": "cooling"}
CALLS = [f"zone_call_{t}_{z}" for t in MODES for z in ZONES]

col = pl.col
key = col("n") * SITE


def interval_of(wide: pl.DataFrame, is_change: bool) -> pl.DataFrame:
    if is_change:  # as fine as its stamps are written
        stamps = wide.group_by("n").agg(
            col("ts").diff().drop_nulls().unique(), first=col("ts").first()
        )
        rows = []
        for n, steps, first in stamps.iter_rows():
            rows.append((n, float(math.gcd(first, MINUTE, *steps))))
        return pl.DataFrame(rows, schema={"n": pl.Int64, "interval": pl.Float64}, orient="row")
    return wide.group_by("n").agg(interval=col("ts").diff().median())


def pieces_of(wide: pl.DataFrame, name: str, step: pl.DataFrame) -> pl.DataFrame:
    """Pairs of neighbouring readings near enough to be joined by a straight line."""
    same = col("n") == col("n").shift(-1)
    return (
        wide.lazy()
        .select("n", start="ts", v0=name)
        .drop_nulls()
        .with_columns(end=pl.when(same).then(col("start").shift(-1)), v1=col("v0").shift(-1))
        .join(step.lazy(), on="n", maintain_order="left")
        .filter(col("end") - col("start") <= HOLD * col("interval"))
        .with_columns(key=key + col("start"))
        .collect()
    )


def segments_of(wide: pl.DataFrame, name: str, step: pl.DataFrame, is_change: bool) -> pl.DataFrame:
    """Stretches of one known value of a state."""
    last = (col("n") != col("n").shift(-1)).fill_null(True)
    following = col("ts").shift(-1)
    held = pl.lit(False) if is_change else following - col("ts") > HOLD * col("interval")
    after = col("ts") if is_change else col("ts") + col("interval").cast(pl.Int64)
    rows = (
        wide.lazy()
        .select("n", "ts", on=col(name) > 0)
        .drop_nulls()
        .join(step.lazy(), on="n", maintain_order="left")
        .with_columns(is_gap=(last | held.fill_null(True)))
        .with_columns(end=pl.when("is_gap").then(after).otherwise(following))
        .with_columns(
            begins=(col("is_gap").shift(1) | (col("on") != col("on").shift(1))).fill_null(True),
            end_before=col("end").shift(1),
        )
        .collect()
    )
    final = rows["end"][-1]
    return (
        rows.filter("begins")
        .with_columns(end=col("end_before").shift(-1, fill_value=final))
        .filter(col("end") > col("ts"))
        .with_columns(
            joins=((col("end").shift(1) == col("ts")) & (col("n") == col("n").shift(1))).fill_null(
                False
            )
        )
        .with_columns(joined_on=(col("joins").shift(-1)).fill_null(False))
        .select(
            "n",
            "on",
            "end",
            "joins",
            "joined_on",
            "interval",
            ch=pl.lit(name),
            start="ts",
            key=key + col("ts"),
        )
    )


def local_days(window: pl.DataFrame) -> pl.DataFrame:
    """Local days of the whole span: date, midnight and the next one."""
    a, b = window["first"].min(), window["last"].max()
    zone = (
        pl.from_epoch(pl.Series([a, b]), "us")
        .dt.replace_time_zone("UTC")
        .dt.convert_time_zone(TIMEZONE)
    )
    edges = pl.datetime_range(zone[0].date(), zone[1].date(), "1d", time_zone=TIMEZONE, eager=True)
    more = pl.concat([edges, edges[-1:].dt.offset_by("1d")])
    at = more.dt.epoch("us")
    return pl.DataFrame({"day": edges.dt.date(), "from": at[:-1], "until": at[1:]}).with_row_index(
        "d"
    )


def cut_at(stretches: pl.DataFrame, edges: pl.Series, as_name: str) -> pl.DataFrame:
    """Stretches (start, end) cut at edges, with the number of the span each part lies in."""
    a = edges.search_sorted(stretches["start"], "right").cast(pl.Int64) - 1
    b = edges.search_sorted(stretches["end"], "left").cast(pl.Int64)
    parts = stretches.with_columns(a.alias("a"), b.alias("b"))
    parts = parts.filter(col("b") > col("a"))
    parts = parts.with_columns(pl.int_ranges("a", "b").alias(as_name)).explode(as_name)
    low, high = edges.gather(parts[as_name]), edges.gather(parts[as_name] + 1)
    return parts.with_columns(
        part_start=pl.max_horizontal("start", low), part_end=pl.min_horizontal("end", high)
    )


def runs_of(s: pl.DataFrame) -> pl.DataFrame:
    off_short = (
        ~col("on") & col("joins") & col("joined_on") & (col("end") - col("start") <= CHATTER)
    )
    same = (col("n") == col("n").shift(1)).fill_null(False)
    return (
        s.lazy()
        .with_columns(running=col("on") | off_short)
        .with_columns(
            was=(col("running").shift(1) & same).fill_null(False),
            will=(col("running").shift(-1) & same.shift(-1)).fill_null(False),
        )
        .filter("running")
        .with_columns(run=(~(col("was") & col("joins"))).cum_sum())
        .group_by("run", maintain_order=True)
        .agg(
            col("n").first(),
            output=col("ch").first(),
            start_ts=col("start").first(),
            end_ts=col("end").last(),
            on_s=(col("end") - col("start")).filter(col("on")).sum() / US,
            has_start=(col("joins") & ~col("was")).first(),
            has_end=(col("joined_on") & ~col("will")).last(),
            n_chatter=(~col("on")).sum(),
        )
        .drop("run")
        .collect()
    )


def edge_steps(s: pl.DataFrame, **weights: pl.Expr) -> pl.DataFrame:
    """What begins and ends with each stretch, as steps of running sums."""
    up = s.select("n", ts="start", **weights)
    down = s.select("n", ts="end", **{k: -w for k, w in weights.items()})
    return pl.concat([up, down])


def running_sums(parts: list[pl.DataFrame], *names: str) -> pl.DataFrame:
    """Sums that run over the edges of each site, with the time until the next edge."""
    steps = pl.concat(parts, how="diagonal").lazy()
    return (
        steps.group_by("n", "ts")
        .agg(col(*names).sum())
        .sort("n", "ts")
        .with_columns(
            *(col(name).cum_sum().over("n") for name in names),
            until=pl.when(col("n") == col("n").shift(-1)).then(col("ts").shift(-1)),
        )
        .collect()
    )


def call_steps(by: dict[str, pl.DataFrame]) -> list[pl.DataFrame]:
    steps = []
    for name in CALLS:
        which = "heat" if "_w1_" in name else "cool"
        bit = col("on").cast(pl.Int64) * (1 << int(name[-1]))
        steps.append(edge_steps(by[name], known=pl.lit(1, pl.Int64), **{which: bit}))
    return steps


def in_visit(frame: pl.DataFrame, visits: pl.DataFrame, ts: str) -> pl.DataFrame:
    """With a column `in_visit`; the few visits of a site side by side."""
    numbered = visits.with_columns(k=pl.int_range(pl.len()).over("n"))
    inside = pl.lit(False)
    for k in range(int(numbered["k"].max()) + 1):
        own = numbered.filter(col("k") == k).select(
            "n", col("x").alias(f"x{k}"), col("y").alias(f"y{k}")
        )
        frame = frame.join(own, on="n", how="left", maintain_order="left")
        inside = inside | ((col(ts) >= col(f"x{k}")) & (col(ts) < col(f"y{k}"))).fill_null(False)
    return frame.with_columns(in_visit=inside).drop("^[xy][0-9]+$")
