-- one row per local day, source and mode, visits left out
with

part as (
    select
        r.site_id,
        d.day,
        r.source,
        r.mode,
        greatest(r.start_ts, d.start_ts) as start_ts,
        least(r.end_ts, d.end_ts) as end_ts,
        r.has_start and r.start_ts >= d.start_ts as starts_here,
    from interval.source_run r
    join run.day d on d.site_id = r.site_id and r.start_ts < d.end_ts and r.end_ts > d.start_ts
    where not r.in_visit
),

short as (
    select
        site_id,
        day,
        source,
        mode,
        count(*) filter (what = 'run' and not by_limit) as n_short_run,
        count(*) filter (what = 'rest') as n_short_rest,
    from measure.short_cycle
    group by site_id, day, source, mode
),

summed as (
    select
        site_id,
        day,
        source,
        mode,
        sum(end_ts - start_ts)::double / 1e6 as on_s,
        count(*) filter (starts_here) as n_start,
    from part
    group by site_id, day, source, mode
)

select
    p.site_id,
    p.day,
    p.source,
    p.mode,
    p.on_s,
    p.n_start,
    coalesce(s.n_short_run, 0) as n_short_run,
    coalesce(s.n_short_rest, 0) as n_short_rest,
from summed p
left join short s
    on s.site_id = p.site_id and s.day = p.day and s.source = p.source and s.mode = p.mode
order by p.site_id, p.day, p.source, p.mode
