-- one row per time supply came near the panel's limit without a trip, or second stage alone was dropped there
/*
definition = "Near limit: supply within the margin of the panel's limit in a run of the source, and no trip in it. Stage drop: second stage goes off and first stays on, calls unchanged and no thermostat lets go of it, with supply at the limit less the sensor's tolerance; or, where drops gather at one temperature, at that."
needs = ["supply temperature", "heat (cooling) outputs", "calls"]
resolution = "one interval of the slowest channel"
interval_max_s = 60
counted_from = ["supply_temp", "output_", "inferred_", "zone_call_"]
not_without = [["supply_temp"], ["output_"]]
source = "margin, tolerance and what gathers: run.threshold; limits as given by the site file"

[columns]
kind = "VARCHAR | - | near limit or stage drop"
limit_kind = "VARCHAR | - | high or low"
source = "VARCHAR | - | burner, strip or compressor"
start_ts = "BIGINT | us | near limit: supply within the margin from; stage drop: second stage off"
end_ts = "BIGINT | us | near limit: last reading within it; stage drop: second stage on again, or the run's end"
peak_f = "DOUBLE | °F | highest (low limit: lowest) supply temperature; null if not logged"
limit_f = "DOUBLE | °F | setting in force; null if not given"
basis = "VARCHAR | - | at the limit, or gathers at one temperature (stage drops only)"
n_zones = "BIGINT | - | zones calling at the start"
zones = "VARCHAR | - | which"
in_visit = "BOOLEAN | - | starts inside a visit"
*/
with

kind as (
    select 'high' as limit_kind, 'heating' as mode, 1 as sign, 'high_limit_f' as setting
    union all
    select 'low', 'cooling', -1, 'low_limit_f'
),

accuracy as (
    select c.site_id, max(s.accuracy) as accuracy_f
    from channel.channel c
    join store.channel s on s.site_id = c.site_id and s.channel_id = c.channel_id
    where c.role = 'supply_temp' and c.is_primary
    group by c.site_id
),

run as (
    select
        r.site_id,
        r.source,
        k.limit_kind,
        k.sign,
        r.start_ts,
        r.end_ts,
        g.value as limit_f,
        coalesce(a.accuracy_f, t.limit_sensor_tolerance_f) as tolerance_f,
        t.near_limit_f,
        r.start_ts + (1e6 * if(
            k.limit_kind = 'high', t.supply_judged_after_fan_s, t.supply_judged_after_fan_cooling_s
        ))::bigint as judged_ts,
    from interval.source_run r
    join kind k on k.mode = r.mode
    join run.threshold t on t.site_id = r.site_id
    left join accuracy a on a.site_id = r.site_id
    left join run.setting g
        on g.site_id = r.site_id and g.name = k.setting
        and g.start_ts <= r.start_ts and g.end_ts > r.start_ts
),

-- what lies in a run, or about a drop, is looked up by the day or hour: of a long log not every pair
-- is tried
run_day as (
    select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n from run
),

-- readings within the margin of any of the site's limits: few
high as (
    select p.site_id, k.limit_kind, p.start_ts as ts, p.start_value as supply_f
    from signal.piece p
    join kind k on true
    join run.threshold t on t.site_id = p.site_id
    join (
        select site_id, name, min(value) as low_f, max(value) as high_f from run.setting group by all
    ) g on g.site_id = p.site_id and g.name = k.setting
    where
        p.role = 'supply_temp'
        and if(
            k.sign > 0,
            p.start_value >= g.low_f - t.near_limit_f,
            p.start_value <= g.high_f + t.near_limit_f
        )
),

near as (
    select
        r.site_id,
        'near limit' as kind,
        r.limit_kind,
        r.source,
        min(h.ts) as start_ts,
        max(h.ts) as end_ts,
        arg_max(h.supply_f, r.sign * h.supply_f) as peak_f,
        r.limit_f,
        null::varchar as basis,
    from run_day r
    join high h
        on h.site_id = r.site_id and h.limit_kind = r.limit_kind
        and h.ts // 86400000000 = r.day_n
        and h.ts >= r.judged_ts and h.ts <= r.end_ts
    where
        r.sign * h.supply_f >= r.sign * r.limit_f - r.near_limit_f
        and not exists (
            from interval.trip x
            where
                x.site_id = r.site_id
                and x.kind = r.limit_kind
                and x.start_ts <= r.end_ts
                and x.drop_ts >= r.start_ts
        )
    group by r.site_id, r.limit_kind, r.source, r.start_ts, r.limit_f
),

