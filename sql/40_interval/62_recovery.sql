-- one row per setpoint step that a zone had to recover from
/*
holds = "a heat setpoint stepped up, or a cool setpoint down, with the room further off than a recovery's end"

[columns]
zone = "INTEGER | - | zone"
mode = "VARCHAR | - | heating or cooling"
step_ts = "BIGINT | us | first reading of the new setpoint"
from_f = "DOUBLE | °F | setpoint before"
to_f = "DOUBLE | °F | setpoint after"
start_ts = "BIGINT | us | the call that belongs to it began: the first that follows the step, or an early one that came out of quiet and has lifted (cooled) the room by the step"
end_ts = "BIGINT | us | first minute close enough to the new setpoint; the next step, a gap or the window's end where it never was"
has_end = "BOOLEAN | - | the end was seen"
limit_ts = "BIGINT | us | until then the zone is not said not to keep up"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

step as (
    select
        p.site_id,
        p.zone,
        if(p.role = 'zone_heat_setpoint', 'heating', 'cooling') as mode,
        p.end_ts as step_ts,
        p.start_value as from_f,
        p.end_value as to_f,
        lead(p.end_ts) over (partition by p.site_id, p.channel_id order by p.end_ts) as next_ts,
    from signal.piece p
    join run.threshold t on t.site_id = p.site_id
    where
        p.role in ('zone_heat_setpoint', 'zone_cool_setpoint')
        and abs(p.end_value - p.start_value) >= t.setpoint_step_min_f
),

-- towards comfort only: back to the night's setpoint nothing recovers
up as (
    select
        s.*,
        s.step_ts + (1e6 * if(
            s.mode = 'heating' and i.has_heat_pump, t.recovery_heat_pump_s, t.recovery_furnace_s
        ))::bigint as limit_ts,
        coalesce(s.next_ts, w.end_ts) as last_ts,
        t.recovery_done_f,
        t.recovery_early_max_s,
        t.recovery_early_quiet_s,
    from step s
    join run.site i on i.site_id = s.site_id
    join run.threshold t on t.site_id = s.site_id
    join run.window w on w.site_id = s.site_id
    where if(s.mode = 'heating', s.to_f > s.from_f, s.to_f < s.from_f)
),

quiet as (
    select
        *,
        (start_ts - lag(end_ts) over (partition by site_id, zone, mode order by start_ts)) / 1e6 as quiet_s,
    from interval.call
),

-- where the room stands at the step, and the calls that may belong to it
at_step as (
    select
        u.site_id,
        u.zone,
        u.mode,
        u.step_ts,
        if(u.mode = 'heating', m.temp_f - u.from_f, u.from_f - m.temp_f) as ahead_f,
    from up u
    asof join interval.zone_minute m
        on m.site_id = u.site_id and m.zone = u.zone and u.step_ts >= m.ts
),

begun as (
    select
        u.site_id,
        u.zone,
        u.mode,
        u.step_ts,
        max(k.start_ts) filter (
            k.start_ts < u.step_ts
            and u.step_ts - k.start_ts <= u.recovery_early_max_s * 1e6
            and k.has_start
            and coalesce(k.quiet_s >= u.recovery_early_quiet_s, true)
            and a.ahead_f > u.recovery_done_f
        ) as early_ts,
        min(greatest(k.start_ts, u.step_ts)) filter (k.end_ts > u.step_ts) as after_ts,
    from up u
    join quiet k
        on k.site_id = u.site_id and k.zone = u.zone and k.mode = u.mode
        and k.start_ts < u.last_ts
        and k.end_ts > u.step_ts - u.recovery_early_max_s * 1e6
    left join at_step a
        on a.site_id = u.site_id and a.zone = u.zone and a.mode = u.mode and a.step_ts = u.step_ts
    group by u.site_id, u.zone, u.mode, u.step_ts
),

followed as (
    select
        u.*,
        coalesce(b.early_ts, b.after_ts, u.step_ts) as start_ts,
        m.ts,
        if(u.mode = 'heating', u.to_f - m.temp_f, m.temp_f - u.to_f) as off_f,
    from up u
    left join begun b
        on b.site_id = u.site_id and b.zone = u.zone and b.mode = u.mode and b.step_ts = u.step_ts
    join interval.zone_minute m
        on m.site_id = u.site_id and m.zone = u.zone
        and m.ts >= least(coalesce(b.early_ts, u.step_ts), u.step_ts) and m.ts < u.last_ts
),

placed as (
    select
        site_id,
        zone,
        mode,
        step_ts,
        from_f,
        to_f,
        any_value(start_ts) as start_ts,
        coalesce(
            min(ts) filter (off_f <= recovery_done_f), least(max(ts) + 60000000, any_value(last_ts))
        ) as end_ts,
        coalesce(bool_or(off_f <= recovery_done_f), false) as has_end,
        limit_ts,
    from followed
    group by site_id, zone, mode, step_ts, from_f, to_f, limit_ts
    having arg_min(off_f, ts) > any_value(recovery_done_f)
)

select
    p.site_id,
    p.zone,
    p.mode,
    p.step_ts,
    p.from_f,
    p.to_f,
    least(p.start_ts, p.end_ts) as start_ts,
    p.end_ts,
    p.has_end,
    p.limit_ts,
    exists (
        from run.visit v
        where v.site_id = p.site_id and v.start_ts < p.end_ts and v.end_ts > p.start_ts
    ) as in_visit,
from placed p
order by p.site_id, p.zone, p.step_ts, p.mode
