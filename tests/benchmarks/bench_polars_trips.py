"""Of the polars script: limit trips with their context, and static over its target by the day."""

from __future__ import annotations

import polars as pl
from bench_data import HIGH_LIMIT_F, STATIC_TARGET_INWC, ZONES
from bench_polars_parts import (
    CALLS,
    CHATTER,
    SITE,
    US,
    call_steps,
    col,
    in_visit,
    key,
    running_sums,
)


def static_days(
    pieces: pl.DataFrame,
    segments: pl.DataFrame,
    fan: pl.DataFrame,
    visits: pl.DataFrame,
    days: pl.DataFrame,
) -> pl.DataFrame:
    states = segments.filter(~col("ch").str.starts_with("zone_damper"))
    cuts = pl.concat(
        [
            states.select("n", ts="start"),
            states.select("n", ts="end"),
            visits.select("n", ts="x"),
            visits.select("n", ts="y"),
        ]
    ).unique()
    cuts = cuts.join(pieces.select("n", ts="start"), on=["n", "ts"], how="anti").sort("n", "ts")
    k = (
        pieces["key"]
        .search_sorted(cuts.select(key + col("ts")).to_series(), "right")
        .cast(pl.Int64)
        - 1
    )
    inside = cuts.with_columns(k.alias("k")).filter(col("k") >= 0)
    held = pieces[inside["k"]]
    more = held.with_columns(ts=inside["ts"], m=inside["n"]).filter(
        (col("m") == col("n")) & (col("ts") < col("end"))
    )
    every = pieces.with_columns(ts="start")
    if len(more):
        every = pl.concat([every, more.select(every.columns)]).sort("n", "ts")
        until = (
            pl.when(col("start") == col("start").shift(-1))
            .then(col("ts").shift(-1))
            .otherwise("end")
        )
    else:
        until = col("end")
    every = every.with_columns(until=until)
    f = (
        fan["key"].search_sorted(every.select(key + col("ts")).to_series(), "right").cast(pl.Int64)
        - 1
    )
    state = fan[f.clip(0)]
    running = (f >= 0) & state["on"] & (state["end"] > every["ts"]) & (state["n"] == every["n"])
    slope = (col("v1") - col("v0")) / (col("end") - col("start"))
    cut = in_visit(every.filter(running), visits, "ts").filter(~col("in_visit"))
    cut = cut.with_columns(
        low=col("v0") + slope * (col("ts") - col("start")),
        high=col("v0") + slope * (col("until") - col("start")),
        s=(col("until") - col("ts")) / US,
        d=days["from"].search_sorted(cut["ts"], "right").cast(pl.Int64) - 1,
    )
    top, bottom = pl.max_horizontal("low", "high"), pl.min_horizontal("low", "high")
    share = (
        pl.when(top <= STATIC_TARGET_INWC)
        .then(0.0)
        .when(bottom > STATIC_TARGET_INWC)
        .then(1.0)
        .otherwise((top - STATIC_TARGET_INWC) / (col("high") - col("low")).abs())
    )
    return (
        cut.lazy()
        .group_by("n", "d")
        .agg(fan_s=col("s").sum(), measured_above_s=(share * col("s")).sum(), max_inwc=top.max())
        .collect()
        .join(days.select(col("d").cast(pl.Int64), "day"), on="d")
        .drop("d")
    )


def slowest(by: dict[str, pl.DataFrame], pieces: dict[str, pl.DataFrame]) -> pl.DataFrame:
    used = [s for n, s in by.items() if n.startswith(("output_", "zone_call_"))]
    return (
        pl.concat([t.select("n", "interval") for t in (*used, pieces["supply_temp"])])
        .group_by("n")
        .agg(slow=col("interval").max())
    )


def _stood(s: pl.DataFrame, keys: pl.Series) -> pl.Series:
    """Whether a state is known and on at these keys."""
    k = s["key"].search_sorted(keys, "right").cast(pl.Int64) - 1
    held = s[k.clip(0)]
    return (k >= 0) & held["on"] & (held.select(key + col("end")).to_series() > keys)


