-- one row per time the burner or strip heat stopped by itself with its output still on
/*
holds = "a fall that a high-limit trip of the panel ends or overlaps is left to the trip"

[columns]
source = "VARCHAR | - | burner, strip or compressor"
start_ts = "BIGINT | us | peak before the fall"
low_ts = "BIGINT | us | lowest after it"
end_ts = "BIGINT | us | climbs again, or output off"
peak_f = "DOUBLE | °F | supply at the peak"
low_f = "DOUBLE | °F | supply at the lowest"
in_visit = "BOOLEAN | - | inside a visit"
*/
-- Output, stage, calls and dampers unchanged; supply falls soon after a peak and climbs again with
-- the output on, or the output ends first. Compressor stops are told from defrost elsewhere.
with

damper_edge as (
    select site_id, start_ts as ts
    from signal.state
    where role = 'zone_damper'
),

-- steady stretches: cut at damper edges too, fan proven throughout
edge as (
    select site_id, unnest([start_ts, end_ts]) as ts from interval.condition
    union
    select site_id, ts from damper_edge
),

stretch as (
    select
        e.site_id,
        e.ts as start_ts,
        lead(e.ts) over (partition by e.site_id order by e.ts) as end_ts,
    from edge e
),

steady as (
    select
        s.site_id,
        s.start_ts,
        s.end_ts,
        c.source,
        c.in_visit,
        row_number() over (partition by s.site_id order by s.start_ts) as stretch_id,
    from stretch s
    asof join interval.condition c on c.site_id = s.site_id and s.start_ts >= c.start_ts
    join run.threshold t on t.site_id = s.site_id
    where
        c.class = 'heating'
        and c.is_inferred is distinct from true
        and c.source in ('burner', 'strip')
        and c.fan_on
        and s.end_ts <= c.end_ts
        and s.end_ts - s.start_ts > t.cut_out_steady_s * 1e6
),

supply as (
    select site_id, start_ts as ts, start_value as supply_f
    from signal.piece
    where role = 'supply_temp'
),

back as (
    select site_id, quantile_cont(start_value, 0.5) as return_f
    from signal.piece
    where role = 'return_temp'
    group by site_id
),

-- one row per reading inside a steady stretch, with what the next minutes bring
ahead as (
    select
        s.site_id,
        s.stretch_id,
        s.source,
        s.in_visit,
        s.start_ts,
        s.end_ts,
        p.ts,
        p.supply_f,
        t.cut_out_steady_s,
        t.cut_out_fall_min_f,
        t.cut_out_fall_share,
        (t.cut_out_fall_s * 1e6)::bigint as fall_us,
        coalesce(b.return_f, t.return_unknown_f) as return_f,
        min(p.supply_f) over later as low_f,
        arg_min(p.ts, p.supply_f) over later as low_ts,
        max(p.supply_f) over around as around_f,
    from steady s
    join supply p on p.site_id = s.site_id and p.ts >= s.start_ts and p.ts < s.end_ts
    join run.threshold t on t.site_id = s.site_id
    left join back b on b.site_id = s.site_id
    window
        later as (
            partition by s.site_id, s.stretch_id order by p.ts
            range between current row and fall_us following
        ),
        around as (
            partition by s.site_id, s.stretch_id order by p.ts
            range between fall_us preceding and fall_us following
        )
),

fall as (
    select *
    from ahead
    where
        ts - start_ts >= cut_out_steady_s * 1e6
        and supply_f = around_f
        and supply_f - low_f >= greatest(cut_out_fall_min_f, cut_out_fall_share * (supply_f - return_f))
),

first_of as (
    select *
    from fall
    qualify coalesce(
        ts - lag(ts) over (partition by site_id, stretch_id order by ts) > fall_us, true
    )
),

-- it climbs again with the output on, or the output ends first
found as (
    select
        f.site_id,
        f.source,
        f.ts as start_ts,
        f.low_ts,
        coalesce(min(p.ts) filter (p.supply_f >= f.low_f + t.cut_out_back_f), any_value(r.end_ts)) as end_ts,
        f.supply_f as peak_f,
        f.low_f,
        f.in_visit,
    from first_of f
    join run.threshold t on t.site_id = f.site_id
    join interval.source_run r
        on r.site_id = f.site_id and r.source = f.source and r.start_ts <= f.ts and r.end_ts > f.ts
    left join supply p on p.site_id = f.site_id and p.ts > f.low_ts and p.ts < r.end_ts
    group by f.site_id, f.source, f.ts, f.low_ts, f.supply_f, f.low_f, f.in_visit
)

-- a fall that a panel trip ends or overlaps is told there
select c.*
from found c
anti join interval.trip x
    on x.site_id = c.site_id
    and x.kind = 'high'
    and (x.drop_ts = c.end_ts or (x.start_ts <= c.low_ts and x.end_ts > c.start_ts))
order by c.site_id, c.start_ts