slowest as (
    select site_id, max(interval_s) as interval_s
    from channel.channel
    where is_primary and (role = 'supply_temp' or role like 'output_%' or role like 'zone_call_%')
    group by site_id
),

-- second stage off, first on for longer than a call must stand, by a panel that stages by its timer
-- or with the thermostats' own second-stage calls logged
dropped as (
    select
        r.*exclude (day_n),
        o.end_ts as drop_ts,
        greatest(t.trip_drop_after_s, 2 * s.interval_s) as before_s,
        greatest(t.trip_drop_before_s, s.interval_s) as after_s,
        t.trip_call_stands_s,
        coalesce(b.value_text, 'unknown') = 'timer' or exists (
            from channel.channel c
            where
                c.site_id = r.site_id
                and c.is_primary
                and c.role = if(r.source = 'burner', 'zone_call_w2', 'zone_call_y2')
        ) as is_told,
    from run_day r
    join interval.output_run o
        on o.site_id = r.site_id
        and o.end_ts // 86400000000 = r.day_n
        and o.output = if(r.source = 'burner', 'output_w2', 'output_y2')
        and o.has_end
        and o.end_ts > r.start_ts
        and o.end_ts < r.end_ts
    join slowest s on s.site_id = r.site_id
    join run.threshold t on t.site_id = r.site_id
    left join run.setting b
        on b.site_id = r.site_id and b.name = 'stage_up_by'
        and b.start_ts <= o.end_ts and b.end_ts > o.end_ts
    where r.source in ('burner', 'compressor') and r.end_ts - o.end_ts >= t.trip_call_stands_s * 1e6
),

about_hour as (
    select
        *,
        unnest(range(
            drop_ts // 3600000000 - (before_s + after_s)::bigint // 3600 - 1,
            drop_ts // 3600000000 + (after_s + trip_call_stands_s)::bigint // 3600 + 2
        )) as hour_n,
    from dropped
),

-- a call of the mode began or ended about then, a thermostat let go of second stage, the backup took
-- over, or a defrost ran
edge as (
    select *, ts // 3600000000 as hour_n
    from (
        select site_id, mode, 'call end' as what, end_ts as ts from interval.call
        union all
        select site_id, mode, 'call start', start_ts from interval.call
        union all
        select site_id, null, 'let go', end_ts
        from signal.state
        where role in ('zone_call_w2', 'zone_call_y2') and is_on
        union all
        -- a compressor's second stage that ends as the backup comes on is handed over, not dropped
        select site_id, 'heating', 'backup start', start_ts
        from interval.output_run
        where output in ('output_w1', 'output_w2', 'output_aux')
    )
),

explained as (
    select d.site_id, d.source, d.limit_kind, d.drop_ts
    from about_hour d
    join edge e
        on e.site_id = d.site_id
        and e.hour_n = d.hour_n
        and case e.what
            when 'call end' then e.ts > d.drop_ts - d.before_s * 1e6 and e.ts < d.drop_ts + d.trip_call_stands_s * 1e6
            when 'call start' then e.ts > d.drop_ts - d.after_s * 1e6 and e.ts <= d.drop_ts
            when 'backup start'
                then d.source = 'compressor' and e.ts > d.drop_ts - d.before_s * 1e6
                    and e.ts < d.drop_ts + d.trip_call_stands_s * 1e6
            else e.ts > d.drop_ts - d.before_s * 1e6 and e.ts <= d.drop_ts + d.after_s * 1e6
        end
        and (e.what = 'let go' or e.mode = if(d.limit_kind = 'high', 'heating', 'cooling'))
    union
    select d.site_id, d.source, d.limit_kind, d.drop_ts
    from dropped d
    join (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from interval.defrost
    ) f
        on f.site_id = d.site_id and f.day_n = d.drop_ts // 86400000000
        and f.start_ts <= d.drop_ts and f.end_ts >= d.drop_ts
),

