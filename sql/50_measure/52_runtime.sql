-- one row per output that was logged: time on, starts, open runs, bound from sampling
/*
definition = "Seconds an output was on; open runs count, lengths and starts only as far as seen. A start is an off-to-on edge; off for less than the chatter time neither ends nor starts a run."
needs = ["an output"]
resolution = "half an interval at each edge seen, so one interval a run; a run or rest under two intervals is not counted reliably"
interval_max_s = 60
source = "definitions: a run is a maximal stretch with an output on and no gap"

[columns]
output = "VARCHAR | - | role"
on_s = "DOUBLE | s | time on; open runs count"
n_start = "BIGINT | - | off-to-on edges seen (chatter bridged)"
n_run = "BIGINT | - | runs, open ones included"
n_open_run = "BIGINT | - | runs of which an end was not seen"
n_chatter = "BIGINT | - | short offs bridged"
plus_minus_s = "DOUBLE | s | bound from sampling: one interval per run of which an edge was seen, and one per chatter"
coverage = "DOUBLE | share | measure.coverage"
resolution_s = "DOUBLE | s | measure.coverage"
*/
with

known as (
    select site_id, role as output, interval_s
    from signal.coverage
    where role like 'output_%'
),

summed as (
    select
        k.site_id,
        k.output,
        any_value(k.interval_s) as interval_s,
        coalesce(sum(r.on_s), 0) as on_s,
        count(*) filter (r.has_start) as n_start,
        count(r.start_ts) as n_run,
        count(*) filter (not r.is_closed) as n_open_run,
        coalesce(sum(r.n_chatter), 0)::bigint as n_chatter,
        coalesce(sum((r.has_start or r.has_end)::int + r.n_chatter), 0)::double as n_pair,
    from known k
    left join interval.output_run r on r.site_id = k.site_id and r.output = k.output
    group by k.site_id, k.output
)

select
    s.site_id,
    s.output,
    s.on_s,
    s.n_start,
    s.n_run,
    s.n_open_run,
    s.n_chatter,
    -- each edge came up to one interval before it was read; a run's two delays take from each other,
    -- so a run, or a chatter within it, is an interval off at most, whichever of its edges was seen
    s.n_pair * s.interval_s as plus_minus_s,
    c.coverage,
    c.resolution_s,
from summed s
join measure.coverage c on c.site_id = s.site_id and c.figure = s.output
order by s.site_id, s.output
