-- one row per output that was logged, and per mode that was inferred: time on, starts, open runs, bounds
/*
definition = "Seconds an output was on; open runs count, lengths and starts only as far as seen. A start is an off-to-on edge; off for less than the chatter time neither ends nor starts a run."
needs = ["an output, else supply and return temperature"]
resolution = "half an interval at each edge seen, so one interval a run; a run or rest under two intervals is not counted reliably"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "definitions: a run is a maximal stretch with an output on and no gap"

[columns]
output = "VARCHAR | - | role; inferred_heat, inferred_cool, inferred_fan: runs of the equipment, not outputs"
on_s = "DOUBLE | s | time on; open runs count"
n_start = "BIGINT | - | off-to-on edges seen (chatter bridged)"
n_run = "BIGINT | - | runs, open ones included"
n_open_run = "BIGINT | - | runs of which an end was not seen"
n_chatter = "BIGINT | - | short offs bridged"
plus_minus_s = "DOUBLE | s | bound from sampling: one interval per run of which an edge was seen, and one per chatter"
coverage = "DOUBLE | share | measure.coverage"
resolution_s = "DOUBLE | s | measure.coverage"
is_inferred = "BOOLEAN | - | read off supply and return temperature"
runtime_error_frac = "DOUBLE | share | expected error of on_s where it is inferred; null: logged, or not measured"
starts_error_frac = "DOUBLE | share | expected error of n_start where it is inferred"
asked_s = "DOUBLE | s | inferred burner runs with the usual ignition before each: about how long W was on; else null"
*/
with

known as (
    select site_id, role as output, interval_s
    from signal.coverage
    where role like 'output_%' or role like 'inferred_%'
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
),

error as (
    select
        site_id,
        case state
            when 'heating' then 'inferred_heat'
            when 'cooling' then 'inferred_cool'
            else 'inferred_fan'
        end as output,
        max(runtime_error_frac) as runtime_error_frac,
        max(starts_error_frac) as starts_error_frac,
    from run_state.inferred_state
    group by all
),

burner as (
    select site_id, count(*) filter (source = 'burner' and has_start) as n_start, bool_and(source = 'burner') as is_all
    from interval.source_run
    where is_inferred and mode = 'heating'
    group by site_id
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
    s.output like 'inferred_%' as is_inferred,
    e.runtime_error_frac,
    e.starts_error_frac,
    if(b.is_all and s.output = 'inferred_heat', s.on_s + b.n_start * t.ignition_usual_s, null) as asked_s,
from summed s
join run.threshold t on t.site_id = s.site_id
left join error e on e.site_id = s.site_id and e.output = s.output
left join burner b on b.site_id = s.site_id
join measure.coverage c on c.site_id = s.site_id and c.figure = s.output
order by s.site_id, s.output
