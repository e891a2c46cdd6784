-- one row per stretch during which what was logged says that the blower ran or stood
/*
[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
is_on = "BOOLEAN | - | running"
source = "VARCHAR | - | blower_run, output_g, static_pressure or outputs (the last two are inferred)"
*/
-- The first of these that tells: a proof of running; G, where the fan output covers gas heat and static
-- does not show that it does not; static above its own fan-off level; outputs with the site's fan delays. The last two are inferred.
--
-- A blower runs on after G: on its own delay, or to cool a heat exchanger. G says nothing of that; static
-- does, where it is logged and seen to fall to its fan-off level afterwards.
with

-- outputs: each stretch of each, with the fan delay of its own kind
output as (
    select
        s.*,
        lag(s.end_ts) over w is not distinct from s.start_ts as start_seen,
        (1e6 * coalesce(
            i.fan_on_delay_s,
            if(s.role = 'output_w1' and i.has_burner, t.fan_on_delay_gas_s, t.fan_on_delay_compressor_s)
        ))::bigint as on_delay_us,
        (1e6 * coalesce(
            i.fan_off_delay_s,
            if(s.role = 'output_w1' and i.has_burner, t.fan_off_delay_gas_s, t.fan_off_delay_compressor_s)
        ))::bigint as off_delay_us,
    from channel.state s
    join run.site i on i.site_id = s.site_id
    join run.threshold t on t.site_id = s.site_id
    where s.role in ('output_w1', 'output_y1', 'output_aux', 'output_g')
    window w as (partition by s.site_id, s.role order by s.start_ts)
),

-- a state whose beginning nobody saw tells nothing about the fan until its delay is over
reach as (
    select site_id, start_ts + on_delay_us as start_ts, end_ts + off_delay_us as end_ts, true as is_fan
    from output
    where is_on
    union all
    select
        site_id,
        start_ts + case when start_seen then 0 when is_on then on_delay_us else off_delay_us end,
        end_ts,
        false,
    from output
),

change as (
    select
        site_id,
        unnest([start_ts, end_ts]) as ts,
        unnest(if(is_fan, [1, -1], [0, 0])) as fan_step,
        unnest(if(is_fan, [0, 0], [1, -1])) as known_step,
    from reach
    where end_ts > start_ts
),

inferred as (
    select
        c.site_id,
        c.ts as start_ts,
        lead(c.ts) over w as end_ts,
        sum(c.fan_step) over w > 0 as is_on,
        sum(c.known_step) over w = n.n_output as is_known,
    from (
        select site_id, ts, sum(fan_step)::bigint as fan_step, sum(known_step)::bigint as known_step
        from change
        group by site_id, ts
    ) c
    join (select site_id, count(distinct role) as n_output from output group by site_id) n
        on n.site_id = c.site_id
    window w as (partition by c.site_id order by c.ts)
),

-- static: its lowest level seen; without a clear second level it cannot tell
lowest as (
    select
        c.site_id,
        c.channel_id,
        any_value(c.interval_s) as interval_s,
        quantile_cont(r.value, 0.05) as off_inwc,
        quantile_cont(r.value, 0.95) as high_inwc,
    from channel.channel c
    join channel.reading r on r.site_id = c.site_id and r.channel_id = c.channel_id
    where c.role = 'static_pressure' and c.is_primary
    group by c.site_id, c.channel_id
),

-- a lowest level well over zero is a fan that never stops, unless static stands there with every output
-- off, G among them
at_rest as (
    select r.site_id, r.channel_id, median(r.value) as rest_inwc
    from channel.reading r
    join lowest l on l.site_id = r.site_id and l.channel_id = r.channel_id
    join run.threshold t on t.site_id = r.site_id
    asof join inferred o on o.site_id = r.site_id and r.ts >= o.start_ts
    where
        l.off_inwc > t.fan_static_off_max_inwc
        and o.is_known
        and not o.is_on
        and r.ts < o.end_ts
        and exists (from output g where g.site_id = r.site_id and g.role = 'output_g')
    group by r.site_id, r.channel_id
),

