-- one row per run of the equipment as far as outputs, else calls, tell; what the probes read in it
/*
[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
rest_s = "DOUBLE | s | rest before it; null: not known"
has_w = "BOOLEAN | - | W1 or aux was on in it"
has_y = "BOOLEAN | - | Y1 was on in it"
supply_f = "DOUBLE | °F | supply in its last minutes; null under the least run"
return_f = "DOUBLE | °F | return then"
room_f = "DOUBLE | °F | mean of the zones then"
outdoor_f = "DOUBLE | °F | outdoor then"
outdoor_before_f = "DOUBLE | °F | outdoor before the start"
static_inwc = "DOUBLE | in. w.c. | median static once the fan runs"
static_before_inwc = "DOUBLE | in. w.c. | median static at rest before the start; null: no rest"
supply_rise_f = "DOUBLE[] | °F | supply of each minute from the start on, at most 20"
*/
with

has_output as (
    select site_id, bool_or(role in ('output_w1', 'output_y1', 'output_aux')) as by_output
    from channel.channel
    where is_primary and kind = 'state'
    group by site_id
),

source as (
    select s.site_id, s.role, s.start_ts, s.end_ts, s.is_on
    from channel.state s
    join has_output h on h.site_id = s.site_id
    where if(
        h.by_output,
        s.role in ('output_w1', 'output_y1', 'output_aux'),
        s.role in ('zone_call_w1', 'zone_call_y1', 'zone_call_aux')
    )
),

on_stretch as (
    select
        *,
        max(end_ts) over (
            partition by site_id order by start_ts, end_ts
            rows between unbounded preceding and 1 preceding
        ) as reached_ts,
    from source
    where is_on
),

island as (
    select
        *,
        sum((reached_ts is null or start_ts > reached_ts)::int)
            over (partition by site_id order by start_ts, end_ts) as run_n,
    from on_stretch
),

run as (
    select
        i.site_id,
        i.run_n,
        min(i.start_ts) as start_ts,
        max(i.end_ts) as end_ts,
        bool_or(i.role in ('output_w1', 'output_aux', 'zone_call_w1', 'zone_call_aux')) as has_w,
        bool_or(i.role in ('output_y1', 'zone_call_y1')) as has_y,
    from island i
    group by i.site_id, i.run_n
),

timed as (
    select
        r.*,
        (r.start_ts - lag(r.end_ts) over (partition by r.site_id order by r.start_ts)) / 1e6
            as rest_s,
        (r.end_ts - r.start_ts) / 1e6 as length_s,
    from run r
),

-- minutes around each run, named by the part they play in it
around as (
    select
        t.site_id,
        t.run_n,
        unnest(range(
            t.start_ts // 60_000_000 - 10,
            least(t.end_ts // 60_000_000, t.start_ts // 60_000_000 + 240)
        )) as minute,
        t.start_ts // 60_000_000 as first_minute,
        t.end_ts // 60_000_000 as last_minute,
        t.rest_s,
        t.length_s,
    from timed t
    where t.length_s >= 240  -- shorter ones reach no level
    union all
    select
        t.site_id,
        t.run_n,
        unnest(range(
            greatest(t.end_ts // 60_000_000 - 15, t.start_ts // 60_000_000 + 240),
            t.end_ts // 60_000_000
        )),
        t.start_ts // 60_000_000,
        t.end_ts // 60_000_000,
        t.rest_s,
        t.length_s,
    from timed t
    where t.length_s > 14_400
),

-- where the outputs' clock would have put them
minute as (
    select
        m.site_id,
        m.role,
        m.start_ts - coalesce(
            round((k.left_us + k.gains * (m.start_ts - k.middle_ts)) / 6e7)::bigint * 60_000_000, 0
        ) as start_ts,
        m.mean_value,
    from trust.minute m
    left join trust.clock_left k on k.site_id = m.site_id and k.channel_id = m.channel_id
),

seen as (
    select
        a.site_id,
        a.run_n,
        avg(m.mean_value) filter (where m.role = 'supply_temp' and in_end) as supply_f,
        avg(m.mean_value) filter (where m.role = 'return_temp' and in_end) as return_f,
        avg(m.mean_value) filter (where m.role = 'zone_temp' and in_last_quarter) as room_f,
        avg(m.mean_value) filter (where m.role = 'outdoor_temp' and in_last_quarter) as outdoor_f,
        avg(m.mean_value) filter (where m.role = 'outdoor_temp' and before) as outdoor_before_f,
        median(m.mean_value) filter (where m.role = 'static_pressure' and settled) as static_inwc,
        median(m.mean_value) filter (where m.role = 'static_pressure' and at_rest)
            as static_before_inwc,
        list(m.mean_value order by a.minute) filter (where m.role = 'supply_temp' and in_start)
            as supply_rise_f,
    from (
        select
            *,
            minute >= last_minute - 3 and minute >= first_minute + 3 as in_end,
            minute >= last_minute - 15 and minute >= first_minute as in_last_quarter,
            minute < first_minute as before,
            minute >= first_minute + 3 as settled,
            minute < first_minute and minute >= first_minute - 5 and rest_s >= 600 as at_rest,
            minute >= first_minute and minute < first_minute + 20 as in_start,
        from around
    ) a
    join minute m
        on m.site_id = a.site_id
        and m.start_ts = a.minute * 60_000_000
    where m.role in ('supply_temp', 'return_temp', 'zone_temp', 'outdoor_temp', 'static_pressure')
    group by a.site_id, a.run_n
)

select
    t.site_id,
    t.start_ts,
    t.end_ts,
    t.rest_s,
    t.has_w,
    t.has_y,
    s.supply_f,
    s.return_f,
    s.room_f,
    s.outdoor_f,
    s.outdoor_before_f,
    s.static_inwc,
    s.static_before_inwc,
    s.supply_rise_f,
from timed t
left join seen s on s.site_id = t.site_id and s.run_n = t.run_n
order by t.site_id, t.start_ts
