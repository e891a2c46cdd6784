-- one row per run of an output: on without a gap, chatter bridged
/*
holds = "off for less than the chatter time is bridged; an inferred run is one of the equipment, under the role it was inferred as"

[columns]
output = "VARCHAR | - | role of the output"
start_ts = "BIGINT | us | on"
end_ts = "BIGINT | us | off"
on_s = "DOUBLE | s | time on (chatter's off time not counted)"
has_start = "BOOLEAN | - | the off-to-on edge was seen"
has_end = "BOOLEAN | - | the on-to-off edge was seen"
is_closed = "BOOLEAN | - | both ends seen"
n_chatter = "BIGINT | - | short offs bridged"
is_inferred = "BOOLEAN | - | not logged: read off supply and return temperature"
*/
with

stretch as (
    select
        s.site_id,
        s.role as output,
        s.start_ts,
        s.end_ts,
        s.is_on,
        coalesce(lag(s.end_ts) over w = s.start_ts, false) as joins_before,
        coalesce(lead(s.start_ts) over w = s.end_ts, false) as joins_after,
        t.chatter_max_s,
    from signal.state s
    join run.threshold t on t.site_id = s.site_id
    where s.role like 'output_%' or s.role like 'inferred_%'
    window w as (partition by s.site_id, s.role order by s.start_ts)
),

-- an off that short, between two ons, is chatter: neither an end nor a start
bridged as (
    select
        *,
        not is_on and joins_before and joins_after
            and end_ts - start_ts <= chatter_max_s * 1e6 as is_chatter,
    from stretch
),

part as (
    select
        *,
        is_on or is_chatter as is_running,
        lag(is_on or is_chatter) over w as was_running,
        lead(is_on or is_chatter) over w as will_run,
    from bridged
    window w as (partition by site_id, output order by start_ts)
),

numbered as (
    select
        *,
        sum((not coalesce(was_running and joins_before, false))::int)
            over (partition by site_id, output order by start_ts) as run_id,
    from part
    where is_running
)

select
    site_id,
    output,
    min(start_ts) as start_ts,
    max(end_ts) as end_ts,
    coalesce(sum(end_ts - start_ts) filter (is_on), 0)::double / 1e6 as on_s,
    arg_min(joins_before and not coalesce(was_running, true), start_ts) as has_start,
    arg_max(joins_after and not coalesce(will_run, true), start_ts) as has_end,
    arg_min(joins_before and not coalesce(was_running, true), start_ts)
        and arg_max(joins_after and not coalesce(will_run, true), start_ts) as is_closed,
    count(*) filter (is_chatter) as n_chatter,
    output like 'inferred_%' as is_inferred,
from numbered
group by site_id, output, run_id
order by site_id, output, start_ts
