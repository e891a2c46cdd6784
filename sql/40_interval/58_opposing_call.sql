-- one row per stretch in which some zone calls for heat and another for cooling
/*
[columns]
start_ts = "BIGINT | us | both calls stand from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length"
is_long = "BOOLEAN | - | stands longer than opposing calls may"
heat_zones = "VARCHAR | - | zones calling for heat for the longest part of it, as '1+3'"
cool_zones = "VARCHAR | - | zones calling for cooling in that part"
heat_waits_s = "DOUBLE | s | time in it during which the equipment cools: heat waits for the other mode"
cool_waits_s = "DOUBLE | s | time in it during which the equipment heats: cooling waits for the other mode"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- Time in which the calls are not known opposes nothing.
with

marked as (
    select
        *,
        coalesce(n_heat > 0 and n_cool > 0, false) as is_opposed,
        sum((not coalesce(n_heat > 0 and n_cool > 0, false))::int)
            over (partition by site_id order by start_ts) as stretch_id,
    from interval.condition
)

select
    m.site_id,
    min(m.start_ts) as start_ts,
    max(m.end_ts) as end_ts,
    (max(m.end_ts) - min(m.start_ts)) / 1e6 as length_s,
    max(m.end_ts) - min(m.start_ts) > any_value(t.opposing_max_s) * 1e6 as is_long,
    arg_max(m.heat_zones, m.end_ts - m.start_ts) as heat_zones,
    arg_max(m.cool_zones, m.end_ts - m.start_ts) as cool_zones,
    coalesce(sum(m.end_ts - m.start_ts) filter (m.class = 'cooling'), 0)::double / 1e6 as heat_waits_s,
    coalesce(sum(m.end_ts - m.start_ts) filter (m.class = 'heating'), 0)::double / 1e6 as cool_waits_s,
    bool_or(m.in_visit) as in_visit,
from marked m
join run.threshold t on t.site_id = m.site_id
where m.is_opposed
group by m.site_id, m.stretch_id
order by m.site_id, min(m.start_ts)
