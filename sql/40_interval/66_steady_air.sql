-- one row per steady stretch with return known: its rise, static and weather
/*
[columns]
steady_ts = "BIGINT | us | interval.steady"
end_ts = "BIGINT | us | last piece of supply in it"
s = "DOUBLE | s | steady time with supply and return known"
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | zones calling; null if not known"
zones = "VARCHAR | - | which"
rise_f = "DOUBLE | °F | median rise (split)"
static_inwc = "DOUBLE | in. w.c. | mean supply static; null if not known"
outdoor_f = "DOUBLE | °F | outdoors at its middle; null if not known"
day = "DATE | - | local date at its begin"
is_first = "BOOLEAN | - | of the log's first days: airflow_reference_days, or its first half if that is less"
is_last = "BOOLEAN | - | of the log's last days, as many, and none of the first"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

stretch as (
    select
        site_id,
        steady_ts,
        max(end_ts) as end_ts,
        sum(end_ts - start_ts) / 1e6 as s,
        mode,
        source,
        stage,
        n_zones,
        zones,
        median(rise_f) as rise_f,
        in_visit,
    from interval.rise
    group by site_id, steady_ts, mode, source, stage, n_zones, zones, in_visit
),

static as (
    select
        s.site_id,
        s.steady_ts,
        sum((p.end_ts - p.start_ts) * (p.start_inwc + p.end_inwc) / 2) / sum(p.end_ts - p.start_ts)
            as static_inwc,
    from interval.static_piece p
    asof join stretch s on s.site_id = p.site_id and p.start_ts >= s.steady_ts
    where p.end_ts <= s.end_ts
    group by s.site_id, s.steady_ts
),

placed as (
    select
        s.*,
        x.static_inwc,
        if((s.steady_ts + s.end_ts) // 2 < w.end_ts, w.outdoor_f, null) as outdoor_f,
        d.day,
    from stretch s
    left join static x on x.site_id = s.site_id and x.steady_ts = s.steady_ts
    left join run.day d
        on d.site_id = s.site_id and s.steady_ts >= d.start_ts and s.steady_ts < d.end_ts
    asof left join interval.weather w
        on w.site_id = s.site_id and (s.steady_ts + s.end_ts) // 2 >= w.start_ts
),

-- days with steady air outside visits, counted from the first of them
numbered as (
    select
        *,
        date_diff('day', min(if(in_visit, null, day)) over (partition by site_id), day) as n_before,
        date_diff('day', day, max(if(in_visit, null, day)) over (partition by site_id)) as n_after,
    from placed
)

select
    n.site_id,
    n.steady_ts,
    n.end_ts,
    n.s,
    n.mode,
    n.source,
    n.stage,
    n.n_zones,
    n.zones,
    n.rise_f,
    n.static_inwc,
    n.outdoor_f,
    n.day,
    n.n_before < least(t.airflow_reference_days, (n.n_before + n.n_after + 1) / 2) as is_first,
    n.n_after < least(t.airflow_reference_days, (n.n_before + n.n_after + 1) / 2) and not is_first as is_last,
    n.in_visit,
from numbered n
join run.threshold t on t.site_id = n.site_id
order by n.site_id, n.steady_ts
