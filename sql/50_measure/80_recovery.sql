-- one row per recovery of the equipment: recoveries of zones that overlap, as one
/*
definition = "From the first zone's call that belongs to its setpoint step to when the last zone is within a degree of its new setpoint; stage and aux used in it."
needs = ["zone temperatures", "zone setpoints", "calls", "outputs"]
resolution = "whole minutes; one interval of the rooms' logger at each end"
interval_max_s = 300
counted_from = ["zone_temp"]
source = "ours"

[columns]
mode = "VARCHAR | - | heating or cooling"
start_ts = "BIGINT | us | first call"
end_ts = "BIGINT | us | last zone there"
length_s = "DOUBLE | s | length; at least, where has_end is false"
has_end = "BOOLEAN | - | all zones were seen to get there"
n_zones = "BIGINT | - | zones that recovered"
zones = "VARCHAR | - | which"
step_f = "DOUBLE | °F | greatest step of a setpoint"
running_s = "DOUBLE | s | time the mode ran"
second_s = "DOUBLE | s | of it on second stage"
aux_s = "DOUBLE | s | strip heat, beside a compressor or alone; gas of a dual-fuel system is no strip heat"
burner_s = "DOUBLE | s | burner"
outdoor_f = "DOUBLE | °F | outdoors at the start; null if not known"
in_visit = "BOOLEAN | - | touches a visit"
coverage = "DOUBLE | share | of the recovery, in which outputs are known"
resolution_s = "DOUBLE | s | slowest interval of the rooms' loggers"
*/
with

joined as (
    select *, sum(is_new) over (partition by site_id, mode order by start_ts, end_ts, zone) as recovery_id
    from (
        select
            *,
            coalesce(start_ts >= max(end_ts) over (
                partition by site_id, mode order by start_ts, end_ts, zone
                rows between unbounded preceding and 1 preceding
            ), true)::int as is_new,
        from interval.recovery
    )
),

whole as (
    select
        site_id,
        mode,
        recovery_id,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        bool_and(has_end) as has_end,
        count(distinct zone) as n_zones,
        array_to_string(list_sort(list(distinct zone)), '+') as zones,
        max(abs(to_f - from_f)) as step_f,
        bool_or(in_visit) as in_visit,
    from joined
    group by site_id, mode, recovery_id
),

spent as (
    select
        w.site_id,
        w.mode,
        w.start_ts,
        c.class,
        c.stage,
        coalesce(c.aux, false) or (coalesce(c.w1, false) and not i.has_burner) as is_strip,
        coalesce(c.w1, false) and i.has_burner as is_burner,
        (least(c.end_ts, w.end_ts) - greatest(c.start_ts, w.start_ts)) / 1e6 as length_s,
    from whole w
    join run.site i on i.site_id = w.site_id
    join interval.condition c
        on c.site_id = w.site_id and c.start_ts < w.end_ts and c.end_ts > w.start_ts
),

used as (
    select
        site_id,
        mode,
        start_ts,
        sum(length_s) filter (class <> 'unknown') as known_s,
        sum(length_s) filter (class = mode) as running_s,
        sum(length_s) filter (class = mode and stage = 2) as second_s,
        sum(length_s) filter (class = mode and is_strip) as aux_s,
        sum(length_s) filter (class = mode and is_burner) as burner_s,
    from spent
    group by site_id, mode, start_ts
),

outdoor as (
    select site_id, start_ts, end_ts, start_value, end_value
    from signal.piece
    where role = 'outdoor_temp'
),

rooms as (
    select site_id, max(interval_s) as interval_s
    from signal.coverage
    where role in ('zone_temp', 'zone_heat_setpoint', 'zone_cool_setpoint')
    group by site_id
)

select
    w.site_id,
    w.mode,
    w.start_ts,
    w.end_ts,
    (w.end_ts - w.start_ts) / 1e6 as length_s,
    w.has_end,
    w.n_zones,
    w.zones,
    w.step_f,
    coalesce(u.running_s, 0) as running_s,
    coalesce(u.second_s, 0) as second_s,
    coalesce(u.aux_s, 0) as aux_s,
    coalesce(u.burner_s, 0) as burner_s,
    case
        when w.start_ts < o.end_ts
            then o.start_value
                + (o.end_value - o.start_value) * (w.start_ts - o.start_ts) / (o.end_ts - o.start_ts)
    end as outdoor_f,
    w.in_visit,
    coalesce(u.known_s, 0) / nullif((w.end_ts - w.start_ts) / 1e6, 0) as coverage,
    r.interval_s as resolution_s,
from whole w
left join used u on u.site_id = w.site_id and u.mode = w.mode and u.start_ts = w.start_ts
left join rooms r on r.site_id = w.site_id
asof left join outdoor o on o.site_id = w.site_id and w.start_ts >= o.start_ts
order by w.site_id, w.start_ts, w.mode
