-- one row per local day and output: time on, starts, time known
/*
definition = "Seconds on within each local day (23 h and 25 h days exist) and the starts in it."
needs = ["an output"]
resolution = "half an interval at each edge"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "as measure.runtime"

[columns]
day = "DATE | - | local date"
output = "VARCHAR | - | role"
on_s = "DOUBLE | s | time on within the day"
n_start = "BIGINT | - | starts within the day"
valid_s = "DOUBLE | s | time of the day in which the output is known"
day_s = "DOUBLE | s | length of the day within the window"
*/
with

part as (
    select
        d.site_id,
        d.day,
        s.role as output,
        s.is_on,
        greatest(s.start_ts, d.start_ts) as start_ts,
        least(s.end_ts, d.end_ts) as end_ts,
    from signal.state s
    join run.day d on d.site_id = s.site_id and s.start_ts < d.end_ts and s.end_ts > d.start_ts
    where s.role like 'output_%' or s.role like 'inferred_%'
),

started as (
    select d.site_id, d.day, r.output, count(*) as n_start
    from interval.output_run r
    join run.day d on d.site_id = r.site_id and r.start_ts >= d.start_ts and r.start_ts < d.end_ts
    where r.has_start
    group by d.site_id, d.day, r.output
),

summed as (
    select
        site_id,
        day,
        output,
        coalesce(sum(end_ts - start_ts) filter (is_on), 0)::double / 1e6 as on_s,
        sum(end_ts - start_ts)::double / 1e6 as valid_s,
    from part
    group by site_id, day, output
),

-- a day on which an output is not known at all is there too, with nothing known
logged as (select distinct site_id, output from part)

select
    d.site_id,
    d.day,
    o.output,
    coalesce(s.on_s, 0) as on_s,
    coalesce(t.n_start, 0) as n_start,
    coalesce(s.valid_s, 0) as valid_s,
    (least(d.end_ts, w.end_ts) - greatest(d.start_ts, w.start_ts)) / 1e6 as day_s,
from run.day d
join logged o on o.site_id = d.site_id
join run.window w on w.site_id = d.site_id
left join summed s on s.site_id = d.site_id and s.day = d.day and s.output = o.output
left join started t on t.site_id = d.site_id and t.day = d.day and t.output = o.output
order by d.site_id, d.day, o.output
