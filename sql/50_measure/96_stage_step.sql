-- one row per second-stage start that calls and dampers left alone for minutes: what static and supply did
/*
definition = "Mean static from some time after second stage came on less the mean just before it, and how far supply moved in the source's direction over what it was moving anyway. Nothing else may change in between: calls, dampers, the stage itself."
needs = ["second-stage outputs", "supply static or supply temperature"]
resolution = "one interval of the static channel; means on both sides"
interval_max_s = 60
counted_from = ["supply_temp", "static_pressure", "output_", "inferred_"]
not_without = [["output_w2", "output_y2"]]
source = "times and least steps: run.threshold"

[columns]
source = "VARCHAR | - | burner or compressor"
mode = "VARCHAR | - | heating or cooling"
start_ts = "BIGINT | us | second stage on"
end_ts = "BIGINT | us | looked at until then"
n_zones = "BIGINT | - | zones calling at the start"
zones = "VARCHAR | - | which"
static_before_inwc = "DOUBLE | in. w.c. | mean before it; null if not logged"
static_step_inwc = "DOUBLE | in. w.c. | mean after it less that"
supply_before_f = "DOUBLE | °F | supply as it came on; null if not logged"
supply_step_f = "DOUBLE | °F | furthest that supply went on from there, heating up and cooling down, less as much as it had moved that way before"
is_step = "BOOLEAN | - | static or supply moved by its least step; null if neither is known"
in_visit = "BOOLEAN | - | inside a visit"
*/
with

-- changes and readings are looked up by the hour they lie in: of a long log not every pair is tried
change as (
    select *, ts // 3600000000 as hour_n
    from (
        select site_id, unnest([start_ts, end_ts]) as ts from interval.call
        union
        select site_id, start_ts from signal.state where role = 'zone_damper'
    )
),

start_hour as (
    select
        u.*,
        unnest(range(
            (u.start_ts - (t.equipment_stage_mean_s * 1e6)::bigint) // 3600000000,
            (u.start_ts + (t.stage_step_looked_s * 1e6)::bigint) // 3600000000 + 1
        )) as hour_n,
    from measure.stage_up u
    join run.threshold t on t.site_id = u.site_id
),

looked as (
    select
        u.site_id,
        u.source,
        u.mode,
        u.start_ts,
        any_value(u.n_zones) as n_zones,
        any_value(u.zones) as zones,
        any_value(u.in_visit) as in_visit,
        any_value((t.equipment_stage_mean_s * 1e6)::bigint) as mean_us,
        least(
            any_value(u.end_ts),
            any_value(u.start_ts + (t.stage_step_looked_s * 1e6)::bigint),
            coalesce(min(c.ts) filter (c.ts > u.start_ts), any_value(u.end_ts))
        ) as end_ts,
        -- the change may be the very call that second stage waited for
        bool_or(coalesce(c.ts > u.start_ts - t.equipment_stage_mean_s * 1e6 and c.ts <= u.start_ts, false))
            as is_disturbed,
        any_value(t.stage_step_least_s) as least_s,
    from start_hour u
    join run.threshold t on t.site_id = u.site_id
    left join change c
        on c.site_id = u.site_id
        and c.hour_n = u.hour_n
        and c.ts > u.start_ts - t.equipment_stage_mean_s * 1e6
        and c.ts < u.start_ts + t.stage_step_looked_s * 1e6
    where u.run_before_s >= t.equipment_stage_mean_s
    group by u.site_id, u.source, u.mode, u.start_ts
),

long_enough as (
    select * from looked where not is_disturbed and end_ts - start_ts >= least_s * 1e6
),

reading as (
    select
        l.site_id,
        l.source,
        l.mode,
        l.start_ts,
        l.mean_us,
        p.role,
        p.start_ts as ts,
        p.start_value as value,
        l.mode = 'heating' as is_up,
    from (
        select
            *,
            unnest(range((start_ts - mean_us) // 3600000000, (end_ts - 1) // 3600000000 + 1)) as hour_n,
        from long_enough
    ) l
    join signal.piece p
        on p.site_id = l.site_id
        and p.role in ('static_pressure', 'supply_temp')
        and p.start_ts // 3600000000 = l.hour_n
        and p.start_ts >= l.start_ts - l.mean_us
        and p.start_ts < l.end_ts
),

moved as (
    select
        site_id,
        source,
        start_ts,
        avg(value) filter (role = 'static_pressure' and ts < start_ts) as static_before_inwc,
        avg(value) filter (role = 'static_pressure' and ts >= start_ts + mean_us / 2) as static_after_inwc,
        arg_max(value, ts) filter (role = 'supply_temp' and ts <= start_ts) as supply_before_f,
        arg_min(value, ts) filter (role = 'supply_temp' and ts <= start_ts) as supply_first_f,
        if(
            any_value(is_up),
            max(value) filter (role = 'supply_temp' and ts > start_ts),
            min(value) filter (role = 'supply_temp' and ts > start_ts)
        ) as supply_after_f,
        if(any_value(is_up), 1, -1) as sign,
    from reading
    group by site_id, source, start_ts
)

select
    l.site_id,
    l.source,
    l.mode,
    l.start_ts,
    l.end_ts,
    l.n_zones,
    l.zones,
    m.static_before_inwc,
    m.static_after_inwc - m.static_before_inwc as static_step_inwc,
    m.supply_before_f,
    m.sign * (m.supply_after_f - m.supply_before_f)
        - greatest(m.sign * (m.supply_before_f - m.supply_first_f), 0) as supply_step_f,
    case
        when static_step_inwc is null and supply_step_f is null then null
        else coalesce(static_step_inwc >= t.equipment_stage_step_inwc, false)
            or coalesce(supply_step_f >= t.equipment_stage_step_f, false)
    end as is_step,
    l.in_visit,
from long_enough l
join run.threshold t on t.site_id = l.site_id
left join moved m on m.site_id = l.site_id and m.source = l.source and m.start_ts = l.start_ts
order by l.site_id, l.start_ts, l.source
