-- one row per class, stage and calling zones while the blower ran, visits left out
/*
definition = "Fan seconds with static known and seconds above target (>), above it by more and by far, and the area over it, by class, stage and calling zones; settled is past the damper travel after a change."
needs = ["supply static", "fan", "calls"]
resolution = "one interval of the static channel at each crossing"
interval_max_s = 10
counted_from = ["static_pressure"]
source = "run.setting, run.threshold"

[columns]
class = "VARCHAR | - | interval.condition, all but off"
stage = "INTEGER | - | 0, 1, 2"
n_zones = "BIGINT | - | zones calling"
zones = "VARCHAR | - | which"
fan_s = "DOUBLE | s | fan time with static known"
settled_s = "DOUBLE | s | of it with dampers settled"
above_target_s = "DOUBLE | s | above target; null if no target given"
above_margin_s = "DOUBLE | s | above target plus the finding's margin, dampers settled"
above_more_s = "DOUBLE | s | above target plus static_over_more_inwc"
above_far_s = "DOUBLE | s | above target plus static_over_far_inwc"
area_inwc_min = "DOUBLE | in. w.c. min | static over the target, over time"
mean_inwc = "DOUBLE | in. w.c. | time-weighted mean, dampers settled"
p05_inwc = "DOUBLE | in. w.c. | time-weighted 5th percentile, dampers settled"
p50_inwc = "DOUBLE | in. w.c. | time-weighted median, dampers settled"
p95_inwc = "DOUBLE | in. w.c. | time-weighted 95th percentile, dampers settled"
p99_inwc = "DOUBLE | in. w.c. | time-weighted 99th percentile, dampers settled"
max_inwc = "DOUBLE | in. w.c. | highest reading"
*/
with

piece as (
    select *, (end_ts - start_ts) / 1e6 as s, (start_inwc + end_inwc) / 2 as mid_inwc
    from interval.static_piece
    where fan_on and not in_visit and class is not null
),

-- a piece of linear static counts at its middle: at the median and the 95th percentile of time; static is
-- read in steps, so that few levels stand for many pieces
stood as (
    select
        site_id,
        class,
        stage,
        zones,
        mid_inwc,
        sum(s) as s,
        sum(above_margin_s) as above_margin_s,
    from piece
    where is_settled
    group by site_id, class, stage, zones, mid_inwc
),

ranked as (
    select
        *,
        sum(s) over (
            partition by site_id, class, stage, zones order by mid_inwc rows unbounded preceding
        ) / sum(s) over (partition by site_id, class, stage, zones) as share_below,
    from stood
),

level as (
    select
        site_id,
        class,
        stage,
        zones,
        sum(s) as settled_s,
        sum(above_margin_s) as above_margin_s,
        sum(s * mid_inwc) / nullif(sum(s), 0) as mean_inwc,
        min(mid_inwc) filter (share_below >= 0.05) as p05_inwc,
        min(mid_inwc) filter (share_below >= 0.5) as p50_inwc,
        min(mid_inwc) filter (share_below >= 0.95) as p95_inwc,
        min(mid_inwc) filter (share_below >= 0.99) as p99_inwc,
    from ranked
    group by site_id, class, stage, zones
),

total as (
    select
        site_id,
        class,
        stage,
        n_zones,
        zones,
        sum(s) as fan_s,
        sum(above_s) as above_target_s,
        sum(above_more_s) as above_more_s,
        sum(above_far_s) as above_far_s,
        sum(area_inwc_s) / 60 as area_inwc_min,
        max(greatest(start_inwc, end_inwc)) as max_inwc,
    from piece
    group by site_id, class, stage, n_zones, zones
)

select
    t.site_id,
    t.class,
    t.stage,
    t.n_zones,
    t.zones,
    t.fan_s,
    coalesce(l.settled_s, 0) as settled_s,
    t.above_target_s,
    l.above_margin_s,
    t.above_more_s,
    t.above_far_s,
    t.area_inwc_min,
    l.mean_inwc,
    l.p05_inwc,
    l.p50_inwc,
    l.p95_inwc,
    l.p99_inwc,
    t.max_inwc,
from total t
left join level l
    on l.site_id = t.site_id and l.class = t.class and l.stage = t.stage
    and l.zones is not distinct from t.zones
order by t.site_id, t.class, t.stage, t.n_zones, t.zones
