-- one row per time that a burner, strip heat or compressor was on and the blower was seen to stand
/*
[columns]
source = "VARCHAR | - | burner, strip or compressor"
start_ts = "BIGINT | us | source on and blower standing from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length"
evidence = "VARCHAR | - | blower_run, static_pressure (at its fan-off level) or output_g (off, and static not logged)"
supply_max_f = "DOUBLE | °F | highest supply temperature in it; null if not logged"
is_heat_seen = "BOOLEAN | - | burner: in the second half, but its last minute, supply far over return air, or very hot and rising; null if supply is not logged, or not a burner"
in_visit = "BOOLEAN | - | all of it inside a visit"
*/
-- A log whose clock is known to be off proves nothing to the minute, until that is taken out.
-- The longest that each may be on with no fan is its own. G tells nothing of a burner's fan: the
-- furnace starts that itself; and G on with static at its fan-off level is a blower that stands. A
-- weak blower may stay under the level that proves it: by the mean, static must be all but at rest.
-- W on is not yet a fire. What the run before left in the duct is gone by the second half; a furnace
-- that lights at last starts its blower within the last minute.
with

source as (
    select
        r.site_id,
        r.source,
        r.start_ts,
        r.end_ts,
        (1e6 * case r.source
            when 'burner' then t.no_fan_burner_s
            when 'strip' then t.no_fan_strip_s
            else t.no_fan_compressor_s
        end)::bigint as least_us,
    from interval.source_run r
    join run.threshold t on t.site_id = r.site_id
),

-- how far each log's clock is still off; not known is taken as right
clock as (
    select c.site_id, c.role, max(coalesce(k.offset_s - k.applied_s, 0)) as off_s
    from channel.channel c
    left join trust.clock_offset k on k.site_id = c.site_id and k.logger = c.logger
    where
        c.is_primary
        and c.role in ('static_pressure', 'blower_run', 'output_w1', 'output_y1', 'output_aux')
    group by c.site_id, c.role
),

astray as (
    select distinct e.site_id, e.role as evidence
    from clock e
    join clock o on o.site_id = e.site_id and o.role like 'output_%'
    join run.threshold t on t.site_id = e.site_id
    where e.role not like 'output_%' and abs(e.off_s - o.off_s) >= t.clock_offset_warn_s
),

-- where the fan was told from G or the outputs, static may know better
asked as (
    select f.site_id, any_value(f.source) as source
    from run_state.fan f
    anti join astray a on a.site_id = f.site_id and a.evidence = 'static_pressure'
    group by f.site_id
    having any_value(f.source) in ('output_g', 'outputs', 'static_pressure')
),

static as (
    select p.site_id, a.source, p.start_ts, p.end_ts, greatest(p.start_value, p.end_value) as high_inwc, p.start_value
    from signal.piece p
    join asked a on a.site_id = p.site_id
    where p.role = 'static_pressure'
),

level as (
    select
        s.site_id,
        quantile_cont(s.start_value, 0.05) + any_value(t.fan_static_over_off_inwc) as off_inwc,
        quantile_cont(s.start_value, 0.05) + any_value(t.no_fan_static_inwc) as rest_inwc,
    from static s
    join run.threshold t on t.site_id = s.site_id
    group by s.site_id
    having quantile_cont(s.start_value, 0.05) <= any_value(t.fan_static_off_max_inwc)
),

low as (
    select
        s.site_id,
        s.start_ts,
        s.end_ts,
        coalesce(s.start_ts > lag(s.end_ts) over (partition by s.site_id order by s.start_ts), true)::int
            as is_new,
    from static s
    join level l on l.site_id = s.site_id
    where s.high_inwc <= l.off_inwc and s.source <> 'static_pressure'
),

standing as (
    select f.site_id, f.start_ts, f.end_ts, f.source as evidence
    from run_state.fan f
    anti join astray a on a.site_id = f.site_id and a.evidence = f.source
    where not f.is_on and f.source in ('blower_run', 'static_pressure')
    union all
    select site_id, min(start_ts), max(end_ts), 'static_pressure'
    from (select *, sum(is_new) over (partition by site_id order by start_ts) as low_id from low)
    group by site_id, low_id
    union all
    select f.site_id, f.start_ts, f.end_ts, 'output_g'
    from run_state.fan f
    anti join clock c on c.site_id = f.site_id and c.role = 'static_pressure'
    where not f.is_on and f.source = 'output_g'
),

candidate as (
    select
        r.site_id,
        r.source,
        greatest(r.start_ts, s.start_ts) as start_ts,
        least(r.end_ts, s.end_ts) as end_ts,
        s.evidence,
    from (
        -- looked up by the day both lie in: of a long log not every pair is tried
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from source
    ) r
    join (
        select *, unnest(range(start_ts // 86400000000, (end_ts - 1) // 86400000000 + 1)) as day_n
        from standing
    ) s
        on s.site_id = r.site_id and s.day_n = r.day_n and s.start_ts < r.end_ts and s.end_ts > r.start_ts
        and r.day_n = greatest(r.start_ts, s.start_ts) // 86400000000
    where
        least(r.end_ts, s.end_ts) - greatest(r.start_ts, s.start_ts) >= r.least_us
        and (r.source <> 'burner' or s.evidence <> 'output_g')
),

blown as (
    select c.site_id, c.source, c.start_ts
    from (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from candidate
    ) c
    join level l on l.site_id = c.site_id
    join static s
        on s.site_id = c.site_id
        and s.start_ts // 86400000000 = c.day_n
        and s.start_ts >= c.start_ts
        and s.start_ts < c.end_ts
    where c.evidence = 'static_pressure'
    group by c.site_id, c.source, c.start_ts
    having avg(s.start_value) > any_value(l.rest_inwc)
),

found as (
    select c.*
    from candidate c
    anti join blown b on b.site_id = c.site_id and b.source = c.source and b.start_ts = c.start_ts
),

back as (
    select site_id, quantile_cont(start_value, 0.5) as return_f
    from signal.piece
    where role = 'return_temp'
    group by site_id
),

warmed as (
    select
        f.site_id,
        f.source,
        f.start_ts,
        max(p.start_value) as supply_max_f,
        bool_or(
            p.start_ts >= f.start_ts + (f.end_ts - f.start_ts) // 2
            and p.start_ts < f.end_ts - least(60000000, (f.end_ts - f.start_ts) // 4)
            and (
                (p.start_value > t.no_fan_supply_f and p.end_value > p.start_value)
                or p.start_value >= coalesce(b.return_f, t.return_unknown_f) + t.no_fan_rise_f
            )
        ) as is_heat_seen,
    from (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from found
    ) f
    join run.threshold t on t.site_id = f.site_id
    join signal.piece p
        on p.site_id = f.site_id and p.role = 'supply_temp'
        and p.start_ts // 86400000000 = f.day_n
        and p.start_ts >= f.start_ts and p.start_ts < f.end_ts
    left join back b on b.site_id = f.site_id
    group by f.site_id, f.source, f.start_ts
)

select
    f.site_id,
    f.source,
    f.start_ts,
    f.end_ts,
    (f.end_ts - f.start_ts) / 1e6 as length_s,
    f.evidence,
    w.supply_max_f,
    if(f.source = 'burner', w.is_heat_seen, null) as is_heat_seen,
    exists (
        from run.visit v
        where v.site_id = f.site_id and v.start_ts <= f.start_ts and v.end_ts >= f.end_ts
    ) as in_visit,
from found f
left join warmed w on w.site_id = f.site_id and w.source = f.source and w.start_ts = f.start_ts
order by f.site_id, f.start_ts, f.source
