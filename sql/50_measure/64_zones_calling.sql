-- one row per mode and set of zones calling at once (none left out), visits left out
/*
definition = "Seconds in which exactly a set of zones called at once."
needs = ["calls of every zone"]
resolution = "one interval at each change"
interval_max_s = 60
counted_from = ["zone_call_"]
source = "ours"

[columns]
mode = "VARCHAR | - | heating or cooling"
n_zones = "BIGINT | - | how many zones call at once"
zones = "VARCHAR | - | which"
s = "DOUBLE | s | time"
*/
select
    site_id,
    'heating' as mode,
    n_heat as n_zones,
    heat_zones as zones,
    sum(end_ts - start_ts)::double / 1e6 as s,
from interval.condition
where n_heat > 0 and not in_visit
group by site_id, n_heat, heat_zones
union all
select
    site_id,
    'cooling',
    n_cool,
    cool_zones,
    sum(end_ts - start_ts)::double / 1e6,
from interval.condition
where n_cool > 0 and not in_visit
group by site_id, n_cool, cool_zones
order by site_id, mode, n_zones, zones
