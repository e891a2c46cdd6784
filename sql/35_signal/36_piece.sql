-- one row per linear piece of a trusted analog channel, clipped to the window
/*
holds = "two neighbouring readings no further apart than the hold allows"

[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | first reading"
end_ts = "BIGINT | us | next reading"
start_value = "DOUBLE | store unit | value at start_ts"
end_value = "DOUBLE | store unit | value at end_ts"
*/
with

pair as (
    select
        site_id,
        channel_id,
        ts as start_ts,
        value as start_value,
        lead(site_id) over () = site_id and lead(channel_id) over () = channel_id as is_same,
        lead(ts) over () as end_ts,
        lead(value) over () as end_value,
    from channel.reading
),

-- found by themselves: few, where every piece would be looked up
cut as (
    select distinct p.site_id, p.channel_id, p.start_ts
    from trust.gap g
    join pair p on p.site_id = g.site_id and p.channel_id = g.channel_id
    where g.is_cut and p.is_same and g.start_ts < p.end_ts and g.end_ts > p.start_ts
)

select
    p.site_id,
    p.channel_id,
    c.role,
    c.zone,
    greatest(p.start_ts, w.start_ts) as start_ts,
    least(p.end_ts, w.end_ts) as end_ts,
    p.start_value + (p.end_value - p.start_value)
        * (greatest(p.start_ts, w.start_ts) - p.start_ts) / (p.end_ts - p.start_ts) as start_value,
    p.start_value + (p.end_value - p.start_value)
        * (least(p.end_ts, w.end_ts) - p.start_ts) / (p.end_ts - p.start_ts) as end_value,
from pair p
join channel.channel c on c.site_id = p.site_id and c.channel_id = p.channel_id
join run.window w on w.site_id = p.site_id
join run.threshold t on t.site_id = p.site_id
left join channel.rate r
    on r.site_id = p.site_id and r.channel_id = p.channel_id
    and p.start_ts >= r.start_ts and p.start_ts < r.end_ts
where
    p.is_same
    and p.end_ts - p.start_ts <= coalesce(r.interval_s, c.interval_s) * t.hold_max_intervals * 1e6
    and p.end_ts > w.start_ts
    and p.start_ts < w.end_ts
    and (p.site_id, p.channel_id, p.start_ts) not in (select (site_id, channel_id, start_ts) from cut)
order by p.site_id, p.channel_id, start_ts
