-- one row per stretch of a state inside a finding's window
/*
[columns]
code = "VARCHAR | - | finding"
n = "BIGINT | - | number within the finding"
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
is_on = "BOOLEAN | - | on, open, alarm"
*/
select
    f.site_id,
    f.code,
    f.n,
    s.channel_id,
    s.role,
    s.zone,
    greatest(s.start_ts, f.start_ts) as start_ts,
    least(s.end_ts, f.end_ts) as end_ts,
    s.is_on,
from run.finding_window f
join signal.state s
    on s.site_id = f.site_id and s.start_ts < f.end_ts and s.end_ts > f.start_ts
order by f.site_id, f.code, f.n, s.channel_id, start_ts
