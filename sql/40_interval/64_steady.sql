-- one row per stretch of heating or cooling in which nothing changed: source, stage, calls, dampers, blower
/*
holds = "defrosts and the time after them, and equipment cut-outs, are left out; the blower runs"

[columns]
begin_ts = "BIGINT | us | the last change before it"
steady_ts = "BIGINT | us | steady from here: after the source's time, or sooner where supply has stopped moving; null: never reached"
end_ts = "BIGINT | us | the next change"
is_sooner = "BOOLEAN | - | supply stood still before the source's time was over"
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | zones calling; null if not known"
zones = "VARCHAR | - | which"
run_ts = "BIGINT | us | start of the source's run that it lies in"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

-- what may not be in a stretch, and where one ends
broken as (
    select d.site_id, d.start_ts, d.end_ts + (1e6 * t.defrost_after_s)::bigint as end_ts
    from interval.defrost d
    join run.threshold t on t.site_id = d.site_id
    union all
    select site_id, start_ts, end_ts from interval.cut_out
),

running as (
    select
        *,
        (row(class, source, stage, zones) is distinct from lag(row(class, source, stage, zones)) over w
            or lag(end_ts) over w is distinct from start_ts)::int as is_new,
    from interval.condition
    where class in ('heating', 'cooling') and fan_on
    window w as (partition by site_id order by start_ts)
),

same as (
    select
        site_id,
        class,
        source,
        stage,
        n_zones,
        zones,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        bool_or(in_visit) as in_visit,
    from (
        select *, sum(is_new) over (partition by site_id order by start_ts) as stretch_id from running
    )
    group by site_id, class, source, stage, n_zones, zones, stretch_id
),

-- dampers that move, and breaks that begin or end, cut it
point as (
    select site_id, start_ts as ts from same
    union
    select site_id, start_ts from signal.state where role = 'zone_damper'
    union
    select site_id, unnest([start_ts, end_ts]) from broken
),

cut as (
    select
        s.site_id,
        p.ts as begin_ts,
        least(coalesce(lead(p.ts) over (partition by p.site_id order by p.ts), s.end_ts), s.end_ts) as end_ts,
        s.*exclude (site_id, start_ts, end_ts),
    from point p
    asof join same s on s.site_id = p.site_id and p.ts >= s.start_ts
    qualify p.ts < s.end_ts
),

whole as (
    select c.*
    from cut c
    asof left join broken b on b.site_id = c.site_id and c.begin_ts >= b.start_ts
    where coalesce(c.begin_ts >= b.end_ts, true)
),

-- the run it lies in, and how long its source rested before; of both sources the compressor's
rested as (
    select
        site_id,
        source,
        start_ts,
        end_ts,
        coalesce(start_ts - lag(end_ts) over (partition by site_id, source order by start_ts), 2**62) as rest_us,
    from interval.source_run
),

timed as (
    select
        w.*,
        coalesce(r.start_ts, w.begin_ts) as run_ts,
        greatest(
            w.begin_ts + 1e6 * if(
                w.source in ('compressor', 'both'), t.steady_compressor_s, t.steady_burner_s
            ),
            if(
                w.source in ('compressor', 'both') and r.rest_us >= t.steady_long_rest_s * 1e6,
                r.start_ts + 1e6 * t.steady_compressor_rested_s,
                0
            )
        )::bigint as due_ts,
        greatest(
            w.begin_ts + (t.steady_still_s * 1e6)::bigint,
            coalesce(r.start_ts, w.begin_ts) + (t.steady_soonest_s * 1e6)::bigint
        ) as soonest_ts,
    from whole w
    join run.threshold t on t.site_id = w.site_id
    asof left join rested r
        on r.site_id = w.site_id
        and r.source = if(w.source = 'both', 'compressor', w.source)
        and w.begin_ts >= r.start_ts
),

supply as (
    select site_id, start_ts, end_ts, start_value, end_value
    from signal.piece
    where role = 'supply_temp'
),

-- readings before a stretch is due, with how far supply moved in the time before each
moved as (
    select
        s.site_id,
        w.begin_ts,
        w.soonest_ts,
        s.end_ts as ts,
        t.steady_still_s,
        t.steady_still_f,
        max(greatest(s.start_value, s.end_value)) over still
            - min(least(s.start_value, s.end_value)) over still as moved_f,
        min(s.start_ts) over still as from_ts,
        sum(s.end_ts - s.start_ts) over still as known_us,
        count(*) over still as n_piece,
    from supply s
    join run.threshold t on t.site_id = s.site_id
    asof join timed w on w.site_id = s.site_id and s.start_ts >= w.begin_ts
    where s.end_ts < least(w.due_ts, w.end_ts)
    window still as (
        partition by s.site_id, w.begin_ts order by s.end_ts
        range between (t.steady_still_s * 1e6)::bigint - 1 preceding and current row
    )
),

stood as (
    select site_id, begin_ts, min(ts) as still_ts
    from moved
    where
        ts >= soonest_ts
        and moved_f < steady_still_f
        and ts - from_ts >= steady_still_s * 1e6
        and known_us = ts - from_ts
        -- two readings two minutes apart do not show what lies between
        and n_piece >= 2
    group by site_id, begin_ts
)

select
    w.site_id,
    w.begin_ts,
    case
        when coalesce(s.still_ts, w.due_ts) < w.end_ts then coalesce(s.still_ts, w.due_ts)
    end as steady_ts,
    w.end_ts,
    s.still_ts is not null as is_sooner,
    w.class as mode,
    w.source,
    w.stage,
    w.n_zones,
    w.zones,
    w.run_ts,
    w.in_visit,
from timed w
left join stood s on s.site_id = w.site_id and s.begin_ts = w.begin_ts
order by w.site_id, w.begin_ts
