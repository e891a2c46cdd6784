-- one row per site with static logged: what it reads at rest, and whether it moves when the blower starts
/*
definition = "At rest: no call, output or fan for static_zero_rest_s, nine tenths of the readings within static_zero_steady_inwc of their median; the zero is the median over occasions, told from enough of them on enough days. Flat: no step at the blower's starts. Visits left out."
needs = ["supply static", "outputs", "calls of every zone", "fan"]
resolution = "no interval matters as long as rests are longer"
source = "ours"

[columns]
n_occasion = "BIGINT | - | rests with a steady reading"
n_day = "BIGINT | - | local days they lie on"
zero_inwc = "DOUBLE | in. w.c. | median of the occasions' medians; null without occasions"
lowest_inwc = "DOUBLE | in. w.c. | lowest of them"
highest_inwc = "DOUBLE | in. w.c. | highest: a second steady level is another fan's or a ventilator's"
result = "VARCHAR | - | in order, shifted, or could not be checked"
n_fan_start = "BIGINT | - | blower starts with static known on either side"
fan_step_inwc = "DOUBLE | in. w.c. | median step of static at them; null without"
coverage = "DOUBLE | share | measure.coverage of static"
resolution_s = "DOUBLE | s | measure.coverage of static"
*/
with

-- at rest: everything known to be off and nobody calling
parted as (
    select
        *,
        (lag(end_ts) over (partition by site_id order by start_ts) is distinct from start_ts)::int as is_new,
    from interval.condition
    where class = 'off' and n_heat = 0 and n_cool = 0 and not in_visit
),

rest as (
    select site_id, min(start_ts) as start_ts, max(end_ts) as end_ts
    from (
        select *, sum(is_new) over (partition by site_id order by start_ts) as rest_id from parted
    )
    group by site_id, rest_id
),

-- a fan told from static itself would be circular: what G says comes before it
-- looked up by the day both lie in: of a long log not every pair is tried
called_fan as (
    select distinct r.site_id, r.start_ts
    from (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from rest
    ) r
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from signal.state
        where role in ('output_g', 'blower_run') and is_on
    ) s
        on s.site_id = r.site_id and s.day_n = r.day_n
        and s.start_ts < r.end_ts and s.end_ts > r.start_ts
),

quiet as (
    select r.site_id, r.start_ts, r.end_ts
    from rest r
    left join called_fan g on g.site_id = r.site_id and g.start_ts = r.start_ts
    where g.site_id is null
),

occasion as (
    select
        r.site_id,
        r.start_ts,
        median(p.start_inwc) as inwc,
        (quantile_cont(p.start_inwc, 0.95) - quantile_cont(p.start_inwc, 0.05)) / 2 as spread_inwc,
    from interval.static_piece p
    join run.threshold t on t.site_id = p.site_id
    asof join quiet r on r.site_id = p.site_id and p.start_ts >= r.start_ts
    where
        p.class = 'off'
        and p.start_ts >= r.start_ts + t.static_zero_rest_s * 1e6
        and p.end_ts <= r.end_ts
    group by r.site_id, r.start_ts
),

zero as (
    select
        o.site_id,
        count(*) as n_occasion,
        count(distinct d.day) as n_day,
        median(o.inwc) as zero_inwc,
        min(o.inwc) as lowest_inwc,
        max(o.inwc) as highest_inwc,
    from occasion o
    join run.threshold t on t.site_id = o.site_id
    left join run.day d on d.site_id = o.site_id and o.start_ts >= d.start_ts and o.start_ts < d.end_ts
    where o.spread_inwc <= t.static_zero_steady_inwc
    group by o.site_id
),

-- blower starts seen, with the instants at which static is read: just before, and past a soft start
fan_start as (
    select site_id, start_ts, start_ts - 5000000 as before_ts, start_ts + 120000000 as after_ts
    from (
        select
            *,
            lag(end_ts) over (partition by site_id order by start_ts) = start_ts
                and not lag(is_on) over (partition by site_id order by start_ts) as is_start,
        from run_state.fan
    )
    where is_on and is_start and end_ts >= start_ts + 120000000
),

step as (
    select f.site_id, count(*) as n_fan_start, median(a.start_inwc - b.start_inwc) as fan_step_inwc
    from fan_start f
    asof join interval.static_piece b on b.site_id = f.site_id and f.before_ts >= b.start_ts
    asof join interval.static_piece a on a.site_id = f.site_id and f.after_ts >= a.start_ts
    where b.end_ts > f.before_ts and a.end_ts > f.after_ts and not a.in_visit
    group by f.site_id
)

select
    c.site_id,
    coalesce(z.n_occasion, 0) as n_occasion,
    coalesce(z.n_day, 0) as n_day,
    z.zero_inwc,
    z.lowest_inwc,
    z.highest_inwc,
    case
        when z.n_occasion >= t.static_zero_min_occasions and z.n_day >= t.static_zero_min_days
            then if(abs(z.zero_inwc) > t.static_zero_shift_inwc, 'shifted', 'in order')
        else 'could not be checked'
    end as result,
    coalesce(s.n_fan_start, 0) as n_fan_start,
    s.fan_step_inwc,
    c.coverage,
    c.resolution_s,
from measure.coverage c
join run.threshold t on t.site_id = c.site_id
left join zero z on z.site_id = c.site_id
left join step s on s.site_id = c.site_id
where c.figure = 'static' and c.missing not like '%static_pressure%'
order by c.site_id
