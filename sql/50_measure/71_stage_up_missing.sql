-- one row per stretch in which second stage was in order for minutes and did not come on
/*
definition = "First stage on, as many zones calling as the minimum, one of them for the stage-up delay (or asking for second stage itself), and second stage off, for longer than the least time: it never came on where a calling zone was off its setpoint by the margin and not on its way to be back within it in an hour. Emergency heat, defrost and what follows a stage drop in the same run are left out; clocks as in the stage-up audit, without a given clock the later of the two."
needs = ["outputs of both stages", "calls of every zone", "zone temperatures and setpoints, to tell whether it mattered"]
resolution = "one interval at each end"
interval_max_s = 60
counted_from = ["output_", "inferred_", "zone_call_"]
not_without = [["output_w2", "output_y2"], ["zone_call_"]]
source = "settings as given by the site file, of the run's start and until one of them changes; nothing unknown is judged"

[columns]
source = "VARCHAR | - | burner or compressor"
mode = "VARCHAR | - | heating or cooling"
run_ts = "BIGINT | us | the source's run starts"
start_ts = "BIGINT | us | in order from"
end_ts = "BIGINT | us | second stage came, the run ended, or not in order any more"
length_s = "DOUBLE | s | length"
is_late = "BOOLEAN | - | second stage came on at its end"
zones = "VARCHAR | - | zones calling in the mode at its start"
zone = "INTEGER | - | the zone furthest off its setpoint when it has called for the least time while second stage was in order; null if not known"
off_f = "DOUBLE | °F | how far off then; null if not known"
closing_f_per_h = "DOUBLE | °F/h | how fast that zone closed on its setpoint from there on, over half an hour or what there is of it; null if not known"
delay_setting_s = "DOUBLE | s | stage-up delay in force"
min_zones_setting = "DOUBLE | - | minimum zones in force"
result = "VARCHAR | - | never came on, late, closing (back within the margin soon), near setpoint, after a stage drop, or not known (no zone temperature or setpoint)"
in_visit = "BOOLEAN | - | starts inside a visit"
*/
with

-- sources whose second stage is logged, with the settings of the run's start, until one changes
audited as (
    select
        r.site_id,
        r.source,
        r.mode,
        r.start_ts as run_ts,
        least(r.end_ts, m.end_ts, coalesce(d.end_ts, r.end_ts), coalesce(b.end_ts, r.end_ts)) as end_ts,
        d.value * 60 as delay_s,
        m.value as min_zones,
        coalesce(b.value_text, 'unknown') as stage_up_by,
        k.value_text as clock,
    from interval.source_run r
    join channel.channel c
        on c.site_id = r.site_id and c.is_primary
        and c.role = if(r.source = 'burner', 'output_w2', 'output_y2')
    join run.setting m
        on m.site_id = r.site_id and m.name = 'stage2_min_zones'
        and m.start_ts <= r.start_ts and m.end_ts > r.start_ts
    left join run.setting d
        on d.site_id = r.site_id and d.name = 'stage_up_delay_min'
        and d.start_ts <= r.start_ts and d.end_ts > r.start_ts
    left join run.setting b
        on b.site_id = r.site_id and b.name = 'stage_up_by'
        and b.start_ts <= r.start_ts and b.end_ts > r.start_ts
    left join run.setting k
        on k.site_id = r.site_id and k.name = 'stage_up_clock'
        and k.start_ts <= r.start_ts and k.end_ts > r.start_ts
    where
        r.source in ('burner', 'compressor')
        and r.mode <> 'unknown'
        and coalesce(b.value_text, 'unknown') <> 'equipment'
),