level as (
    select l.*
    from lowest l
    join run.threshold t on t.site_id = l.site_id
    left join at_rest r on r.site_id = l.site_id and r.channel_id = l.channel_id
    where
        l.off_inwc <= t.fan_static_off_max_inwc
        or r.rest_inwc <= l.off_inwc + t.fan_static_over_off_inwc
),

-- a sheet that says G covers gas heat is not borne out where static stood up through most of it with G
-- off: the furnace runs its own blower there
gas_without_g as (
    select r.site_id
    from channel.reading r
    join level l on l.site_id = r.site_id and l.channel_id = r.channel_id
    join run.site i on i.site_id = r.site_id and i.has_burner
    join run.threshold t on t.site_id = r.site_id
    asof join (from output where role = 'output_w1') w on w.site_id = r.site_id and r.ts >= w.start_ts
    asof join (from output where role = 'output_g') g on g.site_id = r.site_id and r.ts >= g.start_ts
    where w.is_on and r.ts < w.end_ts and r.ts < g.end_ts
    group by r.site_id
    having
        2 * count(*) filter (not g.is_on and r.value > l.off_inwc + t.fan_static_over_off_inwc)
        > count(*)
),

available as (
    select
        s.site_id,
        case
            when bool_or(c.role = 'blower_run') then 'blower_run'
            when bool_or(c.role = 'output_g')
                and (any_value(s.fan_output_in_gas_heat) or not any_value(s.has_burner))
                and s.site_id not in (select site_id from gas_without_g)
                then 'output_g'
            when bool_or(l.high_inwc - l.off_inwc > 2 * t.fan_static_over_off_inwc) then 'static_pressure'
            else 'outputs'
        end as source,
    from run.site s
    join run.threshold t on t.site_id = s.site_id
    left join channel.channel c on c.site_id = s.site_id and c.is_primary
    left join level l on l.site_id = c.site_id and l.channel_id = c.channel_id
    group by s.site_id
),

-- each reading with the ones before and after it in the same channel, in the order they are stored in
neighbour as (
    select
        site_id,
        channel_id,
        ts,
        value,
        if(lag(site_id) over () = site_id and lag(channel_id) over () = channel_id, lag(ts) over (), null) as before_ts,
        lag(value) over () as before_value,
        if(lead(site_id) over () = site_id and lead(channel_id) over () = channel_id, lead(ts) over (), null) as next_ts,
    from channel.reading
),

-- up, down or not known (no reading follows in time), where that changes
static_change as (
    select
        site_id,
        ts,
        before_ts,
        if(next_ts - ts <= hold_us, value > edge_inwc, null) as is_on,
    from (
        select
            r.*,
            l.interval_s * t.hold_max_intervals * 1e6 as hold_us,
            l.off_inwc + t.fan_static_over_off_inwc as edge_inwc,
        from neighbour r
        join level l on l.site_id = r.site_id and l.channel_id = r.channel_id
        join available a on a.site_id = r.site_id and a.source in ('static_pressure', 'output_g')
        join run.threshold t on t.site_id = r.site_id
    )
    where
        before_ts is null
        or is_on is distinct from if(ts - before_ts <= hold_us, before_value > edge_inwc, null)
),

-- up for less than that is a gust or a door, not the fan
static_run as (
    select
        c.site_id,
        c.start_ts,
        c.end_ts,
        c.last_ts,
        c.is_on and c.end_ts - c.start_ts >= t.fan_static_min_s * 1e6 as is_on,
    from (
        select
            site_id,
            ts as start_ts,
            is_on,
            lead(ts) over w as end_ts,
            lead(before_ts) over w as last_ts,
        from static_change
        window w as (partition by site_id order by ts)
    ) c
    join run.threshold t on t.site_id = c.site_id
    where c.is_on is not null
),

