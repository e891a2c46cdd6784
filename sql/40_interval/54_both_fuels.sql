-- one row per time that furnace and compressor heated at once (dual fuel)
/*
[columns]
start_ts = "BIGINT | us | both outputs on from"
end_ts = "BIGINT | us | until"
length_s = "DOUBLE | s | length"
is_closed = "BOOLEAN | - | both ends seen"
is_changeover = "BOOLEAN | - | one fuel alone before it, the other alone after it"
in_defrost = "BOOLEAN | - | part of it is a defrost, or the time after one that belongs to it"
allowed_s = "DOUBLE | s | how long it may last: at a changeover and in a defrost longer"
is_over = "BOOLEAN | - | lasted longer than that"
outdoor_f = "DOUBLE | °F | outdoor air at the start; null if not known"
zones = "VARCHAR | - | zones calling for heat at the start"
in_visit = "BOOLEAN | - | touches a visit"
*/
with

lit as (
    select
        c.*,
        c.class = 'heating' and c.source = 'both' and coalesce(c.w1, false) as is_both,
        lag(c.source) over w as source_before,
        lead(c.source) over w as source_after,
        coalesce(lag(c.class) over w, 'unknown') <> 'unknown' as start_seen,
        coalesce(lead(c.class) over w, 'unknown') <> 'unknown' as end_seen,
    from interval.condition c
    join run.site i on i.site_id = c.site_id and i.has_burner and i.has_heat_pump
    window w as (partition by c.site_id order by c.start_ts)
),

stretch as (
    select
        site_id,
        min(start_ts) as start_ts,
        max(end_ts) as end_ts,
        arg_min(source_before, start_ts) as source_before,
        arg_max(source_after, start_ts) as source_after,
        arg_min(start_seen, start_ts) and arg_max(end_seen, start_ts) as is_closed,
        arg_min(heat_zones, start_ts) as zones,
        bool_or(in_visit) as in_visit,
    from (
        select *, sum((not is_both)::int) over (partition by site_id order by start_ts) as stretch_id
        from lit
    )
    where is_both
    group by site_id, stretch_id
),

placed as (
    select
        s.*,
        coalesce(
            s.source_before in ('burner', 'compressor')
            and s.source_after in ('burner', 'compressor')
            and s.source_before <> s.source_after,
            false
        ) as is_changeover,
        exists (
            from interval.defrost d
            join run.threshold t on t.site_id = d.site_id
            where
                d.site_id = s.site_id
                and d.start_ts < s.end_ts
                and d.end_ts + (t.defrost_after_s * 1e6)::bigint > s.start_ts
        ) as in_defrost,
    from stretch s
),

allowed as (
    select
        p.*,
        case
            when p.in_defrost then t.both_fuels_defrost_s
            when p.is_changeover then t.both_fuels_changeover_s
            else t.both_fuels_max_s
        end as allowed_s,
    from placed p
    join run.threshold t on t.site_id = p.site_id
)

select
    a.site_id,
    a.start_ts,
    a.end_ts,
    (a.end_ts - a.start_ts) / 1e6 as length_s,
    a.is_closed,
    a.is_changeover,
    a.in_defrost,
    a.allowed_s,
    a.end_ts - a.start_ts > a.allowed_s * 1e6 as is_over,
    if(o.end_ts > a.start_ts, o.outdoor_f, null) as outdoor_f,
    a.zones,
    a.in_visit,
from allowed a
asof left join interval.weather o on o.site_id = a.site_id and a.start_ts >= o.start_ts
order by a.site_id, a.start_ts
