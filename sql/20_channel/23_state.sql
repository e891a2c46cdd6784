-- one row per stretch of one known value of a primary state channel, on one clock
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
is_on = "BOOLEAN | - | on, open, alarm"
*/
select
    s.site_id,
    s.channel_id,
    c.role,
    c.zone,
    s.start_ts - (c.offset_s * 1e6)::bigint as start_ts,
    s.end_ts - (c.offset_s * 1e6)::bigint as end_ts,
    s.is_on,
from store.state s
join channel.channel c on c.site_id = s.site_id and c.channel_id = s.channel_id
where c.is_primary
order by s.site_id, s.channel_id, s.start_ts
