-- one row per asked limit and run of heat (cooling) outside visits: did supply air reach it
/*
[columns]
n = "BIGINT | - | run.replay_level; 0: as set"
kind = "VARCHAR | - | high or low"
source = "VARCHAR | - | burner, strip or compressor"
start_ts = "BIGINT | us | the run"
end_ts = "BIGINT | us | the run"
reach_ts = "BIGINT | us | first reading in it at the limit, the fan long enough on; null if none"
stage = "INTEGER | - | stage then"
zones = "VARCHAR | - | zones calling then"
*/
-- At the limit less the sensor's tolerance, as interval.trip has it; supply in the first minutes of the
-- fan proves nothing. What follows the first time is not looked at: the heat would have been off.
with

kind as (
    select 'high' as kind, 'heating' as mode, 1 as sign, 'high_limit_f' as setting
    union all
    select 'low', 'cooling', -1, 'low_limit_f'
),

accuracy as (
    select c.site_id, max(s.accuracy) as accuracy_f
    from channel.channel c
    join store.channel s on s.site_id = c.site_id and s.channel_id = c.channel_id
    where c.role = 'supply_temp' and c.is_primary
    group by c.site_id
),

fan_start as (
    select
        site_id,
        start_ts as ts,
        max(case when fan_on and not coalesce(fan_before, false) then start_ts end) over (
            partition by site_id order by start_ts
        ) as fan_ts,
        fan_on,
        stage,
        zones,
        end_ts,
    from (
        select *, lag(fan_on) over (partition by site_id order by start_ts) as fan_before
        from interval.condition
    )
),

asked as (
    select
        r.site_id,
        l.n,
        k.kind,
        k.sign,
        r.source,
        r.start_ts,
        r.end_ts,
        k.sign * l.value - coalesce(a.accuracy_f, t.limit_sensor_tolerance_f) as reach_level,
        (1e6 * if(
            k.kind = 'high', t.supply_judged_after_fan_s, t.supply_judged_after_fan_cooling_s
        ))::bigint as blown_us,
    from interval.source_run r
    join kind k on k.mode = r.mode
    join run.threshold t on t.site_id = r.site_id
    join run.replay_level l
        on l.site_id = r.site_id
        and l.name = k.setting
        and l.start_ts <= r.start_ts
        and l.end_ts > r.start_ts
    left join accuracy a on a.site_id = r.site_id
    where not r.in_visit and not r.is_inferred
),

reading as (
    select site_id, start_ts as ts, start_value as value_f
    from signal.piece
    where role = 'supply_temp'
    union
    select site_id, end_ts, end_value
    from signal.piece
    where role = 'supply_temp'
),

reached as (
    select
        a.site_id,
        a.n,
        a.kind,
        a.source,
        a.start_ts,
        min(p.ts) as reach_ts,
        arg_min(f.stage, p.ts) as stage,
        arg_min(f.zones, p.ts) as zones,
    from asked a
    join reading p
        on p.site_id = a.site_id
        and p.ts >= a.start_ts
        and p.ts <= a.end_ts
        and a.sign * p.value_f >= a.reach_level
    asof join fan_start f on f.site_id = p.site_id and p.ts > f.ts
    where f.fan_on and p.ts >= f.fan_ts + a.blown_us
    group by a.site_id, a.n, a.kind, a.source, a.start_ts
)

select
    a.site_id,
    a.n,
    a.kind,
    a.source,
    a.start_ts,
    a.end_ts,
    r.reach_ts,
    r.stage,
    r.zones,
from asked a
left join reached r
    on r.site_id = a.site_id
    and r.n = a.n
    and r.kind = a.kind
    and r.source = a.source
    and r.start_ts = a.start_ts
order by a.site_id, a.n, a.kind, a.start_ts, a.source
