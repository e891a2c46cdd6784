-- one row per defrost: the compressor heats the outdoor coil while its output stays on
/*
[columns]
start_ts = "BIGINT | us | outdoor fan off, supply begins to fall, or the panel's heat comes on"
end_ts = "BIGINT | us | outdoor fan on again, supply begins to climb, or the panel's heat goes off"
length_s = "DOUBLE | s | length"
basis = "VARCHAR | - | logged (outdoor fan off with the compressor on), supply or heat pulse (both inferred)"
fall_f = "DOUBLE | °F | fall of supply; null unless told from it"
outdoor_f = "DOUBLE | °F | outdoor air at the start; null if not known"
run_s = "DOUBLE | s | compressor heat since the last defrost, run by run; of the first one since the log begins"
is_long = "BOOLEAN | - | longer than a defrost may last"
is_closed = "BOOLEAN | - | its end was seen: supply recovered with Y on (not: Y went off first)"
in_visit = "BOOLEAN | - | the compressor's run touches a visit"
*/
-- The panel's O/B does not change in a defrost that the outdoor unit makes. Where its fan is logged,
-- that alone tells; else supply falls in frost weather after some time of compressor heat and
-- recovers with Y on, and nothing the panel puts out explains the fall.
with

-- a defrost control's clock adds compressor heat up over runs, so it may come soon after a start
run as (
    select
        site_id,
        start_ts,
        end_ts,
        in_visit,
        coalesce(sum(end_ts - start_ts) over (
            partition by site_id order by start_ts rows between unbounded preceding and 1 preceding
        ), 0)::bigint as before_us,
    from interval.source_run
    where source = 'compressor' and mode = 'heating'
),

fan_logged as (
    select distinct site_id
    from channel.channel
    where role = 'outdoor_fan_run' and is_primary
),

by_fan as (
    select r.site_id, r.start_ts as run_ts, s.start_ts, s.end_ts, 'logged' as basis, null::double as fall_f, true as is_closed
    from run r
    join run.threshold t on t.site_id = r.site_id
    join signal.state s
        on s.site_id = r.site_id and s.role = 'outdoor_fan_run' and not s.is_on
        and s.start_ts > r.start_ts and s.end_ts < r.end_ts
    where
        s.end_ts - s.start_ts >= t.defrost_min_s * 1e6
        and s.end_ts - s.start_ts <= 2e6 * t.defrost_max_s
        and not exists (
            from signal.state p
            where
                p.site_id = s.site_id
                and p.role = 'compressor_run'
                and not p.is_on
                and p.start_ts < s.end_ts
                and p.end_ts > s.start_ts
        )
),

-- heat that the panel puts out during a defrost, where the site file says that it does
by_pulse as (
    select r.site_id, r.start_ts as run_ts, o.start_ts, o.end_ts, 'heat pulse' as basis, null::double as fall_f, true as is_closed
    from run r
    join run.site i on i.site_id = r.site_id and i.defrost_heat_from = 'panel'
    join run.threshold t on t.site_id = r.site_id
    join interval.output_run o
        on o.site_id = r.site_id
        and o.output in ('output_w1', 'output_aux')
        and o.start_ts > r.start_ts
        and o.end_ts + (t.defrost_after_s * 1e6)::bigint <= r.end_ts
    anti join fan_logged f on f.site_id = r.site_id
    where o.end_ts - o.start_ts >= t.defrost_min_s * 1e6 and o.end_ts - o.start_ts <= t.defrost_max_s * 1e6
),

supply as (
    select
        p.site_id,
        r.start_ts as run_ts,
        p.start_ts as ts,
        p.start_value as supply_f,
        t.defrost_fall_f,
        (t.defrost_fall_s * 1e6)::bigint as fall_us,
    from signal.piece p
    asof join run r on r.site_id = p.site_id and p.start_ts >= r.start_ts
    join run.threshold t on t.site_id = p.site_id
    where p.role = 'supply_temp' and p.start_ts < r.end_ts
),

ahead as (
    select
        *,
        min(supply_f) over later as low_f,
    from supply
    window later as (
        partition by site_id, run_ts order by ts range between current row and fall_us following
    )
),

-- the first reading that a fall follows
first_of as (
    select
        a.*,
    from ahead a
    anti join fan_logged f on f.site_id = a.site_id
    where a.supply_f - a.low_f >= a.defrost_fall_f
    qualify coalesce(
        a.ts - lag(a.ts) over (partition by a.site_id, a.run_ts order by a.ts) > a.fall_us, true
    )
),

