-- one row per stretch of the window in which a channel has no reading that holds
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | from (last reading before)"
end_ts = "BIGINT | us | until (first reading after)"
position = "VARCHAR | - | before, inside or after the channel's own log"
reason = "VARCHAR | - | why nothing holds there, in a few plain words"
*/
with

used as (
    select
        c.site_id,
        c.channel_id,
        c.role,
        c.zone,
        c.kind,
        c.interval_s * t.hold_max_intervals * 1e6 as hold_us,
        w.start_ts as window_start,
        w.end_ts as window_end,
    from channel.channel c
    join run.window w on w.site_id = c.site_id
    join run.threshold t on t.site_id = c.site_id
    where c.is_primary and c.kind in ('analog', 'state')
),

-- analog: two readings too far apart; the stored order spares a sort
pair as (
    select
        site_id,
        channel_id,
        ts as start_ts,
        case
            when lead(site_id) over () = site_id and lead(channel_id) over () = channel_id
                then lead(ts) over ()
        end as end_ts,
    from channel.reading
),

analog_gap as (
    select p.site_id, p.channel_id, p.start_ts, p.end_ts
    from pair p
    join used u on u.site_id = p.site_id and u.channel_id = p.channel_id
    where p.end_ts - p.start_ts > u.hold_us
),

state_gap as (
    select site_id, channel_id, end_ts as start_ts, next_ts as end_ts
    from (
        select
            site_id,
            channel_id,
            end_ts,
            lead(start_ts) over (partition by site_id, channel_id order by start_ts) as next_ts,
        from channel.state
    )
    where next_ts > end_ts
),

span as (
    select site_id, channel_id, min(ts) as first_ts, max(ts) as last_ts
    from channel.reading
    group by site_id, channel_id
    union all
    select site_id, channel_id, min(start_ts), max(end_ts)
    from channel.state
    group by site_id, channel_id
),

found as (
    select site_id, channel_id, start_ts, end_ts, 'inside' as position, 'not logged' as reason
    from analog_gap
    union all
    select site_id, channel_id, start_ts, end_ts, 'inside', 'not logged'
    from state_gap
    union all
    select u.site_id, u.channel_id, u.window_start, s.first_ts, 'before', 'log starts later'
    from used u
    join span s on s.site_id = u.site_id and s.channel_id = u.channel_id
    union all
    select u.site_id, u.channel_id, s.last_ts, u.window_end, 'after', 'log ends earlier'
    from used u
    join span s on s.site_id = u.site_id and s.channel_id = u.channel_id
    union all
    select u.site_id, u.channel_id, u.window_start, u.window_end, 'before', 'no reading at all'
    from used u
    anti join span s on s.site_id = u.site_id and s.channel_id = u.channel_id
)

select
    f.site_id,
    f.channel_id,
    u.role,
    u.zone,
    greatest(f.start_ts, u.window_start) as start_ts,
    least(f.end_ts, u.window_end) as end_ts,
    f.position,
    f.reason,
from found f
join used u on u.site_id = f.site_id and u.channel_id = f.channel_id
where least(f.end_ts, u.window_end) > greatest(f.start_ts, u.window_start)
order by f.site_id, f.channel_id, start_ts
