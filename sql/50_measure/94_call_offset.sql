-- one row per zone and mode it called for: the room off its setpoint as calls begin and end; visits left out
/*
definition = "Room less setpoint, towards comfort (over it in heating, under it in cooling), in the first whole minute from the edge of a call: medians over calls that begin after a rest of offset_rest_s or more, and over calls that end with the zone calling offset_busy_share of the hour before. A steady error of thermostat or logger is in both alike; one that comes with the air is in the second alone. Beside them how far the room came in its calls: a call that ends for other reasons than its room leaves it where it was."
needs = ["the zone's temperature", "its setpoint", "its call"]
resolution = "whole minutes; one interval of the room's logger"
interval_max_s = 300
counted_from = ["zone_temp"]
source = "ours"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
n_rested = "BIGINT | - | calls that begin after a rest"
rested_start_f = "DOUBLE | °F | median of the room less its setpoint at these, negative short of it; null without any"
n_busy = "BIGINT | - | calls that end busy"
busy_end_f = "DOUBLE | °F | median at these ends"
n_both = "BIGINT | - | calls with room and setpoint known at both edges"
end_f = "DOUBLE | °F | median of the room less its setpoint at their ends"
moved_f = "DOUBLE | °F | mean move of the room towards comfort from begin to end of them"
*/
with

call as (
    select
        site_id,
        zone,
        mode,
        start_ts,
        end_ts,
        has_start,
        has_end,
        lag(end_ts) over (partition by site_id, zone, mode order by start_ts) as before_ts,
    from interval.call
    where mode in ('heating', 'cooling')
),

-- calls of a zone for one mode follow each other: of those that end within the hour only the first
-- can have begun before it
ended as (
    select
        site_id,
        zone,
        mode,
        start_ts,
        end_ts as ts,
        has_start,
        has_end,
        sum(end_ts - start_ts) over hour - greatest(end_ts - 3600000000 - min(start_ts) over hour, 0) as on_us,
    from call
    window hour as (
        partition by site_id, zone, mode order by end_ts range between 3599999999 preceding and current row
    )
),

edge as (
    select
        c.site_id,
        c.zone,
        c.mode,
        c.start_ts as ts,
        'start' as kind,
        c.start_ts as call_ts,
        coalesce(c.start_ts - c.before_ts >= t.offset_rest_s * 1e6, false) as is_told,
    from call c
    join run.threshold t on t.site_id = c.site_id
    where c.has_start
    union all
    select
        e.site_id,
        e.zone,
        e.mode,
        e.ts,
        'end',
        if(e.has_start, e.start_ts, null),
        e.on_us >= t.offset_busy_share * 3600e6,
    from ended e
    join run.threshold t on t.site_id = e.site_id
    where e.has_end
),

known as (
    select
        e.*,
        if(e.mode = 'heating', m.temp_f, -m.temp_f) as toward_f,
        if(
            e.mode = 'heating',
            m.temp_f - m.heat_setpoint_f,
            m.cool_setpoint_f - m.temp_f
        ) as off_f,
    from edge e
    asof join interval.zone_minute m
        on m.site_id = e.site_id and m.zone = e.zone and e.ts <= m.ts
    where m.ts < e.ts + 60000000 and not m.in_visit
),

both_edges as (
    select
        site_id,
        zone,
        mode,
        min(off_f) filter (kind = 'end') as end_f,
        min(toward_f) filter (kind = 'end') - min(toward_f) filter (kind = 'start') as moved_f,
    from known
    where call_ts is not null and off_f is not null
    group by site_id, zone, mode, call_ts
    having count(*) = 2
),

whole as (
    select
        site_id,
        zone,
        mode,
        count(*) as n_both,
        median(end_f) as end_f,
        avg(moved_f) as moved_f,
    from both_edges
    group by site_id, zone, mode
),

told as (
    select
        site_id,
        zone,
        mode,
        count(off_f) filter (kind = 'start') as n_rested,
        median(off_f) filter (kind = 'start') as rested_start_f,
        count(off_f) filter (kind = 'end') as n_busy,
        median(off_f) filter (kind = 'end') as busy_end_f,
    from known
    where is_told
    group by site_id, zone, mode
)

select
    site_id,
    zone,
    mode,
    coalesce(t.n_rested, 0) as n_rested,
    t.rested_start_f,
    coalesce(t.n_busy, 0) as n_busy,
    t.busy_end_f,
    coalesce(w.n_both, 0) as n_both,
    w.end_f,
    w.moved_f,
from told t
full join whole w using (site_id, zone, mode)
order by site_id, zone, mode
