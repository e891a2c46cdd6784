-- one row per local day on which a heat pump's house was heated, visits left out
/*
definition = "For each local day: heating time by what heated, the time of aux heat above the high balance point, and the time of W or aux alone with outdoor air above the low point by the margin. Emergency heat (or a locked-out compressor) when that is nearly all of a day's heating."
needs = ["outputs", "outdoor air"]
resolution = "one interval at each edge; outdoor air by clock steps"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
not_without = [["output_"]]
source = "share, margin and least time: run.threshold; balance points as given by the site file"

[columns]
day = "DATE | - | local date"
heat_s = "DOUBLE | s | time in which anything heated"
compressor_s = "DOUBLE | s | the compressor alone"
both_s = "DOUBLE | s | the compressor with burner or strip heat"
burner_s = "DOUBLE | s | the burner alone"
strip_s = "DOUBLE | s | strip heat alone"
outdoor_f = "DOUBLE | °F | mean outdoor air while heating; null if not known"
known_s = "DOUBLE | s | heating time with outdoor air and both balance points known"
aux_above_high_s = "DOUBLE | s | of it: strip heat with outdoor air above the high point; null if no point was given"
alone_above_low_s = "DOUBLE | s | heating with W or aux alone and outdoor air above the low point by the margin; null if no point was given"
is_emergency_heat = "BOOLEAN | - | that is nearly all of the day's heating; null if it cannot be told"
is_called = "BOOLEAN | - | a zone called for emergency heat; null if that is not logged"
*/
with

edge as (
    select site_id, unnest([start_ts, end_ts]) as ts from interval.condition
    union
    select site_id, unnest([start_ts, end_ts]) from interval.weather
    union
    select site_id, start_ts from run.day
    union
    select site_id, start_ts from run.setting where name in ('low_balance_f', 'high_balance_f')
),

piece as (
    select site_id, ts as start_ts, lead(ts) over (partition by site_id order by ts) as end_ts
    from edge
),

heated as (
    select
        p.site_id,
        p.start_ts,
        p.end_ts - p.start_ts as us,
        c.source,
        c.w1,
        if(o.end_ts > p.start_ts, o.outdoor_f, null) as outdoor_f,
    from piece p
    join run.site i on i.site_id = p.site_id and i.has_heat_pump
    asof join interval.condition c on c.site_id = p.site_id and p.start_ts >= c.start_ts
    asof left join interval.weather o on o.site_id = p.site_id and p.start_ts >= o.start_ts
    where c.class = 'heating' and p.start_ts < c.end_ts and not c.in_visit
),

set_to as (
    select
        h.*,
        d.day,
        i.has_burner,
        b.value as low_f,
        g.value as high_f,
        t.emergency_margin_f,
    from heated h
    join run.site i on i.site_id = h.site_id
    join run.threshold t on t.site_id = h.site_id
    join run.day d on d.site_id = h.site_id and h.start_ts >= d.start_ts and h.start_ts < d.end_ts
    left join run.setting b
        on b.site_id = h.site_id and b.name = 'low_balance_f'
        and b.start_ts <= h.start_ts and b.end_ts > h.start_ts
    left join run.setting g
        on g.site_id = h.site_id and g.name = 'high_balance_f'
        and g.start_ts <= h.start_ts and g.end_ts > h.start_ts
),

summed as (
    select
        site_id,
        day,
        sum(us)::double / 1e6 as heat_s,
        coalesce(sum(us) filter (source = 'compressor'), 0)::double / 1e6 as compressor_s,
        coalesce(sum(us) filter (source = 'both'), 0)::double / 1e6 as both_s,
        coalesce(sum(us) filter (source = 'burner'), 0)::double / 1e6 as burner_s,
        coalesce(sum(us) filter (source = 'strip'), 0)::double / 1e6 as strip_s,
        sum(us * outdoor_f) / nullif(sum(us) filter (outdoor_f is not null), 0) as outdoor_f,
        coalesce(sum(us) filter (
            outdoor_f is not null and low_f is not null and high_f is not null
        ), 0)::double / 1e6 as known_s,
        if(
            bool_or(high_f is not null),
            coalesce(sum(us) filter (
                outdoor_f > high_f and (source = 'strip' or (source = 'both' and not has_burner))
            ), 0)::double / 1e6,
            null
        ) as aux_above_high_s,
        if(
            bool_or(low_f is not null),
            coalesce(sum(us) filter (
                outdoor_f > low_f + emergency_margin_f and source in ('burner', 'strip')
            ), 0)::double / 1e6,
            null
        ) as alone_above_low_s,
    from set_to
    group by site_id, day
),

-- a compressor that is not logged cannot be said to have stood
pump_logged as (
    select distinct site_id
    from channel.channel
    where role = 'output_y1' and is_primary
),

called as (
    select d.site_id, d.day, bool_or(s.is_on) as is_called
    from run.day d
    join signal.state s
        on s.site_id = d.site_id and s.role = 'zone_call_emergency'
        and s.start_ts < d.end_ts and s.end_ts > d.start_ts
    group by d.site_id, d.day
)

select
    s.site_id,
    s.day,
    s.heat_s,
    s.compressor_s,
    s.both_s,
    s.burner_s,
    s.strip_s,
    s.outdoor_f,
    s.known_s,
    s.aux_above_high_s,
    s.alone_above_low_s,
    if(
        p.site_id is null or s.heat_s < t.emergency_min_heat_s,
        null,
        s.alone_above_low_s >= t.emergency_share * s.heat_s
    ) as is_emergency_heat,
    c.is_called,
from summed s
join run.threshold t on t.site_id = s.site_id
left join pump_logged p on p.site_id = s.site_id
left join called c on c.site_id = s.site_id and c.day = s.day
order by s.site_id, s.day
