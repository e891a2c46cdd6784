-- one row per mode, source and stage: the exclusive split; burner and compressor heat kept apart
/*
definition = "The exclusive split of heating and cooling time: first stage, second stage, aux; burner heat (W of a furnace) and compressor heat kept apart. Second stage on without first is a wiring or logging question and is not second-stage time."
needs = ["outputs", "O/B output or calls, to tell a compressor's mode"]
resolution = "half an interval at each edge: plus_minus_s is one interval per stretch"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "ours; that W of a heat pump is aux heat and never second stage: common practice, no source"

[columns]
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | burner, strip, compressor or both; heat: inferred, and which cannot be told"
stage = "VARCHAR | - | first, second or aux; any: inferred, stages are not told apart"
s = "DOUBLE | s | time, visits included"
plus_minus_s = "DOUBLE | s | bound from sampling: one interval per stretch of it"
coverage = "DOUBLE | share | measure.coverage"
resolution_s = "DOUBLE | s | measure.coverage"
is_inferred = "BOOLEAN | - | read off supply and return temperature"
*/
-- Strip heat is aux, never second stage, alone or beside the compressor. Burner and compressor at once
-- stay 'both', first or second stage.
with

split as (
    select
        c.site_id,
        c.class as mode,
        c.source,
        case
            when c.is_inferred then 'any'
            when c.source = 'strip' then 'aux'
            when c.source = 'both' and not (c.w1 and i.has_burner) then 'aux'
            when c.stage = 2 then 'second'
            else 'first'
        end as stage,
        coalesce(c.is_inferred, false) as is_inferred,
        c.start_ts,
        c.end_ts,
    from interval.condition c
    join run.site i on i.site_id = c.site_id
    where c.class in ('heating', 'cooling')
),

-- a change of calls alone does not end a stretch
stretch as (
    select
        *,
        lag((mode, source, stage, end_ts)) over (partition by site_id order by start_ts)
            is distinct from (mode, source, stage, start_ts) as is_new,
    from split
)

select
    p.site_id,
    p.mode,
    p.source,
    p.stage,
    sum(p.end_ts - p.start_ts) / 1e6 as s,
    count(*) filter (p.is_new) * any_value(c.resolution_s) as plus_minus_s,
    any_value(c.coverage) as coverage,
    any_value(c.resolution_s) as resolution_s,
    p.is_inferred,
from stretch p
join measure.coverage c on c.site_id = p.site_id and c.figure = 'outputs'
group by p.site_id, p.mode, p.source, p.stage, p.is_inferred
order by p.site_id, p.mode, p.source, p.stage
