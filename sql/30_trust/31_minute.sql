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
with

-- streaming, as stored
placed as (
    select
        site_id,
        channel_id,
        ts // 60_000_000 as minute_n,
        value,
        minute_n is distinct from lag(ts // 60_000_000) over ()
            and minute_n is distinct from lead(ts // 60_000_000) over () as is_alone,
    from channel.reading
),

-- a reading that is alone in its minute is its mean: grouping millions of them takes longest of all
summed as (
    select site_id, channel_id, minute_n, value as mean_value, value as low_value, value as high_value
    from placed
    where is_alone
    union all
    select site_id, channel_id, minute_n, avg(value), min(value), max(value)
    from placed
    where not is_alone
    group by site_id, channel_id, minute_n
)

select
    s.site_id,
    s.channel_id,
    c.role,
    c.zone,
    s.minute_n * 60_000_000 as start_ts,
    s.mean_value,
    s.low_value,
    s.high_value,
from summed s
join channel.channel c on c.site_id = s.site_id and c.channel_id = s.channel_id
order by s.site_id, s.channel_id, start_ts
