-- one row per start of a heat source that a balance point has a say in
/*
definition = "Each start of compressor heat against the low balance point, and of the furnace (dual fuel) or strip heat (heat pump) against the high one, as set at that instant: out of order when outdoor air was past the point by the margin and the sensor's tolerance for all of the time before the start. The whole run counts then. Excused: emergency heat, defrost, a compressor proven not running, the fault contact."
needs = ["outputs", "outdoor air"]
resolution = "outdoor air by clock steps; the sensor's tolerance on top of the margin"
interval_max_s = 300
counted_from = ["output_", "inferred_"]
not_without = [["output_"], ["outdoor_temp"]]
source = "settings as given by the site file; nothing unknown is judged; margin and time: run.threshold"

[columns]
source = "VARCHAR | - | compressor, burner (dual fuel) or strip (heat pump)"
start_ts = "BIGINT | us | on"
end_ts = "BIGINT | us | off"
on_s = "DOUBLE | s | time on"
is_first = "BOOLEAN | - | begins the heating: no other source was on"
outdoor_f = "DOUBLE | °F | outdoor air at the start; null if not known"
outdoor_low_f = "DOUBLE | °F | lowest in the time before the start; null if not known throughout"
outdoor_high_f = "DOUBLE | °F | highest"
low_balance_f = "DOUBLE | °F | setting in force; null if not given"
high_balance_f = "DOUBLE | °F | setting in force; null if not given"
result = "VARCHAR | - | in order, below the low point, above the high point, excused, or not audited (setting or outdoor air not known)"
past_by_f = "DOUBLE | °F | how far past the point at the start; null unless out of order or excused"
excuse = "VARCHAR | - | emergency heat, defrost, compressor not running or fault contact; null if none"
day = "DATE | - | local date"
in_visit = "BOOLEAN | - | starts inside a visit"
*/
with

-- looked up by the day of the start: of a long log not every pair is tried
run_day as (
    select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
    from interval.source_run
    where mode = 'heating'
),

followed as (
    select distinct r.site_id, r.source, r.start_ts
    from interval.source_run r
    join run_day o
        on o.site_id = r.site_id
        and o.day_n = r.start_ts // 86400000000
        and o.source <> r.source
        and o.start_ts < r.start_ts
        and o.end_ts >= r.start_ts
),

started as (
    select
        r.site_id,
        r.source,
        r.start_ts,
        r.end_ts,
        r.on_s,
        exists (
            from run.visit v
            where v.site_id = r.site_id and v.start_ts <= r.start_ts and v.end_ts > r.start_ts
        ) as in_visit,
        r.start_ts - (t.balance_past_s * 1e6)::bigint as from_ts,
        t.balance_past_s,
        t.coverage_warn_frac,
        t.balance_margin_f,
        (r.site_id, r.source, r.start_ts) not in (select (site_id, source, start_ts) from followed) as is_first,
    from interval.source_run r
    join run.site i on i.site_id = r.site_id and i.has_heat_pump
    join run.threshold t on t.site_id = r.site_id
    where r.mode = 'heating' and r.has_start
),

