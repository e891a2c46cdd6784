-- one row per local day with static logged, visits left out
/*
definition = "measure.static_total for each local day."
needs = ["supply static", "fan"]
resolution = "as measure.static_total"
interval_max_s = 10
counted_from = ["static_pressure"]
source = "as measure.static_total"

[columns]
day = "DATE | - | local date"
fan_s = "DOUBLE | s | fan time with static known"
above_target_s = "DOUBLE | s | above target; null if no target given"
max_inwc = "DOUBLE | in. w.c. | highest reading with the fan on"
*/
-- A piece belongs to the day it starts in: midnight may misplace less than one sample.
select
    d.site_id,
    d.day,
    sum((p.end_ts - p.start_ts) / 1e6) as fan_s,
    sum(p.above_s) as above_target_s,
    max(greatest(p.start_inwc, p.end_inwc)) as max_inwc,
from interval.static_piece p
-- a local day lies in two of UTC's: looked up by those, of a year not every day is tried for every piece
join (
    select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as utc_day_n
    from run.day
) d
    on d.site_id = p.site_id
    and d.utc_day_n = p.start_ts // 86400000000
    and p.start_ts >= d.start_ts and p.start_ts < d.end_ts
where p.fan_on and not p.in_visit
group by d.site_id, d.day
order by d.site_id, d.day