def _last(s: pl.DataFrame, keys: pl.Series, column: str) -> pl.DataFrame:
    """Of the last row before each key (strictly), start and a column; null if of another site."""
    k = s["key"].search_sorted(keys, "left").cast(pl.Int64) - 1
    row = s[k.clip(0)].select(m="n", since="start", of=column)
    return row.with_columns(at=keys, is_there=k >= 0).select(
        pl.when(col("is_there") & (col("m") == col("at") // SITE)).then(col("since", "of"))
    )


def _following(keys: pl.Series, after: pl.Series) -> pl.Series:
    """The instant of the first key past each of `after`, of the same site; else null."""
    k = keys.search_sorted(after, "right").cast(pl.Int64)
    found = keys.gather(k.clip(upper_bound=max(len(keys) - 1, 0)))
    there = (k < len(keys)) & (found // SITE == after // SITE)
    return pl.select(pl.when(there).then(found % SITE)).to_series()


def trips(
    pieces: dict[str, pl.DataFrame],
    by: dict[str, pl.DataFrame],
    runs: pl.DataFrame,
    calls: pl.DataFrame,
    visits: pl.DataFrame,
    days: pl.DataFrame,
    slow: pl.DataFrame,
) -> pl.DataFrame:
    w1, fan = by["output_w1"], by["blower_run"]
    drop = w1.filter(col("joins") & ~col("on")).select("n", "key", drop="start")
    keys = drop["key"]
    ends = []
    for z in ZONES:
        own = calls.filter((col("zone") == z) & (col("mode") == "heating"))
        end = (
            _last(own, keys, "end")["of"]
            if len(own)
            else pl.Series([None] * len(keys), dtype=pl.Int64)
        )
        ends.append(end.alias(f"e{z}"))
    long_enough = [pl.when(col(e.name) >= col("drop") + 30 * US).then(col(e.name)) for e in ends]
    up = fan.filter("on")
    blown = _last(up, keys, "end")
    running = running_sums(call_steps(by), "known", "heat")
    idle = running.filter(
        col("until").is_not_null() & ~((col("known") == len(CALLS)) & (col("heat") > 0))
    )
    drop = (
        drop.with_columns(
            *ends,
            resume=_following(w1.filter("on")["key"], keys),
            quiet=_following(idle.select(key + col("ts")).to_series(), keys),
            fan_since=blown["since"],
            fan_until=blown["of"],
        )
        .with_columns(stands=pl.max_horizontal(long_enough))
        .filter(
            col("stands").is_not_null()
            & (col("fan_since") <= col("drop") - 120 * US)
            & (col("fan_until") >= col("drop"))
            & ~(col("resume") - col("drop") <= CHATTER).fill_null(False)
        )
        .join(slow, on="n", maintain_order="left")
        .with_columns(end_ts=pl.min_horizontal("resume", col("quiet").fill_null(col("stands"))))
        .with_row_index("i")
    )
    supply = pieces["supply_temp"]
    reach_from = (
        key + col("drop") - pl.max_horizontal(pl.lit(60.0 * US), 2 * col("slow")).cast(pl.Int64)
    )
    reach_to = key + pl.min_horizontal(col("drop") + 120 * US, "resume")
    a = supply["key"].search_sorted(drop.select(reach_from).to_series(), "left").cast(pl.Int64)
    b = supply["key"].search_sorted(drop.select(reach_to).to_series(), "right").cast(pl.Int64)
    looked = drop.select("i", "drop", "slow", a=a, b=b).filter(col("b") > col("a"))
    looked = looked.with_columns(p=pl.int_ranges("a", "b")).explode("p")
    read = supply[looked["p"]]
    looked = looked.with_columns(v=read["v0"], at=read["start"])
    by_then = col("at") <= col("drop") + pl.max_horizontal(pl.lit(10.0 * US), col("slow"))
    peak = looked.group_by("i").agg(
        peak_f=col("v").max(),
        peak_ts=col("at").get(col("v").arg_max()),
        seen=col("v").filter(by_then).max(),
    )
    level = HIGH_LIMIT_F - 1.0
    trip = drop.join(peak.filter(col("seen") >= level), on="i", maintain_order="left").drop("key")
    crossing = supply.filter((col("v0") < level) & (col("v1") >= level)).with_columns(
        reach=col("start")
        + ((col("end") - col("start")) * (level - col("v0")) / (col("v1") - col("v0")))
        .round()
        .cast(pl.Int64)
    )
    last = _last(crossing, trip.select(key + col("peak_ts")).to_series(), "reach")
    trip = trip.with_columns(
        pl.when(last["since"] >= col("drop") - 1_200 * US).then(last["of"]).alias("reach")
    ).with_columns(start_ts=pl.min_horizontal(pl.coalesce("reach", "drop"), "drop"))
    keys = trip.select(key + col("drop")).to_series()
    d = days["from"].search_sorted(trip["drop"], "right").cast(pl.Int64) - 1
    zones = [_stood(by[f"zone_call_w1_{z}"], keys - 1).alias(f"z{z}") for z in ZONES]
    context = {"day": days["day"].gather(d)}
    context["stage"] = _stood(by["output_w2"], keys - 1).cast(pl.Int32) + 1
    for name, output in (("run_before_s", "output_w1"), ("stage2_before_s", "output_w2")):
        own = runs.filter(col("output") == output).select("n", start="start_ts", end="end_ts")
        own = _last(own.with_columns(key=key + col("start")), keys, "end")
        context[name] = pl.select(
            pl.when(own["of"] >= trip["drop"] - CHATTER).then((trip["drop"] - own["since"]) / US)
        ).to_series()
    static = pieces["static_pressure"]
    a = static["key"].search_sorted(keys - 120 * US, "left").cast(pl.Int64)
    b = static["key"].search_sorted(keys, "right").cast(pl.Int64)
    near = trip.select("i", a=a, b=b).filter(col("b") > col("a"))
    near = near.with_columns(p=pl.int_ranges("a", "b")).explode("p")
    highest = (
        near.with_columns(v=static["v0"].gather(near["p"]))
        .group_by("i")
        .agg(static_max_inwc=col("v").max())
    )
    for name, role in (("return_f", "return_temp"), ("outdoor_f", "outdoor_temp")):
        own = pieces[role]
        k = own["key"].search_sorted(keys, "right").cast(pl.Int64) - 1
        p = own[k.clip(0)]
        value = p["v0"] + (p["v1"] - p["v0"]) * (trip["drop"] - p["start"]) / (
            p["end"] - p["start"]
        )
        there = (k >= 0) & (p["end"] > trip["drop"]) & (p["n"] == trip["n"])
        context[name] = pl.select(pl.when(there).then(value)).to_series()
    on_again = col("resume") <= col("end_ts")
    trip = trip.with_columns(*zones, **context).join(
        highest, on="i", how="left", maintain_order="left"
    )
    called = [pl.when(f"z{z}").then(pl.lit(str(z))) for z in ZONES]
    return in_visit(trip, visits, "drop").select(
        "n", "start_ts", "end_ts", "peak_f", "peak_ts", "day", "in_visit", "stage", "run_before_s",
        "stage2_before_s", "static_max_inwc", "return_f", "outdoor_f",
        drop_ts="drop",
        is_certain=(col("end_ts") - col("start_ts") >= 2 * col("slow"))
        & (col("stands") - col("drop") >= 30 * US + col("slow")),
        recovery_s=pl.when(on_again).then((col("resume") - col("drop")) / US),
        n_zones=pl.sum_horizontal([col(f"z{z}").cast(pl.Int64) for z in ZONES]),
        zones=pl.concat_str(called, separator="+", ignore_nulls=True),
    )  # fmt: skip
