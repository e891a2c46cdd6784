-- one row per panel limit trip: supply at the limit, all heat (cooling) outputs off, a zone still calling
/*
[columns]
trip_id = "BIGINT | - | number within the site, by time"
kind = "VARCHAR | - | high or low"
opened_by = "VARCHAR | - | panel, or unknown where no limit setting was given"
start_ts = "BIGINT | us | supply reaches the limit less the sensor's tolerance (the drop at the latest, and where a cluster below the setting shows the limit)"
drop_ts = "BIGINT | us | all heat (cooling) outputs off"
end_ts = "BIGINT | us | heat (cooling) on again, or last call ended"
peak_f = "DOUBLE | °F | highest (lowest) supply temperature, soak after the drop included"
peak_ts = "BIGINT | us | when"
limit_f = "DOUBLE | °F | setting in force; null if not given"
is_certain = "BOOLEAN | - | lasts at least two intervals of the slowest channel used, and the call stood after the drop whatever an interval hides"
in_visit = "BOOLEAN | - | inside a visit"
*/
-- The logger's probe is not the panel's sensor: drops whose peaks cluster below the setting count too,
-- unless the panel changed over to the other mode: those come at whatever supply was, and only one
-- that passed the limit itself is a trip. Nor is a drop as one call ends, at whatever supply was, while
-- another stands that may never have reached the panel.
-- The low limit is the mirror image: everything is done on supply times `sign`.
with

kind as (
    select 'high' as kind, 'heating' as mode, 1 as sign, 'high_limit_f' as setting
    union all
    select 'low', 'cooling', -1, 'low_limit_f'
),

-- stretches in which the mode's sources are on, from stretch to stretch without a gap
lit as (
    select
        c.site_id,
        k.kind,
        k.mode,
        k.sign,
        k.setting,
        c.start_ts,
        c.end_ts,
        c.class = k.mode as is_on,
        lag(c.class = k.mode) over w as was_on,
        lag(c.class) over w as class_before,
        lag(c.is_inferred) over w as was_inferred,
        c.class,
        coalesce(if(k.mode = 'heating', c.n_cool, c.n_heat), 0) > 0 as is_asked,
        c.in_visit,
    from interval.condition c
    cross join kind k
    window w as (partition by c.site_id, k.kind order by c.start_ts)
),

drop_edge as (
    select site_id, kind, mode, sign, setting, start_ts as drop_ts, is_asked, in_visit
    from lit
    -- the end of an inferred run is no drop of the panel's outputs
    where
        was_on
        and not is_on
        and class in ('waiting', 'off', 'purge', 'fan_only')
        and was_inferred is distinct from true
),

resume as (
    select site_id, kind, start_ts as resume_ts
    from lit
    where is_on and not coalesce(was_on, false)
),

-- looked up by the day of the drop: of a long log not every pair is tried
call_day as (
    select
        site_id,
        mode,
        start_ts,
        end_ts,
        unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n,
    from interval.call
),

satisfied as (
    select distinct d.site_id, d.kind, d.drop_ts
    from drop_edge d
    join run.threshold t on t.site_id = d.site_id
    join interval.call c
        on c.site_id = d.site_id
        and c.mode = d.mode
        and c.end_ts // 86400000000 = d.drop_ts // 86400000000
        and abs(c.end_ts - d.drop_ts) < t.trip_call_stands_s * 1e6
    where c.has_end
),

-- a zone that called at the drop and goes on calling
standing as (
    select
        d.*,
        max(c.end_ts) as call_end_ts,
    from drop_edge d
    join run.threshold t on t.site_id = d.site_id
    join call_day c
        on c.site_id = d.site_id
        and c.day_n = d.drop_ts // 86400000000
        and c.mode = d.mode
        and c.start_ts < d.drop_ts
        and c.end_ts >= d.drop_ts + t.trip_call_stands_s * 1e6
    group by all
),

next_on as (
    select s.*, r.resume_ts, o.resume_ts as other_ts
    from standing s
    asof left join resume r
        on r.site_id = s.site_id and r.kind = s.kind and r.resume_ts > s.drop_ts
    asof left join (select site_id, if(kind = 'high', 'low', 'high') as kind, resume_ts from resume) o
        on o.site_id = s.site_id and o.kind = s.kind and o.resume_ts > s.drop_ts
),

-- the last call has ended: no zone calls for the mode any more, or nobody knows
quiet as (
    select c.site_id, k.kind, c.start_ts as quiet_ts
    from interval.condition c
    cross join kind k
    where coalesce(if(k.mode = 'heating', c.n_heat, c.n_cool), 0) = 0
),

