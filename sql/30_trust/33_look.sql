-- one row per primary channel of numbers: how its readings look as a whole
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
role = "VARCHAR | - | role"
zone = "INTEGER | - | zone"
first_ts = "BIGINT | us | first reading; null: none"
last_ts = "BIGINT | us | last reading"
n_reading = "BIGINT | - | readings"
n_lost = "BIGINT | - | readings lacking inside the channel's own log, by its interval and by what other channels of its logger have"
step_value = "DOUBLE | store unit | smallest step between two values it ever read; null: fewer than three values"
low_value = "DOUBLE | store unit | 5 % of readings lie below"
median_value = "DOUBLE | store unit | median reading"
high_value = "DOUBLE | store unit | 5 % of readings lie above"
*/
with

-- long holes, which are gaps and no scattered readings
hole as (
    select p.site_id, p.channel_id, sum(p.next_ts - p.ts) as hole_us, count(*) as n_hole
    from (
        select
            site_id,
            channel_id,
            ts,
            case
                when lead(site_id) over () = site_id and lead(channel_id) over () = channel_id
                    then lead(ts) over ()
            end as next_ts,
        from channel.reading
    ) p
    join run.threshold t on t.site_id = p.site_id
    where p.next_ts - p.ts > t.lost_hole_max_s * 1e6
    group by p.site_id, p.channel_id
),

logged as (
    select site_id, channel_id, min(ts) as first_ts, max(ts) as last_ts, count(*) as n_reading
    from channel.reading
    group by site_id, channel_id
),

look as (
    select
        c.site_id,
        c.channel_id,
        c.role,
        c.zone,
        c.logger,
        c.interval_s,
        g.first_ts,
        g.last_ts,
        coalesce(g.n_reading, 0) as n_reading,
        greatest(
            round(
                (g.last_ts - g.first_ts - coalesce(h.hole_us, 0)) / (c.interval_s * 1e6)
            )::bigint + 1 + coalesce(h.n_hole, 0) - g.n_reading,
            0
        ) as n_scattered,
    from channel.channel c
    left join logged g on g.site_id = c.site_id and g.channel_id = c.channel_id
    left join hole h on h.site_id = c.site_id and h.channel_id = c.channel_id
    where c.is_primary and c.kind = 'analog' and c.is_sampled
),

level as (
    select site_id, channel_id, quantile_cont(mean_value, [0.05, 0.5, 0.95]) as quantiles
    from trust.minute
    group by site_id, channel_id
),

value_seen as (
    select distinct site_id, channel_id, low_value as value from trust.minute
),

value_step as (
    select
        site_id,
        channel_id,
        value - lag(value) over (partition by site_id, channel_id order by value) as step_value,
    from value_seen
),

finest as (
    select site_id, channel_id, quantile_cont(step_value, 0.1) as step_value
    from value_step
    where step_value > 1e-9
    group by site_id, channel_id
    having count(*) >= 2
)

select
    l.site_id,
    l.channel_id,
    l.role,
    l.zone,
    l.first_ts,
    l.last_ts,
    l.n_reading,
    greatest(
        coalesce(l.n_scattered, 0),
        max(l.n_reading) over (partition by l.site_id, l.logger, l.interval_s) - l.n_reading
    ) as n_lost,
    f.step_value,
    q.quantiles[1] as low_value,
    q.quantiles[2] as median_value,
    q.quantiles[3] as high_value,
from look l
left join level q on q.site_id = l.site_id and q.channel_id = l.channel_id
left join finest f on f.site_id = l.site_id and f.channel_id = l.channel_id
order by l.site_id, l.channel_id
