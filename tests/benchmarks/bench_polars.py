"""The benchmark's figures as a set-based polars script computes them, all sites at once.

As bench_pandas.py, nothing is shared with the project and no channel is asked whether it can be
believed. Sites stand one below the other; a site's number and an instant make one sorted key, so
that whatever has to be looked up is looked up by one binary search over all sites.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl
from bench_data import ANALOG, ZONES
from bench_polars_parts import (
    BIN_F,
    CALLS,
    FIT,
    FIT_HOURS,
    HOUR,
    MINUTE,
    MODES,
    OUTPUTS,
    STEP,
    US,
    call_steps,
    col,
    cut_at,
    edge_steps,
    interval_of,
    local_days,
    pieces_of,
    running_sums,
    runs_of,
    segments_of,
)
from bench_polars_trips import slowest, static_days, trips


def figures(truths: dict[str, dict[str, Path]]) -> dict[str, pl.DataFrame]:
    """Every table of figures of all sites, from their Parquet files by site and logger."""
    names = list(truths)
    loggers = {
        logger: pl.concat(
            [
                pl.scan_parquet(truth[logger]).select(pl.lit(n, pl.Int64).alias("n"), pl.all())
                for n, truth in enumerate(truths.values())
            ]
        ).collect()
        for logger in next(iter(truths.values()))
    }
    pieces, parts, spans, visits = {}, [], [], []
    for logger, wide in loggers.items():
        step = interval_of(wide, logger == "panel")
        span = wide.group_by("n").agg(a=col("ts").min(), b=col("ts").max())
        spans.append(span)
        visits.append(span.select("n", x=col("a"), y=pl.min_horizontal(col("a") + HOUR, "b")))
        visits.append(
            span.select("n", x=pl.max_horizontal(col("b") - 30 * MINUTE, "a"), y=col("b"))
        )
        for name in wide.columns[2:]:
            if name in ANALOG:
                pieces[name] = pieces_of(wide, name, step)
            else:
                parts.append(segments_of(wide, name, step, logger == "panel"))
    segments = pl.concat(parts)
    window = (
        pl.concat([*spans, segments.select("n", a=col("start"), b=col("end"))])
        .group_by("n")
        .agg(first=col("a").min(), last=col("b").max())
        .sort("n")
    )
    segments = segments.join(window, on="n", maintain_order="left").with_columns(
        end=pl.min_horizontal("end", "last")
    )
    by = {
        str(k[0]): s
        for k, s in segments.partition_by("ch", as_dict=True, maintain_order=True).items()
    }
    visit = pl.concat(visits)
    days = local_days(window)
    runs = pl.concat([runs_of(by[name]) for name in OUTPUTS])
    calls = pl.concat([_calls(by, z) for z in ZONES])
    hours = _cycle_hours(by, runs, calls, visit, days, window)
    slow = slowest(by, pieces)
    made = {
        "run": runs.select(
            "n", "output", "start_ts", "end_ts", "on_s", "has_start", "has_end", "n_chatter"
        ),
        "runtime": runs.group_by("n", "output").agg(
            on_s=col("on_s").sum(),
            n_start=col("has_start").sum(),
            n_run=pl.len(),
            n_open_run=(~(col("has_start") & col("has_end"))).sum(),
        ),
        "call": _zone_calls(calls),
        "day": _days(by, runs, days, window),
        "cycle_hour": hours,
        "cycle_fit": _fits(hours),
        "zones_calling": _zones_calling(by, visit),
        "outdoor_bin": _bins(pieces["outdoor_temp"], by),
        "static_day": static_days(
            pieces["static_pressure"], segments, by["blower_run"], visit, days
        ),
        "trip": trips(pieces, by, runs, calls, visit, days, slow),
    }
    made["runtime"] = _with_idle(made["runtime"], window)
    site = pl.DataFrame(
        {"n": range(len(names)), "site": names}, schema={"n": pl.Int64, "site": pl.String}
    )
    return {name: t.join(site, on="n").drop("n") for name, t in made.items()}


def _with_idle(runtime: pl.DataFrame, window: pl.DataFrame) -> pl.DataFrame:
    every = window.select("n").join(pl.DataFrame({"output": OUTPUTS}), how="cross")
    return every.join(runtime, on=["n", "output"], how="left").fill_null(0)


def _calls(by: dict[str, pl.DataFrame], zone: int) -> pl.DataFrame:
    own = pl.concat([by[f"zone_call_{t}_{zone}"] for t in MODES])
    begins = own.filter(~col("joins")).select("n", "start").unique()
    ends = own.filter(~col("joined_on")).select("n", "end").unique()
    mode = col("ch").str.contains("_w1_").replace_strict(True, "heating", default="cooling")
    return (
        own.filter("on")
        .select("n", "start", "end", "key", zone=pl.lit(zone), mode=mode)
        .join(
            begins.with_columns(no_start=True), on=["n", "start"], how="left", maintain_order="left"
        )
        .join(ends.with_columns(no_end=True), on=["n", "end"], how="left", maintain_order="left")
        .with_columns(has_start=col("no_start").is_null(), has_end=col("no_end").is_null())
    )


def _zone_calls(calls: pl.DataFrame) -> pl.DataFrame:
    length = (col("end") - col("start")) / US
    told = calls.group_by("n", "zone", "mode").agg(
        calling_s=length.sum(),
        n_call=col("has_start").sum(),
        median_call_s=length.filter(col("has_start") & col("has_end")).median(),
        longest_call_s=length.max(),
    )
    every = calls.select("n").unique().join(
        pl.DataFrame({"zone": ZONES}, schema={"zone": pl.Int32}), how="cross"
    ).join(pl.DataFrame({"mode": list(MODES.values())}), how="cross")  # fmt: skip
    return every.join(told, on=["n", "zone", "mode"], how="left").with_columns(
        col("calling_s", "n_call").fill_null(0)
    )


def _days(
    by: dict[str, pl.DataFrame], runs: pl.DataFrame, days: pl.DataFrame, window: pl.DataFrame
) -> pl.DataFrame:
    edges = pl.concat([days["from"], days["until"][-1:]])
    parts = cut_at(pl.concat([by[n] for n in OUTPUTS]), edges, "d")
    length = col("part_end") - col("part_start")
    timed = parts.group_by("n", "d", "ch").agg(
        on_s=length.filter(col("on")).sum() / US, valid_s=length.sum() / US
    )
    begun = runs.filter("has_start")
    begun = begun.with_columns(d=edges.search_sorted(begun["start_ts"], "right").cast(pl.Int64) - 1)
    counted = begun.group_by("n", "d", ch="output").agg(n_start=pl.len())
    return (
        window.join(days.with_columns(col("d").cast(pl.Int64)), how="cross")
        .filter((col("from") < col("last")) & (col("until") > col("first")))
        .with_columns(
            day_s=(pl.min_horizontal("until", "last") - pl.max_horizontal("from", "first")) / US
        )
        .join(pl.DataFrame({"ch": OUTPUTS}), how="cross")
        .join(timed, on=["n", "d", "ch"], how="left")
        .join(counted, on=["n", "d", "ch"], how="left")
        .select("n", "day", "on_s", "n_start", "valid_s", "day_s", output="ch")
        .fill_null(0)
    )


def _cycle_hours(
    by: dict[str, pl.DataFrame],
    runs: pl.DataFrame,
    calls: pl.DataFrame,
    visits: pl.DataFrame,
    days: pl.DataFrame,
    window: pl.DataFrame,
) -> pl.DataFrame:
    """Share on and starts of every source, zone and mode in each full hour of the local clock."""
    whole = days.filter((col("until") - col("from")) % HOUR == 0)
    hour = whole.select(pl.int_ranges("from", "until", HOUR)).to_series().explode()
    grid = pl.concat([hour, hour[-1:] + HOUR])
    unseen = [visits]
    for name, s in by.items():
        if name.startswith(("output_", "zone_call_")):
            before = s.with_columns(e=col("end").shift(1), m=col("n").shift(1))
            unseen.append(
                before.filter((col("m") == col("n")) & ~col("joins")).select("n", x="e", y="start")
            )
            edge = (
                s.group_by("n").agg(p=col("start").min(), q=col("end").max()).join(window, on="n")
            )
            unseen.append(edge.select("n", x="first", y="p"))
            unseen.append(edge.select("n", x="q", y="last"))
    lost = pl.concat(unseen).filter(col("y") > col("x")).unique().rename({"x": "start", "y": "end"})
    lost = cut_at(lost, grid, "h").select("n", "h").unique()
    hours = pl.DataFrame({"h": pl.int_range(len(hour), eager=True), "hour_ts": hour})
    full = (
        window.select("n", "first", "last")
        .join(hours, how="cross")
        .filter((col("hour_ts") >= col("first")) & (col("hour_ts") + HOUR <= col("last")))
        .join(lost, on=["n", "h"], how="anti")
        .select("n", "h", "hour_ts")
    )
    columns = ("n", "what", "mode", "start", "end", "has_start")
    source = runs.filter(col("output").is_in(["output_w1", "output_y1"])).with_columns(
        what=pl.when(col("output") == "output_w1")
        .then(pl.lit("burner"))
        .otherwise(pl.lit("compressor")),
        mode=pl.when(col("output") == "output_w1")
        .then(pl.lit("heating"))
        .otherwise(pl.lit("cooling")),
        start="start_ts",
        end="end_ts",
    )
    own = calls.with_columns(what=pl.concat_str(pl.lit("zone "), "zone"))
    any_call = (
        calls.sort("n", "mode", "start")
        .with_columns(reach=col("end").cum_max().over("n", "mode"))
        .with_columns(
            new=(col("start") > col("reach").shift(1).over("n", "mode")).fill_null(True).cum_sum()
        )
        .group_by("new", maintain_order=True)
        .agg(col("n", "mode", "start", "has_start").first(), col("end").max())
        .with_columns(what=pl.lit("any call"))
    )
    series = pl.concat([t.select(columns) for t in (source, own, any_call)])
    parts = cut_at(series, grid, "h")
    summed = parts.group_by("n", "what", "mode", "h").agg(
        runtime_frac=(col("part_end") - col("part_start")).sum() / HOUR,
        n_start=(col("has_start") & (col("start") == col("part_start"))).sum(),
    )
    return (
        series.select("n", "what", "mode")
        .unique()
        .join(full, on="n")
        .join(summed, on=["n", "what", "mode", "h"], how="left")
        .select("n", "what", "mode", "hour_ts", col("runtime_frac", "n_start").fill_null(0))
    )


def _fits(hours: pl.DataFrame) -> pl.DataFrame:
    z = 4 * col("runtime_frac") * (1 - col("runtime_frac"))
    # twelve minutes of an hour, divided here, are a last digit under 0.2
    used = col("runtime_frac").is_between(FIT[0] - 1e-12, FIT[1] + 1e-12)
    return hours.group_by("n", "what", "mode").agg(
        nmax_per_h=pl.when(used.sum() >= FIT_HOURS).then(
            (col("n_start") * z).filter(used).sum() / (z * z).filter(used).sum()
        ),
        n_hour=used.sum(),
    )


def _zones_calling(by: dict[str, pl.DataFrame], visits: pl.DataFrame) -> pl.DataFrame:
    visit = edge_steps(visits.rename({"x": "start", "y": "end"}), visit=pl.lit(1, pl.Int64))
    at = running_sums([*call_steps(by), visit], "known", "heat", "cool", "visit")
    at = at.filter((col("known") == len(CALLS)) & (col("visit") == 0) & col("until").is_not_null())
    sets = [b << 1 for b in range(1, 16)]
    zones = {m: "+".join(str(z) for z in ZONES if m >> z & 1) for m in sets}
    told = [
        at.filter(col(which) > 0)
        .group_by("n", mask=which)
        .agg(s=(col("until") - col("ts")).sum() / US)
        .with_columns(mode=pl.lit(mode))
        for which, mode in (("heat", "heating"), ("cool", "cooling"))
    ]
    return pl.concat(told).select(
        "n",
        "mode",
        "s",
        n_zones=col("mask").bitwise_count_ones(),
        zones=col("mask").replace_strict(zones, return_dtype=pl.String),
    )


def _bins(outdoor: pl.DataFrame, by: dict[str, pl.DataFrame]) -> pl.DataFrame:
    length = col("end") - col("start")
    weather = (
        outdoor.lazy()
        .group_by("n", step=col("start") // STEP)
        .agg(
            a=col("start").min(),
            b=col("end").max(),
            total=length.sum(),
            mean=(length * (col("v0") + col("v1")) / 2).sum() / length.sum(),
        )
        .filter(col("total") == col("b") - col("a"))
        .select("n", start="a", end="b", low=((col("mean") / BIN_F).floor() * BIN_F).cast(pl.Int64))
        .collect()
    )
    steps = [edge_steps(weather, told=pl.lit(1, pl.Int64), low=col("low"))]
    names = {"w1": "output_w1", "w2": "output_w2", "y1": "output_y1", "fan": "blower_run"}
    for short, name in names.items():
        on = col("on").cast(pl.Int64)
        steps.append(edge_steps(by[name], **{short: on, f"{short}_known": pl.lit(1, pl.Int64)}))
    at = running_sums(steps, "told", "low", *names, *(f"{k}_known" for k in names)).filter(
        (col("told") > 0)
        & (col("w1_known") > 0)
        & (col("w2_known") > 0)
        & (col("y1_known") > 0)
        & ((col("fan_known") > 0) | (col("w1") > 0) | (col("y1") > 0))
        & col("until").is_not_null()
    )
    s = (col("until") - col("ts")) / US
    summed = at.group_by("n", low_f=col("low").cast(pl.Float64)).agg(
        s.sum().alias("known_s"),
        s.filter(col("w1") > 0).sum().alias("output_w1"),
        s.filter(col("w2") > 0).sum().alias("output_w2"),
        s.filter(col("y1") > 0).sum().alias("output_y1"),
        s.filter(col("fan") > 0).sum().alias("fan"),
        s.filter(col("w1") > 0).sum().alias("burner"),
        s.filter((col("y1") > 0) & (col("w1") == 0)).sum().alias("compressor cooling"),
    )
    return (
        summed.unpivot(index=["n", "low_f", "known_s"], variable_name="what", value_name="on_s")
        .filter(col("on_s").sum().over("n", "what") > 0)
    )  # fmt: skip
