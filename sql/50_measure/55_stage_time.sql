-- one row per mode, source and stage: the exclusive split; burner and compressor heat kept apart
-- Strip heat is aux, never second stage.
with

split as (
    select
        site_id,
        class as mode,
        source,
        case
            when source = 'strip' then 'aux'
            when stage = 2 then 'second'
            else 'first'
        end as stage,
        s,
    from measure.condition_time
    where class in ('heating', 'cooling')
)

select
    p.site_id,
    p.mode,
    p.source,
    p.stage,
    sum(p.s) as s,
    any_value(c.coverage) as coverage,
    any_value(c.resolution_s) as resolution_s,
from split p
join measure.coverage c on c.site_id = p.site_id and c.figure = 'outputs'
group by p.site_id, p.mode, p.source, p.stage
order by p.site_id, p.mode, p.source, p.stage
