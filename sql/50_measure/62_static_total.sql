-- one row per site with static logged: fan time, time above target, excursions, relief openings
with

-- time above is null only where no target was given, so it is weighed, not filtered
summed as (
    select
        site_id,
        coalesce(sum((end_ts - start_ts) / 1e6) filter (fan_on), 0) as fan_s,
        sum(above_s * fan_on::int) as above_target_s,
        coalesce(sum((end_ts - start_ts) / 1e6) filter (fan_on and not in_visit), 0) as fan_outside_visit_s,
        sum(above_s * (fan_on and not in_visit)::int) as above_target_outside_visit_s,
        sum(above_margin_s * (fan_on and not in_visit and is_settled)::int) as above_margin_outside_visit_s,
        max(greatest(start_inwc, end_inwc)) filter (fan_on and not in_visit) as max_inwc,
    from interval.static_piece
    group by site_id
),

excursion as (
    select site_id, count(*) as n_excursion
    from interval.static_above_target
    where counts and not in_visit
    group by site_id
),

relieved as (
    select site_id, count(*) as n_relief
    from interval.relief
    where not in_visit
    group by site_id
)

select
    s.site_id,
    s.fan_s,
    s.above_target_s,
    s.fan_outside_visit_s,
    s.above_target_outside_visit_s,
    s.above_margin_outside_visit_s,
    s.max_inwc,
    coalesce(e.n_excursion, 0) as n_excursion,
    coalesce(r.n_relief, 0) as n_relief,
    c.coverage,
    c.resolution_s,
from summed s
left join excursion e on e.site_id = s.site_id
left join relieved r on r.site_id = s.site_id
join measure.coverage c on c.site_id = s.site_id and c.figure = 'static'
order by s.site_id
