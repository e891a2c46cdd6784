-- one row per source and mode that ran: starts, short runs and rests, usual run, fitted rate
/*
definition = "Starts, short runs and short rests of each source, and the cycle rate at half load fitted over its hours. Runs ended by a limit are kept apart. Open runs are never counted as complete."
needs = ["the source's output"]
resolution = "a run or rest shorter than two intervals cannot be counted: the counts are then at least"
interval_max_s = 60
counted_from = ["output_", "inferred_"]
source = "short-run and rest times: run.threshold"

[columns]
source = "VARCHAR | - | burner, strip or compressor; heat: inferred, and which cannot be told"
mode = "VARCHAR | - | heating, cooling or unknown"
n_start = "BIGINT | - | starts seen, visits left out; where counts are at least, without those after a rest that may be chatter"
n_start_all = "BIGINT | - | as n_start, visits included"
n_closed_run = "BIGINT | - | closed runs outside visits"
n_short_run = "BIGINT | - | closed runs outside visits shorter than the threshold, not ended by a limit"
n_short_run_by_limit = "BIGINT | - | short runs ended by a limit"
n_short_rest = "BIGINT | - | compressor rests shorter than allowed"
is_at_least = "BOOLEAN | - | true: runs or rests longer than chatter may pass unseen between two readings, counts are lower bounds"
short_run_limit_s = "DOUBLE | s | length under which a run is short"
short_rest_limit_s = "DOUBLE | s | length under which a rest is short; null for burners"
median_run_s = "DOUBLE | s | median closed run outside visits"
fitted_nmax_per_h = "DOUBLE | 1/h | cycles an hour at half load, fitted; null if too few hours"
n_fit_hour = "BIGINT | h | hours in the fit"
coverage = "DOUBLE | share | measure.coverage"
resolution_s = "DOUBLE | s | measure.coverage"
is_inferred = "BOOLEAN | - | runs read off supply and return temperature"
starts_error_frac = "DOUBLE | share | expected error of the starts where they are inferred"
*/
with

interval_of as (
    select
        c.site_id,
        case
            when c.role = 'output_y1' then 'compressor'
            when c.role = 'output_w1' and i.has_burner then 'burner'
            else 'strip'
        end as source,
        max(c.interval_s) as interval_s,
    from signal.coverage c
    join run.site i on i.site_id = c.site_id
    where c.role in ('output_w1', 'output_y1', 'output_aux')
    group by all
    union all
    select i.site_id, s.source, max(i.interval_s)
    from run_state.inferred_state i
    cross join (select unnest(['burner', 'compressor', 'heat']) as source) s
    where not exists (
        from signal.coverage c
        where c.site_id = i.site_id and c.role in ('output_w1', 'output_y1', 'output_aux')
    )
    group by i.site_id, s.source
),

-- off for the chatter time may be read as off for an interval more: where the log is no finer, a start
-- after so short a rest is none for certain
run as (
    select
        r.*,
        r.has_start
            and (
                coalesce(r.is_inferred, false)
                or coalesce(t.count_min_intervals * i.interval_s <= t.chatter_max_s, true)
                or coalesce(
                    (r.start_ts - lag(r.end_ts) over w) / 1e6 >= t.chatter_max_s + i.interval_s, true
                )
            ) as is_start,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
    left join interval_of i on i.site_id = r.site_id and i.source = r.source
    window w as (partition by r.site_id, r.source order by r.start_ts)
),

counted as (
    select
        site_id,
        source,
        mode,
        count(*) filter (is_start and not in_visit) as n_start,
        count(*) filter (is_start) as n_start_all,
        coalesce(bool_or(is_inferred), false) as is_inferred,
        count(*) filter (is_closed and not in_visit) as n_closed_run,
        median((end_ts - start_ts) / 1e6) filter (is_closed and not in_visit) as median_run_s,
    from run
    group by site_id, source, mode
),

short as (
    select
        site_id,
        source,
        mode,
        count(*) filter (what = 'run' and not by_limit) as n_short_run,
        count(*) filter (what = 'run' and by_limit) as n_short_run_by_limit,
        count(*) filter (what = 'rest') as n_short_rest,
    from measure.short_cycle
    group by site_id, source, mode
),

-- the shortest minimum-off in force is the one a rest must not undercut
min_off as (
    select site_id, min(value) * 60 as min_off_s
    from run.setting
    where name = 'compressor_min_off_min'
    group by site_id
)

select
    n.site_id,
    n.source,
    n.mode,
    n.n_start,
    n.n_start_all,
    n.n_closed_run,
    coalesce(s.n_short_run, 0) as n_short_run,
    coalesce(s.n_short_run_by_limit, 0) as n_short_run_by_limit,
    coalesce(s.n_short_rest, 0) as n_short_rest,
    -- runs and rests under so many intervals may pass unseen; under the chatter time there are none
    coalesce(t.count_min_intervals * i.interval_s > t.chatter_max_s, false) as is_at_least,
    if(n.source = 'compressor', t.short_run_compressor_max_s, t.short_run_burner_max_s) as short_run_limit_s,
    if(
        n.source = 'compressor',
        coalesce(
            m.min_off_s - coalesce(i.interval_s, 1) - t.short_rest_allowance_s,
            t.compressor_min_off_unknown_s
        ),
        null
    ) as short_rest_limit_s,
    n.median_run_s,
    f.nmax_per_h as fitted_nmax_per_h,
    coalesce(f.n_hour, 0) as n_fit_hour,
    c.coverage,
    c.resolution_s,
    n.is_inferred,
    e.starts_error_frac,
from counted n
join run.threshold t on t.site_id = n.site_id
left join interval_of i on i.site_id = n.site_id and i.source = n.source
left join short s on s.site_id = n.site_id and s.source = n.source and s.mode = n.mode
left join (
    select site_id, state as mode, max(starts_error_frac) as starts_error_frac
    from run_state.inferred_state
    group by site_id, state
) e on e.site_id = n.site_id and e.mode = n.mode and n.is_inferred
left join min_off m on m.site_id = n.site_id
left join measure.cycle_fit f on f.site_id = n.site_id and f.what = n.source and f.mode = n.mode
join measure.coverage c on c.site_id = n.site_id and c.figure = 'outputs'
order by n.site_id, n.source, n.mode
