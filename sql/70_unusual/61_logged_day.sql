-- one row per local day that touches the window: how long, and how much of it each kind of channel was logged
/*
[columns]
day = "DATE | - | local date"
start_ts = "BIGINT | us | local midnight"
end_ts = "BIGINT | us | next local midnight"
day_s = "DOUBLE | s | length of the local day; 23 h and 25 h days exist"
window_s = "DOUBLE | s | of it inside the window"
visit_s = "DOUBLE | s | of it inside visits"
outputs_known_s = "DOUBLE | s | of it logged and trusted: the outputs, by the one known least; null if there is none"
calls_known_s = "DOUBLE | s | likewise the zones' calls"
supply_known_s = "DOUBLE | s | likewise supply air"
return_known_s = "DOUBLE | s | likewise return air"
static_known_s = "DOUBLE | s | likewise supply static"
outdoor_known_s = "DOUBLE | s | likewise outdoor air"
rooms_known_s = "DOUBLE | s | likewise the zones' temperatures"
*/
-- A gap may reach over many midnights: it is cut at them, by the days' numbers.
with

day as (
    select
        d.*,
        (d.end_ts - d.start_ts) / 1e6 as day_s,
        (least(d.end_ts, w.end_ts) - greatest(d.start_ts, w.start_ts)) / 1e6 as window_s,
        row_number() over (partition by d.site_id order by d.start_ts) as n,
    from run.day d
    join run.window w on w.site_id = d.site_id
),

-- visits may overlap one another, so that they are at most the day
visited as (
    select
        d.site_id,
        d.n,
        least(
            any_value(d.day_s),
            sum(least(v.end_ts, d.end_ts) - greatest(v.start_ts, d.start_ts)) / 1e6
        ) as visit_s,
    from run.visit v
    join day d on d.site_id = v.site_id and v.start_ts < d.end_ts and v.end_ts > d.start_ts
    group by d.site_id, d.n
),

channel as (
    select
        site_id,
        channel_id,
        case
            when role like 'output_%' then 'outputs'
            when role like 'zone_call_%' then 'calls'
            else role
        end as what,
    from signal.coverage
    where not coalesce(is_inferred, false)
),

gap_part as (
    select
        g.site_id,
        g.channel_id,
        g.n,
        sum(least(g.end_ts, d.end_ts) - greatest(g.start_ts, d.start_ts)) / 1e6 as lost_s,
    from (
        select g.*, unnest(range(a.n, b.n + 1)) as n
        from trust.gap g
        asof join day a on a.site_id = g.site_id and g.start_ts >= a.start_ts
        asof join day b on b.site_id = g.site_id and g.end_ts - 1 >= b.start_ts
    ) g
    join day d on d.site_id = g.site_id and d.n = g.n
    group by g.site_id, g.channel_id, g.n
),

lost as (
    select
        c.site_id,
        d.n,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'outputs') as outputs_s,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'calls') as calls_s,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'supply_temp') as supply_s,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'return_temp') as return_s,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'static_pressure') as static_s,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'outdoor_temp') as outdoor_s,
        max(coalesce(g.lost_s, 0)) filter (c.what = 'zone_temp') as rooms_s,
    from channel c
    join day d on d.site_id = c.site_id
    left join gap_part g on g.site_id = c.site_id and g.channel_id = c.channel_id and g.n = d.n
    group by c.site_id, d.n
)

select
    d.site_id,
    d.day,
    d.start_ts,
    d.end_ts,
    d.day_s,
    d.window_s,
    coalesce(v.visit_s, 0) as visit_s,
    d.window_s - l.outputs_s as outputs_known_s,
    d.window_s - l.calls_s as calls_known_s,
    d.window_s - l.supply_s as supply_known_s,
    d.window_s - l.return_s as return_known_s,
    d.window_s - l.static_s as static_known_s,
    d.window_s - l.outdoor_s as outdoor_known_s,
    d.window_s - l.rooms_s as rooms_known_s,
from day d
left join visited v on v.site_id = d.site_id and v.n = d.n
left join lost l on l.site_id = d.site_id and l.n = d.n
order by d.site_id, d.day
