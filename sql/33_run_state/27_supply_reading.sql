-- one row per trusted supply reading of a site whose outputs do not say when heat or cooling ran
/*
holds = "in (site_id, ts) order; no row for a site that logs an output for each of its modes, nor for one whose temperatures are too coarse to tell"

[columns]
ts = "BIGINT | us | instant"
supply_f = "DOUBLE | °F | supply temperature"
return_f = "DOUBLE | °F | return temperature read last, if it holds"
outdoor_f = "DOUBLE | °F | outdoor temperature read last, if it holds"
interval_s = "DOUBLE | s | slower of the two channels' intervals"
needs_heat = "BOOLEAN | - | no output says when heat ran"
needs_cool = "BOOLEAN | - | no output says when cooling ran"
is_told = "BOOLEAN | - | a logged output of heat or cooling is on"
is_calling = "BOOLEAN | - | a zone calls for heat or cooling; null: calls are not known"
fan_on = "BOOLEAN | - | the blower runs, by what was logged of it; null: not known"
*/
with

logged as (
    select
        s.site_id,
        s.kind <> 'ac' as heats,
        s.kind <> 'furnace' as cools,
        s.has_burner,
        s.has_heat_pump,
        coalesce(bool_or(c.role = 'output_w1'), false) as has_w1,
        coalesce(bool_or(c.role = 'output_y1'), false) as has_y1,
    from run.site s
    left join channel.channel c on c.site_id = s.site_id and c.is_primary
    group by s.site_id, s.kind, s.has_burner, s.has_heat_pump
),

asked as (
    select
        site_id,
        heats and not ((has_w1 or not has_burner) and (has_y1 or not has_heat_pump)) as needs_heat,
        cools and not has_y1 as needs_cool,
    from logged
    where needs_heat or needs_cool
),

-- what is not trusted tells of no run; a cut that reaches an end of the window reaches past it
cut as (
    select
        g.site_id,
        g.channel_id,
        if(g.start_ts <= w.start_ts, -9e18::bigint, g.start_ts) as start_ts,
        if(g.end_ts >= w.end_ts, 9e18::bigint, g.end_ts) as end_ts,
    from trust.gap g
    join run.window w on w.site_id = g.site_id
    where g.is_cut and g.role in ('supply_temp', 'return_temp', 'outdoor_temp')
),

temperature as (
    select c.site_id, c.role, c.interval_s, t.hold_max_intervals * c.interval_s * 1e6 as hold_us, r.ts, r.value
    from channel.channel c
    join asked a on a.site_id = c.site_id
    join run.threshold t on t.site_id = c.site_id
    join channel.reading r on r.site_id = c.site_id and r.channel_id = c.channel_id
    asof left join cut x on x.site_id = r.site_id and x.channel_id = r.channel_id and r.ts > x.start_ts
    where
        c.is_primary
        and c.role in ('supply_temp', 'return_temp', 'outdoor_temp')
        and coalesce(r.ts >= x.end_ts, true)
),

supply as (select * from temperature where role = 'supply_temp'),
back as (select * from temperature where role = 'return_temp'),
outdoor as (select * from temperature where role = 'outdoor_temp'),

-- outputs and calls as running sums: on, and channels known
edge as (
    select s.site_id, unnest([s.start_ts, s.end_ts]) as ts, unnest([1, -1]) as step, s.is_on, s.role
    from channel.state s
    join asked a on a.site_id = s.site_id
    where
        s.role in ('output_w1', 'output_y1', 'output_aux')
        or s.role in (
            'zone_call_w1',
            'zone_call_w2',
            'zone_call_y1',
            'zone_call_y2',
            'zone_call_aux',
            'zone_call_emergency'
        )
),

told as (
    select
        site_id,
        ts,
        coalesce(sum(sum(step) filter (is_on and role like 'output_%')) over w, 0) > 0 as is_told,
        coalesce(sum(sum(step) filter (is_on and role like 'zone_call_%')) over w, 0) > 0 as any_call,
        coalesce(sum(sum(step) filter (role like 'zone_call_%')) over w, 0) as n_known,
    from edge
    group by site_id, ts
    window w as (partition by site_id order by ts)
),

call_channel as (
    select c.site_id, count(*) as n
    from channel.channel c
    where
        c.is_primary
        and c.role like 'zone_call_%'
        and c.role not in ('zone_call_g', 'zone_call_ob')
    group by c.site_id
)

select
    s.site_id,
    s.ts,
    s.value as supply_f,
    if(s.ts - b.ts <= b.hold_us, b.value, null) as return_f,
    if(s.ts - o.ts <= o.hold_us, o.value, null) as outdoor_f,
    greatest(s.interval_s, b.interval_s) as interval_s,
    a.needs_heat,
    a.needs_cool,
    coalesce(e.is_told, false) as is_told,
    if(e.n_known = n.n, e.any_call, null) as is_calling,
    case when f.end_ts > s.ts and f.source <> 'outputs' then f.is_on end as fan_on,
from supply s
join asked a on a.site_id = s.site_id
asof join back b on b.site_id = s.site_id and s.ts >= b.ts
asof left join outdoor o on o.site_id = s.site_id and s.ts >= o.ts
asof left join told e on e.site_id = s.site_id and s.ts >= e.ts
asof left join run_state.fan_told f on f.site_id = s.site_id and s.ts >= f.start_ts
left join call_channel n on n.site_id = s.site_id
join run.threshold t on t.site_id = s.site_id
where greatest(s.interval_s, b.interval_s) <= t.inferred_interval_max_s
order by s.site_id, s.ts
