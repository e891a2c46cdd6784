-- one row per time the compressor stopped cooling by itself with Y on
/*
holds = "cooling only: in heating a fall of supply may be a defrost"

[columns]
start_ts = "BIGINT | us | supply at its coldest before the split collapses"
high_ts = "BIGINT | us | warmest after it"
end_ts = "BIGINT | us | cools again, or outputs, calls or dampers changed first"
low_f = "DOUBLE | °F | supply at the start"
high_f = "DOUBLE | °F | supply at its warmest"
split_lost = "DOUBLE | share | of the split before"
is_back = "BOOLEAN | - | the split came back with Y on"
outdoor_f = "DOUBLE | °F | outdoor air at the start; null if not known"
in_visit = "BOOLEAN | - | inside a visit"
*/
-- Output, stage, calls and dampers unchanged, fan proven: supply climbs by half of the split within
-- minutes and falls again. Return air is taken as its median: it moves slowly.
with

damper_edge as (
    select site_id, start_ts as ts
    from signal.state
    where role = 'zone_damper'
),

-- second stage coming on makes supply no warmer, so it ends nothing
cooling as (
    select
        c.site_id,
        c.start_ts,
        c.end_ts,
        c.in_visit,
        not coalesce(
            lag(c.end_ts) over w = c.start_ts
                and lag(c.cool_zones) over w is not distinct from c.cool_zones
                and (coalesce(c.y2, false) or not coalesce(lag(c.y2) over w, false)),
            false
        ) as is_new,
    from interval.condition c
    where c.class = 'cooling' and c.source = 'compressor' and c.fan_on
    window w as (partition by c.site_id order by c.start_ts)
),

edge as (
    select site_id, start_ts as ts, true as is_on, in_visit, is_new
    from cooling
    where is_new
    union all
    select site_id, max(end_ts), false, false, true
    from (select *, sum(is_new::int) over (partition by site_id order by start_ts) as part_id from cooling)
    group by site_id, part_id
),

-- cut at damper edges too: each piece is on from an edge, or from a damper that moved while on
piece as (
    select
        site_id,
        ts as start_ts,
        lead(ts) over w as end_ts,
        last_value(is_on ignore nulls) over (w rows between unbounded preceding and current row) as is_on,
        last_value(in_visit ignore nulls) over (w rows between unbounded preceding and current row) as in_visit,
    from (
        select site_id, ts, bool_or(is_on) as is_on, bool_or(in_visit) as in_visit
        from (
            select site_id, ts, is_on, in_visit from edge
            union all
            select site_id, ts, null, null from damper_edge
        )
        group by site_id, ts
    )
    window w as (partition by site_id order by ts)
),

steady as (
    select p.site_id, p.start_ts, p.end_ts, p.in_visit
    from piece p
    join run.threshold t on t.site_id = p.site_id
    where p.is_on and p.end_ts - p.start_ts > t.supply_judged_after_fan_cooling_s * 1e6
),

back as (
    select site_id, quantile_cont(start_value, 0.5) as return_f
    from signal.piece
    where role = 'return_temp'
    group by site_id
),

supply as (
    select
        s.site_id,
        s.start_ts as steady_ts,
        s.end_ts as steady_end_ts,
        s.in_visit,
        p.start_ts as ts,
        p.start_value as supply_f,
        coalesce(b.return_f, t.return_unknown_f) - p.start_value as split_f,
        t.compressor_stop_share,
        t.compressor_stop_min_f,
        (t.cut_out_fall_s * 1e6)::bigint as climb_us,
        p.start_ts - s.start_ts >= t.supply_judged_after_fan_cooling_s * 1e6 as is_judged,
    from signal.piece p
    asof join steady s on s.site_id = p.site_id and p.start_ts >= s.start_ts
    join run.threshold t on t.site_id = p.site_id
    left join back b on b.site_id = p.site_id
    where p.role = 'supply_temp' and p.start_ts < s.end_ts
),

ahead as (
    select
        *,
        max(supply_f) over later as high_f,
    from supply
    window later as (
        partition by site_id, steady_ts order by ts range between current row and climb_us following
    )
),

first_of as (
    select *
    from ahead
    where
        is_judged
        and high_f - supply_f >= greatest(compressor_stop_min_f, compressor_stop_share * split_f)
    qualify coalesce(
        ts - lag(ts) over (partition by site_id, steady_ts order by ts) > climb_us, true
    )
),

-- it begins where supply was last near its coldest before the climb
begun as (
    select
        f.site_id,
        f.steady_ts,
        f.steady_end_ts,
        f.in_visit,
        max(s.ts) as start_ts,
        arg_max(s.supply_f, s.ts) as low_f,
        arg_max(s.split_f, s.ts) as split_f,
        any_value(f.high_f) as high_f,
    from first_of f
    join supply s
        on s.site_id = f.site_id and s.steady_ts = f.steady_ts
        and s.ts >= f.ts and s.ts <= f.ts + f.climb_us
        and f.high_f - s.supply_f >= greatest(s.compressor_stop_min_f, s.compressor_stop_share * s.split_f)
    group by f.site_id, f.steady_ts, f.steady_end_ts, f.in_visit, f.ts
),

after as (
    select
        b.*,
        s.ts,
        s.supply_f,
        max(s.supply_f) over (partition by b.site_id, b.start_ts order by s.ts) as warmest_f,
    from begun b
    join supply s on s.site_id = b.site_id and s.steady_ts = b.steady_ts and s.ts > b.start_ts
),

-- it has come back when half of the climb is lost again
returned as (
    select
        site_id,
        start_ts,
        min(ts) filter (
            warmest_f >= high_f and supply_f <= warmest_f - (warmest_f - low_f) / 2
        ) as back_ts,
    from after
    group by site_id, start_ts
),

peaked as (
    select
        a.site_id,
        a.start_ts,
        coalesce(r.back_ts, a.steady_end_ts) as end_ts,
        r.back_ts is not null as is_back,
        a.low_f,
        a.split_f,
        a.in_visit,
        max(a.supply_f) as high_f,
        arg_max(a.ts, a.supply_f) as high_ts,
    from after a
    join returned r on r.site_id = a.site_id and r.start_ts = a.start_ts
    where a.ts < coalesce(r.back_ts, a.steady_end_ts)
    group by a.site_id, a.start_ts, a.steady_end_ts, r.back_ts, a.low_f, a.split_f, a.in_visit
)

select
    p.site_id,
    p.start_ts,
    p.high_ts,
    p.end_ts,
    p.low_f,
    p.high_f,
    (p.high_f - p.low_f) / nullif(p.split_f, 0) as split_lost,
    p.is_back,
    if(o.end_ts > p.start_ts, o.outdoor_f, null) as outdoor_f,
    p.in_visit,
from peaked p
asof left join interval.weather o on o.site_id = p.site_id and p.start_ts >= o.start_ts
order by p.site_id, p.start_ts
