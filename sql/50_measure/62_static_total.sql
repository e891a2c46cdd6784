-- one row per site with static logged: fan time, time above target, excursions, relief openings
/*
definition = "Fan time with static known, seconds above target (>) with the sensor's noise averaged out and as measured, excursions, relief openings, highest reading with its instant."
needs = ["supply static", "fan"]
resolution = "one interval of the static channel at each crossing"
interval_max_s = 10
counted_from = ["static_pressure"]
source = "run.setting, run.threshold"

[columns]
fan_s = "DOUBLE | s | fan time with static known, visits included"
above_target_s = "DOUBLE | s | above target, visits included; null if no target given"
fan_outside_visit_s = "DOUBLE | s | fan time, visits left out"
above_target_outside_visit_s = "DOUBLE | s | above target, visits left out"
above_low_outside_visit_s = "DOUBLE | s | of it for certain, whatever noise and the time between readings did"
above_high_outside_visit_s = "DOUBLE | s | above target at most, visits left out"
measured_above_outside_visit_s = "DOUBLE | s | above target as measured: readings joined by straight lines, visits left out"
above_margin_outside_visit_s = "DOUBLE | s | above target plus margin, dampers settled, visits left out"
above_more_s = "DOUBLE | s | above target plus static_over_more_inwc, visits included"
above_far_s = "DOUBLE | s | above target plus static_over_far_inwc, visits included"
area_inwc_min = "DOUBLE | in. w.c. min | static over the target, over time, visits included"
max_inwc = "DOUBLE | in. w.c. | highest reading with the fan on, visits left out"
n_excursion = "BIGINT | - | excursions that count, visits left out"
n_relief = "BIGINT | - | relief openings, visits left out"
fan_source = "VARCHAR | - | what says that the blower ran: blower_run, output_g, or (inferred) static_pressure, outputs or supply_temp"
coverage = "DOUBLE | share | measure.coverage"
resolution_s = "DOUBLE | s | measure.coverage"
*/
with

-- time above is null only where no target was given, so it is weighed, not filtered
summed as (
    select
        site_id,
        coalesce(sum((end_ts - start_ts) / 1e6) filter (fan_on), 0) as fan_s,
        sum(above_s * fan_on::int) as above_target_s,
        coalesce(sum((end_ts - start_ts) / 1e6) filter (fan_on and not in_visit), 0) as fan_outside_visit_s,
        sum(above_s * (fan_on and not in_visit)::int) as above_target_outside_visit_s,
        sum(above_low_s * (fan_on and not in_visit)::int) as above_low_outside_visit_s,
        sum(above_high_s * (fan_on and not in_visit)::int) as above_high_outside_visit_s,
        sum(measured_above_s * (fan_on and not in_visit)::int) as measured_above_outside_visit_s,
        sum(above_margin_s * (fan_on and not in_visit and is_settled)::int) as above_margin_outside_visit_s,
        sum(above_more_s * fan_on::int) as above_more_s,
        sum(above_far_s * fan_on::int) as above_far_s,
        sum(area_inwc_s * fan_on::int) / 60 as area_inwc_min,
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
),

fan as (select site_id, min(source) as fan_source from run_state.fan group by site_id)

select
    s.site_id,
    s.fan_s,
    s.above_target_s,
    s.fan_outside_visit_s,
    s.above_target_outside_visit_s,
    s.above_low_outside_visit_s,
    s.above_high_outside_visit_s,
    s.measured_above_outside_visit_s,
    s.above_margin_outside_visit_s,
    s.above_more_s,
    s.above_far_s,
    s.area_inwc_min,
    s.max_inwc,
    coalesce(e.n_excursion, 0) as n_excursion,
    coalesce(r.n_relief, 0) as n_relief,
    f.fan_source,
    c.coverage,
    c.resolution_s,
from summed s
left join excursion e on e.site_id = s.site_id
left join relieved r on r.site_id = s.site_id
left join fan f on f.site_id = s.site_id
join measure.coverage c on c.site_id = s.site_id and c.figure = 'static'
order by s.site_id
