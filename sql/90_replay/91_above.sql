-- one row per asked static target and class, stage and calling zones with the blower on, visits left out
/*
[columns]
n = "BIGINT | - | run.replay_level; 0: as set"
class = "VARCHAR | - | interval.condition, all but off"
stage = "INTEGER | - | 0, 1, 2"
n_zones = "BIGINT | - | zones calling"
zones = "VARCHAR | - | which"
fan_s = "DOUBLE | s | fan time with static known and a target asked for"
above_s = "DOUBLE | s | of it above the target, the sensor's noise averaged out"
*/
-- The same line of time above a level as interval.static_piece, at a target that was not set.
with

piece as (
    select
        s.*,
        l.n,
        l.value as level_inwc,
        (s.end_ts - s.start_ts) / 1e6 as s,
        greatest(s.start_steady_inwc, s.end_steady_inwc) as high_inwc,
        least(s.start_steady_inwc, s.end_steady_inwc) as low_inwc,
    from interval.static_piece s
    join run.replay_level l
        on l.site_id = s.site_id
        and l.name = 'static_target_inwc'
        and l.start_ts <= s.start_ts
        and l.end_ts > s.start_ts
    where s.fan_on and not s.in_visit and s.class is not null
)

select
    site_id,
    n,
    class,
    stage,
    any_value(n_zones) as n_zones,
    zones,
    sum(s) as fan_s,
    sum(s * case
        when high_inwc <= level_inwc then 0
        when low_inwc > level_inwc then 1
        else (high_inwc - level_inwc) / (high_inwc - low_inwc)
    end) as above_s,
from piece
group by site_id, n, class, stage, zones
order by site_id, n, class, stage, zones
