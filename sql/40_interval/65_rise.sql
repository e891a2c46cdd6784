-- one row per piece of supply air inside a steady stretch, with the rise (split) over return air
/*
holds = "rise is supply less return in heating, return less supply (the split) in cooling; values at the piece's middle"

[columns]
steady_ts = "BIGINT | us | interval.steady"
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
supply_f = "DOUBLE | °F | supply air"
return_f = "DOUBLE | °F | return air at the unit"
rise_f = "DOUBLE | °F | rise or split"
mode = "VARCHAR | - | heating or cooling"
source = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | zones calling; null if not known"
zones = "VARCHAR | - | which"
in_visit = "BOOLEAN | - | its stretch touches a visit"
*/
with

steady as (
    select * from interval.steady where steady_ts is not null
),

inside as (
    select
        s.steady_ts,
        p.site_id,
        greatest(p.start_ts, s.steady_ts) as start_ts,
        least(p.end_ts, s.end_ts) as end_ts,
        (greatest(p.start_ts, s.steady_ts) + least(p.end_ts, s.end_ts)) // 2 as mid_ts,
        p.start_value + (p.end_value - p.start_value) * (mid_ts - p.start_ts) / (p.end_ts - p.start_ts)
            as supply_f,
        s.mode,
        s.source,
        s.stage,
        s.n_zones,
        s.zones,
        s.in_visit,
    from signal.piece p
    asof join steady s on s.site_id = p.site_id and p.end_ts > s.steady_ts
    where p.role = 'supply_temp' and p.start_ts < s.end_ts
),

return_air as (
    select site_id, start_ts, end_ts, start_value, end_value
    from signal.piece
    where role = 'return_temp'
)

select
    i.site_id,
    i.steady_ts,
    i.start_ts,
    i.end_ts,
    i.supply_f,
    r.start_value + (r.end_value - r.start_value) * (i.mid_ts - r.start_ts) / (r.end_ts - r.start_ts)
        as return_f,
    (i.supply_f - return_f) * if(i.mode = 'heating', 1, -1) as rise_f,
    i.mode,
    i.source,
    i.stage,
    i.n_zones,
    i.zones,
    i.in_visit,
from inside i
asof join return_air r on r.site_id = i.site_id and i.mid_ts >= r.start_ts
where i.mid_ts < r.end_ts
order by i.site_id, i.start_ts
