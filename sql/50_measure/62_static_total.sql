-- one row per site with static logged: fan time, time above target, excursions, relief openings
with

summed as (
    select
        site_id,
        sum((end_ts - start_ts) / 1e6) as fan_s,
        sum(above_s) as above_target_s,
        coalesce(sum((end_ts - start_ts) / 1e6) filter (not in_visit), 0) as fan_outside_visit_s,
        sum(above_s) filter (not in_visit) as above_target_outside_visit_s,
        sum(above_margin_s) filter (not in_visit and is_settled) as above_margin_outside_visit_s,
        max(greatest(start_inwc, end_inwc)) filter (not in_visit) as max_inwc,
    from interval.static_piece
    where fan_on
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
