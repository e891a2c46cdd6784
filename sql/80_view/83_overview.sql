-- one row per analog channel and time bucket of the window: lowest and highest reading
-- A thousand buckets over the window: a picture is no wider; numbers never come from here.
select
    p.site_id,
    p.channel_id,
    p.role,
    p.zone,
    w.start_ts + (p.start_ts - w.start_ts) // greatest((w.end_ts - w.start_ts) // 1000, 1)
        * greatest((w.end_ts - w.start_ts) // 1000, 1) as bucket_ts,
    min(p.start_value) as low,
    arg_min(p.start_ts, p.start_value) as low_ts,
    max(p.start_value) as high,
    arg_max(p.start_ts, p.start_value) as high_ts,
from signal.piece p
join run.window w on w.site_id = p.site_id
group by p.site_id, p.channel_id, p.role, p.zone, bucket_ts
order by p.site_id, p.channel_id, bucket_ts
