-- one row per mode and how many zones called while it ran, visits left out
/*
definition = "Return air at the unit less the mean of the calling zones, counted towards the equipment's direction (warmer in heating, cooler in cooling), in whole minutes with supply proven; the share of supply air that comes back without having been in a room is the slope of that departure over supply less the zones' mean, within stretches of the same zones calling: rooms that lie apart from one another are the same throughout one."
needs = ["supply temperature", "return temperature", "zone temperatures", "outputs", "calls of every zone"]
resolution = "whole minutes"
interval_max_s = 120
counted_from = ["zone_temp", "supply_temp", "return_temp", "output_", "inferred_"]
not_without = [["supply_temp"], ["return_temp"], ["zone_temp"], ["zone_call_"]]
source = "ours; return = (1 - r) x rooms + r x supply"

[columns]
mode = "VARCHAR | - | heating or cooling"
n_zones = "BIGINT | - | zones calling with their temperature known"
s = "DOUBLE | s | time seen"
departure_f = "DOUBLE | °F | median of return off the zones' mean, in the equipment's direction"
over_s = "DOUBLE | s | time over recirculation_f"
recirculated_frac = "DOUBLE | share | slope of the departure over supply less the zones' mean within stretches; null under 30 min"
correlation = "DOUBLE | - | of the two: near 1 return follows supply at once; null under 30 min"
supply_off_zones_f = "DOUBLE | °F | mean distance of supply from the zones"
coverage = "DOUBLE | share | measure.coverage of recirculation"
resolution_s = "DOUBLE | s | measure.coverage of recirculation"
*/
with

minute as (
    select
        site_id,
        ts,
        class as mode,
        count(*) as n_zones,
        string_agg(zone::varchar, '+' order by zone) as zones,
        any_value(supply_f) as supply_f,
        any_value(return_f) as return_f,
        avg(temp_f) as zones_f,
    from interval.zone_minute
    where
        class in ('heating', 'cooling')
        and call_mode in (class, 'both')
        and is_proven
        and not in_visit
        and supply_f is not null
        and return_f is not null
    group by site_id, ts, class
),

off as (
    select
        *,
        (return_f - zones_f) * if(mode = 'heating', 1, -1) as departure_f,
        (supply_f - zones_f) * if(mode = 'heating', 1, -1) as supply_off_f,
        row(mode, zones) is distinct from lag(row(mode, zones)) over w
            or ts - lag(ts) over w > 60000000 as is_new,
    from minute
    window w as (partition by site_id order by ts)
),

stretch as (
    select *, sum(is_new::int) over (partition by site_id order by ts) as stretch_id
    from off
),

within as (
    select
        *,
        departure_f - avg(departure_f) over (partition by site_id, stretch_id) as departure_moved_f,
        supply_off_f - avg(supply_off_f) over (partition by site_id, stretch_id) as supply_moved_f,
    from stretch
)

select
    o.site_id,
    o.mode,
    o.n_zones,
    count(*) * 60e0 as s,
    median(o.departure_f) as departure_f,
    count(*) filter (o.departure_f > t.recirculation_f) * 60e0 as over_s,
    if(count(*) >= 30, regr_slope(o.departure_moved_f, o.supply_moved_f), null) as recirculated_frac,
    if(count(*) >= 30, corr(o.departure_moved_f, o.supply_moved_f), null) as correlation,
    avg(o.supply_off_f) as supply_off_zones_f,
    any_value(c.coverage) as coverage,
    any_value(c.resolution_s) as resolution_s,
from within o
join run.threshold t on t.site_id = o.site_id
join measure.coverage c on c.site_id = o.site_id and c.figure = 'recirculation'
group by o.site_id, o.mode, o.n_zones
order by o.site_id, o.mode, o.n_zones
