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
is_cut = "BOOLEAN | - | readings are there and are not trusted"
*/
with

used as (
    select
        c.site_id,
        c.channel_id,
        c.role,
        c.zone,
        c.kind,
        c.interval_s,
        t.hold_max_intervals * 1e6 as hold_us_per_s,
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
    left join channel.rate r
        on r.site_id = p.site_id and r.channel_id = p.channel_id
        and p.start_ts >= r.start_ts and p.start_ts < r.end_ts
    where p.end_ts - p.start_ts > coalesce(r.interval_s, u.interval_s) * u.hold_us_per_s
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
),

hole as (
    select
        f.site_id,
        f.channel_id,
        greatest(f.start_ts, u.window_start) as start_ts,
        least(f.end_ts, u.window_end) as end_ts,
        f.position,
        f.reason,
    from found f
    join used u on u.site_id = f.site_id and u.channel_id = f.channel_id
    where least(f.end_ts, u.window_end) > greatest(f.start_ts, u.window_start)
),

-- what is not trusted; of numbers up to the readings around it, so that no piece is cut in two
told as (
    select
        p.site_id,
        p.channel_id,
        p.start_ts,
        p.end_ts,
        p.reason,
        u.kind,
        u.window_start,
        u.window_end,
    from trust.problem p
    join used u on u.site_id = p.site_id and u.channel_id = p.channel_id
    where p.is_cut
),

near_reading as (
    select r.site_id, r.channel_id, r.ts
    from channel.reading r
    where exists (
        select 1 from told t where t.site_id = r.site_id and t.channel_id = r.channel_id
    )
),

-- instants from the last reading at or before its start to the first at or after its end
rounded as (
    select
        t.site_id,
        t.channel_id,
        t.reason,
        greatest(coalesce(a.ts, t.start_ts), t.window_start) as start_ts,
        least(coalesce(b.ts, t.end_ts), t.window_end) as end_ts,
    from told t
    asof left join near_reading a
        on a.site_id = t.site_id and a.channel_id = t.channel_id and t.start_ts >= a.ts
    asof left join near_reading b
        on b.site_id = t.site_id and b.channel_id = t.channel_id and t.end_ts <= b.ts
),

-- one instant lies in one cut: what overlaps is one, under the longest one's reason
cut as (
    select site_id, channel_id, min(start_ts) as start_ts, max(end_ts) as end_ts,
        arg_max(reason, end_ts - start_ts) as reason
    from (
        select *, sum(is_new::int) over w as cut_n
        from (
            select
                *,
                coalesce(start_ts > max(end_ts) over (
                    partition by site_id, channel_id
                    order by start_ts, end_ts
                    rows between unbounded preceding and 1 preceding
                ), true) as is_new,
            from rounded
            where end_ts > start_ts
        )
        window w as (partition by site_id, channel_id order by start_ts, end_ts)
    )
    group by site_id, channel_id, cut_n
),

-- holes outside the cuts: edges of both in order, each with what begins or ends there
edge as (
    select site_id, channel_id, unnest([start_ts, end_ts]) as ts, unnest([1, -1]) as hole_step,
        0 as cut_step, unnest([position, null]) as position, unnest([reason, null]) as reason
    from hole
    where (site_id, channel_id) in (select (site_id, channel_id) from cut)
    union all
    select site_id, channel_id, unnest([start_ts, end_ts]), 0, unnest([1, -1]), null, null
    from cut
),

between as (
    select
        site_id,
        channel_id,
        ts as start_ts,
        lead(ts) over (partition by site_id, channel_id order by ts, hole_step, cut_step) as end_ts,
        sum(hole_step) over w as n_hole,
        sum(cut_step) over w as n_cut,
        last_value(position ignore nulls) over w as position,
        last_value(reason ignore nulls) over w as reason,
    from edge
    window w as (
        partition by site_id, channel_id
        order by ts, hole_step, cut_step
        rows between unbounded preceding and current row
    )
),

apart as (
    select site_id, channel_id, start_ts, end_ts, position, reason, false as is_cut
    from between
    where n_hole > 0 and n_cut = 0 and end_ts > start_ts
    union all
    select site_id, channel_id, start_ts, end_ts, position, reason, false
    from hole
    where (site_id, channel_id) not in (select (site_id, channel_id) from cut)
    union all
    select site_id, channel_id, start_ts, end_ts, 'inside', reason, true
    from cut
)

select
    a.site_id,
    a.channel_id,
    u.role,
    u.zone,
    a.start_ts,
    a.end_ts,
    a.position,
    a.reason,
    a.is_cut,
from apart a
join used u on u.site_id = a.site_id and u.channel_id = a.channel_id
order by a.site_id, a.channel_id, a.start_ts
