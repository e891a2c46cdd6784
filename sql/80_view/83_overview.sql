-- one row per analog channel and time bucket of the window: lowest and highest reading
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
bucket_ts = "BIGINT | us | start of the bucket"
low = "DOUBLE | store unit | lowest"
low_ts = "BIGINT | us | when"
high = "DOUBLE | store unit | highest"
high_ts = "BIGINT | us | when"
*/
-- A thousand buckets over the window: a picture is no wider; numbers never come from here.
with

bucket as (
    select site_id, start_ts, end_ts, greatest((end_ts - start_ts) // 1000, 1) as width_us
    from run.window
),

-- every reading, most of them twice: as the end of one piece and the start of the next
point as (
    select site_id, channel_id, role, zone, start_ts as ts, start_value as value from signal.piece
    union all
    select site_id, channel_id, role, zone, end_ts, end_value from signal.piece
)

select
    p.site_id,
    p.channel_id,
    p.role,
    p.zone,
    b.start_ts + (p.ts - b.start_ts) // b.width_us * b.width_us as bucket_ts,
    min(p.value) as low,
    arg_min(p.ts, p.value) as low_ts,
    max(p.value) as high,
    arg_max(p.ts, p.value) as high_ts,
from point p
join bucket b on b.site_id = p.site_id and p.ts < b.end_ts
group by p.site_id, p.channel_id, p.role, p.zone, bucket_ts
order by p.site_id, p.channel_id, bucket_ts
