-- one row per site whose compressor heated: its defrosts, and frost weather without one
/*
definition = "Defrosts outside visits: how many, how long, how much compressor heat between them; and the longest compressor heat in frost weather without one, with what the rise did over it. Only closed ones count towards length; one that is not closed still ends a time without."
needs = ["compressor output", "outdoor air", "supply temperature or the outdoor fan"]
resolution = "inferred: two intervals of supply at each end"
interval_max_s = 60
counted_from = ["supply_temp", "outdoor_fan_run", "output_", "inferred_"]
not_without = [["output_y1"]]
source = "times and temperatures: run.threshold"

[columns]
n_defrost = "BIGINT | - | defrosts outside visits"
n_logged = "BIGINT | - | of them told from the outdoor fan; the others are inferred"
n_open = "BIGINT | - | of them not closed"
median_length_s = "DOUBLE | s | of closed ones; null if there are none"
n_long = "BIGINT | - | longer than a defrost may last"
median_between_s = "DOUBLE | s | compressor heat between two; null if there are fewer than two"
n_close = "BIGINT | - | that came sooner after the one before than they should"
frost_s = "DOUBLE | s | compressor heat in frost weather"
longest_without_s = "DOUBLE | s | most of it without a defrost"
without_start_ts = "BIGINT | us | that time's first compressor heat in frost weather; null if there is none"
without_end_ts = "BIGINT | us | and its last"
rise_first_f = "DOUBLE | °F | mean rise in its first hour on the clock (supply alone where return is not logged); null if not logged"
rise_last_f = "DOUBLE | °F | in its last"
is_missing = "BOOLEAN | - | so long without one, and the rise sank; null if the rise is not known"
coverage = "DOUBLE | share | measure.coverage of outputs and outdoor air"
resolution_s = "DOUBLE | s | slowest of outputs, outdoor air and supply"
*/
with

pump as (
    select site_id, start_ts, end_ts
    from interval.source_run
    where source = 'compressor' and mode = 'heating'
),

told as (
    select
        *,
        row_number() over (partition by site_id order by start_ts) as n,
    from interval.defrost
),

counted as (
    select
        d.site_id,
        count(*) as n_defrost,
        count(*) filter (d.basis = 'logged') as n_logged,
        count(*) filter (not d.is_closed) as n_open,
        median(d.length_s) filter (d.is_closed) as median_length_s,
        count(*) filter (d.is_long) as n_long,
        median(d.run_s) filter (d.n > 1) as median_between_s,
        count(*) filter (d.n > 1 and d.run_s < t.defrost_between_min_s) as n_close,
    from told d
    join run.threshold t on t.site_id = d.site_id
    where not d.in_visit
    group by d.site_id
),

-- compressor heat cut at clock steps of outdoor air and at defrosts
edge as (
    select site_id, unnest([start_ts, end_ts]) as ts from pump
    union
    select p.site_id, unnest([o.start_ts, o.end_ts])
    from (select distinct site_id from pump) p
    join interval.weather o on o.site_id = p.site_id
    union
    select site_id, start_ts from told
),

piece as (
    select site_id, ts as start_ts, lead(ts) over (partition by site_id order by ts) as end_ts
    from edge
),

frost as (
    select
        p.site_id,
        p.start_ts,
        p.end_ts,
        coalesce(d.n, 0) as since_n,
    from piece p
    asof join pump r on r.site_id = p.site_id and p.start_ts >= r.start_ts
    asof join interval.weather o on o.site_id = p.site_id and p.start_ts >= o.start_ts
    asof left join told d on d.site_id = p.site_id and p.start_ts >= d.start_ts
    join run.threshold t on t.site_id = p.site_id
    where
        p.end_ts <= r.end_ts
        and p.end_ts <= o.end_ts
        and o.outdoor_f >= t.frost_low_f
        and o.outdoor_f <= t.frost_high_f
),

between_two as (
    select
        site_id,
        since_n,
        sum(end_ts - start_ts)::double / 1e6 as s,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
    from frost
    group by site_id, since_n
),

longest as (
    select
        site_id,
        sum(s) as frost_s,
        max(s) as longest_without_s,
        arg_max(start_ts, s) as without_start_ts,
        arg_max(end_ts, s) as without_end_ts,
    from between_two
    group by site_id
),

-- supply (less return) with the compressor on, in the first and the last hour of that time
heated as (
    select
        l.site_id,
        p.role,
        if(p.start_ts < l.without_start_ts + 3600000000, 'first', 'last') as part,
        avg(p.start_value) as mean_f,
    from longest l
    join run.threshold t on t.site_id = l.site_id
    join signal.piece p
        on p.site_id = l.site_id
        and p.role in ('supply_temp', 'return_temp')
        and (
            (p.start_ts >= l.without_start_ts and p.start_ts < l.without_start_ts + 3600000000)
            or (p.start_ts >= l.without_end_ts - 3600000000 and p.start_ts < l.without_end_ts)
        )
    asof join pump r on r.site_id = p.site_id and p.start_ts >= r.start_ts
    where
        l.longest_without_s >= t.defrost_missing_s
        and p.start_ts < r.end_ts
        and p.start_ts >= r.start_ts + t.defrost_rise_after_s * 1e6
    group by all
),

risen as (
    select
        site_id,
        any_value(mean_f) filter (role = 'supply_temp' and part = 'first')
            - coalesce(any_value(mean_f) filter (role = 'return_temp' and part = 'first'), 0) as rise_first_f,
        any_value(mean_f) filter (role = 'supply_temp' and part = 'last')
            - coalesce(any_value(mean_f) filter (role = 'return_temp' and part = 'last'), 0) as rise_last_f,
    from heated
    group by site_id
)

select
    p.site_id,
    coalesce(c.n_defrost, 0) as n_defrost,
    coalesce(c.n_logged, 0) as n_logged,
    coalesce(c.n_open, 0) as n_open,
    c.median_length_s,
    coalesce(c.n_long, 0) as n_long,
    c.median_between_s,
    coalesce(c.n_close, 0) as n_close,
    coalesce(l.frost_s, 0) as frost_s,
    coalesce(l.longest_without_s, 0) as longest_without_s,
    l.without_start_ts,
    l.without_end_ts,
    r.rise_first_f,
    r.rise_last_f,
    if(
        coalesce(l.longest_without_s, 0) < t.defrost_missing_s,
        false,
        r.rise_first_f - r.rise_last_f >= t.defrost_rise_sinks_f
    ) as is_missing,
    v.coverage,
    greatest(v.resolution_s, s.interval_s) as resolution_s,
from (select distinct site_id from pump) p
join run.threshold t on t.site_id = p.site_id
join measure.coverage v on v.site_id = p.site_id and v.figure = 'outdoor'
left join counted c on c.site_id = p.site_id
left join longest l on l.site_id = p.site_id
left join risen r on r.site_id = p.site_id
left join signal.coverage s on s.site_id = p.site_id and s.role = 'supply_temp'
order by p.site_id
