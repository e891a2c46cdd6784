-- one row per call of a zone: calling for one mode without a break
/*
[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating, cooling or unknown (a heat-pump thermostat whose O/B is not logged)"
start_ts = "BIGINT | us | call begins"
end_ts = "BIGINT | us | call ends"
has_start = "BOOLEAN | - | start seen"
has_end = "BOOLEAN | - | end seen"
*/
-- A conventional thermostat calls for heat with W and for cooling with Y. A heat-pump thermostat
-- calls with Y, and its own O/B says for which (not logged: unknown); W, aux and emergency heat are
-- heat calls.
with

lit as (
    select
        s.site_id,
        s.zone,
        s.role,
        s.start_ts,
        s.end_ts,
        z.thermostat,
        i.ob_energised_in,
    from signal.state s
    join run.zone z on z.site_id = s.site_id and z.zone = s.zone
    join run.site i on i.site_id = s.site_id
    where s.is_on and s.role like 'zone_call_%'
),

-- a heat-pump thermostat's Y, cut at the changes of its O/B
pumped as (
    select
        y.site_id,
        y.zone,
        if(v.is_on = (coalesce(y.ob_energised_in, 'cooling') = 'heating'), 'heating', 'cooling') as mode,
        greatest(y.start_ts, v.start_ts) as start_ts,
        least(y.end_ts, v.end_ts) as end_ts,
    from lit y
    join signal.state v
        on v.site_id = y.site_id
        and v.zone = y.zone
        and v.role = 'zone_call_ob'
        and v.start_ts < y.end_ts
        and v.end_ts > y.start_ts
    where y.role in ('zone_call_y1', 'zone_call_y2') and y.thermostat = 'heat_pump'
),

part as (
    select site_id, zone, 'heating' as mode, start_ts, end_ts
    from lit
    where role in ('zone_call_w1', 'zone_call_w2', 'zone_call_aux', 'zone_call_emergency')
    union all
    select site_id, zone, 'cooling', start_ts, end_ts
    from lit
    where role in ('zone_call_y1', 'zone_call_y2') and thermostat = 'conventional'
    union all
    select site_id, zone, mode, start_ts, end_ts
    from pumped
    union all
    select y.site_id, y.zone, 'unknown', y.start_ts, y.end_ts
    from lit y
    where
        y.role in ('zone_call_y1', 'zone_call_y2')
        and y.thermostat = 'heat_pump'
        and not exists (
            from signal.state v
            where v.site_id = y.site_id and v.zone = y.zone and v.role = 'zone_call_ob'
        )
),

-- where the zone's call channels are known without a break
known as (
    select site_id, zone, min(start_ts) as start_ts, max(end_ts) as end_ts
    from (
        select *, sum(is_new) over (partition by site_id, zone, role order by start_ts) as stretch_id
        from (
            select
                *,
                (lag(end_ts) over (partition by site_id, zone, role order by start_ts)
                    is distinct from start_ts)::int as is_new,
            from signal.state
            where role like 'zone_call_%'
        )
    )
    group by site_id, zone, role, stretch_id
),

joined as (
    select
        *,
        coalesce(start_ts > max(end_ts) over (
            partition by site_id, zone, mode
            order by start_ts
            rows between unbounded preceding and 1 preceding
        ), true)::int as is_new,
    from part
),

call as (
    select site_id, zone, mode, min(start_ts) as start_ts, max(end_ts) as end_ts
    from (
        select *, sum(is_new) over (partition by site_id, zone, mode order by start_ts) as call_id
        from joined
    )
    group by site_id, zone, mode, call_id
)

select
    c.site_id,
    c.zone,
    c.mode,
    c.start_ts,
    c.end_ts,
    not exists (
        from known k where k.site_id = c.site_id and k.zone = c.zone and k.start_ts = c.start_ts
    ) as has_start,
    not exists (
        from known k where k.site_id = c.site_id and k.zone = c.zone and k.end_ts = c.end_ts
    ) as has_end,
from call c
order by c.site_id, c.zone, c.mode, c.start_ts