logged as (
    select
        s.site_id,
        s.role,
        s.start_ts,
        s.end_ts,
        s.is_on,
        lag(s.end_ts) over w is not distinct from s.start_ts and lag(s.is_on) over w as follows_on,
    from channel.state s
    join available a on a.site_id = s.site_id and a.source = s.role
    window w as (partition by s.site_id order by s.start_ts)
),

-- static's own edges, halfway between the two readings
static_edge as (
    select
        *,
        (lag(last_ts) over w + start_ts) // 2 as rise_ts,
        lag(end_ts) over w = start_ts and not lag(is_on) over w as is_rise,
        (last_ts + end_ts) // 2 as fall_ts,
        lead(start_ts) over w = end_ts and not lead(is_on) over w as is_fall,
    from static_run
    window w as (partition by site_id order by start_ts)
),

g_start as (
    select site_id, start_ts from logged where role = 'output_g' and is_on and not follows_on
),

-- two clocks that differ, or a blower that is slow, show at its starts; that is no running on
late as (
    select
        e.site_id,
        median(if(
            coalesce(e.rise_ts - b.start_ts <= n.start_ts - e.rise_ts, n.start_ts is null),
            e.rise_ts - b.start_ts,
            e.rise_ts - n.start_ts
        ))::bigint as late_us,
    from static_edge e
    join run.threshold t on t.site_id = e.site_id
    asof left join g_start b on b.site_id = e.site_id and e.rise_ts >= b.start_ts
    asof left join g_start n on n.site_id = e.site_id and e.rise_ts < n.start_ts
    where
        e.is_on
        and e.is_rise
        and least(e.rise_ts - b.start_ts, n.start_ts - e.rise_ts) <= t.fan_run_on_max_s * 1e6
    group by e.site_id
),

-- static up at G's end and down again within the time: the blower stopped between those two readings;
-- still up when G comes on again: it ran through
run_on as (
    select
        g.site_id,
        g.start_ts,
        least(if(r.is_fall, r.fall_ts - l.late_us, g.end_ts), g.end_ts) as until_ts,
    from logged g
    join run.threshold t on t.site_id = g.site_id
    join late l on l.site_id = g.site_id
    asof join static_edge r on r.site_id = g.site_id and g.start_ts + l.late_us >= r.start_ts
    where
        g.role = 'output_g'
        and not g.is_on
        and g.follows_on
        and r.is_on
        and (r.is_fall or r.end_ts - l.late_us > g.end_ts)
        and until_ts > g.start_ts
        and until_ts - g.start_ts <= t.fan_run_on_max_s * 1e6
),

found as (
    select l.site_id, coalesce(o.until_ts, l.start_ts) as start_ts, l.end_ts, l.is_on, l.role as source
    from logged l
    left join run_on o on o.site_id = l.site_id and o.start_ts = l.start_ts
    where l.end_ts > coalesce(o.until_ts, l.start_ts)
    union all
    select site_id, start_ts, until_ts, true, 'output_g' from run_on
    union all
    select r.site_id, r.start_ts, r.end_ts, r.is_on, 'static_pressure'
    from static_run r
    join available a on a.site_id = r.site_id and a.source = 'static_pressure'
    union all
    select i.site_id, i.start_ts, i.end_ts, i.is_on, 'outputs'
    from inferred i
    join available a on a.site_id = i.site_id and a.source = 'outputs'
    where i.is_known and i.end_ts > i.start_ts
),

joined as (
    select *, sum(is_new::int) over (partition by site_id order by start_ts) as stretch_id
    from (
        select
            *,
            is_on is distinct from lag(is_on) over (partition by site_id order by start_ts)
                or start_ts is distinct from lag(end_ts) over (partition by site_id order by start_ts)
                as is_new,
        from found
    )
)

select
    site_id,
    min(start_ts) as start_ts,
    max(end_ts) as end_ts,
    any_value(is_on) as is_on,
    any_value(source) as source,
from joined
group by site_id, stretch_id
order by site_id, start_ts
