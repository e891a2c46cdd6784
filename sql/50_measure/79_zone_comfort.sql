-- one row per zone and mode it called for: how far from its setpoint, and how long not keeping up; visits left out
/*
definition = "Degree-hours outside the comfort band round the setpoint of the mode last called for, time after a setpoint step left out until the room comes within a recovery's end of it (at most the recovery's time where it warms or cools towards comfort). Not keeping up: interval.not_keeping_up."
needs = ["the zone's temperature", "its setpoint (else only the rule of long calls)", "its call"]
resolution = "whole minutes; one interval of the room's logger at each edge"
interval_max_s = 300
counted_from = ["zone_temp"]
source = "ours; degree-hours: sum of max(0, |T - setpoint| - band) dt"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
rule = "VARCHAR | - | setpoint, or long call where no setpoint is logged"
known_s = "DOUBLE | s | time in which the mode was the last called for, with room and setpoint known"
judged_s = "DOUBLE | s | of it past the settling after setpoint steps"
short_degree_h = "DOUBLE | °F h | beyond the band on the side that the mode works against: too cold in heating, too warm in cooling; null without setpoint"
over_degree_h = "DOUBLE | °F h | beyond the band on the other side; null without setpoint"
mean_off_f = "DOUBLE | °F | mean of how far short of the setpoint, negative beyond it; null without setpoint"
not_keeping_up_s = "DOUBLE | s | stretches of interval.not_keeping_up; null where neither setpoint nor call was logged"
n_stretch = "BIGINT | - | how many"
n_day = "BIGINT | - | local days that hold as much of them as one must last; one at least"
coverage = "DOUBLE | share | of the zone's temperature, and of its setpoint where there is one: the lower"
resolution_s = "DOUBLE | s | slowest of them"
*/
with

-- every step of a setpoint, to either side, with how long it settles at most
step as (
    select
        p.site_id,
        p.zone,
        if(p.role = 'zone_heat_setpoint', 'heating', 'cooling') as mode,
        p.end_ts as step_ts,
        if(
            (p.end_value > p.start_value) = (p.role = 'zone_heat_setpoint'),
            p.end_ts + (1e6 * if(
                p.role = 'zone_heat_setpoint' and i.has_heat_pump,
                t.recovery_heat_pump_s,
                t.recovery_furnace_s
            ))::bigint,
            null
        ) as limit_ts,
    from signal.piece p
    join run.threshold t on t.site_id = p.site_id
    join run.site i on i.site_id = p.site_id
    where
        p.role in ('zone_heat_setpoint', 'zone_cool_setpoint')
        and abs(p.end_value - p.start_value) >= t.setpoint_step_min_f
),

-- the mode last called for holds until another is, a step of its setpoint until the next
stretch as (
    select
        c.site_id,
        c.zone,
        c.mode,
        c.start_ts,
        c.end_ts,
        s.step_ts,
        s.limit_ts,
    from (
        select
            c.site_id,
            c.zone,
            last_value(if(c.what = 'call', c.mode, null) ignore nulls) over w as mode,
            c.ts as start_ts,
            coalesce(lead(c.ts) over w, l.last_ts + 1) as end_ts,
        from (
            select site_id, zone, 'call' as what, mode, start_ts as ts
            from interval.call
            where mode <> 'unknown'
            union
            select site_id, zone, 'step', null, step_ts from step
        ) c
        join (select site_id, max(ts) as last_ts from interval.zone_minute group by site_id) l
            on l.site_id = c.site_id
        window w as (partition by c.site_id, c.zone order by c.ts)
    ) c
    asof left join step s
        on s.site_id = c.site_id and s.zone = c.zone and s.mode = c.mode and c.start_ts >= s.step_ts
    where c.mode is not null and c.end_ts > c.start_ts
),

