-- one row per reading of static in a state whose static moves enough to hunt, in (site_id, ts) order
/*
holds = "one class (heating or cooling), stage and set of calls without a gap, its first hunting_soft_start_s left out; it spans a swing, and moves by as much as the least turns need"

[columns]
state_ts = "BIGINT | us | when the state began"
ts = "BIGINT | us | instant"
inwc = "DOUBLE | in. w.c. | static"
class = "VARCHAR | - | interval.condition"
stage = "INTEGER | - | interval.condition"
zones = "VARCHAR | - | zones calling; null if not known"
in_visit = "BOOLEAN | - | inside a visit"
*/
with

marked as (
    select
        site_id,
        start_ts,
        end_ts,
        abs(end_inwc - start_inwc) as moved_inwc,
        end_inwc,
        class,
        stage,
        zones,
        in_visit,
        (
            lag(site_id) over () is distinct from site_id
            or lag(end_ts) over () is distinct from start_ts
            or lag(class) over () is distinct from class
            or lag(stage) over () is distinct from stage
            or lag(zones) over () is distinct from zones
        )::int as is_new,
    from interval.static_piece
    where fan_on and class in ('heating', 'cooling')
),

placed as (
    select *, sum(is_new) over (rows unbounded preceding) as state_id from marked
),

state as (
    select site_id, state_id, min(start_ts) as state_ts
    from placed
    group by site_id, state_id
),

kept as (
    select p.*, s.state_ts, t.hunting_swing_inwc, t.hunting_min_turns
    from placed p
    join state s on s.site_id = p.site_id and s.state_id = p.state_id
    join run.threshold t on t.site_id = p.site_id
    where p.end_ts >= s.state_ts + t.hunting_soft_start_s * 1e6
),

-- so many turns need one swing more, to and fro
spanning as (
    select site_id, state_id
    from kept
    group by site_id, state_id, hunting_swing_inwc, hunting_min_turns
    having
        max(end_inwc) - min(end_inwc) >= hunting_swing_inwc - 1e-9
        and sum(moved_inwc) >= (hunting_min_turns + 1) * hunting_swing_inwc - 1e-9
)

select
    k.site_id,
    k.state_ts,
    k.end_ts as ts,
    k.end_inwc as inwc,
    k.class,
    k.stage,
    k.zones,
    k.in_visit,
from kept k
join spanning g on g.site_id = k.site_id and g.state_id = k.state_id
order by k.site_id, k.end_ts