-- outdoor air in the time before the start, known for nearly all of it
before as (
    select
        s.site_id,
        s.source,
        s.start_ts,
        min(o.outdoor_f) as outdoor_low_f,
        max(o.outdoor_f) as outdoor_high_f,
    from (
        select *, unnest(range(from_ts // 86400000000, start_ts // 86400000000 + 1)) as day_n
        from started
    ) s
    join (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from interval.weather
    ) o
        on o.site_id = s.site_id and o.day_n = s.day_n and o.start_ts < s.start_ts and o.end_ts > s.from_ts
        and s.day_n = greatest(o.start_ts, s.from_ts) // 86400000000
    group by s.site_id, s.source, s.start_ts, s.from_ts, s.balance_past_s, s.coverage_warn_frac
    having sum(least(o.end_ts, s.start_ts) - greatest(o.start_ts, s.from_ts))
        >= s.balance_past_s * s.coverage_warn_frac * 1e6
),

accuracy as (
    select c.site_id, max(s.accuracy) as accuracy_f
    from channel.channel c
    join store.channel s on s.site_id = c.site_id and s.channel_id = c.channel_id
    where c.role = 'outdoor_temp' and c.is_primary
    group by c.site_id
),

excused as (
    select
        s.site_id,
        s.source,
        s.start_ts,
        case
            when exists (
                from signal.state e
                where
                    e.site_id = s.site_id
                    and e.role = 'zone_call_emergency'
                    and e.is_on
                    and e.start_ts <= s.start_ts
                    and e.end_ts > s.start_ts
            ) then 'emergency heat'
            when s.source <> 'compressor' and exists (
                from interval.defrost d
                join run.threshold t on t.site_id = d.site_id
                where
                    d.site_id = s.site_id
                    and d.start_ts <= s.start_ts
                    and d.end_ts + (t.defrost_after_s * 1e6)::bigint > s.start_ts
            ) then 'defrost'
            when exists (
                from signal.state p
                where
                    p.site_id = s.site_id
                    and p.role = 'compressor_run'
                    and not p.is_on
                    and p.start_ts <= s.start_ts
                    -- a compressor starts in the instant of its output or a little later
                    and p.end_ts >= least(s.end_ts, s.start_ts + (s.balance_past_s * 1e6)::bigint)
                    and (s.source = 'compressor' or exists (
                        from interval.source_run y
                        where
                            y.site_id = s.site_id
                            and y.source = 'compressor'
                            and y.start_ts <= s.start_ts
                            and y.end_ts > s.start_ts
                    ))
            ) then 'compressor not running'
            when exists (
                from signal.state f
                where
                    f.site_id = s.site_id
                    and f.role = 'fault_contact'
                    and f.is_on
                    and f.start_ts <= s.start_ts
                    and f.end_ts > s.start_ts
            ) then 'fault contact'
        end as excuse,
    from started s
),

set_to as (
    select
        s.*,
        e.excuse,
        b.outdoor_low_f,
        b.outdoor_high_f,
        if(o.end_ts > s.start_ts, o.outdoor_f, b.outdoor_low_f) as outdoor_f,
        l.value as low_balance_f,
        h.value as high_balance_f,
        s.balance_margin_f + coalesce(a.accuracy_f, t.outdoor_sensor_tolerance_f) as margin_f,
        case
            when b.outdoor_low_f is null then null
            when s.source = 'compressor' then l.value - b.outdoor_high_f
            else b.outdoor_low_f - h.value
        end as all_past_f,
    from started s
    join run.threshold t on t.site_id = s.site_id
    join excused e on e.site_id = s.site_id and e.source = s.source and e.start_ts = s.start_ts
    left join before b on b.site_id = s.site_id and b.source = s.source and b.start_ts = s.start_ts
    left join accuracy a on a.site_id = s.site_id
    left join run.setting l
        on l.site_id = s.site_id and l.name = 'low_balance_f'
        and l.start_ts <= s.start_ts and l.end_ts > s.start_ts
    left join run.setting h
        on h.site_id = s.site_id and h.name = 'high_balance_f'
        and h.start_ts <= s.start_ts and h.end_ts > s.start_ts
    asof left join interval.weather o on o.site_id = s.site_id and s.start_ts >= o.start_ts
)

select
    s.site_id,
    s.source,
    s.start_ts,
    s.end_ts,
    s.on_s,
    s.is_first,
    s.outdoor_f,
    s.outdoor_low_f,
    s.outdoor_high_f,
    s.low_balance_f,
    s.high_balance_f,
    case
        when s.all_past_f is null then 'not audited'
        when s.all_past_f <= s.margin_f then 'in order'
        when s.excuse is not null then 'excused'
        when s.source = 'compressor' then 'below the low point'
        else 'above the high point'
    end as result,
    if(s.all_past_f > s.margin_f, s.all_past_f, null) as past_by_f,
    s.excuse,
    d.day,
    s.in_visit,
from set_to s
join run.day d on d.site_id = s.site_id and s.start_ts >= d.start_ts and s.start_ts < d.end_ts
order by s.site_id, s.start_ts, s.source
