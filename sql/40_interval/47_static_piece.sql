-- one row per linear piece of supply static inside one condition, in (site_id, start_ts) order
/*
holds = "the fan's state is known"

[columns]
start_ts = "BIGINT | us | from"
end_ts = "BIGINT | us | until"
start_inwc = "DOUBLE | in. w.c. | static at the start"
end_inwc = "DOUBLE | in. w.c. | static at the end"
fan_on = "BOOLEAN | - | blower running"
class = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
n_zones = "BIGINT | - | interval.condition"
zones = "VARCHAR | - | interval.condition"
is_settled = "BOOLEAN | - | dampers have had time to travel"
in_visit = "BOOLEAN | - | inside a visit"
target_inwc = "DOUBLE | in. w.c. | target in force; null if not given"
above_s = "DOUBLE | s | time above the target"
above_margin_s = "DOUBLE | s | time above the target plus the finding's margin"
above_more_s = "DOUBLE | s | time above the target plus static_over_more_inwc"
above_far_s = "DOUBLE | s | time above the target plus static_over_far_inwc"
area_inwc_s = "DOUBLE | in. w.c. s | static over the target, over time"
*/
-- Pieces are cut where conditions change and where dampers have had time to travel, so that every
-- second belongs to one class, stage and set of calling zones.
with

piece as (
    select site_id, start_ts, end_ts, start_value, end_value
    from signal.piece
    where role = 'static_pressure'
),

cut as (
    select site_id, start_ts as ts from interval.condition
    union
    select site_id, settled_ts
    from interval.condition
    where settled_ts > start_ts and settled_ts < end_ts
),

point as (
    select site_id, start_ts as ts, start_value as inwc, end_ts as piece_end_ts, end_value as piece_end_inwc
    from piece
    union all
    select
        c.site_id,
        c.ts,
        p.start_value + (p.end_value - p.start_value) * (c.ts - p.start_ts) / (p.end_ts - p.start_ts),
        p.end_ts,
        p.end_value,
    from cut c
    asof join piece p on p.site_id = c.site_id and c.ts >= p.start_ts
    where c.ts > p.start_ts and c.ts < p.end_ts
),

part as (
    select
        site_id,
        ts as start_ts,
        least(coalesce(lead(ts) over w, piece_end_ts), piece_end_ts) as end_ts,
        inwc as start_inwc,
        if(lead(ts) over w < piece_end_ts, lead(inwc) over w, piece_end_inwc) as end_inwc,
    from point
    window w as (partition by site_id order by ts)
),

placed as (
    select
        p.*,
        c.fan_on,
        c.class,
        c.stage,
        c.n_zones,
        c.zones,
        p.start_ts >= coalesce(c.settled_ts, 0) as is_settled,
        coalesce(c.in_visit, false) as in_visit,
        g.value as target_inwc,
        g.value + t.static_finding_over_inwc as margin_inwc,
        g.value + t.static_over_more_inwc as more_inwc,
        g.value + t.static_over_far_inwc as far_inwc,
    from part p
    asof left join interval.condition c on c.site_id = p.site_id and p.start_ts >= c.start_ts
    join run.threshold t on t.site_id = p.site_id
    left join run.setting g
        on g.site_id = p.site_id and g.name = 'static_target_inwc'
        and g.start_ts <= p.start_ts and g.end_ts > p.start_ts
)

select
    site_id,
    start_ts,
    end_ts,
    start_inwc,
    end_inwc,
    fan_on,
    class,
    stage,
    n_zones,
    zones,
    is_settled,
    in_visit,
    target_inwc,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_inwc, end_inwc) <= target_inwc then 0
        when least(start_inwc, end_inwc) > target_inwc then 1
        else (greatest(start_inwc, end_inwc) - target_inwc) / abs(end_inwc - start_inwc)
    end as above_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_inwc, end_inwc) <= margin_inwc then 0
        when least(start_inwc, end_inwc) > margin_inwc then 1
        else (greatest(start_inwc, end_inwc) - margin_inwc) / abs(end_inwc - start_inwc)
    end as above_margin_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_inwc, end_inwc) <= more_inwc then 0
        when least(start_inwc, end_inwc) > more_inwc then 1
        else (greatest(start_inwc, end_inwc) - more_inwc) / abs(end_inwc - start_inwc)
    end as above_more_s,
    (end_ts - start_ts) / 1e6 * case
        when target_inwc is null then null
        when greatest(start_inwc, end_inwc) <= far_inwc then 0
        when least(start_inwc, end_inwc) > far_inwc then 1
        else (greatest(start_inwc, end_inwc) - far_inwc) / abs(end_inwc - start_inwc)
    end as above_far_s,
    -- a triangle where it crosses, its height over the target and its base the time above
    case
        when least(start_inwc, end_inwc) > target_inwc
            then (end_ts - start_ts) / 1e6 * ((start_inwc + end_inwc) / 2 - target_inwc)
        else above_s * greatest(0, greatest(start_inwc, end_inwc) - target_inwc) / 2
    end as area_inwc_s,
from placed
where end_ts > start_ts and fan_on is not null
order by site_id, start_ts
