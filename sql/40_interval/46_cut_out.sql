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
is_certain = "BOOLEAN | - | the output was on throughout: it was never seen to chatter, and is logged finely enough to see that"
*/
-- Output, stage, calls and dampers unchanged for some time, the blower proven; supply falls soon after a
-- peak and climbs again with the output on, or the output ends first. A call or damper that changes
-- during the fall explains what follows it, unless supply falls further than more air can bring it and is
-- back in minutes. Compressor stops are told from defrost elsewhere.
with

-- outputs and stage unchanged, and in that each stretch with the blower on and off
heat as (
    select
        site_id,
        source,
        lit_id,
        blown_id,
        any_value(blown) as blown,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        row_number() over (partition by site_id order by min(start_ts)) as heat_id,
    from (
        select
            *,
            sum(is_new::int) over w as lit_id,
            sum((is_new or blown is distinct from before)::int) over w as blown_id,
        from (
            select
                *,
                coalesce(fan_on, false) as blown,
                lag(coalesce(fan_on, false)) over w as before,
                lag(end_ts) over w is distinct from start_ts
                    or row(source, stage, w1, w2, y1, y2, aux)
                        is distinct from lag(row(source, stage, w1, w2, y1, y2, aux)) over w as is_new,
            from interval.condition
            where
                class = 'heating'
                and is_inferred is distinct from true
                and source in ('burner', 'strip')
            window w as (partition by site_id order by start_ts)
        )
        window w as (partition by site_id order by start_ts)
    )
    group by site_id, source, lit_id, blown_id
),

