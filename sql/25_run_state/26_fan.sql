-- one row per stretch during which the blower was known to run or to stand
-- The first of these that is logged: a proof of running; G, where the fan output covers gas heat;
-- static above its own fan-off level; outputs with the site's fan delays. The last two are inferred.
with

available as (
    select
        s.site_id,
        case
            when bool_or(c.role = 'blower_run') then 'blower_run'
            when bool_or(c.role = 'output_g')
                and (any_value(s.fan_output_in_gas_heat) or not any_value(s.has_burner))
                then 'output_g'
            when bool_or(c.role = 'static_pressure') then 'static_pressure'
            else 'outputs'
        end as source,
    from run.site s
    left join channel.channel c on c.site_id = s.site_id and c.is_primary
    group by s.site_id
),

logged as (
    select s.site_id, s.start_ts, s.end_ts, s.is_on, a.source
    from channel.state s
    join available a on a.site_id = s.site_id and a.source = s.role
),

-- static: fan-off level is the lowest steady level seen; without a clear second level nothing is said
level as (
    select
        c.site_id,
        c.channel_id,
        any_value(c.interval_s) as interval_s,
        quantile_cont(r.value, 0.05) as off_inwc,
        quantile_cont(r.value, 0.95) as high_inwc,
    from channel.channel c
    join available a on a.site_id = c.site_id and a.source = 'static_pressure'
    join channel.reading r on r.site_id = c.site_id and r.channel_id = c.channel_id
    where c.role = 'static_pressure' and c.is_primary
    group by c.site_id, c.channel_id
),

static_sample as (
    select
        r.site_id,
        r.ts,
        lead(r.ts) over (partition by r.site_id order by r.ts) as next_ts,
        r.value > l.off_inwc + t.fan_static_over_off_inwc as is_on,
        l.interval_s * t.hold_max_intervals * 1e6 as hold_us,
    from channel.reading r
    join level l on l.site_id = r.site_id and l.channel_id = r.channel_id
    join run.threshold t on t.site_id = r.site_id
    where l.high_inwc - l.off_inwc > 2 * t.fan_static_over_off_inwc
),

static_break as (
    select
        *,
        is_on is distinct from lag(is_on) over (partition by site_id order by ts)
            or ts - lag(ts) over (partition by site_id order by ts) > hold_us as is_new,
    from static_sample
    where next_ts - ts <= hold_us
),

static_run as (
    select site_id, min(ts) as start_ts, max(next_ts) as end_ts, any_value(is_on) as is_on
    from (
        select *, sum(is_new::int) over (partition by site_id order by ts) as run_id
        from static_break
    )
    group by site_id, run_id
),

-- outputs: each heating or cooling stretch moved by the fan delays, then joined
delayed as (
    select
        s.site_id,
        s.start_ts + (1e6 * coalesce(
            i.fan_on_delay_s,
            if(s.role = 'output_w1' and i.has_burner, t.fan_on_delay_gas_s, t.fan_on_delay_compressor_s)
        ))::bigint as start_ts,
        s.end_ts + (1e6 * coalesce(
            i.fan_off_delay_s,
            if(s.role = 'output_w1' and i.has_burner, t.fan_off_delay_gas_s, t.fan_off_delay_compressor_s)
        ))::bigint as end_ts,
    from channel.state s
    join available a on a.site_id = s.site_id and a.source = 'outputs'
    join run.site i on i.site_id = s.site_id
    join run.threshold t on t.site_id = s.site_id
    where s.is_on and s.role in ('output_w1', 'output_y1', 'output_aux', 'output_g')
),

known as (
    select s.site_id, min(s.start_ts) as start_ts, max(s.end_ts) as end_ts
    from channel.state s
    join available a on a.site_id = s.site_id and a.source = 'outputs'
    where s.role in ('output_w1', 'output_y1', 'output_aux', 'output_g')
    group by s.site_id
),

change as (
    select site_id, start_ts as ts, 1 as step from delayed where end_ts > start_ts
    union all
    select site_id, end_ts, -1 from delayed where end_ts > start_ts
    union all
    select site_id, start_ts, 0 from known
    union all
    select site_id, end_ts, 0 from known
),

inferred as (
    select
        site_id,
        ts as start_ts,
        lead(ts) over (partition by site_id order by ts) as end_ts,
        sum(step) over (partition by site_id order by ts) > 0 as is_on,
    from (select site_id, ts, sum(step)::bigint as step from change group by site_id, ts)
)

select site_id, start_ts, end_ts, is_on, source from logged
union all
select site_id, start_ts, end_ts, is_on, 'static_pressure'
from static_run
union all
select site_id, start_ts, end_ts, is_on, 'outputs'
from inferred
where end_ts is not null
order by site_id, start_ts