ended as (
    select
        n.*,
        least(n.resume_ts, coalesce(q.quiet_ts, n.call_end_ts)) as end_ts,
        -- the other mode runs while the call still stands, or was called for at the drop and runs next
        -- after its wait: the panel changed over
        coalesce(
            n.other_ts < least(n.resume_ts, coalesce(q.quiet_ts, n.call_end_ts))
            or (
                n.is_asked
                and n.other_ts < coalesce(n.resume_ts, n.other_ts + 1)
                and n.other_ts - n.drop_ts <= greatest(g.value * 60, t.changeover_wait_unknown_s) * 1e6
            ),
            false
        ) as is_changeover,
        s.drop_ts is not null as is_satisfied,
        (1e6 * if(
            n.kind = 'high', t.supply_judged_after_fan_s, t.supply_judged_after_fan_cooling_s
        ))::bigint as blown_us,
    from next_on n
    join run.threshold t on t.site_id = n.site_id
    left join satisfied s
        on s.site_id = n.site_id and s.kind = n.kind and s.drop_ts = n.drop_ts
    left join run.setting g
        on g.site_id = n.site_id and g.name = 'changeover_wait_min'
        and g.start_ts <= n.drop_ts and g.end_ts > n.drop_ts
    asof left join quiet q
        on q.site_id = n.site_id and q.kind = n.kind and q.quiet_ts > n.drop_ts
),

slowest as (
    select site_id, max(interval_s) as interval_s
    from channel.channel
    where
        is_primary
        and (role = 'supply_temp' or role like 'output_%' or role like 'zone_call_%')
    group by site_id
),

fan_day as (
    select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
    from run_state.fan
    where is_on
),