-- what overlaps a run is looked up by the days both lie in: of a long log not every pair is tried
audited_day as (
    select *, unnest(range(run_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
    from audited
),

call_day as (
    select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
    from interval.bridged_call
),

-- a call that stood when a source last stopped counts from this run's start
stopped as (
    select a.site_id, a.source, a.run_ts, r.end_ts as stop_ts
    from audited a
    asof join (select site_id, end_ts from interval.source_run) r
        on r.site_id = a.site_id and a.run_ts >= r.end_ts
),

calling as (
    select
        a.site_id,
        a.source,
        a.run_ts,
        greatest(b.start_ts, a.run_ts) as start_ts,
        least(b.end_ts, a.end_ts) as end_ts,
        (
            case a.clock
                when 'equipment_start' then a.run_ts
                when 'zone_call' then if(b.start_ts < p.stop_ts, a.run_ts, b.start_ts)
                else greatest(a.run_ts, b.start_ts)
            end + (a.delay_s * 1e6)::bigint
        ) as ripe_ts,
    from audited_day a
    join call_day b
        on b.site_id = a.site_id and b.mode = a.mode and b.day_n = a.day_n
        and b.start_ts < a.end_ts and b.end_ts > a.run_ts
        and a.day_n = greatest(b.start_ts, a.run_ts) // 86400000000
    left join stopped p on p.site_id = a.site_id and p.source = a.source and p.run_ts = a.run_ts
),

change as (
    select site_id, source, run_ts, unnest([start_ts, end_ts]) as ts, unnest([1, -1]) as step, 'calling' as what
    from calling
    union all
    select site_id, source, run_ts, unnest([greatest(ripe_ts, start_ts), end_ts]), unnest([1, -1]), 'ripe'
    from calling
    where ripe_ts < end_ts
    union all
    select
        a.site_id,
        a.source,
        a.run_ts,
        unnest([greatest(s.start_ts, a.run_ts), least(s.end_ts, a.end_ts)]),
        unnest([1, -1]),
        case
            when s.role = if(a.source = 'burner', 'output_w2', 'output_y2') then 'second'
            when s.role = if(a.mode = 'heating' and a.source = 'burner', 'zone_call_w2', 'zone_call_y2') then 'asked'
            when s.role = 'zone_call_emergency' then 'left_out'
            else 'other'
        end,
    from audited_day a
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from signal.state
        where
            is_on
            and role in ('output_w2', 'output_y2', 'zone_call_w2', 'zone_call_y2', 'zone_call_emergency')
    ) s
        on s.site_id = a.site_id
        and s.day_n = a.day_n
        and s.start_ts < a.end_ts
        and s.end_ts > a.run_ts
        and a.day_n = greatest(s.start_ts, a.run_ts) // 86400000000
    union all
    select
        a.site_id,
        a.source,
        a.run_ts,
        unnest([greatest(d.start_ts, a.run_ts), least(d.end_ts + (t.defrost_after_s * 1e6)::bigint, a.end_ts)]),
        unnest([1, -1]),
        'left_out',
    from audited a
    join run.threshold t on t.site_id = a.site_id
    join interval.defrost d
        on d.site_id = a.site_id and d.start_ts < a.end_ts
        and d.end_ts + (t.defrost_after_s * 1e6)::bigint > a.run_ts
),

standing as (
    select
        c.site_id,
        c.source,
        c.run_ts,
        c.ts as start_ts,
        lead(c.ts) over w as end_ts,
        sum(c.calling) over w as n_calling,
        sum(c.ripe) over w as n_ripe,
        sum(c.asked) over w as n_asked,
        sum(c.second) over w as n_second,
        sum(c.left_out) over w as n_left_out,
    from (
        select
            site_id,
            source,
            run_ts,
            ts,
            sum(if(what = 'calling', step, 0))::bigint as calling,
            sum(if(what = 'ripe', step, 0))::bigint as ripe,
            sum(if(what = 'asked', step, 0))::bigint as asked,
            sum(if(what = 'second', step, 0))::bigint as second,
            sum(if(what = 'left_out', step, 0))::bigint as left_out,
        from change
        group by site_id, source, run_ts, ts
    ) c
    window w as (partition by c.site_id, c.source, c.run_ts order by c.ts)
),

judged as (
    select
        s.*,
        a.mode,
        a.delay_s,
        a.min_zones,
        s.n_calling >= a.min_zones
            and (
                (a.stage_up_by <> 'thermostat' and s.n_ripe > 0)
                or (a.stage_up_by in ('thermostat', 'both') and s.n_asked > 0)
            )
            and s.n_second = 0
            and s.n_left_out = 0 as is_in_order,
        sum((not is_in_order)::int) over (
            partition by s.site_id, s.source, s.run_ts order by s.start_ts
        ) as stretch_id,
    from standing s
    join audited a on a.site_id = s.site_id and a.source = s.source and a.run_ts = s.run_ts
    where s.end_ts is not null
),

stretch as (
    select
        j.site_id,
        j.source,
        j.mode,
        j.run_ts,
        min(j.start_ts) as start_ts,
        max(j.end_ts) as end_ts,
        any_value(j.delay_s) as delay_s,
        any_value(j.min_zones) as min_zones,
    from judged j
    join run.threshold t on t.site_id = j.site_id
    where j.is_in_order
    group by j.site_id, j.source, j.mode, j.run_ts, j.stretch_id, t.stage_missing_s
    having max(j.end_ts) - min(j.start_ts) >= t.stage_missing_s * 1e6
),

-- zones that call for the least time while it is in order, from its start on or joining in later: how far
-- off they are at the first, when that time is over, and some time later
asked_at as (
    select
        site_id,
        source,
        run_ts,
        start_ts,
        mode,
        zone,
        from_ts,
        due_ts,
        unnest([from_ts, due_ts, least(until_ts, from_ts + closing_us) - 1]) as ts,
    from (
        select
            s.site_id,
            s.source,
            s.run_ts,
            s.start_ts,
            s.mode,
            b.zone,
            greatest(s.start_ts, b.start_ts) as from_ts,
            least(s.end_ts, b.end_ts) as until_ts,
            from_ts + (t.stage_missing_s * 1e6)::bigint - 1 as due_ts,
            (t.stage_closing_s * 1e6)::bigint as closing_us,
        from (
            select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
            from stretch
        ) s
        join run.threshold t on t.site_id = s.site_id
        join call_day b
            on b.site_id = s.site_id and b.mode = s.mode and b.day_n = s.day_n
            and b.start_ts < s.end_ts
            and b.end_ts > s.start_ts
            and s.day_n = greatest(b.start_ts, s.start_ts) // 86400000000
        where until_ts > due_ts
    )
),

reading as (
    select
        site_id,
        zone,
        role,
        start_ts,
        end_ts,
        start_value,
        (end_value - start_value) / (end_ts - start_ts) as slope,
    from signal.piece
    where role in ('zone_temp', 'zone_heat_setpoint', 'zone_cool_setpoint')
),

-- thermostats write a setpoint rarely: a step between two readings is taken at the later one
off_at as (
    select
        a.*,
        if(z.end_ts > a.ts, z.start_value + z.slope * (a.ts - z.start_ts), null) as room_f,
        if(p.end_ts > a.ts, p.start_value, null) as setpoint_f,
        if(a.mode = 'heating', setpoint_f - room_f, room_f - setpoint_f) as off_f,
    from asked_at a
    asof left join (select * from reading where role = 'zone_temp') z
        on z.site_id = a.site_id and z.zone = a.zone and a.ts >= z.start_ts
    asof left join (
        select *, if(role = 'zone_heat_setpoint', 'heating', 'cooling') as mode
        from reading
        where role <> 'zone_temp'
    ) p
        on p.site_id = a.site_id and p.zone = a.zone and p.mode = a.mode and a.ts >= p.start_ts
),

by_zone as (
    select
        site_id,
        source,
        run_ts,
        start_ts,
        zone,
        from_ts,
        any_value(off_f) filter (ts = due_ts) as off_f,
        (arg_min(off_f, ts) - arg_max(off_f, ts)) / ((max(ts) - min(ts)) / 3.6e9) as closing_f_per_h,
    from off_at
    group by site_id, source, run_ts, start_ts, zone, from_ts
    having count(off_f) = 3
),

worst as (
    select
        site_id,
        source,
        run_ts,
        start_ts,
        arg_max(zone, off_f) as zone,
        max(off_f) as off_f,
        arg_max(closing_f_per_h, off_f) as closing_f_per_h,
    from by_zone
    group by site_id, source, run_ts, start_ts
),

dropped as (
    select s.site_id, s.source, s.start_ts, bool_or(x.kind = 'stage drop') as is_after_drop
    from stretch s
    join measure.limit_approach x
        on x.site_id = s.site_id and x.source = s.source and x.start_ts >= s.run_ts and x.start_ts <= s.start_ts
    group by s.site_id, s.source, s.start_ts
),

came as (
    select distinct s.site_id, s.source, s.start_ts
    from stretch s
    join signal.state o
        on o.site_id = s.site_id
        and o.role = if(s.source = 'burner', 'output_w2', 'output_y2')
        and o.is_on
        and o.start_ts = s.end_ts
)

select
    s.site_id,
    s.source,
    s.mode,
    s.run_ts,
    s.start_ts,
    s.end_ts,
    (s.end_ts - s.start_ts) / 1e6 as length_s,
    m.site_id is not null as is_late,
    if(s.mode = 'heating', c.heat_zones, c.cool_zones) as zones,
    w.zone,
    w.off_f,
    w.closing_f_per_h,
    s.delay_s as delay_setting_s,
    s.min_zones as min_zones_setting,
    case
        when coalesce(d.is_after_drop, false) then 'after a stage drop'
        when w.off_f is null then 'not known'
        when w.off_f <= t.zone_off_f then 'near setpoint'
        when w.off_f - t.zone_off_f <= w.closing_f_per_h * t.zone_back_within_h then 'closing'
        when m.site_id is not null then 'late'
        else 'never came on'
    end as result,
    c.in_visit,
from stretch s
join run.threshold t on t.site_id = s.site_id
asof join interval.condition c on c.site_id = s.site_id and s.start_ts >= c.start_ts
left join worst w
    on w.site_id = s.site_id and w.source = s.source and w.run_ts = s.run_ts and w.start_ts = s.start_ts
left join dropped d on d.site_id = s.site_id and d.source = s.source and d.start_ts = s.start_ts
left join came m on m.site_id = s.site_id and m.source = s.source and m.start_ts = s.start_ts
order by s.site_id, s.start_ts, s.source
