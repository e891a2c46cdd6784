-- one row per minute and primary analog channel with a reading in it
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | first instant of the minute, on the full minute"
mean_value = "DOUBLE | store unit | mean of its readings"
low_value = "DOUBLE | store unit | lowest"
high_value = "DOUBLE | store unit | highest"
*/
select
    r.site_id,
    r.channel_id,
    any_value(c.role) as role,
    any_value(c.zone) as zone,
    r.ts // 60_000_000 * 60_000_000 as start_ts,
    avg(r.value) as mean_value,
    min(r.value) as low_value,
    max(r.value) as high_value,
from channel.reading r
join channel.channel c on c.site_id = r.site_id and c.channel_id = r.channel_id
group by r.site_id, r.channel_id, r.ts // 60_000_000
order by r.site_id, r.channel_id, start_ts