kept as (
    select d.*
    from dropped d
    anti join explained e
        on e.site_id = d.site_id and e.source = d.source
        and e.limit_kind = d.limit_kind and e.drop_ts = d.drop_ts
),

peaked as (
    select
        k.site_id,
        k.source,
        k.limit_kind,
        k.sign,
        k.drop_ts,
        k.end_ts as run_end_ts,
        k.limit_f,
        k.tolerance_f,
        k.is_told,
        arg_max(p.start_value, k.sign * p.start_value) as peak_f,
    from (
        select
            *,
            unnest(range(
                drop_ts // 3600000000 - before_s::bigint // 3600 - 1,
                drop_ts // 3600000000 + after_s::bigint // 3600 + 2
            )) as hour_n,
        from kept
    ) k
    join signal.piece p
        on p.site_id = k.site_id and p.role = 'supply_temp' and p.start_ts // 3600000000 = k.hour_n
        and p.start_ts >= k.drop_ts - k.before_s * 1e6 and p.start_ts <= k.drop_ts + k.after_s * 1e6
    group by all
),

gathered as (
    select p.site_id, p.source, p.limit_kind, any_value(m.level_f) as level_f
    from peaked p
    join (
        select site_id, source, limit_kind, median(peak_f) as level_f
        from peaked
        where is_told
        group by site_id, source, limit_kind
    ) m on m.site_id = p.site_id and m.source = p.source and m.limit_kind = p.limit_kind
    join run.threshold t on t.site_id = p.site_id
    where p.is_told
    group by p.site_id, p.source, p.limit_kind, t.limit_cluster_f, t.limit_cluster_min_events
    having
        count(*) filter (abs(p.peak_f - m.level_f) <= t.limit_cluster_f) >= t.limit_cluster_min_events
        and 2 * count(*) filter (abs(p.peak_f - m.level_f) <= t.limit_cluster_f) >= count(*)
),

again as (
    select p.site_id, p.drop_ts, p.source, min(o.start_ts) as on_ts
    from (
        select *, unnest(range(drop_ts // 86400000000, (run_end_ts - 1) // 86400000000 + 1)) as day_n
        from peaked
    ) p
    join interval.output_run o
        on o.site_id = p.site_id
        and o.output = if(p.source = 'burner', 'output_w2', 'output_y2')
        and o.start_ts // 86400000000 = p.day_n
        and o.start_ts > p.drop_ts
        and o.start_ts < p.run_end_ts
    group by p.site_id, p.drop_ts, p.source
),

found as (
    select * from near
    union all
    select
        p.site_id,
        'stage drop',
        p.limit_kind,
        p.source,
        p.drop_ts,
        coalesce(a.on_ts, p.run_end_ts),
        p.peak_f,
        p.limit_f,
        if(
            coalesce(p.sign * p.peak_f >= p.sign * p.limit_f - p.tolerance_f, false),
            'at the limit',
            'gathers at one temperature'
        ),
    from peaked p
    join run.threshold t on t.site_id = p.site_id
    left join gathered g
        on g.site_id = p.site_id and g.source = p.source and g.limit_kind = p.limit_kind
    left join again a on a.site_id = p.site_id and a.drop_ts = p.drop_ts and a.source = p.source
    where
        coalesce(p.sign * p.peak_f >= p.sign * p.limit_f - p.tolerance_f, false)
        or (p.is_told and abs(p.peak_f - g.level_f) <= t.limit_cluster_f)
)

select
    f.site_id,
    f.kind,
    f.limit_kind,
    f.source,
    f.start_ts,
    f.end_ts,
    f.peak_f,
    f.limit_f,
    f.basis,
    if(f.limit_kind = 'high', c.n_heat, c.n_cool) as n_zones,
    if(f.limit_kind = 'high', c.heat_zones, c.cool_zones) as zones,
    c.in_visit,
from found f
asof join interval.condition c on c.site_id = f.site_id and f.start_ts >= c.start_ts
order by f.site_id, f.start_ts, f.kind, f.source
