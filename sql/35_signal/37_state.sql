-- one row per stretch of one trusted value of a state channel, clipped to the window
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
is_on = "BOOLEAN | - | on, open, alarm"
is_inferred = "BOOLEAN | - | not logged: read off supply and return temperature"
*/
-- What was inferred stands beside what was logged under roles of its own (inferred_heat,
-- inferred_cool, inferred_fan), with no channel: an equipment run is no output.
with

told as (
    select
        site_id,
        'inferred_heat' as role,
        start_ts,
        end_ts,
        state = 'heating' and not is_told as is_on,
    from run_state.inferred_state
    where site_id in (from run_state.supply_reading select site_id where needs_heat)
    union all
    select site_id, 'inferred_cool', start_ts, end_ts, state = 'cooling' and not is_told
    from run_state.inferred_state
    where site_id in (from run_state.supply_reading select site_id where needs_cool)
    union all
    select site_id, 'inferred_fan', start_ts, end_ts, is_on
    from run_state.fan
    where source = 'supply_temp'
),

numbered as (
    select *, sum(is_new::int) over (partition by site_id, role order by start_ts) as stretch_id
    from (
        select
            *,
            is_on is distinct from lag(is_on) over w
                or start_ts is distinct from lag(end_ts) over w as is_new,
        from told
        window w as (partition by site_id, role order by start_ts)
    )
),

stretch as (
    select site_id, channel_id, role, zone, start_ts, end_ts, is_on, false as is_inferred
    from channel.state
    union all
    select site_id, null, role, null, min(start_ts), max(end_ts), any_value(is_on), true
    from numbered
    group by site_id, role, stretch_id
)

select
    s.site_id,
    s.channel_id,
    s.role,
    s.zone,
    greatest(s.start_ts, w.start_ts) as start_ts,
    least(s.end_ts, w.end_ts) as end_ts,
    s.is_on,
    s.is_inferred,
from stretch s
join run.window w on w.site_id = s.site_id
where s.end_ts > w.start_ts and s.start_ts < w.end_ts
order by s.site_id, s.channel_id, s.role, s.start_ts
