-- one row per stretch in which a zone did not keep up
/*
holds = "visits, recoveries, design weather and time waiting for the other mode are left out, and end a stretch"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
rule = "VARCHAR | - | setpoint: further off than allowed and not closing; long call: no setpoint logged, a call of hours that hardly moves the room"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length, in whole minutes; breaks shorter than the bridge are bridged"
mean_off_f = "DOUBLE | °F | mean distance from the setpoint; null without one"
max_off_f = "DOUBLE | °F | greatest"
pick_up_f_per_h = "DOUBLE | °F/h | towards the setpoint over the stretch"
calling_frac = "DOUBLE | share | of it the zone called for the mode; null if calls are not known"
warm_air_frac = "DOUBLE | share | of it the mode ran with supply off the room by enough; null if supply is not known"
outdoor_f = "DOUBLE | °F | mean; null if not known"
*/
-- A zone is asked about a mode only if it called for it at some time in the window: a thermostat that
-- is switched off holds nothing.
with

-- only minutes that are far enough off, or calls without a setpoint
off as (
    select
        m.*,
        s.mode,
        if(s.mode = 'heating', 1, -1) as sense,
        if(s.mode = 'heating', m.heat_setpoint_f, m.cool_setpoint_f) as setpoint_f,
        if(setpoint_f is null, 'long call', 'setpoint') as rule,
        (setpoint_f - m.temp_f) * if(s.mode = 'heating', 1, -1) as off_f,
        m.call_mode in (s.mode, 'both') as is_calling,
    from interval.zone_minute m
    join (
        select distinct site_id, zone, mode from interval.call where mode <> 'unknown'
    ) s on s.site_id = m.site_id and s.zone = m.zone
    join run.threshold t on t.site_id = m.site_id
    where
        not m.in_visit
        and if(setpoint_f is null, is_calling, off_f > t.not_keeping_up_f)
        -- waits for the other mode
        and coalesce(not (is_calling and m.class in ('heating', 'cooling') and m.class <> s.mode), true)
),

-- looked up by the day and the hour a minute lies in: of a long log not every pair is tried
recovering as (
    select *, unnest(range(step_ts // 86400000000, (limit_ts - 1) // 86400000000 + 1)) as day_n
    from interval.recovery
),

set_back as (
    select
        *,
        unnest(range(end_ts // 3600000000, (until_ts - 1) // 3600000000 + 1)) as hour_n,
    from (
        select
            b.site_id,
            b.zone,
            m.mode,
            b.end_ts,
            b.end_ts + (1e6 * if(
                m.mode = 'heating' and i.has_heat_pump, t.recovery_heat_pump_s, t.recovery_furnace_s
            ))::bigint as until_ts,
        from run.setback b
        join run.site i on i.site_id = b.site_id
        join run.threshold t on t.site_id = b.site_id
        cross join (select unnest(['heating', 'cooling']) as mode) m
    )
),

told as (
    select
        o.*,
        if(
            o.supply_f is null,
            null,
            o.class = o.mode and o.is_proven and (o.supply_f - o.temp_f) * o.sense >= t.supply_off_room_f
        ) as is_warm,
    from off o
    join run.threshold t on t.site_id = o.site_id
    join run.site i on i.site_id = o.site_id
    left join recovering r
        on r.site_id = o.site_id and r.zone = o.zone and r.mode = o.mode
        and r.day_n = o.ts // 86400000000
        and r.step_ts <= o.ts and r.limit_ts > o.ts
    -- a schedule tells where no setpoint is logged
    left join set_back b
        on b.site_id = o.site_id and b.zone = o.zone and b.mode = o.mode and o.rule = 'long call'
        and b.hour_n = o.ts // 3600000000
        and b.end_ts <= o.ts and b.until_ts > o.ts
    -- an hour ago: the setpoint as it is now, so that its steps close nothing
    left join interval.zone_minute h
        on h.site_id = o.site_id and h.zone = o.zone and h.ts = o.ts - 3600000000
    where
        r.site_id is null
        and b.site_id is null
        and coalesce(
            if(o.mode = 'heating', o.outdoor_f >= i.design_heating_f, o.outdoor_f <= i.design_cooling_f),
            true
        )
        and (
            o.rule = 'long call'
            or coalesce((o.temp_f - h.temp_f) * o.sense < t.not_keeping_up_closing_f_per_h, true)
        )
),

parted as (
    select
        o.*,
        coalesce(
            o.rule <> lag(o.rule) over w or o.ts - lag(o.ts) over w > t.zone_bridge_s * 1e6, true
        )::int as is_new,
        t.not_keeping_up_min_s,
        t.long_call_min_s,
        t.long_call_pick_up_f_per_h,
    from told o
    join run.threshold t on t.site_id = o.site_id
    window w as (partition by o.site_id, o.zone, o.mode order by o.ts)
),

stretch as (
    select
        site_id,
        zone,
        mode,
        rule,
        min(ts) as start_ts,
        max(ts) + 60000000 as end_ts,
        (max(ts) - min(ts)) / 1e6 + 60 as length_s,
        avg(off_f) as mean_off_f,
        max(off_f) as max_off_f,
        regr_slope(temp_f * sense, (ts - 1600000000000000) / 3.6e9) as pick_up_f_per_h,
        avg(is_calling::int) as calling_frac,
        avg(is_warm::int) as warm_air_frac,
        avg(outdoor_f) as outdoor_f,
        any_value(not_keeping_up_min_s) as not_keeping_up_min_s,
        any_value(long_call_min_s) as long_call_min_s,
        any_value(long_call_pick_up_f_per_h) as long_call_pick_up_f_per_h,
    from (
        select *, sum(is_new) over (partition by site_id, zone, mode order by ts) as stretch_id
        from parted
    )
    group by site_id, zone, mode, rule, stretch_id
)

select
    site_id,
    zone,
    mode,
    rule,
    start_ts,
    end_ts,
    length_s,
    mean_off_f,
    max_off_f,
    pick_up_f_per_h,
    calling_frac,
    warm_air_frac,
    outdoor_f,
from stretch
where
    (rule = 'setpoint' and length_s >= not_keeping_up_min_s)
    or (
        rule = 'long call' and length_s >= long_call_min_s
        and pick_up_f_per_h < long_call_pick_up_f_per_h
    )
order by site_id, zone, mode, start_ts
