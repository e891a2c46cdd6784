-- one row per rest of the equipment and two hours of it: supply static with nothing asking for air
/*
[columns]
channel_id = "INTEGER | - | channel.channel"
start_ts = "BIGINT | us | first minute of it, by the outputs' clock"
end_ts = "BIGINT | us | until"
static_inwc = "DOUBLE | in. w.c. | median"
spread_inwc = "DOUBLE | in. w.c. | between 5 % and 95 % of its minutes"
n_minute = "BIGINT | - | minutes with a reading"
*/
with

-- nothing asks: no output and no call, or where neither G nor its calls are logged, no output known
asking as (
    select s.site_id, s.start_ts, s.end_ts, s.is_on
    from channel.state s
    where
        s.role like 'output\_%' escape '\' and s.role <> 'output_ob'
        or s.role = 'blower_run'
        or s.role like 'zone\_call\_%' escape '\' and s.role <> 'zone_call_ob'
),

stretch as (
    select
        *,
        max(end_ts) over (
            partition by site_id order by start_ts, end_ts
            rows between unbounded preceding and 1 preceding
        ) as reached_ts,
    from asking
    where is_on
),

rest as (
    select
        s.site_id,
        s.reached_ts + (t.rest_settle_s * 1e6)::bigint as start_ts,
        s.start_ts as end_ts,
    from stretch s
    join run.threshold t on t.site_id = s.site_id
    where s.start_ts - s.reached_ts >= t.rest_min_s * 1e6
),

-- where the outputs' clock would have put them
minute as (
    select
        m.site_id,
        m.channel_id,
        m.start_ts - coalesce(
            round((k.left_us + k.gains * (m.start_ts - k.middle_ts)) / 6e7)::bigint * 60_000_000, 0
        ) as start_ts,
        m.mean_value,
    from trust.minute m
    left join trust.clock_left k on k.site_id = m.site_id and k.channel_id = m.channel_id
    where m.role = 'static_pressure'
),

piece as (
    select
        m.site_id,
        m.channel_id,
        r.start_ts as rest_ts,
        (m.start_ts - r.start_ts) // 7_200_000_000 as part,
        m.start_ts,
        m.mean_value,
    from minute m
    asof join rest r on r.site_id = m.site_id and m.start_ts >= r.start_ts
    where m.start_ts + 60_000_000 <= r.end_ts
)

select
    site_id,
    channel_id,
    min(start_ts) as start_ts,
    max(start_ts) + 60_000_000 as end_ts,
    median(mean_value) as static_inwc,
    quantile_cont(mean_value, 0.95) - quantile_cont(mean_value, 0.05) as spread_inwc,
    count(*) as n_minute,
from piece
group by site_id, channel_id, rest_ts, part
order by site_id, channel_id, start_ts
