-- one row per zone and mode whose calls are logged, visits included
/*
definition = "Calls of each zone and mode: number, seconds, longest, with open calls apart."
needs = ["the zone's call"]
resolution = "one interval at each edge"
interval_max_s = 60
counted_from = ["zone_call_"]
source = "definitions: a zone's heat call is W1, W2 or aux, or Y with its thermostat's O/B in heating"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating, cooling or unknown (a heat-pump thermostat whose O/B is not logged)"
calling_s = "DOUBLE | s | time calling"
calling_frac = "DOUBLE | share | of the time in which this zone's call channels are known"
n_call = "BIGINT | - | calls begun"
median_call_s = "DOUBLE | s | median closed call"
longest_call_s = "DOUBLE | s | longest call as far as it was seen; at least, where longest_is_open"
longest_is_open = "BOOLEAN | - | the longest call was open at an end; null without calls"
coverage = "DOUBLE | share | of this zone's call channels"
resolution_s = "DOUBLE | s | of this zone's call channels"
*/
-- A heat-pump thermostat's Y calls for either mode, as far as its O/B is known; unknown without O/B.
with

channel as (
    select
        c.*,
        z.thermostat = 'heat_pump' as is_heat_pump,
        c.role in ('zone_call_y1', 'zone_call_y2') as is_y,
        bool_or(c.role = 'zone_call_ob') over (partition by c.site_id, c.zone) as has_valve,
    from signal.coverage c
    join run.zone z on z.site_id = c.site_id and z.zone = c.zone
    where c.role like 'zone_call_%' and c.role <> 'zone_call_g'
),

told as (
    select
        *,
        unnest(case
            when is_y and not is_heat_pump then ['cooling']
            when is_heat_pump and is_y and not has_valve then ['unknown']
            when is_heat_pump and (is_y or role = 'zone_call_ob') then ['heating', 'cooling']
            when role <> 'zone_call_ob' then ['heating']
            else []
        end) as mode,
    from channel
),

logged as (
    select
        site_id,
        zone,
        mode,
        min(coverage) as coverage,
        max(interval_s) as resolution_s,
    from told
    group by site_id, zone, mode
)

select
    l.site_id,
    l.zone,
    l.mode,
    coalesce(sum(k.end_ts - k.start_ts), 0)::double / 1e6 as calling_s,
    coalesce(sum(k.end_ts - k.start_ts), 0)::double / 1e6
        / nullif(any_value(l.coverage) * any_value(w.end_ts - w.start_ts) / 1e6, 0) as calling_frac,
    count(*) filter (k.has_start) as n_call,
    median((k.end_ts - k.start_ts) / 1e6) filter (k.has_start and k.has_end) as median_call_s,
    max(k.end_ts - k.start_ts)::double / 1e6 as longest_call_s,
    arg_max(not (k.has_start and k.has_end), k.end_ts - k.start_ts) as longest_is_open,
    any_value(l.coverage) as coverage,
    any_value(l.resolution_s) as resolution_s,
from logged l
join run.window w on w.site_id = l.site_id
left join interval.call k on k.site_id = l.site_id and k.zone = l.zone and k.mode = l.mode
group by l.site_id, l.zone, l.mode
order by l.site_id, l.zone, l.mode