-- what else can move supply: outputs, stage, calls and dampers
change as (
    select site_id, start_ts as ts
    from (
        select
            site_id,
            start_ts,
            lag(end_ts) over w is distinct from start_ts
                or row(class, stage, w1, w2, y1, y2, aux, heat_zones, cool_zones)
                    is distinct from lag(row(class, stage, w1, w2, y1, y2, aux, heat_zones, cool_zones)) over w
                as is_new,
        from interval.condition
        window w as (partition by site_id order by start_ts)
    )
    where is_new
    union
    select site_id, start_ts from signal.state where role = 'zone_damper'
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

-- each reading with the last change before it and the next one after it
inside as (
    select
        p.site_id,
        h.heat_id,
        h.lit_id,
        h.blown,
        h.source,
        p.ts,
        p.supply_f,
        coalesce(b.return_f, t.return_unknown_f) as return_f,
        p.ts - c.ts >= t.cut_out_steady_s * 1e6 as is_quiet,
        p.ts - h.start_ts >= t.supply_judged_after_fan_s * 1e6 as is_blown,
        (t.cut_out_fall_s * 1e6)::bigint as fall_us,
        (t.cut_out_peak_s * 1e6)::bigint as peak_us,
        t.cut_out_back_f as back_f,
        least(fall_us, coalesce(n.ts - p.ts - 1, fall_us)) as still_us,
        greatest(
            t.cut_out_fall_min_f,
            t.cut_out_fall_share * (p.supply_f - coalesce(b.return_f, t.return_unknown_f))
        ) as least_f,
        greatest(
            t.cut_out_fall_min_f,
            t.cut_out_deep_share * (p.supply_f - coalesce(b.return_f, t.return_unknown_f))
        ) as deep_f,
    from supply p
    asof join heat h on h.site_id = p.site_id and p.ts >= h.start_ts
    asof join change c on c.site_id = p.site_id and p.ts >= c.ts
    asof left join change n on n.site_id = p.site_id and p.ts < n.ts
    join run.threshold t on t.site_id = p.site_id
    left join back b on b.site_id = p.site_id
    where p.ts < h.end_ts
),

-- a blower that stopped with the equipment and came on again proves itself sooner, once supply has
-- climbed under it: what falls is then no still air that was hot
--
-- what the next minutes bring: until the next change, and whatever changes, a blower that stops with the
-- equipment among it
ahead as (
    select
        *,
        max(supply_f) over around as around_f,
        min(supply_f) over before as before_f,
        min(supply_f) over still as still_low_f,
        arg_min(ts, supply_f) over still as still_low_ts,
        min(supply_f) over later as deep_low_f,
        arg_min(ts, supply_f) over later as deep_low_ts,
    from inside
    window
        before as (
            partition by site_id, heat_id order by ts
            range between unbounded preceding and current row
        ),
        around as (
            partition by site_id, heat_id order by ts
            range between peak_us preceding and peak_us following
        ),
        still as (
            partition by site_id, heat_id order by ts
            range between current row and still_us following
        ),
        later as (
            partition by site_id, lit_id order by ts
            range between current row and fall_us following
        )
),

fall as (
    select
        *,
        supply_f - still_low_f >= least_f as is_still,
        if(is_still, still_low_f, deep_low_f) as low_f,
        if(is_still, still_low_ts, deep_low_ts) as low_ts,
    from ahead
    where
        blown
        and is_quiet
        and (is_blown or supply_f - before_f >= back_f)
        -- near enough to the peak: supply may have sunk a little since a zone joined in, and the probe is
        -- still to reach its highest where one does just as the heat stops
        and supply_f >= around_f - back_f
        and (supply_f - still_low_f >= least_f or supply_f - deep_low_f >= deep_f)
),

-- of the highest readings before one low the highest, and of those the last
first_of as (
    select
        site_id,
        heat_id,
        source,
        max_by(ts, (supply_f, ts)) as ts,
        max(supply_f) as supply_f,
        min(low_f) as low_f,
        arg_min(low_ts, low_f) as low_ts,
        bool_or(is_still) as is_still,
    from (
        select
            *,
            sum(is_new) over (partition by site_id, heat_id order by ts) as fall_id,
        from (
            select
                *,
                coalesce(ts > max(low_ts) over (
                    partition by site_id, heat_id order by ts
                    rows between unbounded preceding and 1 preceding
                ), true)::int as is_new,
            from fall
        )
    )
    group by site_id, heat_id, source, fall_id
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
        f.is_still,
        (t.cut_out_fall_s * 1e6)::bigint as fall_us,
    from first_of f
    join run.threshold t on t.site_id = f.site_id
    join interval.source_run r
        on r.site_id = f.site_id and r.source = f.source and r.start_ts <= f.ts and r.end_ts > f.ts
    left join supply p on p.site_id = f.site_id and p.ts > f.low_ts and p.ts < r.end_ts
    group by f.site_id, f.source, f.ts, f.low_ts, f.supply_f, f.low_f, f.is_still, fall_us
),

-- an output that drops for seconds puts a flame out too, and a coarse log does not show it
output as (
    select
        r.site_id,
        r.source,
        bool_and(r.n_chatter = 0) and any_value(o.interval_s) <= any_value(t.chatter_max_s) as is_seen,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    join (
        select site_id, max(interval_s) as interval_s
        from channel.channel
        where is_primary and role in ('output_w1', 'output_aux')
        group by site_id
    ) o on o.site_id = r.site_id
    group by r.site_id, r.source
)

-- a fall that a panel trip ends or overlaps is told there
select
    c.site_id,
    c.source,
    c.start_ts,
    c.low_ts,
    c.end_ts,
    c.peak_f,
    c.low_f,
    v.in_visit,
    coalesce(o.is_seen, false) as is_certain,
from found c
left join output o on o.site_id = c.site_id and o.source = c.source
asof join interval.condition v on v.site_id = c.site_id and c.start_ts >= v.start_ts
anti join interval.trip x
    on x.site_id = c.site_id
    and x.kind = 'high'
    and (x.drop_ts = c.end_ts or (x.start_ts <= c.low_ts and x.end_ts > c.start_ts))
where c.is_still or c.end_ts - c.low_ts <= c.fall_us
order by c.site_id, c.start_ts