around as (
    select
        f.site_id,
        f.run_ts,
        f.ts as first_ts,
        f.fall_us,
        f.defrost_fall_f,
        s.ts,
        s.supply_f,
        max(s.supply_f) over w as high_f,
        min(s.supply_f) over w as low_f,
    from first_of f
    join run.threshold t on t.site_id = f.site_id
    join supply s
        on s.site_id = f.site_id
        and s.run_ts = f.run_ts
        and s.ts >= f.ts
        and s.ts <= f.ts + f.fall_us + (2e6 * t.defrost_max_s)::bigint
    window w as (partition by f.site_id, f.run_ts, f.ts order by s.ts)
),

-- it begins where supply was last near its height, and ends where it was last at its lowest
fallen as (
    select
        site_id,
        run_ts,
        first_ts,
        fall_us,
        defrost_fall_f,
        min(ts) as fallen_ts,
        arg_min(high_f, ts) as high_f,
    from around
    where high_f - supply_f >= defrost_fall_f
    group by all
),

back as (
    select
        f.*,
        min(a.ts) filter (a.ts > f.fallen_ts and a.supply_f - a.low_f >= f.defrost_fall_f) as back_ts,
        arg_min(a.low_f, a.ts) filter (a.ts > f.fallen_ts and a.supply_f - a.low_f >= f.defrost_fall_f) as low_f,
    from fallen f
    join around a on a.site_id = f.site_id and a.run_ts = f.run_ts and a.first_ts = f.first_ts
    group by all
),

by_supply as (
    select
        b.site_id,
        b.run_ts,
        max(a.ts) filter (a.ts < b.fallen_ts and b.high_f - a.supply_f <= b.defrost_fall_f / 8) as start_ts,
        if(
            b.back_ts is null,
            any_value(r.end_ts),
            max(a.ts) filter (a.supply_f - b.low_f <= b.defrost_fall_f / 8)
        ) as end_ts,
        'supply' as basis,
        b.high_f - min(a.supply_f) as fall_f,
        b.back_ts is not null as is_closed,
    from back b
    join run r on r.site_id = b.site_id and r.start_ts = b.run_ts
    join around a
        on a.site_id = b.site_id and a.run_ts = b.run_ts and a.first_ts = b.first_ts
        and (b.back_ts is null or a.ts <= b.back_ts)
    where not exists (
        from interval.output_run o
        where
            o.site_id = b.site_id
            and o.output in ('output_w1', 'output_w2', 'output_aux', 'output_y2')
            and o.end_ts > b.first_ts - b.fall_us
            and o.end_ts <= b.fallen_ts
    )
    group by b.site_id, b.run_ts, b.first_ts, b.high_f, b.low_f, b.back_ts
),

-- a defrost that both show is told once, as supply shows it
told as (
    select * from by_fan
    union all
    select * from by_supply
    union all
    select p.*
    from by_pulse p
    anti join by_supply s
        on s.site_id = p.site_id and s.start_ts < p.end_ts and s.end_ts > p.start_ts
),

spaced as (
    select
        d.*,
        r.in_visit,
        (
            r.before_us + d.start_ts - r.start_ts - coalesce(
                lag(r.before_us + d.end_ts - r.start_ts) over (partition by d.site_id order by d.start_ts), 0
            )
        ) / 1e6 as run_s,
        row_number() over (partition by d.site_id order by d.start_ts) = 1 as is_first,
        o.outdoor_f,
        o.end_ts as outdoor_until_ts,
    from told d
    join run r on r.site_id = d.site_id and r.start_ts = d.run_ts
    asof left join interval.weather o on o.site_id = d.site_id and d.start_ts >= o.start_ts
)

select
    d.site_id,
    d.start_ts,
    d.end_ts,
    (d.end_ts - d.start_ts) / 1e6 as length_s,
    d.basis,
    d.fall_f,
    if(d.outdoor_until_ts > d.start_ts, d.outdoor_f, null) as outdoor_f,
    d.run_s,
    d.end_ts - d.start_ts > t.defrost_max_s * 1e6 as is_long,
    d.is_closed,
    d.in_visit,
from spaced d
join run.threshold t on t.site_id = d.site_id
where
    d.basis = 'logged'
    or (
        d.outdoor_until_ts > d.start_ts
        and d.outdoor_f <= t.defrost_outdoor_max_f
        and d.end_ts - d.start_ts >= t.defrost_min_s * 1e6
        -- supply that stays down until Y goes off, for long or from the start, is something else
        and (
            d.is_closed
            or (
                d.end_ts - d.start_ts <= t.defrost_max_s * 1e6
                and d.start_ts - d.run_ts >= t.defrost_fall_s * 1e6
            )
        )
        and (d.is_first or d.run_s >= t.defrost_rest_min_s)
    )
order by d.site_id, d.start_ts
