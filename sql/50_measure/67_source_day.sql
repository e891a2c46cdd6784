-- one row per local day, source and mode, visits left out
/*
definition = "For each local day, source and mode: seconds, starts, short runs and rests."
needs = ["the source's output"]
resolution = "half an interval at each edge"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "as measure.cycle"

[columns]
day = "DATE | - | local date"
source = "VARCHAR | - | burner, strip or compressor"
mode = "VARCHAR | - | heating, cooling or unknown"
on_s = "DOUBLE | s | time on, visits left out"
n_start = "BIGINT | - | starts, visits left out"
n_short_run = "BIGINT | - | short runs not ended by a limit"
n_short_rest = "BIGINT | - | short rests"
*/
-- The offs of chatter are taken from a run's time in proportion.
with

part as (
    select
        r.site_id,
        d.day,
        r.source,
        r.mode,
        greatest(r.start_ts, d.start_ts) as start_ts,
        least(r.end_ts, d.end_ts) as end_ts,
        r.on_s / ((r.end_ts - r.start_ts) / 1e6) as on_share,
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
        sum((end_ts - start_ts) / 1e6 * on_share) as on_s,
        count(*) filter (starts_here) as n_start,
    from part
    group by site_id, day, source, mode
)

-- a short rest may begin on a day whose runs were all a visit's
select
    site_id,
    day,
    source,
    mode,
    coalesce(p.on_s, 0) as on_s,
    coalesce(p.n_start, 0) as n_start,
    coalesce(s.n_short_run, 0) as n_short_run,
    coalesce(s.n_short_rest, 0) as n_short_rest,
from summed p
full join short s using (site_id, day, source, mode)
order by site_id, day, source, mode