-- how long the fan had run of the time before the drop
blown as (
    select
        n.site_id,
        n.kind,
        n.drop_ts,
        sum(least(f.end_ts, n.drop_ts) - greatest(f.start_ts, n.drop_ts - n.blown_us)) as blown_us,
    from (
        select
            *,
            unnest(range((drop_ts - blown_us) // 86400000000, drop_ts // 86400000000 + 1)) as day_n,
        from ended
    ) n
    join fan_day f
        on f.site_id = n.site_id
        and f.day_n = n.day_n
        and f.start_ts < n.drop_ts
        and f.end_ts > n.drop_ts - n.blown_us
        and n.day_n = greatest(f.start_ts, n.drop_ts - n.blown_us) // 86400000000
    group by n.site_id, n.kind, n.drop_ts
),

candidate as (
    select
        n.*,
        s.interval_s,
        n.drop_ts - (1e6 * greatest(t.trip_drop_after_s, 2 * s.interval_s))::bigint as from_ts,
        n.drop_ts + (1e6 * greatest(t.trip_drop_before_s, s.interval_s))::bigint as reach_by_ts,
        least(n.drop_ts + (1e6 * t.trip_peak_search_s)::bigint, n.resume_ts) as to_ts,
    from ended n
    join slowest s on s.site_id = n.site_id
    join run.threshold t on t.site_id = n.site_id
    left join blown b on b.site_id = n.site_id and b.kind = n.kind and b.drop_ts = n.drop_ts
    where
        -- chatter is not a trip
        (n.resume_ts is null or n.resume_ts - n.drop_ts > t.chatter_max_s * 1e6)
        -- supply proves something only with the fan known to have run for a while
        and coalesce(b.blown_us, 0) >= n.blown_us
),

supply as (
    select site_id, start_ts, end_ts, start_value, end_value
    from signal.piece
    where role = 'supply_temp'
),

-- at the limit by the drop (and the probe's lag); the peak is looked for longer, soak included
peaked as (
    select
        c.* exclude (day_n),
        arg_max(p.start_value, c.sign * p.start_value) as peak_f,
        arg_max(p.start_ts, c.sign * p.start_value) as peak_ts,
        arg_max(p.start_value, c.sign * p.start_value) filter (p.start_ts <= c.reach_by_ts) as seen_f,
    from (
        select
            *,
            unnest(range(from_ts // 86400000000, to_ts // 86400000000 + 1)) as day_n,
        from candidate
    ) c
    join supply p
        on p.site_id = c.site_id
        and p.start_ts // 86400000000 = c.day_n
        and p.start_ts >= c.from_ts
        and p.start_ts <= c.to_ts
    group by all
),

accuracy as (
    select c.site_id, max(s.accuracy) as accuracy_f
    from channel.channel c
    join store.channel s on s.site_id = c.site_id and s.channel_id = c.channel_id
    where c.role = 'supply_temp' and c.is_primary
    group by c.site_id
),

limited as (
    select
        p.*,
        g.value as limit_f,
        p.sign * g.value - coalesce(a.accuracy_f, t.limit_sensor_tolerance_f) as reach_level,
        p.sign * p.seen_f >= p.sign * g.value - coalesce(a.accuracy_f, t.limit_sensor_tolerance_f)
            as at_limit,
    from peaked p
    join run.threshold t on t.site_id = p.site_id
    left join accuracy a on a.site_id = p.site_id
    left join run.setting g
        on g.site_id = p.site_id and g.name = p.setting
        and g.start_ts <= p.drop_ts and g.end_ts > p.drop_ts
    where p.seen_f is not null
),

-- drops that did not read as high as the setting: is there one level they gather at?
gathered as (
    select
        l.site_id,
        l.kind,
        median(l.seen_f) as level_f,
        count(*) as n_below,
    from limited l
    where not coalesce(l.at_limit, false) and not l.is_changeover and not l.is_satisfied
    group by l.site_id, l.kind
),

cluster as (
    select
        g.site_id,
        g.kind,
        g.level_f,
    from gathered g
    join run.threshold t on t.site_id = g.site_id
    join limited l
        on l.site_id = g.site_id and l.kind = g.kind
        and not coalesce(l.at_limit, false) and not l.is_changeover and not l.is_satisfied
    group by g.site_id, g.kind, g.level_f, g.n_below, t.limit_cluster_f, t.limit_cluster_min_events
    having
        count(*) filter (abs(l.seen_f - g.level_f) <= t.limit_cluster_f) >= t.limit_cluster_min_events
        and 2 * count(*) filter (abs(l.seen_f - g.level_f) <= t.limit_cluster_f) >= g.n_below
),

-- the instant supply reached the limit: last upward crossing at or before the peak; the panel's own
-- sensor was there by the drop, however slow the logger's probe
reached as (
    select
        l.site_id,
        l.kind,
        l.drop_ts,
        max(
            p.start_ts + ((p.end_ts - p.start_ts)
                * (l.reach_level - l.sign * p.start_value)
                / nullif(l.sign * (p.end_value - p.start_value), 0))::bigint
        ) as reach_ts,
    from (
        select
            l.*,
            t.trip_reach_search_s,
            unnest(range(
                (l.drop_ts - t.trip_reach_search_s * 1e6)::bigint // 86400000000,
                l.peak_ts // 86400000000 + 1
            )) as day_n,
        from limited l
        join run.threshold t on t.site_id = l.site_id
    ) l
    join supply p
        on p.site_id = l.site_id
        and p.start_ts // 86400000000 = l.day_n
        and p.start_ts < l.peak_ts
        and p.start_ts >= l.drop_ts - l.trip_reach_search_s * 1e6
        and l.sign * p.start_value < l.reach_level
        and l.sign * p.end_value >= l.reach_level
    where l.at_limit
    group by l.site_id, l.kind, l.drop_ts
)

select
    l.site_id,
    row_number() over (partition by l.site_id order by l.drop_ts) as trip_id,
    l.kind,
    if(l.limit_f is null, 'unknown', 'panel') as opened_by,
    least(coalesce(r.reach_ts, l.drop_ts), l.drop_ts) as start_ts,
    l.drop_ts,
    l.end_ts,
    l.peak_f,
    l.peak_ts,
    l.limit_f,
    l.end_ts - least(coalesce(r.reach_ts, l.drop_ts), l.drop_ts) >= 2e6 * l.interval_s
        and l.call_end_ts - l.drop_ts >= (t.trip_call_stands_s + l.interval_s) * 1e6 as is_certain,
    l.in_visit,
from limited l
join run.threshold t on t.site_id = l.site_id
left join cluster c on c.site_id = l.site_id and c.kind = l.kind
left join reached r on r.site_id = l.site_id and r.kind = l.kind and r.drop_ts = l.drop_ts
where
    (l.at_limit and (not l.is_changeover or l.sign * l.seen_f >= l.sign * l.limit_f))
    or (
        not l.is_changeover
        and not l.is_satisfied
        and abs(l.seen_f - c.level_f) <= t.limit_cluster_f
        and (l.limit_f is null or abs(c.level_f - l.limit_f) <= t.limit_cluster_reach_f)
    )
order by l.site_id, l.drop_ts