-- looked up by the hour a minute lies in: a nearest one before, over millions of minutes, sorts them all
since_step as (
    select
        m.site_id,
        m.zone,
        m.ts,
        s.mode,
        if(s.mode = 'heating', m.heat_setpoint_f - m.temp_f, m.temp_f - m.cool_setpoint_f) as off_f,
        s.step_ts,
        s.limit_ts,
        t.comfort_band_f,
        t.recovery_done_f,
    from interval.zone_minute m
    join (
        select *, unnest(range(start_ts // 3600000000, (end_ts - 1) // 3600000000 + 1)) as hour_n from stretch
    ) s
        on s.site_id = m.site_id and s.zone = m.zone and s.hour_n = m.ts // 3600000000
        and m.ts >= s.start_ts and m.ts < s.end_ts
    join run.threshold t on t.site_id = m.site_id
    where not m.in_visit
),

-- the first minute after a step that is close enough to the new setpoint
reached as (
    select site_id, zone, mode, step_ts, min(ts) as reached_ts
    from since_step
    where step_ts is not null and abs(off_f) <= recovery_done_f
    group by site_id, zone, mode, step_ts
),

settled as (
    select
        s.*,
        s.step_ts is null or s.ts >= coalesce(least(s.limit_ts, r.reached_ts), 2**62) as is_settled,
    from since_step s
    left join reached r
        on r.site_id = s.site_id and r.zone = s.zone and r.mode = s.mode and r.step_ts = s.step_ts
),

summed as (
    select
        site_id,
        zone,
        mode,
        count(off_f) * 60e0 as known_s,
        count(off_f) filter (is_settled) * 60e0 as judged_s,
        sum(if(off_f is null, null, greatest(0, off_f - comfort_band_f))) filter (is_settled) / 60 as short_degree_h,
        sum(if(off_f is null, null, greatest(0, -off_f - comfort_band_f))) filter (is_settled) / 60 as over_degree_h,
        avg(off_f) filter (is_settled) as mean_off_f,
    from settled
    group by site_id, zone, mode
),

-- a zone is asked about a mode if it called for it
called as (
    select distinct site_id, zone, mode from interval.call where mode <> 'unknown'
),

-- one stretch may last for days: a day counts that holds as much of them as one must last
lacking_day as (
    select
        n.site_id,
        n.zone,
        n.mode,
        d.day,
        sum(
            least(n.start_ts + (n.length_s * 1e6)::bigint, d.end_ts) - greatest(n.start_ts, d.start_ts)
        ) / 1e6 as s,
    from interval.not_keeping_up n
    join run.day d
        on d.site_id = n.site_id
        and d.start_ts < n.start_ts + (n.length_s * 1e6)::bigint and d.end_ts > n.start_ts
    group by n.site_id, n.zone, n.mode, d.day
),

lacking as (
    select
        l.site_id,
        l.zone,
        l.mode,
        sum(l.s) as not_keeping_up_s,
        greatest(1, count(*) filter (l.s >= t.not_keeping_up_min_s)) as n_day,
    from lacking_day l
    join run.threshold t on t.site_id = l.site_id
    group by l.site_id, l.zone, l.mode
),

counted as (
    select site_id, zone, mode, count(*) as n_stretch
    from interval.not_keeping_up
    group by site_id, zone, mode
),

logged as (
    select
        c.site_id,
        c.zone,
        c.mode,
        coalesce(bool_or(s.role like '%setpoint'), false) as has_setpoint,
        min(s.coverage) as coverage,
        max(s.interval_s) as interval_s,
    from called c
    join signal.coverage s
        on s.site_id = c.site_id and s.zone = c.zone
        and (
            s.role = 'zone_temp'
            or s.role = if(c.mode = 'heating', 'zone_heat_setpoint', 'zone_cool_setpoint')
        )
    group by c.site_id, c.zone, c.mode
    having bool_or(s.role = 'zone_temp')
)

select
    l.site_id,
    l.zone,
    l.mode,
    if(l.has_setpoint, 'setpoint', 'long call') as rule,
    coalesce(s.known_s, 0) as known_s,
    coalesce(s.judged_s, 0) as judged_s,
    s.short_degree_h,
    s.over_degree_h,
    s.mean_off_f,
    coalesce(n.not_keeping_up_s, 0) as not_keeping_up_s,
    coalesce(k.n_stretch, 0) as n_stretch,
    coalesce(n.n_day, 0) as n_day,
    l.coverage,
    l.interval_s as resolution_s,
from logged l
left join summed s on s.site_id = l.site_id and s.zone = l.zone and s.mode = l.mode
left join lacking n on n.site_id = l.site_id and n.zone = l.zone and n.mode = l.mode
left join counted k on k.site_id = l.site_id and k.zone = l.zone and k.mode = l.mode
order by l.site_id, l.zone, l.mode
