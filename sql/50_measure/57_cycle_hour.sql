-- one row per source or zone call and full local clock hour seen throughout, visits left out
/*
definition = "Runtime share X and starts N of each hour of the site's clock seen throughout."
needs = ["outputs or calls"]
resolution = "a start shorter than two intervals is not counted"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "N = 4 Nmax X (1 - X), the cycling of a thermostat with anticipation; the conventional thermostat curve of Henderson and Rengarajan 1996; NEMA DC 3 (from memory)"

[columns]
what = "VARCHAR | - | burner, strip, compressor, 'any call' or 'zone N'"
mode = "VARCHAR | - | heating or cooling"
hour_ts = "BIGINT | us | start of the hour"
runtime_frac = "DOUBLE | share | X, share of the hour on"
n_start = "BIGINT | - | N, starts in the hour"
*/
-- X is the share of the hour on, N the starts in it: the two sides of the cycle curve.
with

on_stretch as (
    select site_id, source as what, mode, start_ts, end_ts, has_start
    from interval.source_run
    where mode <> 'unknown'
    union all
    select site_id, 'zone ' || zone, mode, start_ts, end_ts, has_start
    from interval.call
    where mode <> 'unknown'
    union all
    -- the OR of all calls of a mode
    select site_id, 'any call', mode, min(start_ts), max(end_ts), arg_min(has_start, start_ts)
    from (
        select *, sum(is_new) over (partition by site_id, mode order by start_ts, zone) as stretch_id
        from (
            select
                *,
                coalesce(start_ts > max(end_ts) over (
                    partition by site_id, mode order by start_ts, zone
                    rows between unbounded preceding and 1 preceding
                ), true)::int as is_new,
            from interval.call
            where mode <> 'unknown'
        )
    )
    group by site_id, mode, stretch_id
),

-- hours of the site's clock: from each local midnight on. A day whose clock moves by part of an hour has
-- hours that no one length describes, and none of them counts.
hour as (
    select
        site_id,
        unnest(range(start_ts, end_ts, 3600000000)) as hour_ts,
    from run.day
    where (end_ts - start_ts) % 3600000000 = 0
),

unseen as (
    select site_id, start_ts, end_ts
    from trust.gap
    where role like 'output_%' or role like 'zone_call_%'
    union all
    select site_id, start_ts, end_ts from run.visit
    union all
    -- between two stretches of inferred states
    select
        s.site_id,
        s.end_ts,
        coalesce(lead(s.start_ts) over (partition by s.site_id, s.role order by s.start_ts), w.end_ts),
    from signal.state s
    join run.window w on w.site_id = s.site_id
    where s.is_inferred
    union all
    select s.site_id, w.start_ts, min(s.start_ts)
    from signal.state s
    join run.window w on w.site_id = s.site_id
    where s.is_inferred
    group by s.site_id, s.role, w.start_ts
),

-- hours in which outputs and calls were all known and no visit was going on
full_hour as (
    select h.site_id, h.hour_ts
    from hour h
    join run.window w
        on w.site_id = h.site_id
        and h.hour_ts >= w.start_ts
        and h.hour_ts + 3600000000 <= w.end_ts
    where not exists (
        from unseen u
        where
            u.site_id = h.site_id
            and u.start_ts < h.hour_ts + 3600000000
            and u.end_ts > h.hour_ts
            and u.end_ts > u.start_ts
    )
),

series as (select distinct site_id, what, mode from on_stretch),

split as (
    select
        o.site_id,
        o.what,
        o.mode,
        o.start_ts,
        o.end_ts,
        o.has_start,
        unnest(range(
            d.start_ts + greatest(o.start_ts - d.start_ts, 0) // 3600000000 * 3600000000,
            least(o.end_ts, d.end_ts),
            3600000000
        )) as hour_ts,
    from on_stretch o
    join run.day d on d.site_id = o.site_id and d.start_ts < o.end_ts and d.end_ts > o.start_ts
),

summed as (
    select
        site_id,
        what,
        mode,
        hour_ts,
        sum(least(end_ts, hour_ts + 3600000000) - greatest(start_ts, hour_ts))::double / 3600e6 as runtime_frac,
        count(*) filter (has_start and start_ts >= hour_ts) as n_start,
    from split
    group by site_id, what, mode, hour_ts
)

select
    s.site_id,
    s.what,
    s.mode,
    h.hour_ts,
    coalesce(m.runtime_frac, 0) as runtime_frac,
    coalesce(m.n_start, 0) as n_start,
from series s
join full_hour h on h.site_id = s.site_id
left join summed m
    on m.site_id = s.site_id and m.what = s.what and m.mode = s.mode and m.hour_ts = h.hour_ts
order by s.site_id, s.what, s.mode, h.hour_ts
