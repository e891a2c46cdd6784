-- one row per local day with static logged, visits left out
-- A piece belongs to the day it starts in: midnight may misplace less than one sample.
select
    d.site_id,
    d.day,
    sum((p.end_ts - p.start_ts) / 1e6) as fan_s,
    sum(p.above_s) as above_target_s,
    max(greatest(p.start_inwc, p.end_inwc)) as max_inwc,
from interval.static_piece p
join run.day d on d.site_id = p.site_id and p.start_ts >= d.start_ts and p.start_ts < d.end_ts
where p.fan_on and not p.in_visit
group by d.site_id, d.day
order by d.site_id, d.day
