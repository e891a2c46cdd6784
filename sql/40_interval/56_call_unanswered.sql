-- one row per long stretch in which a zone calls and nothing heats (cools), with every honest wait taken off
/*
[columns]
mode = "VARCHAR | - | heating or cooling"
call_ts = "BIGINT | us | a zone calls and nothing heats (cools) from"
until_ts = "BIGINT | us | answered, the last call ends, or not known any more"
waited_s = "DOUBLE | s | between the two"
compressor_rest_s = "DOUBLE | s | of it: the compressor's minimum-off time (heat: heat pumps only)"
restart_s = "DOUBLE | s | of it: start delay after a gap, or after 24 V came back"
damper_s = "DOUBLE | s | of it: a damper opens for a new call"
limit_s = "DOUBLE | s | of it: recovery after a panel limit trip"
other_mode_s = "DOUBLE | s | of it: the other mode runs, or the changeover wait after it"
lockout_s = "DOUBLE | s | of it: outdoor air locks the compressor out, or an economizer cools"
contact_s = "DOUBLE | s | of it: float switch or fault contact in alarm, or no 24 V"
start_ts = "BIGINT | us | longest part that no wait explains; null if there is none"
end_ts = "BIGINT | us | its end"
length_s = "DOUBLE | s | its length; 0 if there is none"
is_unanswered = "BOOLEAN | - | that part lasts long enough to be one"
zones = "VARCHAR | - | zones calling in the mode where it begins"
in_visit = "BOOLEAN | - | touches a visit"
*/
-- Every edge of the unanswered time and of each wait adds to or takes from a running sum. Waits may
-- overlap: each is told whole, and what none of them covers remains.
with

mode as (
    select 'heating' as mode, 'high' as limit_kind, 'cooling' as other
    union all
    select 'cooling', 'low', 'heating'
),

open_call as (
    select
        c.site_id,
        m.mode,
        c.start_ts,
        c.end_ts,
        c.in_visit,
        if(m.mode = 'heating', c.n_heat, c.n_cool) > 0
            and c.class not in ('unknown', m.mode)
            and not coalesce(bool_or(c.is_inferred) over (partition by c.site_id), false) as is_open,
    from interval.condition c
    cross join mode m
),

open_stretch as (
    select
        s.site_id,
        s.mode,
        min(s.start_ts) as call_ts,
        max(s.end_ts) as until_ts,
        bool_or(s.in_visit) as in_visit,
    from (
        select
            *,
            sum((not coalesce(is_open, false))::int)
                over (partition by site_id, mode order by start_ts) as stretch_id,
        from open_call
    ) s
    join run.threshold t on t.site_id = s.site_id
    where s.is_open
    group by s.site_id, s.mode, s.stretch_id, t.unanswered_min_s
    having max(s.end_ts) - min(s.start_ts) >= t.unanswered_min_s * 1e6
),

slowest as (
    select site_id, max(interval_s) as interval_s
    from channel.channel
    where is_primary and role like 'output_%'
    group by site_id
),

