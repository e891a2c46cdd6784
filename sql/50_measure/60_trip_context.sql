-- one row per panel limit trip, with what was going on
/*
definition = "For each panel limit trip: zones calling, stage, run before it, wait until heat comes back, static and outdoor temperature at the drop."
needs = ["supply temperature", "heat (cooling) outputs", "calls"]
resolution = "one interval of the slowest channel"
interval_max_s = 30
counted_from = ["supply_temp", "output_", "inferred_", "zone_call_"]
not_without = [["supply_temp"], ["output_"], ["zone_call_"]]
source = "ours"

[columns]
trip_id = "BIGINT | - | interval.trip"
kind = "VARCHAR | - | high or low"
opened_by = "VARCHAR | - | panel or unknown"
start_ts = "BIGINT | us | interval.trip"
drop_ts = "BIGINT | us | interval.trip"
end_ts = "BIGINT | us | interval.trip"
peak_f = "DOUBLE | °F | interval.trip"
peak_ts = "BIGINT | us | interval.trip"
limit_f = "DOUBLE | °F | interval.trip"
is_certain = "BOOLEAN | - | interval.trip"
in_visit = "BOOLEAN | - | interval.trip"
day = "DATE | - | local date"
stage = "INTEGER | - | stage just before the drop"
source = "VARCHAR | - | burner, strip or compressor"
n_zones = "BIGINT | - | zones calling just before the drop"
zones = "VARCHAR | - | which"
run_before_s = "DOUBLE | s | run of the source up to the drop"
stage2_before_s = "DOUBLE | s | second stage up to the drop; null if it was not on"
static_max_inwc = "DOUBLE | in. w.c. | highest static in the 2 min before the drop; null if not logged"
return_f = "DOUBLE | °F | return air at the drop; null if not logged"
outdoor_f = "DOUBLE | °F | outdoor air at the drop; null if not logged"
recovery_s = "DOUBLE | s | drop until heat (cooling) on again; null if the call ended first"
*/
with

before_drop as (
    select t.site_id, t.trip_id, c.stage, c.source, c.n_zones, c.zones
    from interval.trip t
    asof join interval.condition c on c.site_id = t.site_id and t.drop_ts > c.start_ts
),

-- what stands before a trip is looked up by the days it lies in: of a long log not every pair is tried
trip_day as (
    select
        t.*,
        h.trip_stage_before_s,
        h.trip_static_before_s,
        unnest(range(
            (t.drop_ts - greatest(h.trip_stage_before_s, h.trip_static_before_s) * 1e6)::bigint // 86400000000,
            greatest(t.drop_ts, t.end_ts) // 86400000000 + 1
        )) as day_n,
    from interval.trip t
    join run.threshold h on h.site_id = t.site_id
),

source_before as (
    select t.site_id, t.trip_id, max(r.start_ts) as run_ts
    from trip_day t
    join (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from interval.source_run
    ) r
        on r.site_id = t.site_id
        and r.day_n = t.day_n
        and r.start_ts < t.drop_ts
        and r.end_ts >= t.drop_ts - t.trip_stage_before_s * 1e6
    group by t.site_id, t.trip_id
),

second_before as (
    select t.site_id, t.trip_id, max(r.start_ts) as stage2_ts
    from trip_day t
    join (
        select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
        from interval.output_run
        where output in ('output_w2', 'output_y2')
    ) r
        on r.site_id = t.site_id
        and r.day_n = t.day_n
        and r.start_ts < t.drop_ts
        and r.end_ts >= t.drop_ts - t.trip_stage_before_s * 1e6
    group by t.site_id, t.trip_id
),

resumed as (
    select t.site_id, t.trip_id, min(c.start_ts) as resume_ts
    from trip_day t
    join interval.condition c
        on c.site_id = t.site_id
        and c.start_ts // 86400000000 = t.day_n
        and c.class = if(t.kind = 'high', 'heating', 'cooling')
        and c.start_ts > t.drop_ts
        and c.start_ts <= t.end_ts
    group by t.site_id, t.trip_id
),

static_before as (
    select t.site_id, t.trip_id, max(p.start_value) as static_max_inwc
    from trip_day t
    join signal.piece p
        on p.site_id = t.site_id
        and p.start_ts // 86400000000 = t.day_n
        and p.role = 'static_pressure'
        and p.start_ts >= t.drop_ts - t.trip_static_before_s * 1e6
        and p.start_ts <= t.drop_ts
    group by t.site_id, t.trip_id
),

temperature as (
    select
        site_id,
        trip_id,
        max(value_f) filter (role = 'return_temp') as return_f,
        max(value_f) filter (role = 'outdoor_temp') as outdoor_f,
    from (
        select
            t.site_id,
            t.trip_id,
            p.role,
            p.start_value + (p.end_value - p.start_value)
                * (t.drop_ts - p.start_ts) / (p.end_ts - p.start_ts) as value_f,
        from trip_day t
        join (
            select *, unnest(range(start_ts // 86400000000, end_ts // 86400000000 + 1)) as day_n
            from signal.piece
            where role in ('return_temp', 'outdoor_temp')
        ) p
            on p.site_id = t.site_id
            and p.day_n = t.day_n
            and p.role in ('return_temp', 'outdoor_temp')
            and p.start_ts <= t.drop_ts
            and p.end_ts > t.drop_ts
    )
    group by site_id, trip_id
)

select
    t.site_id,
    t.trip_id,
    t.kind,
    t.opened_by,
    t.start_ts,
    t.drop_ts,
    t.end_ts,
    t.peak_f,
    t.peak_ts,
    t.limit_f,
    t.is_certain,
    t.in_visit,
    d.day,
    b.stage,
    b.source,
    b.n_zones,
    b.zones,
    (t.drop_ts - s.run_ts) / 1e6 as run_before_s,
    (t.drop_ts - w.stage2_ts) / 1e6 as stage2_before_s,
    p.static_max_inwc,
    m.return_f,
    m.outdoor_f,
    (r.resume_ts - t.drop_ts) / 1e6 as recovery_s,
from interval.trip t
join run.day d on d.site_id = t.site_id and t.drop_ts >= d.start_ts and t.drop_ts < d.end_ts
left join before_drop b on b.site_id = t.site_id and b.trip_id = t.trip_id
left join source_before s on s.site_id = t.site_id and s.trip_id = t.trip_id
left join second_before w on w.site_id = t.site_id and w.trip_id = t.trip_id
left join resumed r on r.site_id = t.site_id and r.trip_id = t.trip_id
left join static_before p on p.site_id = t.site_id and p.trip_id = t.trip_id
left join temperature m on m.site_id = t.site_id and m.trip_id = t.trip_id
order by t.site_id, t.trip_id
