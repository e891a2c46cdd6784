-- one row per long stretch in which the panel asks for no heat, no cooling and no fan
/*
holds = "only where G and an output of heat or cooling are logged; the fan's own time after a run is left out"

[columns]
start_ts = "BIGINT | us | nothing asked for, and the fan's time after a run over, from"
end_ts = "BIGINT | us | until an output comes on, or is not known"
length_s = "DOUBLE | s | length"
seen_s = "DOUBLE | s | of it: the blower's own contact or static known"
running_s = "DOUBLE | s | of that: blower running"
static_inwc = "DOUBLE | in. w.c. | mean static in it; null if not logged"
evidence = "VARCHAR | - | blower_run or static_pressure; null if neither is logged"
n_calls_s = "DOUBLE | s | of it: a zone calls for heat or cooling"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- A blower shows in static: over a share of what it makes while heat or cooling runs.
with

output as (
    select site_id, role
    from channel.channel
    where is_primary and role in ('output_w1', 'output_y1', 'output_aux', 'output_g')
),

logged as (
    select site_id
    from output
    group by site_id
    having bool_or(role = 'output_g') and bool_or(role <> 'output_g')
),

busy as (
    select s.site_id, s.start_ts, s.end_ts + (t.fan_after_run_max_s * 1e6)::bigint as end_ts
    from signal.state s
    join output o on o.site_id = s.site_id and o.role = s.role
    join run.threshold t on t.site_id = s.site_id
    where s.is_on
    union all
    select g.site_id, g.start_ts, g.end_ts
    from trust.gap g
    join output o on o.site_id = g.site_id and o.role = g.role
    union all
    select site_id, unnest([start_ts, end_ts]), unnest([start_ts, end_ts])
    from run.window
),

island as (
    select
        site_id,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
    from (
        select *, sum(is_new) over (partition by site_id order by start_ts, end_ts) as island_id
        from (
            select
                *,
                coalesce(start_ts > max(end_ts) over (
                    partition by site_id order by start_ts, end_ts
                    rows between unbounded preceding and 1 preceding
                ), true)::int as is_new,
            from busy
        )
    )
    group by site_id, island_id
),

idle as (
    select i.site_id, i.end_ts as start_ts, i.next_ts as end_ts
    from (
        select *, lead(start_ts) over (partition by site_id order by start_ts) as next_ts
        from island
    ) i
    join logged l on l.site_id = i.site_id
    join run.threshold t on t.site_id = i.site_id
    where i.next_ts - i.end_ts >= t.idle_blower_min_s * 1e6
),

static as (
    select p.site_id, p.start_ts, p.end_ts, p.start_value
    from signal.piece p
    where p.role = 'static_pressure' and p.site_id in (select site_id from idle)
),

running_level as (
    select s.site_id, quantile_cont(s.start_value, 0.5) as static_inwc
    from static s
    asof join interval.condition c on c.site_id = s.site_id and s.start_ts >= c.start_ts
    where c.class in ('heating', 'cooling')
    group by s.site_id
),

contact as (
    select
        i.site_id,
        i.start_ts,
        sum(least(b.end_ts, i.end_ts) - greatest(b.start_ts, i.start_ts)) / 1e6 as seen_s,
        coalesce(sum(least(b.end_ts, i.end_ts) - greatest(b.start_ts, i.start_ts)) filter (b.is_on), 0) / 1e6
            as running_s,
    from (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n from idle
    ) i
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from signal.state
        where role = 'blower_run'
    ) b
        on b.site_id = i.site_id and b.day_n = i.day_n
        and b.start_ts < i.end_ts and b.end_ts > i.start_ts
        and i.day_n = greatest(i.start_ts, b.start_ts) // 86400000000
    group by i.site_id, i.start_ts
),

-- looked up by the hour, which is cheaper than by instant: most pieces lie in no idle stretch
hour as (
    select *, unnest(range(start_ts // 3600000000, (end_ts - 1) // 3600000000 + 1)) as start_hour
    from idle
),

pressure as (
    select
        i.site_id,
        i.start_ts,
        sum(p.end_ts - p.start_ts) / 1e6 as seen_s,
        coalesce(sum(p.end_ts - p.start_ts) filter (
            p.start_value >= greatest(t.idle_static_min_inwc, t.idle_static_share * coalesce(r.static_inwc, 0))
        ), 0) / 1e6 as running_s,
        sum(p.start_value * (p.end_ts - p.start_ts)) / sum(p.end_ts - p.start_ts) as static_inwc,
    from static p
    join hour i
        on i.site_id = p.site_id
        and i.start_hour = p.start_ts // 3600000000
        and p.start_ts >= i.start_ts
        and p.end_ts <= i.end_ts
    join run.threshold t on t.site_id = p.site_id
    left join running_level r on r.site_id = p.site_id
    group by i.site_id, i.start_ts
),

calling as (
    select
        i.site_id,
        i.start_ts,
        coalesce(sum(least(c.end_ts, i.end_ts) - greatest(c.start_ts, i.start_ts))
            filter (c.n_heat > 0 or c.n_cool > 0), 0) / 1e6 as n_calls_s,
        bool_or(c.in_visit) as in_visit,
    from (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n from idle
    ) i
    -- by the day both lie in, counted on the day of the later start
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from interval.condition
    ) c
        on c.site_id = i.site_id and c.day_n = i.day_n
        and c.start_ts < i.end_ts and c.end_ts > i.start_ts
        and i.day_n = greatest(i.start_ts, c.start_ts) // 86400000000
    group by i.site_id, i.start_ts
)

select
    i.site_id,
    i.start_ts,
    i.end_ts,
    (i.end_ts - i.start_ts) / 1e6 as length_s,
    coalesce(b.seen_s, p.seen_s, 0) as seen_s,
    coalesce(if(b.seen_s is null, p.running_s, b.running_s), 0) as running_s,
    p.static_inwc,
    case when b.seen_s is not null then 'blower_run' when p.seen_s is not null then 'static_pressure' end as evidence,
    c.n_calls_s,
    c.in_visit,
from idle i
left join contact b on b.site_id = i.site_id and b.start_ts = i.start_ts
left join pressure p on p.site_id = i.site_id and p.start_ts = i.start_ts
join calling c on c.site_id = i.site_id and c.start_ts = i.start_ts
order by i.site_id, i.start_ts