-- after a trip supply must come back by some degrees before the panel lets heat (cooling) on
recovered as (
    select x.site_id, x.trip_id, min(p.start_ts) as back_ts
    from (
        -- looked up by the hour a reading lies in: of a long log not every pair is tried
        select *, unnest(range(drop_ts // 3600000000, (end_ts - 1) // 3600000000 + 1)) as hour_n
        from interval.trip
    ) x
    join run.threshold t on t.site_id = x.site_id
    join signal.piece p
        on p.site_id = x.site_id
        and p.role = 'supply_temp'
        and p.start_ts // 3600000000 = x.hour_n
        and p.start_ts >= x.drop_ts
        and p.start_ts < x.end_ts
        and if(x.kind = 'high', x.peak_f - p.start_value, p.start_value - x.peak_f) >= t.wait_limit_back_f
    group by x.site_id, x.trip_id
),

return_step as (
    select
        p.site_id,
        p.start_ts // (t.weather_step_s * 1e6)::bigint as step,
        avg(p.start_value) as return_f,
    from run.site i
    join run.threshold t on t.site_id = i.site_id
    join signal.piece p on p.site_id = i.site_id and p.role = 'return_temp'
    where i.has_economizer
    group by all
),

wait as (
    select
        r.site_id,
        m.mode,
        'compressor_rest' as kind,
        r.end_ts as start_ts,
        r.end_ts + (1e6 * (
            coalesce(g.value * 60, t.wait_compressor_off_unknown_s) + coalesce(s.interval_s, 0)
        ))::bigint as end_ts,
    from interval.source_run r
    join run.site i on i.site_id = r.site_id
    join run.threshold t on t.site_id = r.site_id
    join mode m on m.mode = 'cooling' or i.has_heat_pump
    left join slowest s on s.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = 'compressor_min_off_min'
        and g.start_ts <= r.end_ts and g.end_ts > r.end_ts
    where r.source = 'compressor'
    union all
    select g.site_id, m.mode, 'restart', g.start_ts, g.end_ts + (t.wait_restart_s * 1e6)::bigint
    from trust.gap g
    join run.threshold t on t.site_id = g.site_id
    cross join mode m
    where g.role like 'output_%' or g.role like 'zone_call_%'
    union all
    select v.site_id, m.mode, 'restart', v.end_ts, v.end_ts + (t.wait_restart_s * 1e6)::bigint
    from signal.state v
    join run.threshold t on t.site_id = v.site_id
    cross join mode m
    where v.role = 'voltage_24' and not v.is_on
    union all
    select c.site_id, c.mode, 'damper', c.start_ts, c.start_ts + (t.wait_damper_s * 1e6)::bigint
    from interval.call c
    join run.threshold t on t.site_id = c.site_id
    union all
    select
        x.site_id,
        m.mode,
        'limit',
        x.drop_ts,
        least(x.end_ts, coalesce(b.back_ts + (t.wait_limit_s * 1e6)::bigint, x.end_ts)),
    from interval.trip x
    join mode m on m.limit_kind = x.kind
    join run.threshold t on t.site_id = x.site_id
    left join recovered b on b.site_id = x.site_id and b.trip_id = x.trip_id
    union all
    select
        r.site_id,
        m.mode,
        'other_mode',
        r.start_ts,
        r.end_ts + (coalesce(g.value * 60, t.changeover_wait_unknown_s) * 1e6)::bigint,
    from interval.source_run r
    join mode m on r.mode in (m.other, 'unknown')
    join run.threshold t on t.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = 'changeover_wait_min'
        and g.start_ts <= r.end_ts and g.end_ts > r.end_ts
    union all
    select o.site_id, 'cooling', 'lockout', o.start_ts, o.end_ts
    from interval.weather o
    join run.threshold t on t.site_id = o.site_id
    left join return_step b
        on b.site_id = o.site_id and b.step = o.start_ts // (t.weather_step_s * 1e6)::bigint
    where
        o.outdoor_f < t.low_ambient_cooling_f
        or o.outdoor_f < b.return_f - t.economizer_below_return_f
    union all
    -- a heat pump alone, below its low point: what should heat then is not logged
    select o.site_id, 'heating', 'lockout', o.start_ts, o.end_ts
    from interval.weather o
    join run.site i on i.site_id = o.site_id and i.has_heat_pump
    join run.setting g
        on g.site_id = o.site_id and g.name = 'low_balance_f'
        and g.start_ts <= o.start_ts and g.end_ts > o.start_ts
    anti join channel.channel c
        on c.site_id = o.site_id and c.is_primary and c.role in ('output_w1', 'output_aux')
    where o.outdoor_f < g.value
    union all
    select v.site_id, m.mode, 'contact', v.start_ts, v.end_ts
    from signal.state v
    cross join mode m
    where
        (v.role in ('float_switch', 'fault_contact') and v.is_on)
        or (v.role = 'voltage_24' and not v.is_on)
),

-- a wait that ends before an unanswered stretch, or begins after it, adds and takes nothing in it
change as (
    select site_id, mode, 'open' as kind, unnest([call_ts, until_ts]) as ts, unnest([1, -1]) as step
    from open_stretch
    union all
    select site_id, mode, kind, unnest([start_ts, end_ts]), unnest([1, -1])
    from wait
    where end_ts > start_ts
),

standing as (
    select
        c.site_id,
        c.mode,
        c.ts as start_ts,
        lead(c.ts) over w as end_ts,
        sum(c.is_open) over w > 0 as is_open,
        sum(c.is_open_edge) over w as stretch_id,
        sum(c.rest) over w > 0 as in_rest,
        sum(c.restart) over w > 0 as in_restart,
        sum(c.damper) over w > 0 as in_damper,
        sum(c.trip) over w > 0 as in_trip,
        sum(c.other) over w > 0 as in_other,
        sum(c.lockout) over w > 0 as in_lockout,
        sum(c.contact) over w > 0 as in_contact,
    from (
        select
            site_id,
            mode,
            ts,
            sum(if(kind = 'open', step, 0))::bigint as is_open,
            count(*) filter (kind = 'open') as is_open_edge,
            sum(if(kind = 'compressor_rest', step, 0))::bigint as rest,
            sum(if(kind = 'restart', step, 0))::bigint as restart,
            sum(if(kind = 'damper', step, 0))::bigint as damper,
            sum(if(kind = 'limit', step, 0))::bigint as trip,
            sum(if(kind = 'other_mode', step, 0))::bigint as other,
            sum(if(kind = 'lockout', step, 0))::bigint as lockout,
            sum(if(kind = 'contact', step, 0))::bigint as contact,
        from change
        group by site_id, mode, ts
    ) c
    window w as (partition by c.site_id, c.mode order by c.ts)
),

part as (
    select
        *,
        in_rest or in_restart or in_damper or in_trip or in_other or in_lockout or in_contact as is_waiting,
        sum(is_waiting::int) over (partition by site_id, mode order by start_ts) as piece_id,
    from standing
    where is_open
),

remaining as (
    select site_id, mode, stretch_id, min(start_ts) as start_ts, max(end_ts) as end_ts
    from part
    where not is_waiting
    group by site_id, mode, stretch_id, piece_id
),

longest as (
    select
        site_id,
        mode,
        stretch_id,
        arg_max(start_ts, end_ts - start_ts) as start_ts,
        arg_max(end_ts, end_ts - start_ts) as end_ts,
    from remaining
    group by site_id, mode, stretch_id
),

summed as (
    select
        site_id,
        mode,
        stretch_id,
        min(start_ts) as call_ts,
        max(end_ts) as until_ts,
        coalesce(sum(end_ts - start_ts) filter (in_rest), 0)::double / 1e6 as compressor_rest_s,
        coalesce(sum(end_ts - start_ts) filter (in_restart), 0)::double / 1e6 as restart_s,
        coalesce(sum(end_ts - start_ts) filter (in_damper), 0)::double / 1e6 as damper_s,
        coalesce(sum(end_ts - start_ts) filter (in_trip), 0)::double / 1e6 as limit_s,
        coalesce(sum(end_ts - start_ts) filter (in_other), 0)::double / 1e6 as other_mode_s,
        coalesce(sum(end_ts - start_ts) filter (in_lockout), 0)::double / 1e6 as lockout_s,
        coalesce(sum(end_ts - start_ts) filter (in_contact), 0)::double / 1e6 as contact_s,
    from part
    group by site_id, mode, stretch_id
),

placed as (
    select
        s.*,
        l.start_ts,
        l.end_ts,
        coalesce((l.end_ts - l.start_ts) / 1e6, 0) as length_s,
        coalesce(l.start_ts, s.call_ts) as seen_ts,
    from summed s
    left join longest l
        on l.site_id = s.site_id and l.mode = s.mode and l.stretch_id = s.stretch_id
)

select
    p.site_id,
    p.mode,
    p.call_ts,
    p.until_ts,
    (p.until_ts - p.call_ts) / 1e6 as waited_s,
    p.compressor_rest_s,
    p.restart_s,
    p.damper_s,
    p.limit_s,
    p.other_mode_s,
    p.lockout_s,
    p.contact_s,
    p.start_ts,
    p.end_ts,
    p.length_s,
    p.length_s >= t.unanswered_min_s as is_unanswered,
    if(p.mode = 'heating', c.heat_zones, c.cool_zones) as zones,
    o.in_visit,
from placed p
join run.threshold t on t.site_id = p.site_id
join open_stretch o on o.site_id = p.site_id and o.mode = p.mode and o.call_ts = p.call_ts
asof join interval.condition c on c.site_id = p.site_id and p.seen_ts >= c.start_ts
order by p.site_id, p.call_ts, p.mode
