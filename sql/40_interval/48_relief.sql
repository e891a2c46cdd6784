-- one row per opening of a relief zone's damper while it did not call and heat or cooling ran for others
/*
[columns]
zone = "INTEGER | - | zone whose damper opened"
start_ts = "BIGINT | us | opened"
end_ts = "BIGINT | us | closed, or its zone called"
static_inwc = "DOUBLE | in. w.c. | static when it opened; null if not logged"
in_visit = "BOOLEAN | - | inside a visit"
*/
with

opening as (
    select
        s.site_id,
        s.zone,
        s.start_ts,
        s.end_ts,
    from (
        select
            *,
            lag(is_on) over w is not distinct from false and lag(end_ts) over w = start_ts as is_edge,
        from signal.state
        where role = 'zone_damper'
        window w as (partition by site_id, channel_id order by start_ts)
    ) s
    join run.zone z on z.site_id = s.site_id and z.zone = s.zone
    where s.is_on and s.is_edge and z.is_relief
),

placed as (
    select o.*, c.class, c.zones, c.in_visit
    from opening o
    asof join interval.condition c on c.site_id = o.site_id and o.start_ts >= c.start_ts
    where c.class in ('heating', 'cooling') and c.n_zones > 0
),

-- looked up by the day both lie in: of a long log not every pair is tried
own_call as (
    select p.site_id, p.zone, p.start_ts, min(greatest(k.start_ts, p.start_ts)) as call_ts
    from (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n from placed
    ) p
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from interval.call
    ) k
        on k.site_id = p.site_id and k.zone = p.zone and k.day_n = p.day_n
        and k.end_ts > p.start_ts and k.start_ts < p.end_ts
    group by p.site_id, p.zone, p.start_ts
),

static as (
    select site_id, start_ts, end_ts, start_value, end_value
    from signal.piece
    where role = 'static_pressure'
)

select
    p.site_id,
    p.zone,
    p.start_ts,
    least(p.end_ts, coalesce(k.call_ts, p.end_ts)) as end_ts,
    case
        when p.start_ts < s.end_ts
            then s.start_value
                + (s.end_value - s.start_value) * (p.start_ts - s.start_ts) / (s.end_ts - s.start_ts)
    end as static_inwc,
    p.in_visit,
from placed p
left join own_call k
    on k.site_id = p.site_id and k.zone = p.zone and k.start_ts = p.start_ts
asof left join static s on s.site_id = p.site_id and p.start_ts >= s.start_ts
where coalesce(k.call_ts > p.start_ts, true)
order by p.site_id, p.start_ts, p.zone
