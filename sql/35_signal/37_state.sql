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
),

cut as (
    select site_id, channel_id, start_ts, end_ts from trust.gap where is_cut
),

-- what lies before a channel's first cut, and after each one until the next
kept as (
    select
        c.site_id,
        c.channel_id,
        c.end_ts as start_ts,
        lead(c.start_ts, 1, w.end_ts)
            over (partition by c.site_id, c.channel_id order by c.start_ts) as end_ts,
    from cut c
    join run.window w on w.site_id = c.site_id
    union all
    select c.site_id, c.channel_id, any_value(w.start_ts), min(c.start_ts)
    from cut c
    join run.window w on w.site_id = c.site_id
    group by c.site_id, c.channel_id
),

held as (
    select s.*, w.start_ts as from_ts, w.end_ts as until_ts
    from stretch s
    join run.window w on w.site_id = s.site_id
    where not exists (
        select 1 from cut c where c.site_id = s.site_id and c.channel_id = s.channel_id
    )
    union all
    select s.*, k.start_ts, k.end_ts
    from stretch s
    join kept k on k.site_id = s.site_id and k.channel_id = s.channel_id
)

select
    site_id,
    channel_id,
    role,
    zone,
    greatest(start_ts, from_ts) as start_ts,
    least(end_ts, until_ts) as end_ts,
    is_on,
    is_inferred,
from held
where end_ts > from_ts and start_ts < until_ts and until_ts > from_ts
order by site_id, channel_id, role, start_ts
