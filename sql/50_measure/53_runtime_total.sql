-- one row per channel that totals a state over an interval, and local day: time on and counts
/*
definition = "Percent on, seconds on and counts summed over the intervals that end in the day; of one that midnight cuts, each day has its share. Runs, lengths and short runs are not known from totals."
needs = ["an output, a proof of running or a call, logged as a total over an interval"]
resolution = "none for the window; a day: what an interval cut by midnight can hide"
source = "ours; a reading tells of the interval that ends at it"

[columns]
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone number; null for equipment"
form = "VARCHAR | - | percent_on, seconds_on, count or total"
day = "DATE | - | local date; null: the whole window"
on_s = "DOUBLE | s | time on; null for counts and running totals"
plus_minus_s = "DOUBLE | s | bound: an interval cut by midnight or the window's end may have been on in either part"
n_count = "DOUBLE | - | counts, or what the running total rose by in its own unit; null for time"
known_s = "DOUBLE | s | time of the day that the totals cover"
coverage = "DOUBLE | share | known_s over the day's length within the window"
resolution_s = "DOUBLE | s | the interval they are summed over"
*/
with

total as (
    select c.site_id, c.channel_id, c.role, c.zone, c.interval_s, k.form
    from channel.channel c
    join store.channel k on k.site_id = c.site_id and k.channel_id = c.channel_id
    where c.is_primary and k.form <> 'level'
),

-- a reading after a hole tells of one interval only
reading as (
    select
        o.*,
        r.ts as end_ts,
        r.value,
        coalesce(r.ts - lag(r.ts) over w, o.interval_s * 1e6)::bigint as step_us,
        r.ts - if(step_us <= t.hold_max_intervals * o.interval_s * 1e6, step_us, (o.interval_s * 1e6)::bigint) as start_ts,
    from total o
    join channel.reading r on r.site_id = o.site_id and r.channel_id = o.channel_id
    join run.threshold t on t.site_id = o.site_id
    window w as (partition by o.site_id, o.channel_id order by r.ts)
),

trusted as (
    select
        r.*,
        case r.form
            when 'percent_on' then r.value / 100 * (r.end_ts - r.start_ts) / 1e6
            when 'seconds_on' then least(r.value, (r.end_ts - r.start_ts) / 1e6)
        end as on_s,
        if(r.form in ('count', 'total'), r.value, null) as n_count,
    from reading r
    anti join trust.gap g
        on g.site_id = r.site_id and g.channel_id = r.channel_id and g.is_cut
        and g.start_ts < r.end_ts and g.end_ts > r.end_ts
),

day as (
    select
        d.site_id,
        d.day,
        greatest(d.start_ts, w.start_ts) as start_ts,
        least(d.end_ts, w.end_ts) as end_ts,
    from run.day d
    join run.window w on w.site_id = d.site_id
    union all
    select site_id, null, start_ts, end_ts from run.window
),

part as (
    select
        r.site_id,
        r.channel_id,
        d.day,
        r.on_s,
        (r.end_ts - r.start_ts) / 1e6 as length_s,
        (least(r.end_ts, d.end_ts) - greatest(r.start_ts, d.start_ts)) / 1e6 as part_s,
        r.on_s * part_s / length_s as told_s,
        greatest(told_s - greatest(0, r.on_s - (length_s - part_s)), least(r.on_s, part_s) - told_s) as doubt_s,
        -- a count is of the day it was read in
        if(r.end_ts <= d.end_ts, r.n_count, null) as n_count,
    from trusted r
    join day d on d.site_id = r.site_id and r.start_ts < d.end_ts and r.end_ts > d.start_ts
),

summed as (
    select
        site_id,
        channel_id,
        day,
        sum(told_s) as on_s,
        sum(doubt_s) as plus_minus_s,
        sum(n_count) as n_count,
        sum(part_s) as known_s,
    from part
    group by site_id, channel_id, day
)

select
    o.site_id,
    o.role,
    o.zone,
    o.form,
    d.day,
    if(o.form in ('percent_on', 'seconds_on'), coalesce(s.on_s, 0), null) as on_s,
    if(o.form in ('percent_on', 'seconds_on'), coalesce(s.plus_minus_s, 0), null) as plus_minus_s,
    if(o.form in ('count', 'total'), coalesce(s.n_count, 0), null) as n_count,
    coalesce(s.known_s, 0) as known_s,
    coalesce(s.known_s, 0) / nullif((d.end_ts - d.start_ts) / 1e6, 0) as coverage,
    o.interval_s as resolution_s,
from total o
join day d on d.site_id = o.site_id
left join summed s
    on s.site_id = o.site_id and s.channel_id = o.channel_id and s.day is not distinct from d.day
order by o.site_id, o.channel_id, d.day nulls first
