-- one row per ten minutes and channel of a room or of the outdoors
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
start_ts = "BIGINT | us | from, on the full ten minutes"
mean_value = "DOUBLE | °F | mean of its minutes"
*/
select
    site_id,
    channel_id,
    any_value(role) as role,
    any_value(zone) as zone,
    start_ts // 600_000_000 * 600_000_000 as start_ts,
    avg(mean_value) as mean_value,
from trust.minute
where role in ('zone_temp', 'outdoor_temp')
group by site_id, channel_id, start_ts // 600_000_000
order by site_id, channel_id, start_ts
