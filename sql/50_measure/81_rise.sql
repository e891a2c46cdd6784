-- one row per mode, source and stage, and one more per set of calling zones, visits left out
/*
definition = "Rise (supply less return; in cooling the split, return less supply) in steady state: source, stage, calls, dampers and blower unchanged for the source's time, or supply at rest sooner. Outside the plate: > its greatest, < its least. Percentiles are of time, to 0.1 °F. A burner that has not lit has no rise: supply less than response_cold_f over return is left out."
needs = ["supply temperature", "return temperature", "outputs", "fan"]
resolution = "one interval of supply at each end of a stretch"
interval_max_s = 60
counted_from = ["supply_temp", "return_temp", "output_", "inferred_"]
not_without = [["supply_temp"], ["return_temp"]]
source = "rating plate where given (run.plate); times until steady: common practice, no source"

[columns]
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | burner, strip, compressor or both"
stage = "INTEGER | - | 1 or 2"
is_total = "BOOLEAN | - | over all calls"
n_zones = "BIGINT | - | zones calling; null in a total or if not known"
zones = "VARCHAR | - | which"
running_s = "DOUBLE | s | time in this state with the blower on, defrosts and cut-outs left out"
n_stretch = "BIGINT | - | stretches without a change"
n_steady = "BIGINT | - | of them, that became steady"
steady_s = "DOUBLE | s | steady time with supply and return known"
rise_p05_f = "DOUBLE | °F | 5th percentile"
rise_f = "DOUBLE | °F | median"
rise_p95_f = "DOUBLE | °F | 95th percentile"
supply_f = "DOUBLE | °F | mean supply"
supply_max_f = "DOUBLE | °F | highest supply"
low_f = "DOUBLE | °F | least rise by the plate; null if not given"
high_f = "DOUBLE | °F | greatest rise by the plate; null if not given"
above_s = "DOUBLE | s | steady time above the plate's greatest; null without it"
below_s = "DOUBLE | s | steady time below the plate's least; null without it"
coverage = "DOUBLE | share | measure.coverage of rise"
resolution_s = "DOUBLE | s | measure.coverage of rise"
*/
with

stretch as (
    select
        site_id,
        mode,
        source,
        stage,
        grouping(zones, n_zones) > 0 as is_total,
        n_zones,
        zones,
        sum(end_ts - begin_ts)::double / 1e6 as running_s,
        count(*) as n_stretch,
        count(steady_ts) as n_steady,
    from interval.steady
    where not in_visit
    group by grouping sets (
        (site_id, mode, source, stage), (site_id, mode, source, stage, n_zones, zones)
    )
),

piece as (
    select
        p.*,
        (p.end_ts - p.start_ts) / 1e6 as s,
        l.rise_low_f,
        l.rise_high_f,
    from interval.rise p
    left join run.plate l
        on l.site_id = p.site_id and l.source = p.source and l.mode = p.mode and l.stage = p.stage
    join run.threshold t on t.site_id = p.site_id
    where
        not p.in_visit
        and not (p.source = 'burner' and p.rise_f < t.response_cold_f)
),

-- seconds by tenth of a degree: the percentiles need no more
tenth as (
    select
        site_id,
        mode,
        source,
        stage,
        n_zones,
        zones,
        round(rise_f, 1) as rise_f,
        sum(s) as s,
        sum(s * supply_f) as supply_fs,
        max(supply_f) as supply_max_f,
        sum(s * (rise_f > rise_high_f)::int) as above_s,
        sum(s * (rise_f < rise_low_f)::int) as below_s,
        any_value(rise_low_f) as low_f,
        any_value(rise_high_f) as high_f,
    from piece
    group by all
),

both_ways as (
    select *, false as is_total from tenth
    union all
    select *replace (null as n_zones, null as zones), true from tenth
),

summed as (
    select
        *,
        sum(s) over (partition by site_id, mode, source, stage, is_total, zones order by rise_f)
            / sum(s) over (partition by site_id, mode, source, stage, is_total, zones) as share_below,
    from both_ways
),

level as (
    select
        site_id,
        mode,
        source,
        stage,
        is_total,
        zones,
        sum(s) as steady_s,
        min(rise_f) filter (share_below >= 0.05) as rise_p05_f,
        min(rise_f) filter (share_below >= 0.5) as rise_f,
        min(rise_f) filter (share_below >= 0.95) as rise_p95_f,
        sum(supply_fs) / nullif(sum(s), 0) as supply_f,
        max(supply_max_f) as supply_max_f,
        any_value(low_f) as low_f,
        any_value(high_f) as high_f,
        sum(above_s) as above_s,
        sum(below_s) as below_s,
    from summed
    group by site_id, mode, source, stage, is_total, zones
)

select
    t.site_id,
    t.mode,
    t.source,
    t.stage,
    t.is_total,
    t.n_zones,
    t.zones,
    t.running_s,
    t.n_stretch,
    t.n_steady,
    coalesce(l.steady_s, 0) as steady_s,
    l.rise_p05_f,
    l.rise_f,
    l.rise_p95_f,
    l.supply_f,
    l.supply_max_f,
    l.low_f,
    l.high_f,
    l.above_s,
    l.below_s,
    c.coverage,
    c.resolution_s,
from stretch t
left join level l
    on l.site_id = t.site_id and l.mode = t.mode and l.source = t.source and l.stage = t.stage
    and l.is_total = t.is_total and l.zones is not distinct from t.zones
join measure.coverage c on c.site_id = t.site_id and c.figure = 'rise'
order by t.site_id, t.mode, t.source, t.stage, t.is_total desc, t.n_zones, t.zones
