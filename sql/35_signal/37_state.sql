-- one row per stretch of one trusted value of a state channel, clipped to the window
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
    s.role,
    s.zone,
    greatest(s.start_ts, w.start_ts) as start_ts,
    least(s.end_ts, w.end_ts) as end_ts,
    s.is_on,
from channel.state s
join run.window w on w.site_id = s.site_id
where s.end_ts > w.start_ts and s.start_ts < w.end_ts
order by s.site_id, s.channel_id, s.start_ts
