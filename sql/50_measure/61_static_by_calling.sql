-- one row per class, stage and calling zones while the blower ran, visits left out
with

piece as (
    select *, (end_ts - start_ts) / 1e6 as s, (start_inwc + end_inwc) / 2 as mid_inwc
    from interval.static_piece
    where fan_on and not in_visit and class is not null
),

-- a piece of linear static counts at its middle: at the median and the 95th percentile of time
ranked as (
    select
        *,
        sum(s) over (
            partition by site_id, class, stage, zones order by mid_inwc, start_ts
        ) / sum(s) over (partition by site_id, class, stage, zones) as share_below,
    from piece
    where is_settled
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
        min(mid_inwc) filter (share_below >= 0.5) as p50_inwc,
        min(mid_inwc) filter (share_below >= 0.95) as p95_inwc,
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
    l.mean_inwc,
    l.p50_inwc,
    l.p95_inwc,
    t.max_inwc,
from total t
left join level l
    on l.site_id = t.site_id and l.class = t.class and l.stage = t.stage
    and l.zones is not distinct from t.zones
order by t.site_id, t.class, t.stage, t.n_zones, t.zones
