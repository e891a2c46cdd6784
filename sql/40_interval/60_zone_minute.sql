-- one row per zone and whole minute at which its temperature is known
/*
holds = "values at the instant of the minute, linear between readings; calls and class hold at it"

[columns]
zone = "INTEGER | - | zone"
ts = "BIGINT | us | whole minute (UTC)"
temp_f = "DOUBLE | °F | room"
heat_setpoint_f = "DOUBLE | °F | null if not known"
cool_setpoint_f = "DOUBLE | °F | null if not known"
supply_f = "DOUBLE | °F | supply air; null if not known"
return_f = "DOUBLE | °F | return air at the unit; null if not known"
outdoor_f = "DOUBLE | °F | null if not known"
class = "VARCHAR | - | interval.condition"
is_proven = "BOOLEAN | - | the blower has run long enough for supply to be judged"
call_mode = "VARCHAR | - | heating or cooling: what the zone calls for; '' neither, both: both; null if calls are not known"
in_visit = "BOOLEAN | - | inside a visit"
*/
with

-- the value at each whole minute: a piece of up to a minute holds one at most, a longer one several
zone_mark as (
    select
        site_id,
        zone,
        role,
        (start_ts + 59999999) // 60000000 * 60000000 as ts,
        start_value + (end_value - start_value) * (ts - start_ts) / (end_ts - start_ts) as value,
    from signal.piece
    where role in ('zone_temp', 'zone_heat_setpoint', 'zone_cool_setpoint') and ts < end_ts and end_ts - start_ts <= 60000000
    union all
    select
        site_id,
        zone,
        role,
        unnest(range((start_ts + 59999999) // 60000000 * 60000000, end_ts, 60000000)) as ts,
        start_value + (end_value - start_value) * (ts - start_ts) / (end_ts - start_ts) as value,
    from signal.piece
    where role in ('zone_temp', 'zone_heat_setpoint', 'zone_cool_setpoint') and end_ts - start_ts > 60000000
),

zone_value as (
    select
        site_id,
        zone,
        ts,
        max(value) filter (role = 'zone_temp') as temp_f,
        max(value) filter (role = 'zone_heat_setpoint') as heat_setpoint_f,
        max(value) filter (role = 'zone_cool_setpoint') as cool_setpoint_f,
    from zone_mark
    group by site_id, zone, ts
    having temp_f is not null
),

air_mark as (
    select
        site_id,
        role,
        (start_ts + 59999999) // 60000000 * 60000000 as ts,
        start_value + (end_value - start_value) * (ts - start_ts) / (end_ts - start_ts) as value,
    from signal.piece
    where role in ('supply_temp', 'return_temp', 'outdoor_temp') and ts < end_ts and end_ts - start_ts <= 60000000
    union all
    select
        site_id,
        role,
        unnest(range((start_ts + 59999999) // 60000000 * 60000000, end_ts, 60000000)) as ts,
        start_value + (end_value - start_value) * (ts - start_ts) / (end_ts - start_ts) as value,
    from signal.piece
    where role in ('supply_temp', 'return_temp', 'outdoor_temp') and end_ts - start_ts > 60000000
),

air as (
    select
        site_id,
        ts,
        max(value) filter (role = 'supply_temp') as supply_f,
        max(value) filter (role = 'return_temp') as return_f,
        max(value) filter (role = 'outdoor_temp') as outdoor_f,
    from air_mark
    group by site_id, ts
),

minute as (
    select distinct site_id, ts from zone_value
),

fan as (
    select site_id, start_ts, end_ts from run_state.fan where is_on
),

placed as (
    select
        m.site_id,
        m.ts,
        a.supply_f,
        a.return_f,
        a.outdoor_f,
        c.class,
        c.heat_zones,
        c.cool_zones,
        c.in_visit,
        coalesce(
            m.ts < f.end_ts
            and m.ts - f.start_ts >= 1e6 * if(
                c.class = 'cooling', t.supply_judged_after_fan_cooling_s, t.supply_judged_after_fan_s
            ),
            false
        ) as is_proven,
    from minute m
    join run.threshold t on t.site_id = m.site_id
    asof left join interval.condition c on c.site_id = m.site_id and m.ts >= c.start_ts
    asof left join fan f on f.site_id = m.site_id and m.ts >= f.start_ts
    left join air a on a.site_id = m.site_id and a.ts = m.ts
)

select
    v.site_id,
    v.zone,
    v.ts,
    v.temp_f,
    v.heat_setpoint_f,
    v.cool_setpoint_f,
    p.supply_f,
    p.return_f,
    p.outdoor_f,
    coalesce(p.class, 'unknown') as class,
    p.is_proven,
    case
        when p.heat_zones is null then null
        when '+' || p.heat_zones || '+' like '%+' || v.zone || '+%'
            then if('+' || p.cool_zones || '+' like '%+' || v.zone || '+%', 'both', 'heating')
        when '+' || p.cool_zones || '+' like '%+' || v.zone || '+%' then 'cooling'
        else ''
    end as call_mode,
    coalesce(p.in_visit, false) as in_visit,
from zone_value v
join placed p on p.site_id = v.site_id and p.ts = v.ts
order by v.site_id, v.zone, v.ts
