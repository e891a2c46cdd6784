-- one row per zone and mode whose calls are logged, visits included
with

logged as (
    select
        c.site_id,
        c.zone,
        case
            when c.role in ('zone_call_y1', 'zone_call_y2') and z.thermostat = 'conventional' then 'cooling'
            else 'heating'
        end as mode,
        min(c.coverage) as coverage,
        max(c.interval_s) as resolution_s,
    from signal.coverage c
    join run.zone z on z.site_id = c.site_id and z.zone = c.zone
    where c.role like 'zone_call_%' and c.role not in ('zone_call_g', 'zone_call_ob')
    group by all
    union
    -- a heat-pump thermostat's Y calls for cooling too
    select c.site_id, c.zone, 'cooling', min(c.coverage), max(c.interval_s)
    from signal.coverage c
    join run.zone z on z.site_id = c.site_id and z.zone = c.zone
    where c.role in ('zone_call_y1', 'zone_call_y2') and z.thermostat = 'heat_pump'
    group by all
)

select
    l.site_id,
    l.zone,
    l.mode,
    coalesce(sum(k.end_ts - k.start_ts), 0)::double / 1e6 as calling_s,
    count(*) filter (k.has_start) as n_call,
    median((k.end_ts - k.start_ts) / 1e6) filter (k.has_start and k.has_end) as median_call_s,
    any_value(l.coverage) as coverage,
    any_value(l.resolution_s) as resolution_s,
from logged l
left join interval.call k on k.site_id = l.site_id and k.zone = l.zone and k.mode = l.mode
group by l.site_id, l.zone, l.mode
order by l.site_id, l.zone, l.mode
